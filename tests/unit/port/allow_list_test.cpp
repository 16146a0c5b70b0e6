#include "fadeward/port/allow_list.hpp"

#include <gtest/gtest.h>

namespace fadeward::port::allow_list_test {
namespace {

bool covers(const std::string& network, const std::string& sender) {
  const auto list = AllowList::parse({network});
  EXPECT_TRUE(list) << network;
  const auto address = parse_address(sender);
  EXPECT_TRUE(address) << sender;
  return list && address && list->contains(*address);
}

// RFC 1918, section 3: "10/8", "172.16/12" and "192.168/16" with the ranges that they stand for.
TEST(AllowList, PrivateRangesOfRfc1918) {
  EXPECT_TRUE(covers("10.0.0.0/8", "10.0.0.0"));
  EXPECT_TRUE(covers("10.0.0.0/8", "10.255.255.255"));
  EXPECT_FALSE(covers("10.0.0.0/8", "11.0.0.0"));
  EXPECT_TRUE(covers("172.16.0.0/12", "172.16.0.0"));
  EXPECT_TRUE(covers("172.16.0.0/12", "172.31.255.255"));
  EXPECT_FALSE(covers("172.16.0.0/12", "172.32.0.0"));
  EXPECT_FALSE(covers("172.16.0.0/12", "172.15.255.255"));
  EXPECT_TRUE(covers("192.168.0.0/16", "192.168.255.255"));
  EXPECT_FALSE(covers("192.168.0.0/16", "192.169.0.0"));
}

// RFC 4291, section 2.3: legal forms of the 60-bit prefix 20010DB80000CD3, and what they are not.
TEST(AllowList, PrefixNotationOfRfc4291) {
  for (const char* form : {"2001:0DB8:0000:CD30:0000:0000:0000:0000/60",
                           "2001:0DB8::CD30:0:0:0:0/60", "2001:0DB8:0:CD30::/60"}) {
    EXPECT_TRUE(covers(form, "2001:db8:0:cd30::1")) << form;
    EXPECT_TRUE(covers(form, "2001:db8:0:cd3f:ffff::")) << form;
    EXPECT_FALSE(covers(form, "2001:db8:0:cd40::")) << form;
  }
  EXPECT_FALSE(AllowList::parse({"2001:0DB8:0:CD3/60"}));  // trailing zeros are not droppable
  EXPECT_FALSE(covers("2001:0DB8::CD30/60", "2001:db8:0:cd30::1"));  // another prefix altogether
}

// RFC 4291, section 2.5.5.2: ::ffff:a.b.c.d is how an IPv4 sender looks on an IPv6 socket.
TEST(AllowList, Ipv4SenderOnAnIpv6Socket) {
  EXPECT_TRUE(covers("192.0.2.0/24", "::ffff:192.0.2.7"));
  EXPECT_FALSE(covers("192.0.2.0/24", "::ffff:192.0.3.7"));
  EXPECT_FALSE(covers("::/0", "192.0.2.7"));
  EXPECT_TRUE(covers("::/0", "2001:db8::1"));
  EXPECT_TRUE(covers("0.0.0.0/0", "203.0.113.1"));
  EXPECT_FALSE(covers("0.0.0.0/0", "2001:db8::1"));
}

TEST(AllowList, SingleAddressesAndSeveralEntries) {
  const auto list = AllowList::parse({"192.0.2.7", "2001:db8::5"});
  ASSERT_TRUE(list);
  EXPECT_TRUE(list->contains(*parse_address("192.0.2.7")));
  EXPECT_FALSE(list->contains(*parse_address("192.0.2.8")));
  EXPECT_TRUE(list->contains(*parse_address("2001:db8::5")));
  EXPECT_FALSE(list->contains(*parse_address("2001:db8::6")));
  EXPECT_FALSE(AllowList().contains(*parse_address("127.0.0.1")));
}

TEST(AllowList, RefusesWhatIsNoNetwork) {
  for (const char* wrong : {"", "mill-house", "192.0.2", "192.0.2.0/", "192.0.2.0/33",
                            "192.0.2.0/-1", "192.0.2.0/8x", "192.0.2.0/ 8", "2001:db8::/129",
                            "1.2.3.4:5000", "fe80::1%eth0", "/8", "192.0.2.0/255.255.255.0"}) {
    const auto list = AllowList::parse({wrong});
    ASSERT_FALSE(list) << wrong;
    EXPECT_NE(list.error().message.find("'" + std::string(wrong) + "'"), std::string::npos);
  }
  EXPECT_FALSE(parse_address(std::string_view("1.2.3.4\0", 8)));
  EXPECT_FALSE(parse_address(std::string(1000, '1')));
}

}  // namespace
}  // namespace fadeward::port::allow_list_test
