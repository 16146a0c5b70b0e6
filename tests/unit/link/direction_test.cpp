#include "fadeward/link/direction.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <random>
#include <vector>

namespace fadeward::link::direction_test {
namespace {

using namespace std::chrono_literals;
constexpr Time kStart{std::chrono::seconds{1'893'456'000}};   // a whole quarter hour

double median(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  return (values[(values.size() - 1) / 2] + values[values.size() / 2]) / 2;
}

// Every frame is in exactly one quarter hour, with its level, its losses, its power and its rate; and
// its channel has the radio's number, whichever came first.
TEST(DirectionState, QuarterHoursHoldWhatWasFed) {
  for (unsigned seed = 1; seed <= 3; ++seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> fading(0, 3);
    DirectionState state;
    state.keep_closed = true;
    struct Quarter {
      std::vector<double> signal, margin;
      std::uint32_t lost = 0, sent = 0, retries = 0, failures = 0;
      std::map<int, std::uint32_t> by_power;
      struct Channel {
        std::uint32_t frames = 0;
        double signal = 0, noise = 0;
      };
      std::map<int, Channel> by_channel;
    };
    std::map<Time, Quarter> want;
    for (int i = 0; i < 1000; ++i) {
      const int number = 40 - 7 * (i % 4);
      const Time at = kStart + 10s * i + 3s;
      const double power_dbm = i % 200 < 150 ? 20 : 17;
      if (i % 200 == 0 || i % 200 == 150) state.set_frames({power_dbm, 7, 125000});
      state.tick(at);
      const std::uint32_t lost = i % 9 == 0 ? 2 : 0;
      state.counted(at, at, 1, lost, LossSource::seq);
      Separated levels;
      levels.signal_dbm = -100 + fading(random);
      levels.noise_dbm = -117 + i % 4;
      state.measured(at, levels, -7.5, state.channels.index_of(number));
      state.sent(at, 3, i % 3 == 0, i % 50 == 0);
      Quarter& quarter = want[kStart + kBinSpan * ((at - kStart) / kBinSpan)];
      quarter.signal.push_back(levels.signal_dbm);
      quarter.margin.push_back(levels.signal_dbm - levels.noise_dbm + 7.5);
      quarter.sent += 3;
      quarter.retries += i % 3 == 0;
      quarter.failures += i % 50 == 0;
      Quarter::Channel& channel = quarter.by_channel[number];
      ++channel.frames;
      channel.signal += levels.signal_dbm;
      channel.noise += levels.noise_dbm;
      quarter.lost += lost;
      ++quarter.by_power[static_cast<int>(power_dbm)];
    }
    ASSERT_EQ(state.closed.size(), want.size() - 1) << "the last one is still open";
    for (const Bin& bin : state.closed) {
      const Quarter& quarter = want.at(bin.start);
      EXPECT_EQ(bin.frames, quarter.signal.size()) << "seed " << seed;
      EXPECT_EQ(bin.margin.total(), quarter.signal.size()) << "seed " << seed;
      EXPECT_EQ(bin.lost, quarter.lost) << "seed " << seed;
      EXPECT_NEAR(*bin.signal.quantile_db(0.5), median(quarter.signal), 0.5) << "seed " << seed;
      EXPECT_NEAR(*bin.margin.quantile_db(0.5), median(quarter.margin), 0.5) << "seed " << seed;
      std::map<int, std::uint32_t> by_power;
      for (const RateUse& use : bin.rates) {
        if (use.frames == 0) continue;
        EXPECT_EQ(use.spreading_factor, 7);
        EXPECT_EQ(use.bandwidth_hz, 125000);
        by_power[static_cast<int>(use.power_dbm)] += use.frames;
      }
      EXPECT_EQ(by_power, quarter.by_power) << "seed " << seed;
      EXPECT_EQ(bin.sent, quarter.sent);
      EXPECT_EQ(bin.retries, quarter.retries);
      EXPECT_EQ(bin.failures, quarter.failures);
      ASSERT_EQ(bin.channels.size(), 4U);
      for (const ChannelPart& part : bin.channels) {
        const Quarter::Channel& channel = quarter.by_channel.at(part.channel);
        EXPECT_EQ(part.frames, channel.frames);
        EXPECT_NEAR(static_cast<double>(part.signal_sum_dbm), channel.signal, 0.01 * part.frames);
        EXPECT_NEAR(static_cast<double>(part.noise_sum_dbm), channel.noise, 0.01 * part.frames);
      }
    }
  }
}

TEST(DirectionState, DisownedNoiseTakesTheMarginsWithIt) {
  DirectionState state;
  Separated levels;
  levels.signal_dbm = -80;
  levels.noise_dbm = -90;
  levels.source = NoiseSource::snr;
  for (int i = 0; i < 100; ++i) state.measured(kStart + 10s * i, levels, -7.5, std::nullopt);
  ASSERT_FALSE(state.window.empty());
  state.disown_noise();
  EXPECT_TRUE(state.window.empty());
  EXPECT_FALSE(state.day_margin_db(kStart + 1000s));
}

// A steady wave of power K and scattered ones of power 1 (Rice); the estimate of several hours agrees.
// A path that fades loses its weakest frames: what is left fades by 5.4 dB where the path does by 8
// (means of a normal distribution cut off at 0). Frames lost to collisions are no weaker than others.
TEST(DirectionState, ABlockSpeaksForTheFramesThatWereLost) {
  for (unsigned seed = 1; seed <= 5; ++seed) {
    const auto signal_of = [&](double margin_db, double collisions, bool counted) {
      std::mt19937 random(seed);
      std::normal_distribution<double> level(margin_db, 3.3);
      std::uniform_real_distribution<double> share;
      DirectionState state;
      Time at = kStart;
      state.take_block(at);
      std::uint32_t lost = 0;
      for (int i = 0; i < 300; ++i) {
        at += 500ms;
        const double now_db = level(random);
        if (now_db < 0 || share(random) < collisions) {
          ++lost;
          continue;
        }
        if (counted) state.counted(at, at, 1, lost, LossSource::seq);
        lost = 0;
        state.measured(at, {-117 - 7.5 + now_db, -117, NoiseSource::idle}, -7.5, {});
      }
      return state.take_block(at + 1s).signal_db;
    };
    const double clear_db = signal_of(20, 0, true);
    EXPECT_NEAR(signal_of(8, 0, true) - clear_db, -12, 0.7) << "seed " << seed;
    EXPECT_NEAR(signal_of(0, 0, true) - clear_db, -20, 0.8) << "seed " << seed;
    EXPECT_NEAR(signal_of(0, 0, false) - clear_db, -20, 1.2) << "seed " << seed;
    EXPECT_NEAR(signal_of(20, 0.2, true) - clear_db, 0, 0.3) << "seed " << seed;
  }
}

TEST(DirectionState, RiceFactorOfTheFadingIsFound) {
  for (const double k_db : {3.0, 10.0}) {
    double sum_db = 0;
    for (unsigned seed = 1; seed <= 20; ++seed) {
      std::mt19937 random(seed);
      const double k = std::pow(10, k_db / 10);
      std::normal_distribution<double> scattered(0, std::sqrt(0.5));
      DirectionState state;
      for (int i = 0; i < 350; ++i) {
        Separated levels;
        const double re = std::sqrt(k) + scattered(random), im = scattered(random);
        levels.signal_dbm = -100 + 10 * std::log10((re * re + im * im) / (k + 1));
        levels.noise_dbm = -117;
        state.measured(kStart + 10s * i, levels, -7.5, std::nullopt);
      }
      ASSERT_TRUE(state.rician_k_db()) << "seed " << seed;
      sum_db += *state.rician_k_db();
    }
    EXPECT_NEAR(sum_db / 20, k_db, 0.5);
  }
  EXPECT_FALSE(DirectionState().rician_k_db());
}

}  // namespace
}  // namespace fadeward::link::direction_test
