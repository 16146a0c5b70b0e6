#include "fadeward/publish/push_answer.hpp"

#include <gtest/gtest.h>

namespace fadeward::publish::push_answer_test {
namespace {

using namespace std::chrono_literals;

PushOutcome of(unsigned status) {
  WebAnswer answer;
  answer.status = status;
  return outcome_of(answer);
}

// Remote-write 1.0: 5xx are retried, 4xx are not but for 429.
TEST(PushAnswer, StatusSaysWhatBecomesOfIt) {
  for (const unsigned status : {200U, 202U, 204U, 299U}) EXPECT_EQ(of(status), PushOutcome::accepted);
  for (const unsigned status : {0U, 408U, 425U, 429U, 500U, 502U, 503U, 504U, 599U})
    EXPECT_EQ(of(status), PushOutcome::later) << status;
  for (const unsigned status : {400U, 409U, 422U}) EXPECT_EQ(of(status), PushOutcome::poison);
  EXPECT_EQ(of(413), PushOutcome::too_large);
  for (const unsigned status : {100U, 301U, 302U, 307U, 308U, 401U, 403U, 404U, 405U, 415U})
    EXPECT_EQ(of(status), PushOutcome::refused) << status;
}

// Measured with Prometheus 2.42: a sample beyond the out-of-order window.
TEST(PushAnswer, ASampleThatIsTooOldIsNoFaultOfTheServerWhateverItSays) {
  WebAnswer answer;
  answer.status = 500;
  answer.body = "too old sample\n";
  EXPECT_EQ(outcome_of(answer), PushOutcome::poison);
  answer.body = "the disk is too old";
  EXPECT_EQ(outcome_of(answer), PushOutcome::later);
}

// RFC 9110 section 10.2.3; the date is the one of its section 5.6.7, 784111777 in Unix seconds.
TEST(PushAnswer, RetryAfterIsSecondsOrADate) {
  const Time now{784111777s};
  EXPECT_EQ(retry_after("120", now), Duration(120s));
  EXPECT_EQ(retry_after("0", now), Duration(0));
  EXPECT_EQ(retry_after("Sun, 06 Nov 1994 08:49:37 GMT", now - 90s), Duration(90s));
  EXPECT_EQ(retry_after("Sun, 06 Nov 1994 08:49:37 GMT", now + 90s), Duration(0)) << "past already";
}

TEST(PushAnswer, RetryAfterIsBoundedAndMayBeNonsense) {
  const Time now{784111777s};
  EXPECT_EQ(retry_after("86400", now), Duration(1h));
  EXPECT_EQ(retry_after("99999999999999999999", now), Duration(1h));
  EXPECT_EQ(retry_after("Sun, 06 Nov 2094 08:49:37 GMT", now), Duration(1h));
  for (const char* text : {"", "soon", "-5", "1.5", "Sun, 06 Nov 1994 08:49:37", "Sun, 31 Feb 1994 08:49:37 GMT",
                           "Sun, 06 Now 1994 08:49:37 GMT", "Sunday, 06-Nov-94 08:49:37 GMT"})
    EXPECT_FALSE(retry_after(text, now)) << text;
}

// The words of Prometheus 2.42 (storage/interface.go): ErrOutOfOrderSample, ErrOutOfBounds,
// ErrTooOldSample, ErrDuplicateSampleForTimestamp.
TEST(PushAnswer, KnowsComplaintsAboutTime) {
  EXPECT_TRUE(blames_time("out of order sample\n"));
  EXPECT_TRUE(blames_time("out of bounds"));
  EXPECT_TRUE(blames_time("too old sample"));
  EXPECT_TRUE(blames_time("duplicate sample for timestamp"));
  EXPECT_FALSE(blames_time("label name \"a-b\" is invalid"));
  EXPECT_FALSE(blames_time(""));
}

TEST(PushAnswer, DescribesItselfInOneSafeLine) {
  WebAnswer answer;
  EXPECT_EQ(describe(answer), "no answer");
  answer.trouble = "connect: refused";
  EXPECT_EQ(describe(answer), "connect: refused");
  answer.status = 503;
  answer.body = "over\x1bload\nmore";
  EXPECT_EQ(describe(answer), "status 503: over\\x1bload");
}

}  // namespace
}  // namespace fadeward::publish::push_answer_test
