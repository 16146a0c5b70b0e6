// A file that changes while it is read.
#include "fadeward/publish/web_guard.hpp"

#include <gtest/gtest.h>

#include <fstream>

#include "support/temp_dir.hpp"

namespace fadeward::publish::web_guard_test {
namespace {

using namespace std::chrono_literals;

TEST(WebGuard, WhatChangesJustAfterItWasReadIsReadAgain) {
  test::TempDir dir;
  const std::string path = dir / "web.yaml";
  std::ofstream(path) << "0";
  int reads = 0;
  const auto load = [&](const std::string&) {
    WebConfig config;
    config.headers["X-Frame-Options"] = std::to_string(++reads);
    if (reads < 3) std::ofstream(path) << std::string(static_cast<std::size_t>(reads + 1), 'x');
    return Result<WebConfig>(config);
  };
  auto made = WebGuard::make(path, load);
  ASSERT_TRUE(made);
  WebGuard& guard = **made;
  std::string why;
  EXPECT_EQ(guard.refresh(10s, why), WebGuard::Refresh::renewed);
  EXPECT_EQ(guard.refresh(20s, why), WebGuard::Refresh::renewed);
  EXPECT_EQ(guard.headers(), "X-Frame-Options: 3\r\n");
  EXPECT_EQ(guard.refresh(30s, why), WebGuard::Refresh::same);
  EXPECT_EQ(reads, 3);
}

// An editor that truncates a file before it writes it must not open the server meanwhile.
TEST(WebGuard, PasswordsDoNotVanishUnderWay) {
  test::TempDir dir;
  const std::string path = dir / "web.yaml";
  std::ofstream(path) << "0";
  WebConfig config;
  config.users["ann"] = "$2a$05$CCCCCCCCCCCCCCCCCCCCC.E5YPO9kmyuRGyh0XouQYb4YMJKvyOeW";
  auto made = WebGuard::make(path, [&](const std::string&) { return Result<WebConfig>(config); });
  ASSERT_TRUE(made);
  config.users.clear();
  std::ofstream(path) << "";
  std::string why;
  EXPECT_EQ((*made)->refresh(10s, why), WebGuard::Refresh::failed);
  EXPECT_NE(why.find("at a start only"), std::string::npos) << why;
  EXPECT_TRUE((*made)->desk().has_users());
}

}  // namespace
}  // namespace fadeward::publish::web_guard_test
