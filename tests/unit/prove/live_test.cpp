#include "fadeward/prove/live.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "fadeward/prove/words.hpp"

namespace fadeward::prove::live_test {
namespace {

using testing::EndsWith;
using testing::HasSubstr;

// The lines of the header, and the longest that a margin and a hundred frames a second give: whole,
// for a line too long is cut.
TEST(Walk, FitsAPhone) {
  EXPECT_EQ(Walk{}.line(Aim{{12.3, 11.8}, 10, 10, 0.412}),
            "in 12.3 out 11.8dB 10/10 best 11.8 <<");
  Walk walk;
  EXPECT_EQ(walk.line(Aim{{}, 10, 10, 0.412}), "got 10/10 100%    412 ms best 100%");
  EXPECT_EQ(walk.line(Aim{{}, 10, 9, 0.412}), "got  9/10  90%    412 ms best 100%");
  for (const double margin_db : {-123.4, 250.0}) {
    const std::string line = Walk{}.line(Aim{{margin_db, margin_db}, 999, 999, 0.412});
    EXPECT_THAT(line, EndsWith("9.9 <<"));
    EXPECT_LE(line.size(), Walk::kColumns);
  }
  const std::string line = Walk{}.line(Aim{{}, 999, 999, 123.456});
  EXPECT_THAT(line, EndsWith("best 100%"));
  EXPECT_LE(line.size(), Walk::kColumns);
  EXPECT_LE(Walk{}.line(Aim{{-99.9, -99.9}, 10000, 10000, 0.412}).size(), Walk::kColumns);
}

TEST(Walk, KeepsTheBestOfTheWeakerDirection) {
  Walk walk;
  Aim aim{{12.0, 9.0}, 20, 20, 0.4};
  EXPECT_THAT(walk.line(aim), HasSubstr("best  9.0 <<"));
  aim.margins_db = {20.0, 7.0};
  const std::string worse = walk.line(aim);
  EXPECT_THAT(worse, EndsWith("best  9.0"));
  EXPECT_THAT(worse, HasSubstr("in 20.0 out  7.0dB 20/20"));
  aim.margins_db = {10.0, 11.5};
  EXPECT_THAT(walk.line(aim), HasSubstr("best 10.0 <<"));
  aim.margins_db = {};
  EXPECT_THAT(walk.line(aim), HasSubstr("?"));
}

TEST(Walk, WithoutMarginsGoesByWhatIsDelivered) {
  Walk walk;
  EXPECT_THAT(walk.line(Aim{{}, 20, 15, 0.4}), HasSubstr("15/20  75%"));
  EXPECT_THAT(walk.line(Aim{{}, 20, 10, {}}), HasSubstr("best  75%"));
  EXPECT_THAT(walk.line(Aim{{}, 20, 10, {}}), HasSubstr("no answer"));
}

TEST(Words, Figures) {
  EXPECT_EQ(percent_words(0.01), "1 %");
  EXPECT_EQ(percent_words(0.003216), "0.322 %");
  EXPECT_EQ(percent_words(0.95), "95 %");
  EXPECT_EQ(percent_words(1), "100 %");
  EXPECT_EQ(seconds_words(0.00084), "0.84 ms");
  EXPECT_EQ(seconds_words(0.4123), "412 ms");
  EXPECT_EQ(seconds_words(2.314), "2.31 s");
  EXPECT_EQ(span_words(598), "9 min 58 s");
  EXPECT_EQ(span_words(11100), "3 h 05 min");
  EXPECT_EQ(rate_words(384), "384 bit/s");
  EXPECT_EQ(rate_words(12100), "12.1 kbit/s");
  EXPECT_EQ(count_words(1, "frame", "frames"), "1 frame");
}

}  // namespace
}  // namespace fadeward::prove::live_test
