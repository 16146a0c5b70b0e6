#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <boost/asio/buffer.hpp>
#include <boost/asio/ip/udp.hpp>

#include "fadeward/port/port.hpp"
#include "recorder.hpp"

namespace fadeward::port::udp_port_test {
namespace {

using boost::asio::ip::make_address;
using boost::asio::ip::udp;
using testing::ElementsAre;
using testing::HasSubstr;

std::uint16_t free_port() {
  boost::asio::io_context io;
  udp::socket socket(io, udp::endpoint(make_address("127.0.0.1"), 0));
  return socket.local_endpoint().port();
}

class UdpPort : public testing::Test {
 protected:
  std::unique_ptr<Port> started(const std::string& host, std::vector<std::string> allow,
                                std::optional<PollSettings> poll = {}) {
    PortSettings settings;
    settings.source = SourceKind::udp;
    settings.host = host;
    settings.tcp_udp_port = number;
    settings.allow = std::move(allow);
    settings.poll = std::move(poll);
    auto port = make_port(io, 0, settings, seen);
    port->start();
    EXPECT_TRUE(run_until(io, [&] { return !seen.events.empty(); }));
    return port;
  }
  /// A sender on one of the addresses 127.0.0.0/8, all of which are this machine.
  udp::socket sender(const std::string& from) {
    return udp::socket(io, udp::endpoint(make_address(from), 0));
  }
  void send(udp::socket& socket, const std::string& text) {
    socket.send_to(boost::asio::buffer(text), {make_address("127.0.0.1"), number});
  }

