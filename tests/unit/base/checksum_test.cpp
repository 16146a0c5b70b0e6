#include "fadeward/base/checksum.hpp"

#include <gtest/gtest.h>

namespace fadeward::checksum_test {
namespace {

// Test vectors of the FNV authors for 64 bits, FNV-1a (from memory).
TEST(Checksum, IsFnv1a) {
  EXPECT_EQ(checksum_of(""), 0xcbf29ce484222325U);
  EXPECT_EQ(checksum_of("a"), 0xaf63dc4c8601ec8cU);
  EXPECT_EQ(checksum_of("foobar"), 0x85944171f73967e8U);
}

}  // namespace
}  // namespace fadeward::checksum_test
