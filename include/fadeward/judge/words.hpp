// The sentences of alerts: what it is, how much, since when, what it likely comes from.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "fadeward/base/terms.hpp"
#include "fadeward/base/time.hpp"
#include "fadeward/judge/cause.hpp"

namespace fadeward::judge {

/// "4.2 dB", "-112.3 dBm", "12.5 %"; at most one decimal.
std::string in_db(double value_db);
std::string in_dbm(double level_dbm);
std::string in_percent(double ratio);
/// "15 min", "2 h 5 min", "3 days".
std::string in_words(Duration span);

/// What a person should look at for a cause: "obstruction, foliage or weather on the path".
std::string_view meaning_of(Cause cause);

/// Level and noise of one direction against their usual values, as far as they are known:
/// "signal -112.3 dBm (6.1 dB below usual), noise -117.0 dBm (as usual)".
std::string levels_in_words(std::optional<double> signal_dbm, std::optional<double> signal_change_db,
                            std::optional<double> noise_dbm, std::optional<double> noise_change_db);

}  // namespace fadeward::judge
