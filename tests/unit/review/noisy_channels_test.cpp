#include "fadeward/review/noisy_channels.hpp"

#include <gtest/gtest.h>

#include <cmath>

#include "fadeward/history/month.hpp"

namespace fadeward::review::noisy_channels_test {
namespace {

/// Twenty channels with offsets of their own over months from January 2031.
std::vector<ChannelMonth> months(std::size_t count) {
  std::vector<ChannelMonth> out;
  history::Month month{2031, 1};
  for (std::size_t m = 0; m < count; ++m, month = month.next()) {
    ChannelMonth one{month.begin(), month.end(), {}};
    for (unsigned c = 0; c < 20; ++c) one.levels.push_back({c, 0.4 * std::sin(c * 1.7)});
    out.push_back(std::move(one));
  }
  return out;
}

TEST(NoisyChannels, TheyHaveNumbersMonthsAndASize) {
  auto all = months(36);
  for (std::size_t m = 10; m < 16; ++m)
    for (unsigned c = 5; c <= 9; ++c) all[m].levels[c].noise_offset_db += m == 10 ? 3 : 7;
  for (std::size_t m = 13; m < 36; ++m) all[m].levels[17].noise_offset_db += 4;
  const auto found = noisy_channels(all);
  ASSERT_EQ(found.size(), 2u);
  EXPECT_EQ(found[0].channels, (std::vector<unsigned>{5, 6, 7, 8, 9}));
  EXPECT_EQ(found[0].from, all[10].from);
  EXPECT_EQ(found[0].to, all[15].to);
  EXPECT_NEAR(found[0].most_db, 7, 0.01);
  EXPECT_FALSE(found[0].standing);
  EXPECT_EQ(found[1].channels, std::vector<unsigned>{17}) << "noisy for most of the record";
  EXPECT_TRUE(found[1].standing);
}

TEST(NoisyChannels, AQuietBandHasNone) {
  EXPECT_TRUE(noisy_channels(months(24)).empty());
  EXPECT_TRUE(noisy_channels({}).empty());
}

TEST(NoisyChannels, Words) {
  EXPECT_EQ(channel_words({}), "");
  EXPECT_EQ(channel_words({7}), "7");
  EXPECT_EQ(channel_words({3, 4, 9, 15, 16, 17, 18}), "3, 4, 9, 15 to 18");
  std::vector<unsigned> many;
  for (unsigned c = 0; c < 60; c += 2) many.push_back(c);
  EXPECT_TRUE(channel_words(many).ends_with(", 22, ..."));
}

}  // namespace
}  // namespace fadeward::review::noisy_channels_test
