#include "fadeward/link/channel_levels.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <random>
#include <vector>

#include "fadeward/base/archive.hpp"

namespace fadeward::link::channel_levels_test {
namespace {

/// A hopping link: channel offsets fixed, frames fade, readings scatter.
class Hopper {
 public:
  Hopper(std::size_t channels, unsigned seed) : random_(seed), signal(channels), noise(channels), jam(channels) {
    for (double& each : signal) each = 2 * normal_(random_);
    for (double& each : noise) each = 0.8 * normal_(random_);
  }
  /// Blocks of 18 frames, fed as the header asks: less the block's mean, which has the known offsets removed.
  void run(ChannelLevels& levels, int blocks) {
    struct Frame {
      std::size_t channel;
      double signal, noise;
    };
    for (int b = 0; b < blocks; ++b) {
      std::vector<Frame> frames;
      double signal_mean = 0, noise_mean = 0;
      for (int i = 0; i < 18; ++i) {
        const std::size_t c = random_() % signal.size();
        frames.push_back({c, -100 + signal[c] + 2 * normal_(random_), -117 + noise[c] + jam[c] + all + 0.7 * normal_(random_)});
        signal_mean += (frames.back().signal - static_cast<double>(levels.signal_offset_db(c))) / 18;
        noise_mean += (frames.back().noise - static_cast<double>(levels.noise_offset_db(c))) / 18;
      }
      for (const Frame& frame : frames)
        levels.add(frame.channel, static_cast<float>(frame.signal - signal_mean), static_cast<float>(frame.noise - noise_mean));
    }
  }
  /// RMS of what was learned against the truth, a constant common to all channels apart.
  double signal_error(const ChannelLevels& levels) const {
    double sum = 0, squares = 0;
    const auto n = static_cast<double>(signal.size());
    for (std::size_t c = 0; c < signal.size(); ++c) {
      const double off = static_cast<double>(levels.signal_offset_db(c)) - signal[c];
      sum += off;
      squares += off * off;
    }
    return std::sqrt(squares / n - sum * sum / n / n);
  }

 private:
  std::mt19937_64 random_;
  std::normal_distribution<double> normal_;

