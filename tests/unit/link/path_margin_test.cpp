#include "fadeward/link/path_margin.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <random>
#include <vector>

#include "fadeward/link/link_state.hpp"

namespace fadeward::link::path_margin_test {
namespace {

using namespace std::chrono_literals;

constexpr Time kStart{std::chrono::seconds{1'893'456'000}};
constexpr double kNoiseDbm = -117, kRequiredSnrDb = -7.5;

/// An invented path: one level for both directions, Rician fading of K = 10 for each by itself, a
/// frame every ten seconds each way. Frames under the limit are lost, and those on dead channels.
class Path {
 public:
  explicit Path(unsigned seed) : random_(seed) {
    for (DirectionState& state : directions) {
      state.rules.required_snr_db = kRequiredSnrDb;
      state.set_frames({});
    }
  }

  double margin_db = 20;                             ///< of the mean power, both ways
  std::array<bool, kDirections> counts{true, true};  ///< losses are known
  int channels = 0, dead = 0;                        ///< hop channels; so many let nothing through

  void hour() {
    sent_db_ = {};
    for (int i = 0; i < 360; ++i) {
      now += 10s;
      for (const Direction d : {Direction::inbound, Direction::outbound}) frame(d, i);
      if (i % 6 == 5)
        for (DirectionState& state : directions) state.tick(now);
    }
  }
  PathMargin ask() { return {directions, reciprocal}; }
  /// Median over all frames sent in the last hour, those on dead channels at the bottom.
  double truth_db(Direction d) {
    std::vector<double>& sent = sent_db_[static_cast<std::size_t>(d)];
    const auto middle = sent.begin() + static_cast<std::ptrdiff_t>(sent.size() / 2);
    std::nth_element(sent.begin(), middle, sent.end());
    return *middle;
  }

  Time now = kStart;
  PathMargin::Directions directions{DirectionState(false), DirectionState(false)};
  Reciprocal reciprocal;

 private:
  void frame(Direction d, int i) {
    const auto which = static_cast<std::size_t>(d);
    DirectionState& state = directions[which];
    const double k = 10, steady = std::sqrt(k / (k + 1)), scattered = std::sqrt(0.5 / (k + 1));
    const double x = steady + scattered * normal_(random_), y = scattered * normal_(random_);
    const double true_db = margin_db + 10 * std::log10(x * x + y * y);
    const int channel = channels > 0 ? (i * 7 + static_cast<int>(which)) % channels : 0;
    const bool lost = channel < dead || true_db < 0.6 * normal_(random_);
    sent_db_[which].push_back(channel < dead ? -100 : true_db);
    if (lost) {
      ++lost_[which];
      return;
    }
    if (counts[which])
      state.counted(now - 10s, now, 1, lost_[which], LossSource::seq);
    else
      state.heard(now, LossSource::none);
    lost_[which] = 0;
    Separated levels;
    levels.noise_dbm = std::round(kNoiseDbm + 0.5 * normal_(random_));
    levels.signal_dbm = std::round(kNoiseDbm + kRequiredSnrDb + true_db + 0.3 * normal_(random_));
    levels.source = NoiseSource::idle;
    std::optional<std::uint8_t> index;
    if (channels > 0) index = state.channels.index_of(channel);
    state.measured(now, levels, kRequiredSnrDb, index);
  }

  std::mt19937_64 random_;
  std::normal_distribution<double> normal_;
  std::array<std::uint32_t, kDirections> lost_{};
  std::array<std::vector<double>, kDirections> sent_db_;
};

TEST(PathMargin, NothingMeasuredIsNoMargin) {
  Path path(1);
  EXPECT_FALSE(path.ask().margin(Direction::inbound, kStart));
  EXPECT_FALSE(path.ask().median_db(Direction::inbound, kStart));
  EXPECT_FALSE(path.ask().received_db(Direction::inbound, kStart));
}

TEST(PathMargin, ItsErrorIsHonest) {
  for (const double margin_db : {20.0, 2.0}) {
    int within = 0, all = 0;
    for (unsigned seed = 1; seed <= 60; ++seed) {
      Path path(seed);
      path.margin_db = margin_db;
      for (int hour = 0; hour < 6; ++hour) {
        path.hour();
        path.ask().learn(path.now, path.now);
      }
      for (const Direction d : {Direction::inbound, Direction::outbound}) {
        const auto margin = path.ask().margin(d, path.now);
        ASSERT_TRUE(margin) << "seed " << seed;
        EXPECT_LT(margin->stderr_db, 0.6) << "margin " << margin_db << ", seed " << seed;
        within += std::abs(margin->median_db - path.truth_db(d)) < 2 * margin->stderr_db;
        ++all;
      }
    }
    // 120 truths of which 0.9 to 0.99 should be within two errors: at least 0.85 and not for lack
    // of any claim.
    EXPECT_GE(within, 0.85 * all) << "margin " << margin_db << ", seeds 1 to 60";
  }
}

TEST(PathMargin, TheSurvivorsAloneTellTooMuch) {
  for (unsigned seed = 1; seed <= 5; ++seed) {
    Path path(seed);
    path.margin_db = 0;
    path.hour();
    const double truth_db = path.truth_db(Direction::inbound);
    const auto margin = path.ask().margin(Direction::inbound, path.now);
    ASSERT_TRUE(margin) << "seed " << seed;
    EXPECT_NEAR(margin->median_db, truth_db, 4 * margin->stderr_db) << "seed " << seed;
    EXPECT_LT(margin->stderr_db, 0.6) << "seed " << seed;
    EXPECT_GT(*path.ask().received_db(Direction::inbound, path.now), truth_db + 1)
        << "seed " << seed;
    EXPECT_NEAR(*path.ask().median_db(Direction::inbound, path.now), margin->median_db, 0.01);
  }
}

TEST(PathMargin, ADirectionThatCountsItsLossesHelpsTheOther) {
  double with = 0, without = 0;
  for (unsigned seed = 1; seed <= 12; ++seed) {
    Path path(seed);
    path.counts[static_cast<std::size_t>(Direction::outbound)] = false;
    path.margin_db = 8;  // a day on which both directions are seen whole
    for (int hour = 0; hour < 24; ++hour) {
      path.hour();
      path.ask().learn(path.now, path.now);
    }
    path.margin_db = 0;
    path.hour();
    const double truth_db = path.truth_db(Direction::outbound);
    const auto helped = path.ask().margin(Direction::outbound, path.now);
    path.reciprocal = {};
    const auto alone = path.ask().margin(Direction::outbound, path.now);
    ASSERT_TRUE(helped && alone) << "seed " << seed;
    with += std::pow(helped->median_db - truth_db, 2);
    without += std::pow(alone->median_db - truth_db, 2);
  }
  EXPECT_LT(std::sqrt(with / 12), 0.45) << "seeds 1 to 12";
  EXPECT_LT(with, without) << "seeds 1 to 12";
}

TEST(PathMargin, ChannelsThatLetNothingThroughCountAtTheBottom) {
  for (unsigned seed = 1; seed <= 5; ++seed) {
    Path path(seed);
    path.channels = 20;
    for (int hour = 0; hour < 24; ++hour) path.hour();
    path.dead = 5;
    path.hour();
    path.hour();
    const auto margin = path.ask().margin(Direction::inbound, path.now);
    ASSERT_TRUE(margin) << "seed " << seed;
    EXPECT_NEAR(margin->median_db, path.truth_db(Direction::inbound), 4 * margin->stderr_db)
        << "seed " << seed;
    EXPECT_NEAR(margin->too_weak, 0.25, 0.05) << "seed " << seed;
    EXPECT_LT(margin->low_db, 0) << "seed " << seed;
  }
}

// Frames with a Rice factor of 10 dB over steady noise; the weak ones are lost, and some whatever
// their level. What is told apart is compared with what was done.
TEST(PathMargin, WhatTheLevelsLoseIsToldFromTheRest) {
  struct Case {
    double margin_db, collisions;
    unsigned seed;
  };
  for (const Case& one : {Case{9, 0.05, 1}, Case{9, 0.20, 2}, Case{6, 0.05, 3}, Case{6, 0, 4},
                          Case{3, 0, 5}, Case{3, 0.10, 6}, Case{20, 0.05, 7}, Case{0, 0, 8}}) {
    LinkSettings settings;
    settings.radio.modulation = RadioSettings::Modulation::css;
    settings.radio.spreading_factor = 7;  // needs -7.5 dB
    settings.radio.rssi = RadioSettings::Rssi::wanted;
    LinkState state(settings, false);
    std::mt19937_64 random(one.seed);
    std::normal_distribution<double> normal;
    std::uniform_real_distribution<double> uniform;
    const double k = 10, steady = std::sqrt(k / (k + 1)), scattered = std::sqrt(0.5 / (k + 1));
    double seq = 0, weak = 0, lost = 0, sent = 0;
    Time now = kStart;
    for (int i = 0; i < 24 * 360; ++i) {
      now += 10s;
      if (i % 6 == 0) state.tick(now);
      ++seq;
      const double power = std::pow(steady + scattered * normal(random), 2) +
                           std::pow(scattered * normal(random), 2);
      // Median of the power at this Rice factor: 0.956 of the mean (by simulation).
      const double margin_db = one.margin_db + 10 * std::log10(power / 0.956);
      const bool too_weak = margin_db < 0.6 * normal(random);
      const bool met = uniform(random) < one.collisions;
      if (i >= 23 * 360) {
        ++sent;
        weak += too_weak;
        lost += too_weak || met;
      }
      if (too_weak || met) continue;
      LinkReport report;
      report.set(Field::seq, seq);
      report.set(Field::rssi_dbm, std::round(-117 - 7.5 + margin_db + 0.3 * normal(random)));
      report.set(Field::noise_dbm, std::round(-117 + 0.5 * normal(random)));
      state.take(report, now);
    }
    const auto margin = state.margin(Direction::inbound, now);
    ASSERT_TRUE(margin);
    const double expected = weak / sent, error = std::sqrt(expected / sent);
    EXPECT_NEAR(margin->too_weak, expected, 0.25 * expected + 2 * error + 0.01)
        << "margin " << one.margin_db << ", collisions " << one.collisions << ", lost "
        << lost / sent << ", seed " << one.seed;
  }
}

}  // namespace
}  // namespace fadeward::link::path_margin_test
