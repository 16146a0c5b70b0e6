#include "fadeward/publish/web_address.hpp"

#include <gtest/gtest.h>

namespace fadeward::publish::web_address_test {
namespace {

// RFC 3986 sections 3.2 to 3.4; ports of RFC 9110 section 4.2.
TEST(WebAddress, ComesApart) {
  const auto plain = split_web_address("http://am.example:9093/tenant/a?token=hush");
  ASSERT_TRUE(plain);
  EXPECT_FALSE(plain->tls);
  EXPECT_EQ(plain->host, "am.example");
  EXPECT_EQ(plain->port, 9093);
  EXPECT_EQ(plain->path, "/tenant/a");
  EXPECT_EQ(plain->query, "?token=hush");
  EXPECT_EQ(plain->authority, "am.example:9093");
  EXPECT_EQ(plain->label, "http://am.example:9093/tenant/a") << "no secret";
  const auto secure = split_web_address("https://[2001:db8::7]");
  ASSERT_TRUE(secure);
  EXPECT_TRUE(secure->tls);
  EXPECT_EQ(secure->host, "2001:db8::7");
  EXPECT_EQ(secure->port, 443);
  EXPECT_EQ(secure->path, "/");
  EXPECT_EQ(secure->authority, "[2001:db8::7]");
  EXPECT_EQ(secure->label, "https://[2001:db8::7]");
  EXPECT_EQ(split_web_address("http://h:80/")->authority, "h");
  EXPECT_EQ(split_web_address("https://h:80/")->authority, "h:80");
}

TEST(WebAddress, NamesNoUserEvenWhereOneIsGiven) {
  const auto address = split_web_address("https://me:hush@h/x#there");
  ASSERT_TRUE(address);
  EXPECT_EQ(address->host, "h");
  EXPECT_EQ(address->label, "https://h/x");
}

TEST(WebAddress, RefusesWhatIsNone) {
  for (const char* text : {"", "h:80", "ftp://h/", "http://", "http:///x", "http://h:0/", "http://h:65536/",
                           "http://h:8x/", "http://[::1/", "http://[::1]x/", "http"})
    EXPECT_FALSE(split_web_address(text)) << text;
}

TEST(WebAddress, PathsAreJoined) {
  EXPECT_EQ(join_path("/", "/api"), "/api");
  EXPECT_EQ(join_path("/am/", "/api"), "/am/api");
  EXPECT_EQ(join_path("/am", ""), "/am");
}

}  // namespace
}  // namespace fadeward::publish::web_address_test