 public:
  std::vector<double> signal, noise, jam;
  double all = 0;
};

TEST(ChannelLevels, AChannelNeverVisitedHasNoOffset) {
  ChannelLevels levels;
  levels.add(3, 5, 1);
  EXPECT_FLOAT_EQ(levels.signal_offset_db(2), 0);
  EXPECT_FLOAT_EQ(levels.signal_offset_db(77), 0);
  EXPECT_EQ(levels.contrast().channels, 0U);
  levels.add(5000, 5, 1);   // further than any hop plan: ignored, not stored
  EXPECT_LE(levels.size(), 128U);
}

TEST(ChannelLevels, OffsetsAreLearned) {
  for (unsigned seed = 1; seed <= 5; ++seed) {
    Hopper hopper(50, seed);
    ChannelLevels levels;
    hopper.run(levels, 600);   // some 216 visits of each: 2 dB of fading leave 0.14 dB, and as much again of the block's mean
    EXPECT_LT(hopper.signal_error(levels), 0.3) << "seed " << seed;
    hopper.run(levels, 3000);
    EXPECT_LT(hopper.signal_error(levels), 0.3) << "seed " << seed;
  }
}

TEST(ChannelLevels, SixOfFiftyStandOutAndAreCounted) {
  for (unsigned seed = 1; seed <= 5; ++seed) {
    Hopper hopper(50, seed);
    ChannelLevels levels;
    hopper.run(levels, 960);
    int before = 0;
    for (int i = 0; i < 100; ++i) {
      hopper.run(levels, 1);
      before += levels.contrast().channels > 0;
    }
    EXPECT_LE(before, 2) << "seed " << seed;
    for (std::size_t c = 10; c < 16; ++c) hopper.jam[c] = 4;
    hopper.run(levels, 80);   // four hours
    const auto contrast = levels.contrast();
    EXPECT_EQ(contrast.known, 50U) << "seed " << seed;
    EXPECT_NEAR(contrast.channels, 6, 1) << "seed " << seed;
    EXPECT_NEAR(contrast.rise_db, 4, 0.8) << "seed " << seed;
    EXPECT_FALSE(contrast.lasting) << "seed " << seed;
    // Two days on it still shows: what stands out does not teach its offset.
    hopper.run(levels, 960);
    EXPECT_NEAR(levels.contrast().channels, 6, 1) << "seed " << seed;
    for (double& each : hopper.jam) each = 0;
    hopper.run(levels, 60);
    int after = 0;
    for (int i = 0; i < 50; ++i) {
      hopper.run(levels, 1);
      after += levels.contrast().channels > 0;
    }
    EXPECT_LE(after, 2) << "seed " << seed;
  }
}

TEST(ChannelLevels, WhatAllChannelsDoIsNoContrast) {
  for (unsigned seed = 1; seed <= 5; ++seed) {
    Hopper hopper(50, seed);
    ChannelLevels levels;
    hopper.run(levels, 960);
    hopper.all = 6;
    int found = 0;
    for (int i = 0; i < 200; ++i) {
      hopper.run(levels, 1);
      found += levels.contrast().channels > 0;
    }
    EXPECT_LE(found, 3) << "seed " << seed;
    EXPECT_LT(hopper.signal_error(levels), 0.3) << "seed " << seed;
  }
}

TEST(ChannelLevels, WhatWasAlwaysSoIsLasting) {
  Hopper hopper(20, 4);
  for (double& each : hopper.noise) each = 0;
  for (const std::size_t c : {3U, 4U, 5U}) hopper.noise[c] = 6;
  ChannelLevels levels;
  hopper.run(levels, 400);
  const auto contrast = levels.contrast();
  EXPECT_EQ(contrast.channels, 3U);
  EXPECT_TRUE(contrast.lasting);
  EXPECT_NEAR(contrast.rise_db, 6, 0.6);
}

TEST(ChannelLevels, AcceptedIsTheNewUsual) {
  Hopper hopper(50, 6);
  ChannelLevels levels;
  hopper.run(levels, 960);
  for (std::size_t c = 0; c < 8; ++c) hopper.jam[c] = 2.0;   // not so much that it would be told as lasting
  hopper.run(levels, 100);
  ASSERT_GE(levels.contrast().channels, 6U);
  levels.accept();
  hopper.run(levels, 100);
  EXPECT_EQ(levels.contrast().channels, 0U);
}

// 6 dB are more than what is told as lasting: accepted they are no news, more of it is.
TEST(ChannelLevels, AcceptedIsNotTakenForLastingEither) {
  for (const bool always : {true, false}) {
    Hopper hopper(20, 12);
    for (double& each : hopper.noise) each = 0;
    ChannelLevels levels;
    if (!always) hopper.run(levels, 400);
    for (const std::size_t c : {3U, 4U, 5U}) hopper.jam[c] = 6;
    hopper.run(levels, 400);
    ASSERT_EQ(levels.contrast().channels, 3U) << always;
    levels.accept();
    for (int i = 0; i < 100; ++i) {
      hopper.run(levels, 8);
      ASSERT_EQ(levels.contrast().channels, 0U) << always << ", " << i;
    }
    for (const std::size_t c : {9U, 10U, 11U}) hopper.jam[c] = 5;
    hopper.run(levels, 20);
    EXPECT_EQ(levels.contrast().channels, 3U) << always;
  }
}

TEST(ChannelLevels, ArchiveHoldsAll) {
  Hopper hopper(50, 9);
  ChannelLevels levels;
  hopper.run(levels, 500);
  for (std::size_t c = 0; c < 6; ++c) hopper.jam[c] = 5;
  hopper.run(levels, 30);
  std::string bytes, twice;
  ArchiveWriter writer(bytes);
  levels.archive(writer);
  ChannelLevels again;
  ArchiveReader reader(bytes);
  again.archive(reader);
  ASSERT_TRUE(reader.ok() && reader.at_end());
  EXPECT_EQ(levels.contrast().channels, again.contrast().channels);
  EXPECT_EQ(levels.contrast().rise_db, again.contrast().rise_db);
  for (std::size_t c = 0; c < 50; ++c) {
    EXPECT_EQ(levels.signal_offset_db(c), again.signal_offset_db(c));
    EXPECT_EQ(levels.noise_offset_db(c), again.noise_offset_db(c));
    levels.add(c, 1, 2);
    again.add(c, 1, 2);
    EXPECT_EQ(levels.noise_offset_db(c), again.noise_offset_db(c));
  }
  ArchiveWriter second(twice);
  again.archive(second);
  ArchiveReader cut(std::string_view(bytes).substr(0, bytes.size() / 2));
  again.archive(cut);
  EXPECT_FALSE(cut.ok());
}

}  // namespace
}  // namespace fadeward::link::channel_levels_test
