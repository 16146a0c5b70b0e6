// Expected causes come from the contract's table of causes: what each does to the signals of both
// directions and to the noise of both ends.
#include "fadeward/judge/signature.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

namespace fadeward::judge::signature_test {
namespace {

/// What happened at the radios, in dB.
struct Happened {
  double in = 0, out = 0;               // signals
  double near_noise = 0, far_noise = 0;
};

constexpr std::array<double, kStreams> kSigma = {0.4, 0.3, 0.35, 0.35};

Changes seen(const Happened& h) {
  Changes c;
  c.by_db = {(h.in + h.out) / 2, h.in - h.out, h.near_noise, h.far_noise};
  c.sigma_db = kSigma;
  c.known.fill(true);
  return c;
}

struct Case {
  Cause cause;
  Happened per_db;
};
constexpr double kShare = 0.7;   // of an antenna's loss, in the noise of its end
const Case kTable[] = {
    {Cause::path, {-1, -1, 0, 0}},
    {Cause::near_antenna, {-1, -1, -kShare, 0}},
    {Cause::far_antenna, {-1, -1, 0, -kShare}},
    {Cause::far_transmit, {-1, 0, 0, 0}},
    {Cause::near_transmit, {0, -1, 0, 0}},
    {Cause::near_receive, {-1, 0, -1, 0}},
    {Cause::far_receive, {0, -1, 0, -1}},
    {Cause::near_noise, {0, 0, 1, 0}},
    {Cause::far_noise, {0, 0, 0, 1}},
};
Happened times(const Happened& one, double size) {
  return {one.in * size, one.out * size, one.near_noise * size, one.far_noise * size};
}
bool is_antenna(Cause cause) { return cause == Cause::near_antenna || cause == Cause::far_antenna; }

/// Log-likelihood of these changes over none, were they explained to the last bit.
double all_gain(const Changes& c) {
  double sum = 0;
  for (std::size_t i = 0; i < kStreams; ++i)
    if (c.known[i]) sum += 0.5 * c.by_db[i] * c.by_db[i] / (c.sigma_db[i] * c.sigma_db[i]);
  return sum;
}

TEST(Signature, EachCauseOfTheTableFromWhatItDoes) {
  for (const Case& one : kTable)
    for (const double size : {2.0, 3.0, 6.0, 12.0}) {
      SCOPED_TRACE(std::string(name_of(one.cause)) + " " + std::to_string(size));
      const Changes c = seen(times(one.per_db, size));
      const auto found = explain(c);
      ASSERT_TRUE(found);
      EXPECT_EQ(found->cause, one.cause);
      EXPECT_NEAR(found->size_db, size, 1e-9);
      EXPECT_NEAR(found->misfit, 0, 1e-9);
      EXPECT_GT(found->lead, 0);
      EXPECT_LE(found->gain, all_gain(c) + 1e-9);
      EXPECT_GE(found->gain, all_gain(c) - 3);   // less what a second unknown has to earn
      EXPECT_NEAR(size_of(one.cause, c), size, 1e-9);
      const bool noise_falls = is_antenna(one.cause) || one.cause == Cause::near_receive || one.cause == Cause::far_receive;
      EXPECT_NEAR(found->noise_db, !noise_falls ? 0 : is_antenna(one.cause) ? kShare * size : size, 1e-9);
      const auto effect = effect_of(*found, c);
      for (std::size_t i = 0; i < kStreams; ++i) EXPECT_NEAR(effect[i], c.by_db[i], 1e-9) << i;
    }
}

TEST(Signature, UnderNoiseTheCauseIsRightAndTheSizeUnbiased) {
  constexpr double kSize = 3;
  constexpr int kTrials = 1000;
  for (const Case& one : kTable) {
    int right = 0;
    double sum = 0, squares = 0;
    for (unsigned seed = 1; seed <= kTrials; ++seed) {
      std::mt19937_64 random(seed);
      std::normal_distribution<double> normal;
      Changes c = seen(times(one.per_db, kSize));
      for (std::size_t i = 0; i < kStreams; ++i) c.by_db[i] += kSigma[i] * normal(random);
      const auto found = explain(c);
      if (!found || found->cause != one.cause) continue;
      ++right;
      sum += found->size_db;
      squares += found->size_db * found->size_db;
    }
    // The nearest other explanation is 5 deviations away in every case.
    EXPECT_GE(right, kTrials * 98 / 100) << name_of(one.cause) << ", seeds 1.." << kTrials;
    const double mean = sum / right, deviation = std::sqrt(squares / right - mean * mean);
    EXPECT_NEAR(mean, kSize, 5 * deviation / std::sqrt(right)) << name_of(one.cause) << ", seeds 1.." << kTrials;
    EXPECT_LT(deviation, 0.45) << name_of(one.cause);
  }
}

TEST(Signature, WhatGotBetterIsNoFault) {
  for (const Case& one : kTable)
    for (const double size : {-2.0, -6.0})
      EXPECT_FALSE(explain(seen(times(one.per_db, size)))) << name_of(one.cause) << " " << size;
  EXPECT_FALSE(explain(seen({})));
}

TEST(Signature, OneDirectionAloneIsThePathUnlessTheNoiseSaysMore) {
  for (const Direction way : {Direction::inbound, Direction::outbound}) {
    Changes c;
    c.one_way = true;
    c.way = way;
    c.sigma_db = kSigma;
    c.known = {true, false, true, true};
    c.by_db = {-4, 0, 0, 0};
    const auto found = explain(c);
    ASSERT_TRUE(found);
    EXPECT_EQ(found->cause, Cause::path);
    EXPECT_NEAR(found->size_db, 4, 1e-9);
    EXPECT_NEAR(effect_of(*found, c)[0], -4, 1e-9);
    // What a transmitter of 4 dB less would do to the one signal that is known: its own, not the other.
    EXPECT_NEAR(size_of(Cause::far_transmit, c), way == Direction::inbound ? 4 : 0, 1e-9);
    EXPECT_NEAR(size_of(Cause::near_transmit, c), way == Direction::inbound ? 0 : 4, 1e-9);
    c.by_db = {0, 0, 3, 0};
    ASSERT_TRUE(explain(c));
    EXPECT_EQ(explain(c)->cause, Cause::near_noise);
  }
}

TEST(Signature, WhatIsNotKnownIsNotUsed) {
  // Without the noise of its end a receiver is no more than a one-sided loss.
  Changes c = seen({-4, 0, -4, 0});
  c.known[static_cast<std::size_t>(Stream::near_noise)] = false;
  ASSERT_TRUE(explain(c));
  EXPECT_EQ(explain(c)->cause, Cause::far_transmit);
  EXPECT_NEAR(explain(c)->size_db, 4, 1e-9);
  // Wild values of unknown streams change nothing.
  c.by_db[static_cast<std::size_t>(Stream::near_noise)] = 1e6;
  EXPECT_NEAR(explain(c)->size_db, 4, 1e-9);
  // Noise alone: the signal that is not known explains nothing.
  Changes noise = seen({-9, -9, 2, 0});
  noise.known = {false, false, true, true};
  ASSERT_TRUE(explain(noise));
  EXPECT_EQ(explain(noise)->cause, Cause::near_noise);
  EXPECT_NEAR(explain(noise)->size_db, 2, 1e-9);
  EXPECT_DOUBLE_EQ(size_of(Cause::near_antenna, noise), 0);
  EXPECT_DOUBLE_EQ(size_of(Cause::path, noise), 0);
  noise.known.fill(false);
  EXPECT_FALSE(explain(noise));
}

TEST(Signature, WhatIsLeftOverIsSaid) {
  // The far noise rose by 6 dB, and the inbound signal fell by 2 dB as well.
  const Changes c = seen({-2, 0, 0, 6});
  const auto found = explain(c);
  ASSERT_TRUE(found);
  EXPECT_EQ(found->cause, Cause::far_noise);
  EXPECT_NEAR(found->size_db, 6, 1e-9);
  const double left = std::pow(1 / kSigma[0], 2) + std::pow(2 / kSigma[1], 2);
  EXPECT_NEAR(found->misfit, left, 1e-9);
}

TEST(Signature, ASmallFallOfNoiseMakesNoAntenna) {
  // 0.3 dB is less than its own deviation: obstruction, not an antenna.
  const auto found = explain(seen({-4, -4, -0.3, 0}));
  ASSERT_TRUE(found);
  EXPECT_EQ(found->cause, Cause::path);
  EXPECT_DOUBLE_EQ(found->noise_db, 0);
}

}  // namespace
}  // namespace fadeward::judge::signature_test
