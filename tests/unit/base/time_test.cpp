#include "fadeward/base/time.hpp"

#include <gtest/gtest.h>

#include <cmath>

namespace fadeward::time_test {
namespace {

// RFC 3339 section 5.8 gives these strings; the Unix seconds are computed with date(1).
TEST(Rfc3339, ReadsTheExamplesOfTheRfc) {
  EXPECT_DOUBLE_EQ(to_unix_seconds(*parse_rfc3339("1985-04-12T23:20:50.52Z")), 482196050.52);
  EXPECT_DOUBLE_EQ(to_unix_seconds(*parse_rfc3339("1996-12-19T16:39:57-08:00")), 851042397);
  EXPECT_DOUBLE_EQ(to_unix_seconds(*parse_rfc3339("1990-12-31T23:59:60Z")), 662688000);
  EXPECT_EQ(*parse_rfc3339("1990-12-31T15:59:60-08:00"), *parse_rfc3339("1990-12-31T23:59:60Z"));
  EXPECT_EQ(*parse_rfc3339("1937-01-01T12:00:27.87+00:20"),
            *parse_rfc3339("1937-01-01t11:40:27.870z"));
  EXPECT_EQ(*parse_rfc3339("2031-03-01 00:00:00Z"), *parse_date_or_time("2031-03-01"));
}

TEST(Rfc3339, RefusesWhatTheRfcDoesNotAllow) {
  for (const char* bad :
       {"", "2031", "2031-02-29T00:00:00Z", "2031-03-01T24:00:00Z", "2031-03-01T00:60:00Z",
        "2031-03-01T00:00:61Z", "2031-03-01T00:00:00", "2031-03-01T00:00:00.Z",
        "2031-03-01T00:00:00,5Z", "2031-03-01T00:00:00Z ", " 2031-03-01T00:00:00Z",
        "2031-3-01T00:00:00Z", "2031-03-01T00:00:00+0100", "2031-03-01T00:00:00+24:00",
        "20310301T000000Z"})
    EXPECT_FALSE(parse_rfc3339(bad)) << bad;
}

TEST(Rfc3339, WritesWhatItReads) {
  for (const char* text : {"2031-03-01T00:00:00Z", "1969-12-31T23:59:59.999999Z",
                           "2030-06-15T12:34:56.500Z", "0001-01-01T00:00:00Z"})
    EXPECT_EQ(format_rfc3339(*parse_rfc3339(text)), text);
}

TEST(Seconds, SaturateAndNeverTrap) {
  EXPECT_EQ(from_unix_seconds(1e300).time_since_epoch(), Duration::max());
  EXPECT_EQ(from_unix_seconds(-1e300).time_since_epoch(), Duration::min());
  EXPECT_EQ(seconds_to_duration(std::nan("")).count(), 0);
  EXPECT_EQ(seconds_to_duration(0.0000005).count(), 1);
}

TEST(Span, NeedsAUnit) {
  EXPECT_EQ(*parse_span("90s"), Duration{90'000'000});
  EXPECT_EQ(*parse_span("1.5h"), Duration{5'400'000'000});
  EXPECT_EQ(*parse_span("250ms"), Duration{250'000});
  EXPECT_EQ(*parse_span("5y"), Duration{5LL * 365 * 86400 * 1000000});
  for (const char* bad : {"", "15", "m", "-5s", "5 m", "5min", "1e3s", "inf", "nans", "99999999999y"})
    EXPECT_FALSE(parse_span(bad)) << bad;
}

TEST(Span, PrintsInOneUnit) {
  EXPECT_EQ(format_span(Duration{900'000'000}), "15m");
  EXPECT_EQ(format_span(Duration{90'000'000}), "90s");
  EXPECT_EQ(format_span(Duration{1'500'000}), "1500ms");
  EXPECT_EQ(format_span(Duration{0}), "0s");
}

}  // namespace
}  // namespace fadeward::time_test
