// udp: a listener that hears only whom it may.
#include <arpa/inet.h>
#include <netinet/in.h>
#include <sys/socket.h>

#include <algorithm>
#include <array>
#include <boost/asio/ip/udp.hpp>
#include <cerrno>
#include <cstdio>
#include <cstring>

#include "fadeward/port/allow_list.hpp"
#include "fadeward/net/reason.hpp"
#include "fadeward/net/lookup.hpp"
#include "source.hpp"

namespace fadeward::port {

namespace {

using boost::asio::ip::udp;

constexpr Duration kLongestWait = 10s;
constexpr Duration kLookupLimit = 5s;
constexpr int kDatagramsPerTurn = 32;
constexpr std::size_t kBufferBytes = 65536;  // above the largest datagram: none is cut
constexpr int kReceiveBufferBytes = 1 << 20;

Address address_of(const sockaddr_storage& from) {
  Address address{};
  if (from.ss_family == AF_INET6) {
    std::memcpy(address.data(), &reinterpret_cast<const sockaddr_in6&>(from).sin6_addr, 16);
  } else {
    address[10] = address[11] = 0xff;
    std::memcpy(address.data() + 12, &reinterpret_cast<const sockaddr_in&>(from).sin_addr, 4);
  }
  return address;
}

class UdpSource final : public Source {
 public:
  UdpSource(boost::asio::io_context& io, PortIndex index, const PortSettings& settings, Sink& sink)
      : Source(io, index, settings, sink, kLongestWait),
        socket_(io),
        name_(net::endpoint_name(settings.host, settings.tcp_udp_port)) {}

 private:
  void attempt(Instant now) override {
    Result<AllowList> allow = AllowList::parse(settings_.allow);
    if (!allow) return gives_up(name_ + ": allow: " + allow.error().message, now);
    allow_ = std::move(*allow);
    boost::system::error_code error;
    const auto address = boost::asio::ip::make_address(settings_.host, error);
    if (!error) return bind(address, now);
    after(kLookupLimit,
          [this](Instant later) { stays_down(name_ + ": no name server answers", later); });
    lookup_.start(io_, settings_.host,
                  [this, self = shared_from_this()](Result<net::Lookup::Addresses> found) {
                    const Instant later = clocks();
                    if (!found) return stays_down(name_ + ": " + found.error().message, later);
                    // A name such as localhost stands for both families; senders on the older one
                    // are the rule.
                    const auto ipv4 = std::find_if(found->begin(), found->end(),
                                                   [](const auto& one) { return one.is_v4(); });
                    bind(ipv4 != found->end() ? *ipv4 : found->front(), later);
                  });
  }

  void bind(const boost::asio::ip::address& address, Instant now) {
    if (allow_.empty() && !address.is_loopback()) {
      return gives_up(name_ + ": only a loopback address without a list of senders to allow", now);
    }
    const udp::endpoint here(address, settings_.tcp_udp_port);
    boost::system::error_code error;
    socket_.open(here.protocol(), error);
    if (!error) socket_.non_blocking(true, error);
    if (!error) socket_.bind(here, error);
    if (error) return stays_down(name_ + ": " + net::reason_for_errno(error.value()), now);
    const int socket = socket_.native_handle();
    const int on = 1;
    ::setsockopt(socket, SOL_SOCKET, SO_RXQ_OVFL, &on, sizeof on);
    ::setsockopt(socket, SOL_SOCKET, SO_RCVBUF, &kReceiveBufferBytes, sizeof kReceiveBufferBytes);
    dropped_ = 0;
    last_heard_length_ = 0;
    came_up("listening on " + name_, now);
  }

  void begin_reading() override {
    if (!is_open()) return;
    socket_.async_wait(udp::socket::wait_read, live([this](const boost::system::error_code& error) {
                         const Instant now = clocks();
                         if (error) {
                           went_down(name_ + ": " + net::reason_for_errno(error.value()), now);
                         } else {
                           receive(now);
                         }
                       }));
  }

