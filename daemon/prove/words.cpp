#include "fadeward/prove/words.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "fadeward/base/text.hpp"

namespace fadeward::prove {

namespace {

/// Three figures, at most `most` decimals.
std::string three_figures(double value, int most) {
  const double size = std::fabs(value);
  int decimals = 0;
  for (double limit = 100; decimals < most && size < limit; limit /= 10) ++decimals;
  return rounded_text(value, decimals);
}

std::string two_digits(long value) {
  char text[24];
  std::snprintf(text, sizeof text, "%02ld", value);
  return text;
}

}  // namespace

std::string percent_words(double share) { return three_figures(100 * share, 4) + " %"; }

std::string seconds_words(double seconds) {
  return seconds < 1 ? three_figures(1000 * seconds, 3) + " ms" : three_figures(seconds, 2) + " s";
}

std::string count_words(std::uint64_t count, const char* one, const char* many) {
  return std::to_string(count) + " " + (count == 1 ? one : many);
}

std::string decibel_words(std::optional<double> value, const char* unit) {
  if (!value) return "not known";
  std::string out;
  append_fixed(out, *value, 1);
  return out + " " + unit;
}

std::string rate_words(double bits_per_s) {
  return bits_per_s < 1000 ? three_figures(bits_per_s, 1) + " bit/s"
                           : three_figures(bits_per_s / 1000, 2) + " kbit/s";
}

std::string span_words(double seconds) {
  const long whole = std::lround(std::clamp(seconds, 0.0, 1e12));
  if (whole < 60) return std::to_string(whole) + " s";
  if (whole < 3600) return std::to_string(whole / 60) + " min " + two_digits(whole % 60) + " s";
  return std::to_string(whole / 3600) + " h " + two_digits(whole / 60 % 60) + " min";
}

}  // namespace fadeward::prove
