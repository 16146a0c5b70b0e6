// A pseudo-terminal that plays a radio: the test holds the radio's end, a program opens `path()`.
//
// Set raw from the start, so that nothing written before the program comes is echoed or changed.
#pragma once

#include <fcntl.h>
#include <poll.h>
#include <stdlib.h>
#include <sys/ioctl.h>
#include <termios.h>
#include <unistd.h>

#include <cerrno>
#include <chrono>
#include <cstddef>
#include <filesystem>
#include <stdexcept>
#include <string>
#include <string_view>
#include <thread>

namespace fadeward::test {

class PtyPair {
 public:
  using Milliseconds = std::chrono::milliseconds;

  /// With `link`, a symbolic link of that name to the device, replacing one that is there.
  /// Throws where the system gives no pseudo-terminal.
  explicit PtyPair(std::string link = {}) : link_(std::move(link)) {
    radio_ = ::posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    char name[128] = {};
    if (radio_ < 0 || ::grantpt(radio_) != 0 || ::unlockpt(radio_) != 0 ||
        ::ptsname_r(radio_, name, sizeof name) != 0) {
      throw std::runtime_error("no pseudo-terminal to be had");
    }
    device_path_ = name;
    device_ = ::open(name, O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    termios line{};
    if (device_ < 0 || ::tcgetattr(device_, &line) != 0) {
      throw std::runtime_error(device_path_ + " cannot be opened");
    }
    ::cfmakeraw(&line);
    ::tcsetattr(device_, TCSANOW, &line);
    if (!link_.empty()) {
      std::filesystem::remove(link_);
      std::filesystem::create_symlink(device_path_, link_);
    }
  }
  PtyPair(const PtyPair&) = delete;
  PtyPair& operator=(const PtyPair&) = delete;
  ~PtyPair() { hang_up(); }

  const std::string& path() const { return link_.empty() ? device_path_ : link_; }
  const std::string& device_path() const { return device_path_; }
  int radio() const { return radio_; }    ///< our end
  int device() const { return device_; }  ///< the other end, held open to ask about it

  /// What the radio says. False where the program did not take it in time.
  bool write(std::string_view bytes, Milliseconds limit = Milliseconds(5000)) const {
    const auto end = Clock::now() + limit;
    while (!bytes.empty()) {
      const ssize_t put = ::write(radio_, bytes.data(), bytes.size());
      if (put > 0) {
        bytes.remove_prefix(static_cast<std::size_t>(put));
      } else if ((put < 0 && errno != EAGAIN) || !ready(POLLOUT, end)) {
        return false;
      }
    }
    return true;
  }

  /// What the program says to the radio: up to `most` bytes, as soon as there are any; empty after
  /// `limit`.
  std::string read(std::size_t most, Milliseconds limit = Milliseconds(1000)) const {
    std::string bytes(most, '\0');
    if (!ready(POLLIN, Clock::now() + limit)) return {};
    const ssize_t got = ::read(radio_, bytes.data(), bytes.size());
    bytes.resize(got > 0 ? static_cast<std::size_t>(got) : 0);
    return bytes;
  }

  /// Bytes written by the radio and not yet fetched by the program, as far as the line has them.
  std::size_t unread() const {
    int waiting = 0;
    return ::ioctl(device_, FIONREAD, &waiting) == 0 ? static_cast<std::size_t>(waiting) : 0;
  }

  /// Waits until the program has fetched everything: nothing seen waiting for a while, since bytes
  /// between the ends of the line are not counted.
  bool wait_drained(Milliseconds limit) const {
    const auto end = Clock::now() + limit;
    for (int empty = 0; empty < 5;) {
      empty = unread() == 0 ? empty + 1 : 0;
      if (Clock::now() > end) return false;
      std::this_thread::sleep_for(Milliseconds(5));
    }
    return true;
  }

  /// A program has opened the device for itself alone.
  bool taken() const {
    int exclusive = 0;
    return ::ioctl(device_, TIOCGEXCL, &exclusive) == 0 && exclusive != 0;
  }

  /// Pulls the plug: the device hangs up, the link goes.
  void hang_up() {
    if (radio_ < 0) return;
    ::close(device_);
    ::close(radio_);
    radio_ = device_ = -1;
    std::error_code ignored;
    if (!link_.empty() && std::filesystem::read_symlink(link_, ignored) == device_path_) {
      std::filesystem::remove(link_, ignored);
    }
  }

 private:
  using Clock = std::chrono::steady_clock;

  bool ready(short what, Clock::time_point end) const {
    const auto left = std::chrono::ceil<Milliseconds>(end - Clock::now());
    pollfd wanted{radio_, what, 0};
    return left.count() > 0 && ::poll(&wanted, 1, static_cast<int>(left.count())) > 0 &&
           (wanted.revents & what) != 0;
  }

  std::string link_;
  std::string device_path_;
  int radio_ = -1;
  int device_ = -1;
};

}  // namespace fadeward::test
