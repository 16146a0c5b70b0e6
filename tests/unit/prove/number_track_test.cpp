#include "fadeward/prove/number_track.hpp"

#include <gtest/gtest.h>

#include <random>
#include <set>

namespace fadeward::prove::number_track_test {
namespace {

using Arrival = NumberTrack::Arrival;

TEST(NumberTrack, InOrderLateAndAgain) {
  NumberTrack track;
  EXPECT_EQ(track.take(3), Arrival::in_order);
  EXPECT_EQ(track.take(5), Arrival::in_order);
  EXPECT_EQ(track.take(4), Arrival::late);
  EXPECT_EQ(track.take(4), Arrival::duplicate);
  EXPECT_EQ(track.take(2), Arrival::late);
  EXPECT_EQ(track.take(5), Arrival::duplicate);
  EXPECT_EQ(track.first(), 2U);
  EXPECT_EQ(track.highest(), 5U);
  EXPECT_EQ(track.distinct(), 4U);
  EXPECT_EQ(track.late(), 2U);
  EXPECT_EQ(track.duplicates(), 2U);
}

// Against a set that forgets nothing.
TEST(NumberTrack, AsASetWithinTheWindow) {
  const unsigned seed = 20310401;
  SCOPED_TRACE(seed);
  std::mt19937 random(seed);
  NumberTrack track;
  std::set<std::uint32_t> seen;
  std::uint32_t highest = 0;
  for (int i = 0; i < 200000; ++i) {
    const auto below = [&](std::uint32_t limit) {
      return static_cast<std::uint32_t>(random() % limit);
    };
    const std::uint32_t ahead = highest + 1 + below(40) * (below(50) == 0 ? 60 : 1);
    const std::uint32_t back = below(3000);
    const std::uint32_t number = random() % 3 == 0 && highest > 3000 ? highest - back : ahead;
    const bool again = !seen.insert(number).second;
    const Arrival expected = again              ? Arrival::duplicate
                             : number > highest ? Arrival::in_order
                                                : Arrival::late;
    ASSERT_EQ(track.take(number), expected) << number;
    highest = std::max(highest, number);
  }
  EXPECT_EQ(track.distinct(), seen.size());
}

TEST(NumberTrack, BelowTheWindowNobodyCanTell) {
  NumberTrack track;
  track.take(1);
  track.take(2 + NumberTrack::kWindow);
  EXPECT_EQ(track.take(2), Arrival::duplicate);
  EXPECT_EQ(track.take(3), Arrival::late);
}

TEST(NumberTrack, ALeapForgetsEverything) {
  NumberTrack track;
  for (std::uint32_t n = 1; n <= 100; ++n) track.take(n);
  const std::uint32_t far = 100 + 5 * NumberTrack::kWindow;
  EXPECT_EQ(track.take(far), Arrival::in_order);
  EXPECT_EQ(track.take(far - 7), Arrival::late);
}

}  // namespace
}  // namespace fadeward::prove::number_track_test
