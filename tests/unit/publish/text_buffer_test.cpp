#include "fadeward/publish/text_buffer.hpp"

#include <gtest/gtest.h>

#include <string>

namespace fadeward::publish::text_buffer_test {
namespace {

void put(TextBuffer& buffer, std::string_view text) {
  buffer.grow_to(buffer.size() + text.size());
  buffer.advance_to(text.copy(buffer.end(), text.size()) + buffer.end());
}

TEST(TextBuffer, KeepsItsTextWhileItGrows) {
  TextBuffer buffer;
  EXPECT_EQ(buffer.view(), "");
  std::string expected;
  for (int i = 0; i < 1000; ++i) {
    put(buffer, std::to_string(i));
    expected += std::to_string(i);
    ASSERT_EQ(buffer.view(), expected);
  }
  const std::size_t capacity = buffer.capacity();
  buffer.clear();
  EXPECT_EQ(buffer.view(), "");
  EXPECT_EQ(buffer.room(), capacity);
}

}  // namespace
}  // namespace fadeward::publish::text_buffer_test
