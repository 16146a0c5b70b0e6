// Powers and data rates there and back, to the bit.
#include "fadeward/history/rate_code.hpp"

#include <gtest/gtest.h>

#include <bit>
#include <limits>
#include <string>

namespace fadeward::history::rate_code_test {
namespace {

std::vector<RateTotal> there_and_back(const std::vector<RateTotal>& rates, std::uint64_t frames,
                                      std::vector<RateTotal> near = {}) {
  std::string bytes;
  std::vector<RateTotal> near_back = near;
  {
    BitWriter bits(bytes);
    put_rates(bits, rates, frames, near);
  }
  BitReader bits(bytes);
  std::vector<RateTotal> back;
  EXPECT_TRUE(get_rates(bits, back, frames, near_back));
  return back;
}

void expect_same(const std::vector<RateTotal>& back, const std::vector<RateTotal>& rates) {
  ASSERT_EQ(back.size(), rates.size());
  for (std::size_t i = 0; i < rates.size(); ++i) {
    EXPECT_TRUE(same_bits(back[i], rates[i])) << i;
    EXPECT_EQ(back[i].frames, rates[i].frames) << i;
  }
}

TEST(RateCode, BringsRatesBack) {
  expect_same(there_and_back({}, 0), {});
  const std::vector<RateTotal> one = {{14.25F, true, 7, 125000, 90}};
  expect_same(there_and_back(one, 90), one);
  const std::vector<RateTotal> some = {
      {-0.0F, false, 0, 7812.5F, 0},
      {13.1F, true, 12, 0, 1},
      {1e30F, true, 255, -250000, 1ULL << 40}};
  expect_same(there_and_back(some, 90), some);
}

TEST(RateCode, WhatIsAsBeforeTakesTwoBits) {
  const std::vector<RateTotal> one = {{14, true, 7, 125000, 90}};
  std::vector<RateTotal> near = one;
  std::string bytes;
  {
    BitWriter bits(bytes);
    put_rates(bits, one, 90, near);
    EXPECT_TRUE(bytes.empty());  // nothing but bits that wait for their byte
  }
  EXPECT_EQ(bytes.size(), 1U);
  expect_same(there_and_back(one, 90, one), one);
  // Minus zero is not zero, and no number is what itself is not equal to.
  const std::vector<RateTotal> zero = {{0.0F, true, 7, 125000, 90}},
                               minus = {{-0.0F, true, 7, 125000, 90}},
                               none = {{std::numeric_limits<float>::quiet_NaN(), true, 7, 0, 90}};
  expect_same(there_and_back(minus, 90, zero), minus);
  expect_same(there_and_back(none, 90, none), none);
}

TEST(RateCode, MoreThanASummaryHoldsIsRefused) {
  const std::vector<RateTotal> many(Summary::kMostRates + 1);
  std::string bytes;
  std::vector<RateTotal> near;
  {
    BitWriter bits(bytes);
    put_rates(bits, many, 0, near);
  }
  BitReader bits(bytes);
  std::vector<RateTotal> back, near_back;
  EXPECT_FALSE(get_rates(bits, back, 0, near_back));
}

}  // namespace
}  // namespace fadeward::history::rate_code_test
