// serial: a device that may vanish at any moment and come back under the same link.
#include <unistd.h>

#include <array>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <cerrno>

#include "fadeward/net/reason.hpp"
#include "fadeward/port/serial_line.hpp"
#include "source.hpp"

namespace fadeward::port {

namespace {

constexpr Duration kLongestWait = 2s;  // looking for a device node costs next to nothing
constexpr Duration kOverrunInterval = 30s;
constexpr int kEmptyWakeups = 3;  // as many without a byte, then with pauses
constexpr Duration kPause = 250ms;
constexpr std::size_t kBufferBytes = 16384;  // the kernel hands out at most 4 KiB at once

class SerialSource final : public Source {
 public:
  SerialSource(boost::asio::io_context& io, PortIndex index, const PortSettings& settings,
               Sink& sink)
      : Source(io, index, settings, sink, kLongestWait), stream_(io) {}
  ~SerialSource() override { SerialSource::shut(); }

 private:
  void attempt(Instant now) override {
    Result<Descriptor> opened = open_serial(settings_.path, settings_.serial);
    if (!opened) return stays_down(opened.error().message, now);
    boost::system::error_code error;
    stream_.assign(opened->get(), error);
    if (error) {
      close_serial(std::move(*opened));
      return stays_down(settings_.path + ": " + net::reason_for_errno(error.value()), now);
    }
    const int device = opened->release();
    overruns_ = serial_overruns(device);
    overruns_read_at_ = now.steady;
    empty_wakeups_ = 0;
    came_up(settings_.path + ": " + describe_serial(device), now);
  }

  void begin_reading() override { wait(); }

  void wait() {
    if (!is_open()) return;
    stream_.async_wait(boost::asio::posix::descriptor_base::wait_read,
                       live([this](const boost::system::error_code& error) {
                         const Instant now = clocks();
                         if (error) {
                           went_down(settings_.path + ": " + error.message(), now);
                         } else {
                           read(now);
                         }
                       }));
  }

  void read(Instant now) {
    const ssize_t got = ::read(stream_.native_handle(), buffer_.data(), buffer_.size());
    const int error = got < 0 ? errno : 0;
    if (got > 0) {
      empty_wakeups_ = 0;
      deliver({buffer_.data(), static_cast<std::size_t>(got)}, now);
      if (is_open()) note_overruns(now);
      return wait();
    }
    const bool passing = got == 0 || error == EAGAIN || error == EINTR;
    if (!passing || !serial_alive(stream_.native_handle())) return hung_up(error, now);
    nothing_came(got == 0, now);
  }

  // Gone. That the next attempt finds no device is no news.
  void hung_up(int error, Instant now) {
    reporter_.expect_failure(serial_absent_text(settings_.path));
    const bool vanished = error == 0 || error == EIO || error == ENODEV || error == ENXIO;
    went_down(settings_.path + ": " + (vanished ? "the device hung up" : net::reason_for_errno(error)),
              now);
  }

  // The device is there and yet a read ended: somebody has changed the line behind our back.
  void nothing_came(bool end_of_file, Instant now) {
    if (end_of_file) {
      const Status repaired = set_up_serial(stream_.native_handle(), settings_.serial);
      if (!repaired) {
        return went_down(settings_.path + ": " + repaired.error().message, now);
      }
    }
    if (++empty_wakeups_ <= kEmptyWakeups) return wait();
    after(kPause, [this](Instant) { wait(); });
  }

  void note_overruns(Instant now) {
    if (!overruns_ || now.steady - overruns_read_at_ < kOverrunInterval) return;
    overruns_read_at_ = now.steady;
    const auto total = serial_overruns(stream_.native_handle());
    const std::uint32_t lost = total ? *total - *overruns_ : 0;
    overruns_ = total;
    if (lost == 0) return;
    reporter_.discarded(DiscardReason::overrun, lost,
                        settings_.path + ": bytes came faster than they were fetched", now);
  }

  void shut() override {
    if (stream_.is_open()) close_serial(Descriptor(stream_.release()));
  }

  std::size_t write_now(std::span<const std::uint8_t> bytes) override {
    // An error here is a hang-up, which the waiting read notices by itself.
    const ssize_t put = ::write(stream_.native_handle(), bytes.data(), bytes.size());
    return put > 0 ? static_cast<std::size_t>(put) : 0;
  }

  std::size_t unsent() override { return serial_unsent(stream_.native_handle()); }
  void discard_unsent() override { discard_serial_unsent(stream_.native_handle()); }

  boost::asio::posix::stream_descriptor stream_;
  std::optional<std::uint32_t> overruns_;
  Duration overruns_read_at_{};
  int empty_wakeups_ = 0;
  std::array<std::uint8_t, kBufferBytes> buffer_;
};

}  // namespace

std::shared_ptr<Source> make_serial_source(boost::asio::io_context& io, PortIndex index,
                                           const PortSettings& settings, Sink& sink) {
  return std::make_shared<SerialSource>(io, index, settings, sink);
}

}  // namespace fadeward::port
