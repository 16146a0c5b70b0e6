// file and stdin: read to the end, a piece per turn of the loop. Pipes are waited for.
#include <fcntl.h>
#include <sys/epoll.h>
#include <sys/stat.h>
#include <unistd.h>

#include <array>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <cerrno>

#include "fadeward/port/descriptor.hpp"
#include "fadeward/net/reason.hpp"
#include "source.hpp"

namespace fadeward::port {

namespace {

constexpr Duration kLongestWait = 2s;
constexpr Duration kPause = 50ms;
constexpr std::size_t kBufferBytes = 65536;

class InputSource final : public Source {
 public:
  InputSource(boost::asio::io_context& io, PortIndex index, const PortSettings& settings,
              Sink& sink)
      : Source(io, index, settings, sink, kLongestWait),
        readiness_(io),
        is_stdin_(settings.source == SourceKind::stdin_stream),
        name_(is_stdin_ ? "standard input" : settings.path) {}

 private:
  void attempt(Instant now) override {
    if (is_stdin_) {
      input_.reset(::fcntl(STDIN_FILENO, F_DUPFD_CLOEXEC, 3));
      if (!input_.valid()) return gives_up(name_ + ": " + net::reason_for_errno(errno), now);
    } else {
      input_.reset(::open(settings_.path.c_str(), O_RDONLY | O_NONBLOCK | O_NOCTTY | O_CLOEXEC));
      if (!input_.valid()) return stays_down(name_ + ": " + net::reason_for_errno(errno), now);
    }
    struct stat kind {};
    if (::fstat(input_.get(), &kind) == 0 && S_ISDIR(kind.st_mode)) {
      return stays_down(name_ + ": " + net::reason_for_errno(EISDIR), now);
    }
    if (!watch()) return stays_down(name_ + ": " + net::reason_for_errno(errno), now);
    came_up(name_, now);
  }

  // Readiness is asked of a set of one and not of the input itself: Asio would make the input
  // non-blocking, and standard input is shared with the shell that started us.
  bool watch() {
    Descriptor set(::epoll_create1(EPOLL_CLOEXEC));
    if (!set.valid()) return false;
    epoll_event interest{};
    interest.events = EPOLLIN;
    must_wait_ = ::epoll_ctl(set.get(), EPOLL_CTL_ADD, input_.get(), &interest) == 0;
    if (!must_wait_) return errno == EPERM;  // a regular file is always ready
    boost::system::error_code error;
    readiness_.assign(set.get(), error);
    if (error) {
      errno = error.value();
      return false;
    }
    set.release();
    return true;
  }

  void begin_reading() override { next(); }

  void next() {
    if (!is_open()) return;
    if (!must_wait_) return after(Duration::zero(), [this](Instant now) { read(now); });
    readiness_.async_wait(boost::asio::posix::descriptor_base::wait_read,
                          live([this](const boost::system::error_code& error) {
                            const Instant now = clocks();
                            if (error) {
                              breaks_off(name_ + ": " + error.message(), now);
                            } else {
                              read(now);
                            }
                          }));
  }

  void read(Instant now) {
    const ssize_t got = ::read(input_.get(), buffer_.data(), buffer_.size());
    const int error = got < 0 ? errno : 0;
    if (got > 0) {
      deliver({buffer_.data(), static_cast<std::size_t>(got)}, now);
      return next();
    }
    if (got == 0) return finish(name_ + ": end", now);
    if (error == EAGAIN || error == EINTR) {
      return after(kPause, [this](Instant) { next(); });  // somebody else reads the same pipe
    }
    // To begin again would repeat what has been read.
    breaks_off(name_ + ": " + net::reason_for_errno(error), now);
  }

  void shut() override {
    boost::system::error_code ignored;
    if (readiness_.is_open()) readiness_.close(ignored);
    input_.reset();
  }

  std::size_t write_now(std::span<const std::uint8_t>) override { return 0; }

  Descriptor input_;
  boost::asio::posix::stream_descriptor readiness_;
  bool is_stdin_;
  bool must_wait_ = false;
  std::string name_;
  std::array<std::uint8_t, kBufferBytes> buffer_;
};

}  // namespace

std::shared_ptr<Source> make_input_source(boost::asio::io_context& io, PortIndex index,
                                          const PortSettings& settings, Sink& sink) {
  return std::make_shared<InputSource>(io, index, settings, sink);
}

}  // namespace fadeward::port
