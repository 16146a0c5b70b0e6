// Numbers and dates as a person writes them in a report.
#pragma once

#include <optional>
#include <string>

#include "fadeward/base/terms.hpp"
#include "fadeward/base/time.hpp"
#include "fadeward/estimate/forecast.hpp"
#include "fadeward/estimate/shift.hpp"

namespace fadeward::review {

std::string in_db(double value_db);                      ///< "4.2 dB", "-0.5 dB"
std::string in_small_db(double value_db);                ///< "0.91 dB"
std::string in_percent(double ratio, int decimals = 2);  ///< "99.95 %"
std::string date_words(Time at);                         ///< "3 April 2034"
std::string month_words(Time at);                        ///< "April 2034"
std::string moment_words(Time at);                       ///< "3 April 2034 14:15 UTC"
std::string span_words(Duration span);                   ///< "45 min", "3 h 15 min", "12 days"
std::string date_digits(Time at);                        ///< "2034-04-03"

/// "3.9 dB lower (3.5 dB to 4.3 dB)"; where the interval holds 0 "no difference that can be told
/// from the weather (-0.3 dB to 0.4 dB)".
std::string shift_words(const estimate::Shift& shift);
/// The interval leaves no room for none.
bool is_clear(const estimate::Shift& shift);

/// "crosses 10.0 dB in about 23 days (15 to 40)", "no crossing of 10.0 dB in sight", "below 10.0 dB
/// already", "too few days to tell"; the first two say so where the season is not known yet.
std::string crossing_words(const estimate::Crossing& crossing);

}  // namespace fadeward::review
