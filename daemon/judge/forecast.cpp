#include "fadeward/judge/forecast.hpp"

#include <algorithm>
#include <cmath>

#include "fadeward/judge/words.hpp"

namespace fadeward::judge {

namespace {

std::string whole_days(double days) { return std::to_string(std::max(1L, std::lround(days))); }

}  // namespace

std::string in_words(const Crossing& crossing) {
  using Outlook = Crossing::Outlook;
  const std::string threshold = in_db(crossing.threshold_db);
  const std::string season = crossing.season_known ? "" : "; season unknown";
  switch (crossing.outlook) {
    case Outlook::unknown: return "too few days to tell";
    case Outlook::none_in_sight: return "no crossing of " + threshold + " in sight" + season;
    case Outlook::below: return "below " + threshold + " already";
    case Outlook::crosses: break;
  }
  const std::string early = whole_days(crossing.early_days);
  const std::string span =
      crossing.late_days ? early + " to " + whole_days(*crossing.late_days) : early + " or more";
  const std::string middle = whole_days(crossing.days);
  return "crosses " + threshold + " in about " + middle + (middle == "1" ? " day (" : " days (") +
         span + ")" + (crossing.by_season ? "; it did in these weeks of last year" : season);
}

}  // namespace fadeward::judge
