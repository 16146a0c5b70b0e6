#include "fadeward/review/last_day.hpp"

namespace fadeward::review {

LastDays last_days(history::Reader& reader, Time to) {
  using std::chrono::hours;
  const Time end = std::chrono::ceil<hours>(to);
  const Time from = end - hours{24};
  LastDays out;
  for (const std::string& link : reader.links()) {
    DayLine line;
    bool any = false;
    for (std::size_t d = 0; d < kDirections; ++d)
      reader.summaries(link, static_cast<Direction>(d), from, end, hours{1},
                       [&](const history::Summary& hour) {
                         const auto place = (hour.start - from) / hours{1};
                         if (place < 0 || place >= 24) return;
                         line[d][static_cast<std::size_t>(place)] = hour.margin.quantile_db(0.5);
                         any = true;
                       });
    if (any) out.emplace(link, line);
  }
  return out;
}

}  // namespace fadeward::review
