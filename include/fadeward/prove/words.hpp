// Figures as a person reads them.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

namespace fadeward::prove {

std::string percent_words(double share);          ///< "0.32 %", "12 %", three figures
std::string seconds_words(double seconds);        ///< "0.84 ms", "412 ms", "2.31 s"
std::string count_words(std::uint64_t count, const char* one, const char* many);  ///< "1 frame"
std::string decibel_words(std::optional<double> value, const char* unit);  ///< "12.3 dB", "not known"
std::string rate_words(double bits_per_s);        ///< "384 bit/s", "12.1 kbit/s"
std::string span_words(double seconds);           ///< "45 s", "9 min 58 s", "3 h 05 min"

}  // namespace fadeward::prove