  void receive(Instant now) {
    std::uint64_t refused_bytes = 0;
    int failure = 0;
    for (int i = 0; i < kDatagramsPerTurn && is_open(); ++i) {
      sockaddr_storage from{};
      std::array<char, CMSG_SPACE(sizeof(std::uint32_t))> control{};
      iovec data{buffer_.data(), buffer_.size()};
      msghdr message{};
      message.msg_name = &from;
      message.msg_namelen = sizeof from;
      message.msg_iov = &data;
      message.msg_iovlen = 1;
      message.msg_control = control.data();
      message.msg_controllen = control.size();
      const ssize_t got = ::recvmsg(socket_.native_handle(), &message, 0);
      if (got < 0) {
        failure = errno;
        break;
      }
      note_dropped(message, now);
      if (!is_open()) return;
      const auto size = static_cast<std::size_t>(got);
      if (!allow_.empty() && !allow_.contains(address_of(from))) {
        refused_bytes += size;
        refused_from_ = address_of(from);
      } else if (size > 0) {
        last_heard_ = from;
        last_heard_length_ = message.msg_namelen;
        deliver_datagram({buffer_.data(), size}, now);
      }
    }
    if (refused_bytes > 0 && is_open()) report_refused(refused_bytes, now);
    const bool passing = failure == 0 || failure == EAGAIN || failure == EINTR;
    if (!passing) return went_down(name_ + ": " + net::reason_for_errno(failure), now);
    begin_reading();
  }

  void report_refused(std::uint64_t bytes, Instant now) {
    std::array<char, INET6_ADDRSTRLEN> from{};
    ::inet_ntop(AF_INET6, refused_from_.data(), from.data(), from.size());
    std::array<char, 128> text{};
    std::snprintf(text.data(), text.size(), "datagrams from %s, which is not allowed", from.data());
    reporter_.discarded(DiscardReason::garbage, bytes, text.data(), now);
  }

  // The kernel counts what its queue had no room for, as datagrams of unknown size.
  void note_dropped(msghdr& message, Instant now) {
    for (cmsghdr* part = CMSG_FIRSTHDR(&message); part != nullptr;
         part = CMSG_NXTHDR(&message, part)) {
      if (part->cmsg_level != SOL_SOCKET || part->cmsg_type != SO_RXQ_OVFL) continue;
      std::uint32_t total = 0;
      std::memcpy(&total, CMSG_DATA(part), sizeof total);
      const std::uint32_t lost = total - dropped_;
      dropped_ = total;
      if (lost == 0) continue;
      reporter_.discarded(DiscardReason::overrun, lost,
                          "datagrams (counted as one byte each) came faster than they were fetched",
                          now);
    }
  }

  void shut() override {
    lookup_.cancel();
    boost::system::error_code ignored;
    socket_.close(ignored);
  }

  std::size_t write_now(std::span<const std::uint8_t> bytes) override {
    if (last_heard_length_ == 0) return 0;
    const ssize_t put =
        ::sendto(socket_.native_handle(), bytes.data(), bytes.size(), MSG_DONTWAIT | MSG_NOSIGNAL,
                 reinterpret_cast<const sockaddr*>(&last_heard_), last_heard_length_);
    return put > 0 ? static_cast<std::size_t>(put) : 0;
  }

  udp::socket socket_;
  net::Lookup lookup_;
  AllowList allow_;
  std::string name_;
  sockaddr_storage last_heard_{};
  socklen_t last_heard_length_ = 0;
  Address refused_from_{};
  std::uint32_t dropped_ = 0;
  std::array<std::uint8_t, kBufferBytes> buffer_;
};

}  // namespace

std::shared_ptr<Source> make_udp_source(boost::asio::io_context& io, PortIndex index,
                                        const PortSettings& settings, Sink& sink) {
  return std::make_shared<UdpSource>(io, index, settings, sink);
}

}  // namespace fadeward::port
