#include "fadeward/base/html_text.hpp"

#include <gtest/gtest.h>

namespace fadeward::html_text_test {
namespace {

std::string html(std::string_view text, std::size_t limit = 1000) {
  std::string out = "<p>";
  append_html(out, text, limit);
  return out;
}

// The characters that stand for markup: HTML Living Standard, 13.3 (serialising), and the apostrophe
// by its number, for attributes in single quotes.
TEST(HtmlText, NothingOfItIsMarkup) {
  EXPECT_EQ(html("<b a=\"1\" c='2'>&amp;"),
            "<p>&lt;b a=&quot;1&quot; c=&#39;2&#39;&gt;&amp;amp;");
}

TEST(HtmlText, ControlCharactersAndBrokenEncodingAreShown) {
  EXPECT_EQ(html("a\x1b[31m\n\xff"), "<p>a\\x1b[31m\\x0a\\xff");
  EXPECT_EQ(html("17 \xc2\xb5V"), "<p>17 \xc2\xb5V");
}

TEST(HtmlText, IsBounded) { EXPECT_LT(html(std::string(5000, '<'), 20).size(), 3 + 4 * 24U); }

}  // namespace
}  // namespace fadeward::html_text_test
