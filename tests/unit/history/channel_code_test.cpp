// Hop channels there and back: frames exactly, means within the promised eighth of a decibel.
#include "fadeward/history/channel_code.hpp"

#include <gtest/gtest.h>

#include <random>
#include <string>

namespace fadeward::history::channel_code_test {
namespace {

std::string bytes_of(const std::vector<ChannelTotal>& channels) {
  std::string bytes;
  BitWriter bits(bytes);
  put_channels(bits, channels);
  bits.bits(0x2b, 7);
  bits.finish();
  return bytes;
}

std::vector<ChannelTotal> some_channels(std::mt19937& random) {
  const auto below = [&random](unsigned most) { return static_cast<unsigned>(random()) % most; };
  std::vector<ChannelTotal> out;
  const bool dense = below(2) == 0;
  const unsigned most = below(5) == 0 ? 5000000 : 40;
  unsigned channel = 0;
  for (unsigned i = below(90); i > 0; --i) {
    if (!dense) channel += below(30);
    const std::uint64_t frames = 1 + below(most);
    const auto count = static_cast<double>(frames);
    out.push_back({static_cast<std::uint16_t>(channel++), frames,
                   count * (-120 + 0.01 * below(8000)),
                   count * (-125 + 0.01 * below(1000))});
  }
  return out;
}

TEST(ChannelCode, BringsChannelsBack) {
  for (unsigned seed = 1; seed <= 400; ++seed) {
    SCOPED_TRACE("seed " + std::to_string(seed));
    std::mt19937 random(seed);
    const auto channels = some_channels(random);
    const std::string bytes = bytes_of(channels);
    BitReader bits(bytes);
    std::vector<ChannelTotal> back(3);  // what was there before is gone
    ASSERT_TRUE(get_channels(bits, back));
    EXPECT_EQ(bits.bits(7), 0x2bU);
    ASSERT_EQ(back.size(), channels.size());
    for (std::size_t i = 0; i < back.size(); ++i) {
      EXPECT_EQ(back[i].channel, channels[i].channel);
      ASSERT_EQ(back[i].frames, channels[i].frames);
      const auto frames = static_cast<double>(back[i].frames);
      EXPECT_NEAR(back[i].signal_sum_dbm / frames, channels[i].signal_sum_dbm / frames, 0.12501);
      EXPECT_NEAR(back[i].noise_sum_dbm / frames, channels[i].noise_sum_dbm / frames, 0.12501);
    }
  }
}

TEST(ChannelCode, NumbersThatCannotBeAreRefused) {
  const auto refused = [](const std::vector<ChannelTotal>& channels) {
    const std::string bytes = bytes_of(channels);
    BitReader bits(bytes);
    std::vector<ChannelTotal> back;
    return !get_channels(bits, back);
  };
  EXPECT_FALSE(refused({{1, 2, -200, -240}, {7, 1, -3999, -120}}));
  EXPECT_TRUE(refused({{1, 2, -200, -240}, {7, 1, -4001, -120}}));
  EXPECT_TRUE(refused({{1, 2, -200, -240}, {7, 1, -100, 4001}}));
  EXPECT_TRUE(refused({{1, std::uint64_t{1} << 49, -200, -240}}));
}

TEST(ChannelCode, CutAnywhereItIsRefused) {
  std::mt19937 random(4);
  std::vector<ChannelTotal> channels;
  while (channels.size() < 20) channels = some_channels(random);
  const std::string bytes = bytes_of(channels);
  for (std::size_t size = 0; size + 2 < bytes.size(); ++size) {
    BitReader bits(std::string_view(bytes).substr(0, size));
    std::vector<ChannelTotal> back;
    EXPECT_FALSE(get_channels(bits, back)) << size << " of " << bytes.size();
  }
}

}  // namespace
}  // namespace fadeward::history::channel_code_test
