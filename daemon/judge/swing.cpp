#include "fadeward/judge/swing.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace fadeward::judge {

namespace {

constexpr std::size_t kDay = HourBook::kDay, kDays = 3;
// What grows from nothing weighs most where it has grown most; squares add up to one.
constexpr std::array<double, kDays> kWeight = {0.845, 0.507, 0.169};
constexpr double kWeights = 0.845 + 0.507 + 0.169;

constexpr std::array<std::pair<Stream, Cause>, SwingWatch::kLooked> kStreamsLooked = {
    {{Stream::common, Cause::path},
     {Stream::near_noise, Cause::near_noise},
     {Stream::far_noise, Cause::far_noise}}};

std::int64_t hour_of(Time at) {
  const std::int64_t us = at.time_since_epoch().count();
  constexpr std::int64_t kHourUs = 3'600'000'000;
  return us >= 0 ? us / kHourUs : -((kHourUs - 1 - us) / kHourUs);
}

/// The 24-hour component of each of the last days, and what is left beside it.
struct Components {
  std::array<double, kDays> c{}, s{};
  double rest = 0;  ///< variance of the hours about it, weighed like the days

  double sum_c() const { return weighed(c); }
  double sum_s() const { return weighed(s); }
  /// Every day swings the way of all: not one alone by much, and the third does not contradict.
  bool alike() const {
    constexpr std::array<double, kDays> kAlike = {0.5, 0.35, -0.25};
    const double mean_c = sum_c() / kWeights, mean_s = sum_s() / kWeights;
    const double square = mean_c * mean_c + mean_s * mean_s;
    for (std::size_t day = 0; day < kDays; ++day)
      if (c[day] * mean_c + s[day] * mean_s <= kAlike[day] * square) return false;
    return true;
  }

 private:
  static double weighed(const std::array<double, kDays>& of) {
    double sum = 0;
    for (std::size_t day = 0; day < kDays; ++day) sum += kWeight[day] * of[day];
    return sum;
  }
};

std::optional<Components> components_of(const HourBook& hours, std::size_t stream,
                                        double level_db) {
  Components out;
  std::array<double, kDays> sum{}, squares{}, known{};
  std::size_t count = 0;
  for (std::size_t back = 0; back < kDays * kDay; ++back) {
    const HourBook::Hour& hour = hours.back(back);
    if (!hour.has(stream)) continue;
    ++count;
    const double angle =
        2 * std::numbers::pi * static_cast<double>(hour_of(hour.end - Duration{1}) % 24) / 24;
    const double value = static_cast<double>(hour.value_cdb[stream]) / 100 - level_db;
    const std::size_t day = back / kDay;
    out.c[day] += value * std::cos(angle) / 12;
    out.s[day] += value * std::sin(angle) / 12;
    sum[day] += value;
    squares[day] += value * value;
    known[day] += 1;
  }
  if (count < 22 * kDays) return {};
  for (std::size_t day = 0; day < kDays; ++day) {
    const double mean = sum[day] / known[day];
    const double turn = (out.c[day] * out.c[day] + out.s[day] * out.s[day]) / 2;
    out.rest +=
        kWeight[day] * kWeight[day] * std::max(0.0, squares[day] / known[day] - mean * mean - turn);
  }
  return out;
}

}  // namespace

std::array<std::optional<Swing>, SwingWatch::kLooked> SwingWatch::look(const HourBook& hours,
                                                                       const Rhythms& rhythms,
                                                                       std::uint32_t hours_taught) {
  constexpr double kFarOut = 5;  // times the usual square
  constexpr double kClear = 20;  // times the variance of the hours about it: showers leave as much
  constexpr double kPrior = 48, kSlowest = 21 * kDay, kMostSize = 5;
  std::array<std::optional<Swing>, kLooked> out;
  if (hours.size() < (kDays + 1) * kDay) return out;
  const bool young = hours.size() < 5 * kDay;  // learns how much is usual, tells nothing
  // The rhythm itself is known as well as the days allow that it was learned from.
  const double uncertain = 1 + 72.0 / std::max(24.0, static_cast<double>(hours_taught));
  for (std::size_t k = 0; k < kLooked; ++k) {
    const auto stream = static_cast<std::size_t>(kStreamsLooked[k].first);
    const auto parts = components_of(hours, stream, rhythms[stream].level());
    if (!parts) continue;
    const double square = parts->sum_c() * parts->sum_c() + parts->sum_s() * parts->sum_s();
    const double usual = usual_square_[k];
    const double gain = 1 / std::min(kSlowest, kPrior + rhythms[stream].hours());
    usual_square_[k] += gain * (std::min(square, kMostSize * usual) - usual);
    Swing swing;
    swing.cause = kStreamsLooked[k].second;
    swing.amplitude_db = std::sqrt(square) / kWeights;
    swing.newest_db = std::hypot(parts->c[0], parts->s[0]);
    swing.grown = !young && swing.amplitude_db >= 1.0 && square >= kFarOut * usual * uncertain &&
                  parts->alike() && square >= kClear * parts->rest;
    out[k] = swing;
  }
  return out;
}

}  // namespace fadeward::judge
