// Round trips of what the store writes; the contents come back bit for bit.
#include "fadeward/history/bin_code.hpp"

#include <gtest/gtest.h>

#include "fadeward/base/archive.hpp"
#include "sample_bins.hpp"

namespace fadeward::history::bin_code_test {
namespace {

using test::at;
using test::BinMaker;
using test::kApril2031;

/// All of a bin but its channels as the archive (base/archive.hpp) sees it.
std::string bytes_of(Bin bin) {
  bin.channels.clear();
  std::string out;
  ArchiveWriter writer(out);
  writer(bin);
  return out;
}

TEST(BinCode, BringsABinBackBitForBit) {
  for (std::uint32_t seed = 1; seed <= 200; ++seed) {
    SCOPED_TRACE("seed " + std::to_string(seed));
    BinMaker maker(seed);
    const Bin bin = maker.make(at(kApril2031), static_cast<int>(seed % 7) * 50);
    std::string bytes;
    encode_bin(bytes, bin);
    const auto back = decode_bin(bytes, bin.start);
    ASSERT_TRUE(back);
    EXPECT_EQ(bytes_of(*back), bytes_of(bin));
  }
}

TEST(BinCode, BringsExtremesBack) {
  Bin bin;
  bin.start = at(kApril2031);
  bin.frames = bin.lost = bin.sent = 0xffffffffU;
  bin.retries = bin.failures = 0xfffffffeU;
  bin.upkeep = true;
  bin.noise_source = NoiseSource::assumed;
  bin.loss_source = LossSource::retries;
  for (int i = 0; i < 3; ++i) bin.margin.add(40, 0xffff);  // a cell that is full
  bin.signal.add(-326.77);
  bin.signal.add(326.77);
  bin.noise.add(-4000);
  for (std::size_t i = 0; i < bin.rates.size(); ++i)
    bin.rates[i] = {static_cast<float>(-13.1 + static_cast<double>(i)), i % 2 == 0,
                    static_cast<std::uint8_t>(12 - i), 7812.5F, 0xffffffffU};
  std::string bytes;
  encode_bin(bytes, bin);
  const auto back = decode_bin(bytes, bin.start);
  ASSERT_TRUE(back);
  EXPECT_EQ(bytes_of(*back), bytes_of(bin));

  Bin odd;  // counters that make no sense together
  odd.start = bin.start;
  odd.retries = 7;
  odd.failures = 3;
  odd.rates[0].spreading_factor = 9;
  bytes.clear();
  encode_bin(bytes, odd);
  ASSERT_TRUE(decode_bin(bytes, odd.start));
  EXPECT_EQ(bytes_of(*decode_bin(bytes, odd.start)), bytes_of(odd));
}

TEST(BinCode, KeepsChannelsToAnEighthOfADecibel) {
  BinMaker maker(5, 50);
  const Bin bin = maker.make(at(kApril2031), 400);
  std::string bytes;
  encode_bin(bytes, bin);
  const auto back = decode_bin(bytes, bin.start);
  ASSERT_TRUE(back);
  std::size_t used = 0;
  for (const ChannelPart& part : bin.channels) {
    if (part.frames == 0) continue;
    const ChannelPart& kept = back->channels.at(used++);
    EXPECT_EQ(kept.channel, part.channel);
    EXPECT_EQ(kept.frames, part.frames);
    const float frames = part.frames;
    EXPECT_NEAR(kept.signal_sum_dbm / frames, part.signal_sum_dbm / frames, 0.1251F);
    EXPECT_NEAR(kept.noise_sum_dbm / frames, part.noise_sum_dbm / frames, 0.1251F);
  }
  EXPECT_EQ(used, back->channels.size());
  EXPECT_GE(used, 45U);
}

TEST(BinCode, BringsAnHourBack) {
  BinMaker maker(9);
  HourOfBins hour;
  for (std::size_t i : {0U, 2U, 3U})
    hour.bins[i] = maker.make(at(kApril2031) + kBinSpan * static_cast<std::int64_t>(i));
  hour.channels = {{3, 12, -1200.0, -1404.0}, {9, 1, -90.25, -117.5}};
  std::string bytes;
  encode_hour(bytes, hour);
  const auto back = decode_hour(bytes, at(kApril2031));
  ASSERT_TRUE(back);
  EXPECT_FALSE(back->bins[1]);
  for (const std::size_t i : {0U, 2U, 3U})
    EXPECT_EQ(bytes_of(*back->bins[i]), bytes_of(*hour.bins[i]));
  ASSERT_EQ(back->channels.size(), 2U);
  EXPECT_EQ(back->channels[1].channel, 9);
  EXPECT_DOUBLE_EQ(back->channels[0].signal_sum_dbm, -1200.0);
  EXPECT_DOUBLE_EQ(back->channels[1].noise_sum_dbm, -117.5);

  std::vector<Time> starts;
  Summary sum, wanted;
  PieceReader pieces;
  EXPECT_TRUE(pieces.visit(bytes, at(kApril2031), [&](const Summary& part) {
    starts.push_back(part.start);
    EXPECT_EQ(part.span, kBinSpan);
    sum.merge(part);
  }));
  for (const std::size_t i : {0U, 2U, 3U}) wanted.merge(*hour.bins[i]);
  EXPECT_EQ(starts,
            (std::vector<Time>{at(kApril2031), at(kApril2031 + 1800), at(kApril2031 + 2700)}));
  EXPECT_EQ(sum.frames, wanted.frames);
  EXPECT_TRUE(sum.margin == wanted.margin);
  EXPECT_TRUE(sum.signal == wanted.signal);
  EXPECT_TRUE(sum.noise == wanted.noise);
  EXPECT_EQ(sum.channels.size(), 2U);
}

TEST(BinCode, BringsASummaryBack) {
  BinMaker maker(11, 20);
  Summary sum;
  for (int i = 0; i < 3000; ++i) sum.merge(maker.make(at(kApril2031) + kBinSpan * i));
  std::string bytes;
  encode_summary(bytes, sum);
  Summary back;
  PieceReader pieces;
  ASSERT_TRUE(pieces.visit(bytes, at(kApril2031), [&](const Summary& part) { back = part; }));
  EXPECT_EQ(back.quarters, 3000U);
  EXPECT_EQ(back.frames, sum.frames);
  EXPECT_EQ(back.lost, sum.lost);
  EXPECT_EQ(back.retries, sum.retries);
  EXPECT_TRUE(back.margin == sum.margin);
  EXPECT_TRUE(back.signal == sum.signal);
  EXPECT_TRUE(back.noise == sum.noise);
  ASSERT_EQ(back.rates.size(), 1U);
  EXPECT_EQ(back.rates[0].frames, sum.frames);
  EXPECT_EQ(back.channels.size(), 20U);
}

TEST(BinCode, SaysSoWhenAByteIsWrong) {
  BinMaker maker(3, 50);
  std::string bytes;
  encode_bin(bytes, maker.make(at(kApril2031)));
  int missed = 0;
  for (std::size_t i = 0; i < bytes.size(); ++i)
    for (int bit = 0; bit < 8; ++bit) {
      std::string wrong = bytes;
      wrong[i] = static_cast<char>(wrong[i] ^ 1 << bit);
      if (decode_bin(wrong, at(kApril2031))) ++missed;
    }
  EXPECT_EQ(missed, 0) << "of " << bytes.size() * 8;
  for (std::size_t size = 0; size < bytes.size(); ++size)
    EXPECT_FALSE(decode_bin(bytes.substr(0, size), at(kApril2031))) << size;
}

TEST(BinCode, IsSmall) {
  BinMaker maker(1);
  std::size_t size = 0;
  for (int i = 0; i < 1000; ++i) {
    std::string bytes;
    encode_bin(bytes, maker.make(at(kApril2031) + kBinSpan * i));
    size += bytes.size();
  }
  RecordProperty("bytes_per_bin", static_cast<int>(size / 1000));
  EXPECT_LT(size / 1000, 90U);  // 8 MB a link-year are 114 a bin, all included
}

}  // namespace
}  // namespace fadeward::history::bin_code_test
