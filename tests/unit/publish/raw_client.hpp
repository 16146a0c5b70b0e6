// A client that sends whatever it is told over a plain socket: RFC 9112 read by hand.
#pragma once

#include <arpa/inet.h>
#include <netinet/in.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <chrono>
#include <cstdint>
#include <cstdlib>
#include <string>
#include <string_view>

namespace fadeward::publish::testing {

struct Reply {
  int status = 0;            ///< 0: the connection ended before a whole header
  std::string header;
  std::string body;

  std::string field(const std::string& name) const {
    const auto at = header.find("\r\n" + name + ": ");
    if (at == std::string::npos) return "";
    const auto begin = at + name.size() + 4;
    return header.substr(begin, header.find("\r\n", begin) - begin);
  }
};

class RawClient {
 public:
  explicit RawClient(std::uint16_t port) : fd_(socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0)) {
    if (port != 0) connect(port);
  }
  ~RawClient() { close(); }
  RawClient(RawClient&& other) noexcept : fd_(other.fd_), held_(std::move(other.held_)) {
    other.fd_ = -1;
  }
  RawClient(const RawClient&) = delete;
  RawClient& operator=(const RawClient&) = delete;
  RawClient& operator=(RawClient&&) = delete;

  bool connect(std::uint16_t port) {
    sockaddr_in to{};
    to.sin_family = AF_INET;
    to.sin_port = htons(port);
    to.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    return ::connect(fd_, reinterpret_cast<sockaddr*>(&to), sizeof to) == 0;
  }
  void close() {
    if (fd_ >= 0) ::close(fd_);
    fd_ = -1;
  }
  bool send(std::string_view bytes) {
    while (!bytes.empty()) {
      const ssize_t sent = ::send(fd_, bytes.data(), bytes.size(), MSG_NOSIGNAL);
      if (sent <= 0) return false;
      bytes.remove_prefix(static_cast<std::size_t>(sent));
    }
    return true;
  }

  /// One reply with its body by Content-Length; bytes beyond it are kept for the next.
  Reply receive(bool head = false) {
    Reply reply;
    std::size_t end = 0;
    while ((end = held_.find("\r\n\r\n")) == std::string::npos) {
      if (!more()) return reply;
    }
    reply.header = held_.substr(0, end + 2);
    held_.erase(0, end + 4);
    const std::size_t length = std::strtoul(reply.field("Content-Length").c_str(), nullptr, 10);
    while (!head && held_.size() < length) {
      if (!more()) return reply;
    }
    reply.body = held_.substr(0, head ? 0 : length);
    held_.erase(0, reply.body.size());
    reply.status = std::atoi(reply.header.c_str() + reply.header.find(' '));
    return reply;
  }
  Reply get(const std::string& path, const std::string& fields = "",
            const std::string& method = "GET") {
    send(method + " " + path + " HTTP/1.1\r\nHost: localhost\r\n" + fields + "\r\n");
    return receive(method == "HEAD");
  }

  /// True once the other side has closed and nothing is left to read.
  bool closed() {
    while (more()) {
    }
    return held_.empty() && !timed_out_;
  }

 private:
  /// False at the end of the connection or after 5 s without a byte.
  bool more() {
    pollfd wait{fd_, POLLIN, 0};
    timed_out_ = poll(&wait, 1, 5000) == 0;
    if (timed_out_) return false;
    char piece[65536];
    const ssize_t size = recv(fd_, piece, sizeof piece, 0);
    if (size <= 0) return false;
    held_.append(piece, static_cast<std::size_t>(size));
    return true;
  }

  int fd_;
  bool timed_out_ = false;
  std::string held_;
};

}  // namespace fadeward::publish::testing
