#include <fcntl.h>
#include <poll.h>
#include <termios.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <chrono>
#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <thread>

#include "fadeward/app/commands.hpp"
#include "fadeward/simulate/world.hpp"

namespace fadeward::app {

namespace {

volatile std::sig_atomic_t stop_requested = 0;
extern "C" void request_stop(int) { stop_requested = 1; }

/// Where reports go: standard output, or the radio's end of a pseudo-terminal.
class Outlet {
 public:
  virtual ~Outlet() = default;
  virtual bool write(const std::string& text) = 0;
};

class StandardOutput final : public Outlet {
 public:
  explicit StandardOutput(bool flush_each) : flush_each_(flush_each) {}
  bool write(const std::string& text) override {
    if (std::fwrite(text.data(), 1, text.size(), stdout) != text.size()) return false;
    return !flush_each_ || std::fflush(stdout) == 0;
  }

 private:
  const bool flush_each_;
};

/// A radio does not wait for its reader: what is not taken within a second is lost.
class PseudoTerminal final : public Outlet {
 public:
  ~PseudoTerminal() override {
    if (linked_) ::unlink(path_.c_str());
    if (radio_ >= 0) ::close(radio_);
    if (far_side_ >= 0) ::close(far_side_);
  }
  bool open(const std::string& path) {
    path_ = path;
    radio_ = ::posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC);
    if (radio_ < 0 || ::grantpt(radio_) != 0 || ::unlockpt(radio_) != 0) return false;
    const char* name = ::ptsname(radio_);
    if (name == nullptr) return false;
    // Held open here too, so that a reader may come and go without a hang-up.
    far_side_ = ::open(name, O_RDWR | O_NOCTTY | O_CLOEXEC);
    termios raw{};
    if (far_side_ < 0 || ::tcgetattr(far_side_, &raw) != 0) return false;
    ::cfmakeraw(&raw);
    if (::tcsetattr(far_side_, TCSANOW, &raw) != 0) return false;
    ::fcntl(radio_, F_SETFL, O_NONBLOCK);
    linked_ = ::symlink(name, path.c_str()) == 0;
    return linked_;
  }
  bool write(const std::string& text) override {
    std::size_t done = 0;
    const auto give_up = std::chrono::steady_clock::now() + std::chrono::seconds{1};
    while (done < text.size() && stop_requested == 0 &&
           std::chrono::steady_clock::now() < give_up) {
      const ssize_t wrote = ::write(radio_, text.data() + done, text.size() - done);
      if (wrote > 0) {
        done += static_cast<std::size_t>(wrote);
        continue;
      }
      if (errno != EAGAIN && errno != EINTR) return false;
      pollfd ready{radio_, POLLOUT, 0};
      ::poll(&ready, 1, 100);
    }
    return true;
  }

 private:
  std::string path_;
  int radio_ = -1;
  int far_side_ = -1;
  bool linked_ = false;
};

/// Sleeps until the world's time, sped up, has come; wakes for a signal.
class Pace {
 public:
  Pace(double factor, Time start) : factor_(factor), start_(start) {}
  void wait_for(Time time) const {
    if (factor_ <= 0) return;
    const double seconds = duration_to_seconds(time - start_) / factor_;
    const auto due = origin_ + std::chrono::duration_cast<std::chrono::steady_clock::duration>(
                                   std::chrono::duration<double>(seconds));
    while (stop_requested == 0) {
      const auto left = due - std::chrono::steady_clock::now();
      if (left <= left.zero()) return;
      std::this_thread::sleep_for(
          std::min<std::chrono::steady_clock::duration>(left, std::chrono::milliseconds{200}));
    }
  }

 private:
  const double factor_;
  const Time start_;
  const std::chrono::steady_clock::time_point origin_ = std::chrono::steady_clock::now();
};

int fail(const std::string& what) {
  std::fprintf(stderr, "simulate: %s: %s\n", what.c_str(), std::strerror(errno));
  return 1;
}

}  // namespace

int simulate_world(const SimulateOptions& options) {
  auto made = simulate::World::make(options.world);
  if (!made) {
    std::fprintf(stderr, "simulate: %s\n", made.error().message.c_str());
    return 2;
  }
  simulate::World world = std::move(made).value();
  std::FILE* truth = nullptr;
  if (!options.truth.empty() && (truth = std::fopen(options.truth.c_str(), "w")) == nullptr)
    return fail(options.truth);
  StandardOutput standard(options.pace > 0);
  PseudoTerminal terminal;
  if (!options.pty.empty() && !terminal.open(options.pty)) return fail(options.pty);
  Outlet& outlet = options.pty.empty() ? static_cast<Outlet&>(standard) : terminal;
  std::signal(SIGTERM, request_stop);
  std::signal(SIGINT, request_stop);
  std::signal(SIGPIPE, SIG_IGN);

  const Pace pace(options.pace, options.world.start);
  const auto put_truth = [&] {
    const std::string lines = world.take_truth();
    return truth == nullptr || std::fwrite(lines.data(), 1, lines.size(), truth) == lines.size();
  };
  std::string line;
  Time time{};
  bool fine = true;
  for (std::uint64_t n = 0; fine && stop_requested == 0 && world.next(line, time); ++n) {
    pace.wait_for(time);
    line += '\n';
    fine = outlet.write(line);
    if (n % 256 == 0) fine = put_truth() && fine;
  }
  fine = put_truth() && fine;
  if (truth != nullptr) fine = std::fclose(truth) == 0 && fine;
  // A closed pipe downstream (head, a stopped reader) is the reader's choice, not a fault.
  if (!fine && errno == EPIPE) return 0;
  if (!fine || std::fflush(stdout) != 0) return fail("write");
  return 0;
}

}  // namespace fadeward::app