  std::uint16_t number = free_port();
  boost::asio::io_context io;
  Recorder seen;
};

TEST_F(UdpPort, EachDatagramIsOneCall) {
  const auto port = started("127.0.0.1", {});
  EXPECT_EQ(seen.events[0].kind, Kind::opened);
  EXPECT_EQ(seen.events[0].text, "listening on 127.0.0.1:" + std::to_string(number));
  auto socket = sender("127.0.0.1");
  send(socket, "rssi=-90");
  send(socket, "");
  const std::string large(65507, 'x');  // RFC 768 with RFC 791: 65535 - 20 - 8
  send(socket, large);
  send(socket, all_byte_values());
  ASSERT_TRUE(run_until(io, [&] { return seen.datagrams.size() == 3; }));
  EXPECT_THAT(seen.datagrams, ElementsAre("rssi=-90", large, all_byte_values()));
  EXPECT_TRUE(seen.bytes.empty());
}

TEST_F(UdpPort, ANameIsListenedOnAtItsIpv4Address) {
  const auto port = started("localhost", {});
  EXPECT_EQ(seen.events[0].kind, Kind::opened) << seen.events[0].text;
  auto socket = sender("127.0.0.1");
  send(socket, "heard");
  ASSERT_TRUE(run_until(io, [&] { return !seen.datagrams.empty(); }));
  EXPECT_THAT(seen.datagrams, ElementsAre("heard"));
}

TEST_F(UdpPort, OnlyLoopbackWithoutAnAllowList) {
  const auto port = started("0.0.0.0", {});
  EXPECT_EQ(seen.events[0].kind, Kind::failed);
  EXPECT_THAT(seen.events[0].text, HasSubstr("only a loopback address"));
  EXPECT_LT(time_to_end(io), kPromptly) << "trying again cannot help";
}

TEST_F(UdpPort, OthersAreDroppedAndCounted) {
  const auto port = started("0.0.0.0", {"127.0.1.0/24"});
  ASSERT_EQ(seen.events[0].kind, Kind::opened);
  auto friendly = sender("127.0.1.9");
  auto foreign = sender("127.0.2.9");
  send(foreign, "0123456789");
  send(friendly, "good");
  send(foreign, "01234");
  ASSERT_TRUE(run_until(io, [&] {
    std::uint64_t dropped = 0;
    for (const auto& event : seen.events) dropped += event.count;
    return dropped >= 15 && !seen.datagrams.empty();
  }));
  EXPECT_THAT(seen.datagrams, ElementsAre("good"));
  EXPECT_EQ(seen.events.back().kind, Kind::discarded);
  EXPECT_EQ(seen.events.back().discard, DiscardReason::garbage);
  EXPECT_THAT(seen.events.back().text, HasSubstr("127.0.2.9"));
  EXPECT_EQ(port->counts().bytes, 4U);
}

TEST_F(UdpPort, AnIpv6ListenerKnowsIpv4Senders) {
  const auto port = started("::", {"127.0.1.0/24"});
  if (seen.events[0].kind != Kind::opened) GTEST_SKIP() << seen.events[0].text;
  auto friendly = sender("127.0.1.9");
  auto foreign = sender("127.0.2.9");
  send(foreign, "foreign");
  send(friendly, "good");
  ASSERT_TRUE(run_until(io, [&] { return !seen.datagrams.empty() && seen.events.size() > 1; }));
  EXPECT_THAT(seen.datagrams, ElementsAre("good"));
  EXPECT_EQ(seen.events[1].count, 7U);
}

TEST_F(UdpPort, AnImpossibleAllowListOpensNothing) {
  const auto port = started("127.0.0.1", {"everybody"});
  EXPECT_EQ(seen.events[0].kind, Kind::failed);
  EXPECT_THAT(seen.events[0].text, HasSubstr("'everybody'"));
}

TEST_F(UdpPort, AnAddressInUseIsSaidOnceAndTakenWhenFree) {
  std::optional<udp::socket> other(std::in_place, io,
                                   udp::endpoint(make_address("127.0.0.1"), number));
  const auto port = started("127.0.0.1", {});
  run_for(io, 400ms);
  EXPECT_THAT(seen.kinds(), ElementsAre(Kind::failed));
  EXPECT_THAT(seen.events[0].text, HasSubstr("address already in use"));
  other.reset();
  ASSERT_TRUE(run_until(io, [&] { return seen.events.size() == 2; }));
  EXPECT_EQ(seen.events[1].kind, Kind::opened);
}

TEST_F(UdpPort, AsksWhoWasHeardLast) {
  const auto port =
      started("127.0.0.1", {}, PollSettings{.send = "?", .every = 50ms, .quiet_before = 0s});
  ASSERT_TRUE(run_until(io, [&] { return port->counts().polls_abandoned > 0; })) << "nobody yet";
  auto socket = sender("127.0.0.1");
  send(socket, "here");
  ASSERT_TRUE(run_until(io, [&] { return port->counts().polls_sent > 0; }));
  std::string asked(10, '\0');
  asked.resize(socket.receive(boost::asio::buffer(asked)));
  EXPECT_EQ(asked, "?");
}

TEST_F(UdpPort, AFloodIsCountedNotLostSilently) {
  const auto port = started("127.0.0.1", {});
  auto socket = sender("127.0.0.1");
  const std::string text(1000, 'x');
  constexpr std::size_t kSent = 20'000;  // more than any receive buffer here
  for (std::size_t i = 0; i < kSent; ++i) send(socket, text);
  ASSERT_TRUE(run_until(io, [&] { return seen.datagrams.size() > 100; }));
  run_for(io, 100ms);
  send(socket, "last");
  ASSERT_TRUE(run_until(io, [&] { return seen.datagrams.back() == "last"; }));
  std::uint64_t lost = 0;
  for (const auto& event : seen.events) {
    if (event.kind == Kind::discarded && event.discard == DiscardReason::overrun)
      lost += event.count;
  }
  EXPECT_GT(lost, 0U);
  EXPECT_EQ(seen.datagrams.size() - 1 + lost, kSent);
}

TEST_F(UdpPort, StopEndsTheLoop) {
  const auto port = started("127.0.0.1", {});
  port->stop();
  EXPECT_LT(time_to_end(io), kPromptly);
  EXPECT_EQ(seen.events.size(), 1U);
}

}  // namespace
}  // namespace fadeward::port::udp_port_test
