#include "fadeward/net/lookup.hpp"

#include <gtest/gtest.h>

#include <boost/asio/executor_work_guard.hpp>
#include <cerrno>
#include <chrono>

#include "fadeward/net/reason.hpp"

namespace fadeward::net::lookup_test {
namespace {

using namespace std::chrono_literals;

// RFC 6761 section 6.3: localhost is the loopback address.
TEST(Lookup, FindsTheLoopback) {
  boost::asio::io_context io;
  Lookup lookup;
  bool called = false;
  const auto work = boost::asio::make_work_guard(io);
  lookup.start(io, "localhost", [&](Result<Lookup::Addresses> found) {
    called = true;
    io.stop();
    ASSERT_TRUE(found) << found.error().message;
    ASSERT_FALSE(found->empty());
    EXPECT_TRUE(found->front().is_loopback());
  });
  EXPECT_FALSE(called) << "never from within start()";
  io.run_for(20s);
  EXPECT_TRUE(called);
}

TEST(Lookup, WhatIsCancelledIsNotCalled) {
  boost::asio::io_context io;
  bool called = false;
  {
    Lookup lookup;
    lookup.start(io, "localhost", [&](const Result<Lookup::Addresses>&) { called = true; });
    lookup.cancel();
  }
  io.run_for(300ms);
  EXPECT_FALSE(called);
}

TEST(Lookup, BracketsAnAddressWithColons) {
  EXPECT_EQ(endpoint_name("::1", 80), "[::1]:80");  // RFC 3986 section 3.2.2
  EXPECT_EQ(endpoint_name("mill.example", 8080), "mill.example:8080");
}

TEST(Reason, SpeaksToAPerson) {
  EXPECT_EQ(reason_for_errno(EACCES), "permission denied");
  EXPECT_EQ(reason_for_errno(EBUSY), "in use by another program");
  EXPECT_EQ(reason_for_errno(99999), "error 99999");
}

}  // namespace
}  // namespace fadeward::net::lookup_test
