#include "fadeward/port/backoff.hpp"

#include <gtest/gtest.h>

namespace fadeward::port::backoff_test {
namespace {

using namespace std::chrono_literals;

TEST(Backoff, DoublesUpToTheLongest) {
  Backoff backoff(250ms, 2s, 5s);
  EXPECT_EQ(backoff.next(), 250ms);
  EXPECT_EQ(backoff.next(), 500ms);
  EXPECT_EQ(backoff.next(), 1s);
  EXPECT_EQ(backoff.next(), 2s);
  EXPECT_EQ(backoff.next(), 2s);
}

TEST(Backoff, BeginsAgainOnlyAfterASettledOpening) {
  Backoff backoff(250ms, 10s, 5s);
  backoff.next();
  backoff.next();
  backoff.was_open_for(4999ms);
  EXPECT_EQ(backoff.next(), 1s);
  backoff.was_open_for(5s);
  EXPECT_EQ(backoff.next(), 250ms);
}

}  // namespace
}  // namespace fadeward::port::backoff_test
