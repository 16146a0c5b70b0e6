// A server of one connection at a time on a free port of the loopback: what it says is up to the
// test.
#pragma once

#include <arpa/inet.h>
#include <netinet/in.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <atomic>
#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <thread>
#include <utility>

namespace fadeward::test {

/// One request as it came: header with its empty line, and body.
struct RawRequest {
  std::string header;
  std::string body;
};

class LoopbackServer {
 public:
  /// A connection in the hands of the test, on the server's thread.
  class Peer {
   public:
    Peer(int fd, const std::atomic<bool>& stop) : fd_(fd), stop_(stop) {}
    /// By its Content-Length. Empty: the other side is gone, or the server ends.
    std::optional<RawRequest> read() {
      std::string got;
      for (;;) {
        char piece[16384];
        const ssize_t size = readable(fd_, stop_) ? ::recv(fd_, piece, sizeof piece, 0) : 0;
        if (size <= 0) return {};
        got.append(piece, static_cast<std::size_t>(size));
        const auto end = got.find("\r\n\r\n");
        if (end == got.npos) continue;
        const std::size_t length = std::stoul(got.substr(got.find("Content-Length: ") + 16));
        if (got.size() < end + 4 + length) continue;
        return RawRequest{got.substr(0, end + 4), got.substr(end + 4, length)};
      }
    }
    void say(std::string_view text) const {
      static_cast<void>(::send(fd_, text.data(), text.size(), MSG_NOSIGNAL));
    }

   private:
    int fd_;
    const std::atomic<bool>& stop_;
  };
  /// Returns to have the connection closed.
  using Serve = std::function<void(Peer&)>;

  explicit LoopbackServer(Serve serve)
      : serve_(std::move(serve)), listener_(::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0)) {
    sockaddr_in here{};
    here.sin_family = AF_INET;
    here.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    socklen_t size = sizeof here;
    ::bind(listener_, reinterpret_cast<sockaddr*>(&here), size);
    ::listen(listener_, 8);
    ::getsockname(listener_, reinterpret_cast<sockaddr*>(&here), &size);
    port = ntohs(here.sin_port);
    thread_ = std::thread([this] { run(); });
  }
  ~LoopbackServer() {
    stop_ = true;
    thread_.join();
    ::close(listener_);
  }
  LoopbackServer(const LoopbackServer&) = delete;
  LoopbackServer& operator=(const LoopbackServer&) = delete;

  std::uint16_t port = 0;

 private:
  static bool readable(int fd, const std::atomic<bool>& stop) {
    pollfd each{fd, POLLIN, 0};
    while (!stop)
      if (::poll(&each, 1, 10) > 0) return true;
    return false;
  }
  void run() {
    while (readable(listener_, stop_)) {
      const int fd = ::accept(listener_, nullptr, nullptr);
      Peer peer(fd, stop_);
      serve_(peer);
      ::close(fd);
    }
  }
  Serve serve_;
  int listener_;
  std::atomic<bool> stop_ = false;
  std::thread thread_;
};

}  // namespace fadeward::test
