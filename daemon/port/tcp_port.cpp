// tcp: a client that keeps trying.
#include <linux/sockios.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <sys/ioctl.h>
#include <sys/socket.h>

#include <array>
#include <boost/asio/buffer.hpp>
#include <boost/asio/error.hpp>
#include <boost/asio/ip/tcp.hpp>

#include "fadeward/net/reason.hpp"
#include "fadeward/net/lookup.hpp"
#include "source.hpp"

namespace fadeward::port {

namespace {

using boost::asio::ip::tcp;

constexpr Duration kLongestWait = 10s;
constexpr Duration kConnectLimit = 5s;  // per address
constexpr Duration kLookupLimit = 5s;
constexpr std::size_t kBufferBytes = 65536;

// A peer that vanished without a word is noticed after 30 s + 3 * 10 s of silence, and after 60 s
// where a question stays unacknowledged.
constexpr int kKeepIdle_s = 30;
constexpr int kKeepInterval_s = 10;
constexpr int kKeepProbes = 3;
constexpr int kUserTimeout_ms = 60'000;

void set_option(int socket, int level, int name, int value) {
  ::setsockopt(socket, level, name, &value, sizeof value);  // a refusal costs promptness only
}

class TcpSource final : public Source {
 public:
  TcpSource(boost::asio::io_context& io, PortIndex index, const PortSettings& settings, Sink& sink)
      : Source(io, index, settings, sink, kLongestWait),
        socket_(io),
        name_(net::endpoint_name(settings.host, settings.tcp_udp_port)) {}

 private:
  void attempt(Instant) override {
    boost::system::error_code error;
    const auto address = boost::asio::ip::make_address(settings_.host, error);
    if (!error) {
      addresses_ = {address};
      return connect(0);
    }
    after(kLookupLimit,
          [this](Instant later) { stays_down(name_ + ": no name server answers", later); });
    lookup_.start(io_, settings_.host,
                  [this, self = shared_from_this()](Result<net::Lookup::Addresses> found) {
                    const Instant later = clocks();
                    if (!found) return stays_down(name_ + ": " + found.error().message, later);
                    addresses_ = std::move(*found);
                    connect(0);
                  });
  }

  void connect(std::size_t turn) {
    boost::system::error_code ignored;
    socket_.close(ignored);
    after(kConnectLimit,
          [this, turn](Instant later) { next_address(turn, net::reason_for_errno(ETIMEDOUT), later); });
    socket_.async_connect({addresses_[turn], settings_.tcp_udp_port},
                          live([this, turn](const boost::system::error_code& error) {
                            const Instant later = clocks();
                            if (!error) return connected(later);
                            next_address(turn, net::reason_for_errno(error.value()), later);
                          }));
  }

  void next_address(std::size_t turn, const std::string& reason, Instant now) {
    new_generation();
    if (turn + 1 < addresses_.size()) return connect(turn + 1);
    stays_down(name_ + ": " + reason, now);
  }

  void connected(Instant now) {
    const int socket = socket_.native_handle();
    set_option(socket, SOL_SOCKET, SO_KEEPALIVE, 1);
    set_option(socket, IPPROTO_TCP, TCP_KEEPIDLE, kKeepIdle_s);
    set_option(socket, IPPROTO_TCP, TCP_KEEPINTVL, kKeepInterval_s);
    set_option(socket, IPPROTO_TCP, TCP_KEEPCNT, kKeepProbes);
    set_option(socket, IPPROTO_TCP, TCP_USER_TIMEOUT, kUserTimeout_ms);
    set_option(socket, IPPROTO_TCP, TCP_NODELAY, 1);
    came_up(name_, now);
  }

  void begin_reading() override {
    if (!is_open()) return;
    socket_.async_read_some(
        boost::asio::buffer(buffer_),
        live([this](const boost::system::error_code& error, std::size_t got) {
          const Instant now = clocks();
          if (got > 0) deliver({buffer_.data(), got}, now);
          if (!error) return begin_reading();
          const bool ended = error == boost::asio::error::eof;
          went_down(name_ + ": " + (ended ? "closed by the peer" : net::reason_for_errno(error.value())),
                    now);
        }));
  }

  void shut() override {
    lookup_.cancel();
    boost::system::error_code ignored;
    socket_.close(ignored);
  }

  std::size_t write_now(std::span<const std::uint8_t> bytes) override {
    const ssize_t put =
        ::send(socket_.native_handle(), bytes.data(), bytes.size(), MSG_DONTWAIT | MSG_NOSIGNAL);
    return put > 0 ? static_cast<std::size_t>(put) : 0;
  }

  std::size_t unsent() override {
    int unacknowledged = 0;
    return ::ioctl(socket_.native_handle(), SIOCOUTQ, &unacknowledged) == 0 && unacknowledged > 0
               ? static_cast<std::size_t>(unacknowledged)
               : 0;
  }

  tcp::socket socket_;
  net::Lookup lookup_;
  net::Lookup::Addresses addresses_;
  std::string name_;
  std::array<std::uint8_t, kBufferBytes> buffer_;
};

}  // namespace

std::shared_ptr<Source> make_tcp_source(boost::asio::io_context& io, PortIndex index,
                                        const PortSettings& settings, Sink& sink) {
  return std::make_shared<TcpSource>(io, index, settings, sink);
}

}  // namespace fadeward::port
