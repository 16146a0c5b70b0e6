#include "fadeward/publish/gzip.hpp"

#include <gtest/gtest.h>

#include <random>

#include "unit/publish/inflate.hpp"

namespace fadeward::publish::gzip_test {
namespace {

TEST(GzipWriter, PiecesOfAnySizeComeBack) {
  const unsigned seed = 7;
  SCOPED_TRACE("seed " + std::to_string(seed));
  std::mt19937 random(seed);
  std::string text;
  std::string body = "before";
  GzipWriter gzip(body);
  for (int i = 0; i < 200; ++i) {
    std::string piece(random() % 5000, ' ');
    for (char& c : piece) c = static_cast<char>(i % 2 == 0 ? random() : 'a' + random() % 3);
    gzip.add(piece);
    text += piece;
  }
  ASSERT_TRUE(gzip.finish());
  EXPECT_EQ(body.substr(0, 6), "before");
  EXPECT_EQ(testing::inflated(std::string_view(body).substr(6)), text);
}

TEST(GzipWriter, NothingIsAMemberToo) {
  std::string body;
  GzipWriter gzip(body);
  ASSERT_TRUE(gzip.finish());
  EXPECT_EQ(testing::inflated(body), "");
}

}  // namespace
}  // namespace fadeward::publish::gzip_test
