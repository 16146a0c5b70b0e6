#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <boost/asio/buffer.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/read.hpp>
#include <boost/asio/write.hpp>

#include "fadeward/port/port.hpp"
#include "recorder.hpp"

namespace fadeward::port::tcp_port_test {
namespace {

using boost::asio::ip::tcp;
using testing::ElementsAre;

/// A terminal server on loopback. It runs in the test's own loop.
class Server {
 public:
  explicit Server(boost::asio::io_context& io, std::uint16_t port = 0)
      : acceptor_(io, {boost::asio::ip::address_v4::loopback(), port}), peer_(io) {
    accept();
  }
  std::uint16_t port() { return acceptor_.local_endpoint().port(); }
  int accepted() const { return accepted_; }
  void say(const std::string& text) { boost::asio::write(peer_, boost::asio::buffer(text)); }
  void drop() { peer_.close(); }
  std::string heard() {
    std::string bytes(peer_.available(), '\0');
    boost::asio::read(peer_, boost::asio::buffer(bytes));
    return bytes;
  }

 private:
  void accept() {
    acceptor_.async_accept([this](const boost::system::error_code& error, tcp::socket peer) {
      if (error) return;
      ++accepted_;
      peer_ = std::move(peer);
      accept();
    });
  }
  tcp::acceptor acceptor_;
  tcp::socket peer_;
  int accepted_ = 0;
};

class TcpPort : public testing::Test {
 protected:
  std::unique_ptr<Port> started(const std::string& host, std::uint16_t number,
                                std::optional<PollSettings> poll = {}) {
    PortSettings settings;
    settings.source = SourceKind::tcp;
    settings.host = host;
    settings.tcp_udp_port = number;
    settings.poll = std::move(poll);
    auto port = make_port(io, 0, settings, seen);
    port->start();
    return port;
  }
  bool run_until_events(std::size_t count) {
    return run_until(io, [&] { return seen.events.size() >= count; });
  }

  boost::asio::io_context io;
  Recorder seen;
};

TEST_F(TcpPort, ReadsAndComesBackAfterTheServerRestarts) {
  std::optional<Server> server(io);
  const std::uint16_t number = server->port();
  const auto port = started("127.0.0.1", number);
  ASSERT_TRUE(run_until(io, [&] { return !seen.events.empty() && server->accepted() == 1; }));
  const std::string name = "127.0.0.1:" + std::to_string(number);
  EXPECT_EQ(seen.events[0].kind, Kind::opened);
  EXPECT_EQ(seen.events[0].text, name);
  server->say("one\n");
  ASSERT_TRUE(run_until(io, [&] { return seen.bytes == "one\n"; }));

  server.reset();
  ASSERT_TRUE(run_until_events(3));
  EXPECT_EQ(seen.events[1].text, name + ": closed by the peer");
  EXPECT_EQ(seen.events[2].text, name + ": connection refused");
  run_for(io, 600ms);  // more attempts, no more words
  EXPECT_THAT(seen.kinds(), ElementsAre(Kind::opened, Kind::closed, Kind::failed));

  server.emplace(io, number);
  ASSERT_TRUE(run_until(io, [&] { return seen.events.size() == 4 && server->accepted() == 1; }));
  EXPECT_EQ(seen.events[3].kind, Kind::opened);
  server->say("two\n");
  ASSERT_TRUE(run_until(io, [&] { return seen.bytes == "one\ntwo\n"; }));
}

TEST_F(TcpPort, AServerThatHangsUpAtOnceIsNotHammered) {
  Server server(io);
  const auto port = started("127.0.0.1", server.port());
  const auto end = std::chrono::steady_clock::now() + 1600ms;
  while (std::chrono::steady_clock::now() < end) {
    run_for(io, 10ms);
    server.drop();
  }
  // 0, 0.25 and 0.75 s after the first; the next would be at 1.75 s.
  EXPECT_LE(server.accepted(), 3);
  EXPECT_GE(server.accepted(), 2);
}

TEST_F(TcpPort, FindsAName) {
  Server server(io);
  const auto port = started("localhost", server.port());
  ASSERT_TRUE(run_until_events(1));
  EXPECT_EQ(seen.events[0].kind, Kind::opened) << seen.events[0].text;
}

TEST_F(TcpPort, ANameThatCannotBeIsAnEvent) {
  const auto port = started("no such name", 9);
  ASSERT_TRUE(run_until(
      io, [&] { return !seen.events.empty(); }, 8000ms));
  EXPECT_EQ(seen.events[0].kind, Kind::failed);
  EXPECT_EQ(seen.events[0].text.substr(0, 16), "no such name:9: ");
}

TEST_F(TcpPort, StopDuringALookupEndsTheLoop) {
  const auto port = started("stopped-early.invalid", 9);  // RFC 6761, 6.4: never resolves
  io.run_one_for(1s);
  port->stop();
  EXPECT_LT(time_to_end(io), kPromptly);
  EXPECT_TRUE(seen.events.empty());
}

TEST_F(TcpPort, StopEndsTheLoopWhetherConnectedOrNot) {
  auto server = std::make_unique<Server>(io);
  const auto connected = started("127.0.0.1", server->port());
  ASSERT_TRUE(run_until(io, [&] { return !seen.events.empty() && server->accepted() == 1; }));
  connected->stop();
  const std::uint16_t number = server->port();
  server.reset();
  EXPECT_LT(time_to_end(io), kPromptly);
  const auto refused = started("127.0.0.1", number);
  ASSERT_TRUE(run_until_events(2));
  refused->stop();
  EXPECT_LT(time_to_end(io), kPromptly);
}

TEST_F(TcpPort, Asks) {
  Server server(io);
  const auto port = started("127.0.0.1", server.port(),
                            PollSettings{.send = "?\r", .every = 50ms, .quiet_before = 0s});
  ASSERT_TRUE(
      run_until(io, [&] { return server.accepted() == 1 && port->counts().polls_sent == 2; }));
  run_for(io, 20ms);
  EXPECT_EQ(server.heard(), "?\r?\r");
}

}  // namespace
}  // namespace fadeward::port::tcp_port_test
