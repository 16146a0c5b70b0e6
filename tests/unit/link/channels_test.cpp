#include "fadeward/link/channels.hpp"

#include <gtest/gtest.h>

#include <array>

namespace fadeward::link::channels_test {
namespace {

TEST(ChannelShares, IndicesInOrderOfFirstUse) {
  ChannelShares channels;
  EXPECT_EQ(channels.index_of(868.1e6), 0);
  EXPECT_EQ(channels.index_of(868.3e6), 1);
  EXPECT_EQ(channels.index_of(868.1e6), 0);
  EXPECT_EQ(channels.size(), 2U);
  for (int i = 0; i < 500; ++i) channels.index_of(1000 + i);
  EXPECT_EQ(channels.size(), ChannelShares::kMost);
  EXPECT_EQ(channels.index_of(99999), ChannelShares::kMost - 1);   // further ones share the last
}

/// One frame; its weight.
double take(ChannelShares& channels, double channel) {
  const std::uint8_t index = channels.index_of(channel);
  channels.count(index, 1);
  return channels.weight(index);
}

TEST(ChannelShares, WeightsMakeAllCountAlike) {
  ChannelShares channels;
  double weight_rare = 0, weight_often = 0;
  for (int round = 0; round < 20; ++round) {
    weight_rare = weight_often = 0;
    for (int i = 0; i < 100; ++i) {
      weight_often += take(channels, 1);
      if (i % 3 == 0) weight_rare += take(channels, 2);
    }
    channels.settle();
  }
  EXPECT_NEAR(weight_rare / weight_often, 1, 0.1);
}

TEST(ChannelShares, AChannelHardlyHeardIsNotBlownUp) {
  ChannelShares channels;
  for (int i = 0; i < 1000; ++i) take(channels, 1);
  take(channels, 2);
  channels.settle();
  EXPECT_LE(channels.weight(channels.index_of(2)), 64);
}

TEST(ChannelShares, FramesMissingOnDeadChannelsAreKnown) {
  ChannelShares shares;
  for (int round = 0; round < 40; ++round)
    for (int channel = 0; channel < 50; ++channel) take(shares, channel);
  std::array<std::uint16_t, ChannelShares::kMost> heard{};
  for (std::size_t i = 0; i < 50; ++i) heard[i] = 7;
  EXPECT_DOUBLE_EQ(*shares.missing_on_dead(heard), 0);
  heard[3] = heard[17] = 0;
  heard[20] = 1;
  EXPECT_DOUBLE_EQ(*shares.missing_on_dead(heard), 7 + 7 + 6);
  heard.fill(1);
  EXPECT_FALSE(shares.missing_on_dead(heard));   // too few to tell
}

TEST(ChannelShares, FewFramesDoNotMakeUnequalWeights) {
  // Hops at random: 8 frames a channel differ by chance alone (Poisson, deviation 2.8).
  ChannelShares shares;
  for (int channel = 0; channel < 50; ++channel)
    for (int i = 0; i < 5 + channel % 7; ++i) take(shares, channel);
  shares.settle();
  for (std::uint8_t i = 0; i < 50; ++i) EXPECT_NEAR(shares.weight(i), 16, 2);
}

}  // namespace
}  // namespace fadeward::link::channels_test
