#include "fadeward/review/words.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>

namespace fadeward::review {

namespace {

constexpr std::array<const char*, 12> kMonths = {"January",   "February", "March",    "April",
                                                 "May",       "June",     "July",     "August",
                                                 "September", "October",  "November", "December"};

template <class... Values>
std::string text_of(const char* format, Values... values) {
  char text[96];
  std::snprintf(text, sizeof text, format, values...);
  return text;
}

std::chrono::year_month_day date_of(Time at) { return std::chrono::floor<std::chrono::days>(at); }
const char* month_name(const std::chrono::year_month_day& date) {
  return kMonths[(static_cast<unsigned>(date.month()) + 11) % 12];
}

std::string counted(std::int64_t count, const char* unit) {
  return text_of("%lld %s%s", static_cast<long long>(count), unit, count == 1 ? "" : "s");
}

std::string whole_days(double days) { return std::to_string(std::max(1L, std::lround(days))); }

}  // namespace

std::string in_db(double value_db) {
  const double rounded = std::round(value_db * 10) / 10;
  return text_of("%.1f dB", rounded == 0 ? 0.0 : rounded);
}

std::string in_small_db(double value_db) {
  const double rounded = std::round(value_db * 100) / 100;
  return text_of("%.2f dB", rounded == 0 ? 0.0 : rounded);
}

std::string in_percent(double ratio, int decimals) {
  const double percent = ratio * 100;
  // 99.999 must not read as a hundred: nothing was lost only where nothing was lost.
  if (percent < 100 && percent > 99.9) {
    for (int more = decimals; more < 6; ++more)
      if (std::round(percent * std::pow(10, more)) < 100 * std::pow(10, more))
        return text_of("%.*f %%", more, percent);
  }
  return text_of("%.*f %%", decimals, percent);
}

std::string date_words(Time at) {
  const auto date = date_of(at);
  return text_of("%u %s %d", static_cast<unsigned>(date.day()), month_name(date),
                 static_cast<int>(date.year()));
}

std::string month_words(Time at) {
  const auto date = date_of(at);
  return text_of("%s %d", month_name(date), static_cast<int>(date.year()));
}

std::string moment_words(Time at) {
  const auto minutes =
      std::chrono::floor<std::chrono::minutes>(at - std::chrono::floor<std::chrono::days>(at))
          .count();
  return date_words(at) +
         text_of(" %02d:%02d UTC", static_cast<int>(minutes / 60), static_cast<int>(minutes % 60));
}

std::string date_digits(Time at) {
  const auto date = date_of(at);
  return text_of("%04d-%02u-%02u", static_cast<int>(date.year()),
                 static_cast<unsigned>(date.month()), static_cast<unsigned>(date.day()));
}

std::string span_words(Duration span) {
  const std::int64_t minutes = std::chrono::floor<std::chrono::minutes>(span).count();
  if (minutes < 60) return std::to_string(minutes) + " min";
  const std::int64_t hours = minutes / 60;
  if (hours < 48)
    return std::to_string(hours) + " h" +
           (minutes % 60 ? " " + std::to_string(minutes % 60) + " min" : "");
  return counted(hours / 24, "day") +
         (hours % 24 && hours < 240 ? " " + std::to_string(hours % 24) + " h" : "");
}

bool is_clear(const estimate::Shift& shift) { return shift.low > 0 || shift.high < 0; }

std::string shift_words(const estimate::Shift& shift) {
  if (!is_clear(shift))
    return "no difference that can be told from the weather (" + in_db(shift.low) + " to " +
           in_db(shift.high) + ")";
  const double low = std::min(std::abs(shift.low), std::abs(shift.high)),
               high = std::max(std::abs(shift.low), std::abs(shift.high));
  return in_db(std::abs(shift.difference)) + (shift.difference < 0 ? " lower (" : " higher (") +
         in_db(low) + " to " + in_db(high) + ")";
}

std::string crossing_words(const estimate::Crossing& crossing) {
  using Outlook = estimate::Crossing::Outlook;
  const std::string threshold = in_db(crossing.threshold_db);
  const std::string season = crossing.season_known ? "" : "; the season is not known yet";
  switch (crossing.outlook) {
    case Outlook::unknown: return "too few days to tell";
    case Outlook::none_in_sight: return "no crossing of " + threshold + " in sight" + season;
    case Outlook::below: return "below " + threshold + " already";
    case Outlook::crosses: break;
  }
  const std::string early = whole_days(crossing.early_days), middle = whole_days(crossing.days);
  const std::string range =
      crossing.late_days ? early + " to " + whole_days(*crossing.late_days) : early + " or more";
  return "crosses " + threshold + " in about " + middle + (middle == "1" ? " day (" : " days (") +
         range + ")" + (crossing.by_season ? "; it did in these weeks of last year" : season);
}

}  // namespace fadeward::review
