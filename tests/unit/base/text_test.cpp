#include "fadeward/base/text.hpp"

#include <gtest/gtest.h>

#include <cstdio>

#include <cmath>
#include <cstdlib>
#include <limits>

namespace fadeward::text_test {
namespace {

std::string number(double value) {
  std::string out;
  append_number(out, value);
  return out;
}
std::string rounded(double value, int decimals) {
  std::string out;
  append_rounded(out, value, decimals);
  return out;
}
std::string json(std::string_view text) {
  std::string out;
  append_json_string(out, text);
  return out;
}

TEST(Number, ReadsBackAsTheSameDouble) {
  for (double value : {0.1 + 0.2, -101.25, 1e30, 5e-324, 123456789012345678.0, -0.5}) {
    EXPECT_EQ(std::strtod(number(value).c_str(), nullptr), value) << number(value);
  }
  EXPECT_EQ(number(-0.0), "0");
  EXPECT_EQ(number(std::nan("")), "null");
  EXPECT_EQ(number(std::numeric_limits<double>::infinity()), "null");
}

TEST(Rounded, HasNoTrailingZeros) {
  EXPECT_EQ(rounded(-101.249, 2), "-101.25");
  EXPECT_EQ(rounded(3.10, 2), "3.1");
  EXPECT_EQ(rounded(-0.001, 2), "0");
  EXPECT_EQ(rounded(1e300, 2), "1e+300");
}

TEST(Fixed, KeepsItsDecimals) {
  // printf("%.1f") of ISO C says the same.
  for (const double value : {20.0, -3.14159, 0.04, 1e300, 12345.678}) {
    char expected[400];
    std::snprintf(expected, sizeof expected, "%.1f", value);
    std::string out;
    append_fixed(out, value, 1);
    EXPECT_EQ(out, expected);
  }
  std::string out;
  append_fixed(out, std::numeric_limits<double>::quiet_NaN(), 1);
  EXPECT_EQ(out, "null");
  out.clear();
  append_fixed(out, -0.04, 1);
  EXPECT_EQ(out, "0.0");
}

// RFC 8259 section 7: what must be escaped. RFC 3629: what is not UTF-8.
TEST(JsonString, EscapesAndRepairs) {
  EXPECT_EQ(json("a\"b\\c\n\x01"), "\"a\\\"b\\\\c\\n\\u0001\"");
  EXPECT_EQ(json("caf\xc3\xa9 \xf0\x9f\x93\xa1"), "\"caf\xc3\xa9 \xf0\x9f\x93\xa1\"");
  EXPECT_EQ(json("\xc0\xaf"), "\"\xef\xbf\xbd\xef\xbf\xbd\"");           // overlong
  EXPECT_EQ(json("\xed\xa0\x80x"), "\"\xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbdx\"");   // surrogate
  EXPECT_EQ(json("\xf0\x9f\x93"), "\"\xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbd\"");     // cut
  EXPECT_EQ(json(std::string_view("\0", 1)), "\"\\u0000\"");
}

TEST(Printable, CannotMoveTheCursor) {
  EXPECT_EQ(printable("\x1b[2J\r\n\xff"), "\\x1b[2J\\x0d\\x0a\\xff");
  EXPECT_EQ(printable("\xc2\x9b" "2J"), "\\xc2\\x9b2J");
  EXPECT_EQ(printable("abcdef", 3), "abc...");
}

}  // namespace
}  // namespace fadeward::text_test
