// The sentences of alerts: what it is, how much, since when, what it likely comes from.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "fadeward/base/terms.hpp"
#include "fadeward/base/time.hpp"
#include "fadeward/judge/suspect.hpp"

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
std::string levels_in_words(std::optional<double> signal_dbm,
                            std::optional<double> signal_change_db, std::optional<double> noise_dbm,
                            std::optional<double> noise_change_db);

/// "14:03 UTC" of today, "3 April 14:03 UTC" otherwise.
std::string moment_in_words(Time at, Time now);

/// What changed, by how much, since when, and what it likely is: one sentence with the evidence.
/// `others_unchanged`: the other links of the port are as they were, which tells the ends apart.
std::string change_in_words(const Suspect& suspect, Time now, bool others_unchanged);
/// "Inbound loses 5.1 % of frames since 14:03 UTC, usually 0.2 %, ...".
std::string losses_in_words(Direction direction, double ratio, std::optional<double> usual,
                            Time since, Time now);
/// "6 of 50 hop channels are 4.2 dB noisier at the near end ...".
std::string channels_in_words(Direction direction, std::uint32_t channels, std::uint32_t known,
                              double rise_db, bool lasting, Time since, Time now);

}  // namespace fadeward::judge
