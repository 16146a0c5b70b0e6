#include "fadeward/report/json_text.hpp"

#include <gtest/gtest.h>
#include <simdjson.h>

#include <cmath>
#include <random>

namespace fadeward::report::json_text_test {
namespace {

using namespace std::string_literals;

std::string padded(std::string_view text) {
  return std::string(text) + std::string(kJsonPadding, '\0');
}

bool is_value(std::string_view text) {
  const std::string copy = padded(text);
  const char* const end = copy.data() + text.size();
  return skip_json_value(copy.data(), end) == end;
}

// The Unicode Standard, table 3-7, at its edges.
TEST(JsonText, Utf8) {
  for (const char* good :
       {"", "abc", "\x7f", "\xc2\x80", "\xdf\xbf", "\xe0\xa0\x80", "\xed\x9f\xbf", "\xee\x80\x80",
        "\xef\xbf\xbf", "\xf0\x90\x80\x80", "\xf4\x8f\xbf\xbf"})
    EXPECT_TRUE(is_valid_utf8(good));
  for (const char* bad :
       {"\x80", "\xc1\xbf", "\xc2", "\xc2\x41", "\xe0\x9f\xbf", "\xe1\x80", "\xed\xa0\x80",
        "\xf0\x8f\xbf\xbf", "\xf0\x90\x80", "\xf4\x90\x80\x80", "\xf5\x80\x80\x80", "\xff"})
    EXPECT_FALSE(is_valid_utf8(bad));
}

TEST(JsonText, Utf8EqualsSimdjsonOnRandomBytes) {
  std::mt19937_64 random(5);
  for (int i = 0; i < 200000; ++i) {
    std::string text(random() % 8, '\0');
    for (char& c : text) {
      static constexpr unsigned char kBytes[] = {0x41, 0x80, 0x8f, 0x90, 0x9f, 0xa0, 0xbf, 0xc2,
                                                 0xdf, 0xe0, 0xe2, 0xed, 0xef, 0xf0, 0xf4, 0xf5};
      c = static_cast<char>(kBytes[random() % sizeof kBytes]);
    }
    ASSERT_EQ(is_valid_utf8(text), simdjson::validate_utf8(text)) << "seed 5, round " << i;
  }
}

TEST(JsonText, Values) {
  for (const char* good : {"1", "-0.5e+3", "\"\"", "true", "false", "null", "[]", "{}",
                           "[1,[2],{}]", R"({"a":[{"b":"c"}]})", "[ ]", "{ }", "[ 1 , 2 ]"})
    EXPECT_TRUE(is_value(good)) << good;
  for (const char* bad :
       {"", "tru", "nulL", "[", "]", "{", "[1", "[1,]", "{\"a\"}", "{\"a\":}", "{\"a\":1,}",
        "{1:2}", "\"", "\"\\\"", "\"\\u00\"", "-", "1.", "[,1]", "truefalse"})
    EXPECT_FALSE(is_value(bad)) << bad;
}

TEST(JsonText, ValuesCutAtEveryLength) {
  const std::string whole = R"({"a":[1.5,"x\u00e9\n",true,{"b":null}],"c":-1e5})";
  for (std::size_t size = 0; size < whole.size(); ++size)
    EXPECT_FALSE(is_value(std::string_view(whole).substr(0, size))) << size;
  EXPECT_TRUE(is_value(whole));
}

TEST(JsonText, NumbersOfEverySize) {
  const std::pair<const char*, double> cases[] = {
      {"0", 0},
      {"-0", 0},
      {"1e308", 1e308},
      {"1e309", INFINITY},
      {"-1e309", -INFINITY},
      {"1e-400", 0},
      {"0.00000001e400", INFINITY},
      {"0e99999999999", 0},
      {"123456789012345678901234567890", 123456789012345678901234567890.0},
  };
  for (const auto& [text, expected] : cases) {
    const std::string copy = padded(text);
    double value = 1;
    bool whole = false;
    ASSERT_NE(read_json_number(copy.data(), copy.data() + std::strlen(text), value, whole),
              nullptr);
    EXPECT_EQ(value, expected) << text;
  }
  const std::string tiny = "0." + std::string(400, '0') + "1";
  const std::string huge = std::string(1, '1') + std::string(400, '0');
  for (const auto& [text, expected] :
       {std::pair{tiny, 0.0}, std::pair{huge, double(INFINITY)}, std::pair{huge + "e-400", 1.0},
        std::pair{tiny + "e401", 1.0}}) {
    const std::string copy = padded(text);
    double value = 7;
    bool whole = false;
    ASSERT_NE(read_json_number(copy.data(), copy.data() + text.size(), value, whole), nullptr);
    EXPECT_EQ(value, expected);
  }
}

}  // namespace
}  // namespace fadeward::report::json_text_test
