#include "fadeward/link/channels.hpp"

#include <gtest/gtest.h>

namespace fadeward::link {
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

TEST(ChannelShares, WeightsMakeAllCountAlike) {
  ChannelShares channels;
  double weight_rare = 0, weight_often = 0;
  for (int round = 0; round < 20; ++round) {
    weight_rare = weight_often = 0;
    for (int i = 0; i < 100; ++i) {
      weight_often += channels.count(channels.index_of(1));
      if (i % 3 == 0) weight_rare += channels.count(channels.index_of(2));
    }
    channels.settle();
  }
  EXPECT_NEAR(weight_rare / weight_often, 1, 0.1);
}

TEST(ChannelShares, AChannelHardlyHeardIsNotBlownUp) {
  ChannelShares channels;
  for (int i = 0; i < 1000; ++i) channels.count(channels.index_of(1));
  channels.count(channels.index_of(2));
  channels.settle();
  EXPECT_LE(channels.count(channels.index_of(2)), 64);
}

}  // namespace
}  // namespace fadeward::link
