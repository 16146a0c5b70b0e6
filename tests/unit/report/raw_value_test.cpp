#include "fadeward/report/raw_value.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <random>
#include <string>

namespace fadeward::report::raw_value_test {
namespace {

TEST(RawValue, NumbersOfText) {
  const std::pair<const char*, double> cases[] = {
      {"0", 0},
      {"-101", -101},
      {"+7.5", 7.5},
      {".5", 0.5},
      {"5.", 5},
      {"007", 7},
      {"1e3", 1000},
      {"-1.5E-2", -0.015},
      {"  -98 ", -98},
      {"0x1F", 31},
      {"0Xff", 255},
      {"-0x10", -16},
      {"18446744073709551615", 18446744073709551615.0},
      {"123456789012345678901234", 1.23456789012345678901234e23},
      {"1e999", INFINITY},
      {"-1e999", -INFINITY},
      {"inf", INFINITY},
      {"-infinity", -INFINITY}};
  for (const auto& [text, value] : cases) {
    const RawValue raw = raw_from_text(text);
    EXPECT_TRUE(raw.numeric) << text;
    EXPECT_EQ(raw.number, value) << text;
  }
  EXPECT_TRUE(raw_from_text("nan").numeric);
  EXPECT_TRUE(std::isnan(raw_from_text("nan").number));
}

TEST(RawValue, TextThatIsNoNumber) {
  for (const char* text : {"", " ", "-", "+", ".", "-101dBm", "1 2", "1,5", "--1", "+-1", "-+1",
                           "0x", "0xg", "e5", "weir", "1e", "0x1.8", "1_000", "\xff"})
    EXPECT_FALSE(raw_from_text(text).numeric) << text;
}

TEST(RawValue, WholeNumbersKeepTheirBits) {
  EXPECT_TRUE(raw_from_text("5").whole);
  EXPECT_FALSE(raw_from_text("5.0").whole);
  EXPECT_FALSE(raw_from_text("5e0").whole);
  EXPECT_EQ(raw_from_text("-1").integer, 0xffffffffffffffffu);
  EXPECT_EQ(raw_from_text("0xdeadbeefcafef00d").integer, 0xdeadbeefcafef00du);
  EXPECT_EQ(raw_from_text("18446744073709551615").integer, 0xffffffffffffffffu);
  EXPECT_FALSE(raw_from_text("18446744073709551616").whole);
  EXPECT_EQ(raw_from_text("-9223372036854775808").integer, 0x8000000000000000u);
  EXPECT_FALSE(raw_from_text("-9223372036854775809").whole);
  EXPECT_EQ(raw_from_signed(-2).integer, 0xfffffffffffffffeu);
}

TEST(RawValue, EqualsTheStandardLibraryOnRandomDecimals) {
  std::mt19937_64 random(31);
  for (int i = 0; i < 100000; ++i) {
    std::string text = random() % 2 ? "-" : "";
    for (std::size_t k = 1 + random() % 10; k > 0; --k)
      text += static_cast<char>('0' + random() % 10);
    if (random() % 2) text += '.';
    for (std::size_t k = random() % 10; k > 0; --k) text += static_cast<char>('0' + random() % 10);
    ASSERT_EQ(raw_from_text(text).number, std::strtod(text.c_str(), nullptr)) << text;
  }
}

}  // namespace
}  // namespace fadeward::report::raw_value_test
