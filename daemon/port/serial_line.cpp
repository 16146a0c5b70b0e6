// The only unit that sees the kernel's own termios: <asm/termbits.h> has the one structure that
// takes any baud rate, and does not get along with <termios.h>.
#include "fadeward/port/serial_line.hpp"

#include <asm/termbits.h>
#include <fcntl.h>
#include <linux/serial.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include <cerrno>
#include <cstdlib>
#include <system_error>
#include <thread>

#include "fadeward/net/reason.hpp"

namespace fadeward::port {

namespace {

constexpr int kTolerancePercent = 3;  // a UART samples mid-bit: at 5 % the tenth bit is misread

tcflag_t size_flag(int data_bits) {
  switch (data_bits) {
    case 5: return CS5;
    case 6: return CS6;
    case 7: return CS7;
    default: return CS8;
  }
}

termios2 raw_settings(const SerialSettings& settings) {
  using Parity = SerialSettings::Parity;
  using Flow = SerialSettings::Flow;
  termios2 line{};  // all input, output and local processing off
  // Without HUPCL the control lines keep their state when we close: some radios restart at a drop.
  line.c_cflag = BOTHER | CREAD | CLOCAL | size_flag(settings.data_bits);
  if (settings.stop_bits == 2) line.c_cflag |= CSTOPB;
  if (settings.parity != Parity::none) line.c_cflag |= PARENB;
  if (settings.parity == Parity::odd) line.c_cflag |= PARODD;
  if (settings.flow == Flow::rts_cts) line.c_cflag |= CRTSCTS;
  line.c_iflag = IGNBRK;
  if (settings.flow == Flow::xon_xoff) {
    line.c_iflag |= IXON | IXOFF;
    line.c_cc[VSTART] = 0x11;
    line.c_cc[VSTOP] = 0x13;
  }
  line.c_cc[VMIN] = 1;
  line.c_cc[VTIME] = 0;
  line.c_ospeed = settings.baud;
  line.c_ispeed = settings.baud;
  return line;
}

// Adapters hold bytes back for up to 16 ms to fill a packet, and a close waits up to 30 s for
// bytes to leave. Both can be asked away; the second only by a privileged process.
void ask_for_promptness(int descriptor) {
  serial_struct driver{};
  if (::ioctl(descriptor, TIOCGSERIAL, &driver) != 0) return;
  driver.flags |= ASYNC_LOW_LATENCY;
  serial_struct prompt = driver;
  prompt.closing_wait = ASYNC_CLOSING_WAIT_NONE;
  if (::ioctl(descriptor, TIOCSSERIAL, &prompt) != 0) ::ioctl(descriptor, TIOCSSERIAL, &driver);
}

bool close_enough(std::uint32_t asked, std::uint32_t got) {
  const std::uint64_t apart = asked > got ? asked - got : got - asked;
  return apart * 100 <= std::uint64_t{asked} * kTolerancePercent;
}

std::string open_failure(const std::string& path, int error) {
  if (error == ENOENT || error == ENXIO || error == ENODEV || error == ENOTDIR) {
    return serial_absent_text(path);
  }
  return path + ": " + net::reason_for_errno(error);
}

}  // namespace

std::string serial_absent_text(const std::string& path) { return path + ": no such device"; }

Result<Descriptor> open_serial(const std::string& path, const SerialSettings& settings) {
  Descriptor device(::open(path.c_str(), O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC));
  if (!device.valid()) return Error{open_failure(path, errno)};
  if (::isatty(device.get()) == 0) return Error{open_failure(path, errno)};
  // The lock first: the mark below does not stop a privileged program, the lock stops every
  // program that asks, and nothing has been changed yet for the one that came before us.
  if (::flock(device.get(), LOCK_EX | LOCK_NB) != 0) return Error{open_failure(path, errno)};
  ::ioctl(device.get(), TIOCEXCL);
  const Status ready = set_up_serial(device.get(), settings);
  if (!ready) {
    close_serial(std::move(device));
    return Error{path + ": " + ready.error().message};
  }
  ask_for_promptness(device.get());
  return device;
}

Status set_up_serial(int descriptor, const SerialSettings& settings) {
  if (settings.baud == 0) return Error{"a rate of 0 baud hangs up"};
  const termios2 wanted = raw_settings(settings);
  termios2 got{};
  if (::ioctl(descriptor, TCSETS2, &wanted) != 0 || ::ioctl(descriptor, TCGETS2, &got) != 0) {
    return Error{net::reason_for_errno(errno)};
  }
  if (!close_enough(settings.baud, got.c_ospeed)) {
    return Error{"the device cannot do " + std::to_string(settings.baud) +
                 " baud, the nearest is " + std::to_string(got.c_ospeed)};
  }
  return success();
}

std::string describe_serial(int descriptor) {
  termios2 line{};
  if (::ioctl(descriptor, TCGETS2, &line) != 0) return net::reason_for_errno(errno);
  std::string text = std::to_string(line.c_ospeed) + " baud ";
  const tcflag_t size = line.c_cflag & CSIZE;
  text += size == CS5 ? '5' : size == CS6 ? '6' : size == CS7 ? '7' : '8';
  text += (line.c_cflag & PARENB) == 0 ? 'N' : (line.c_cflag & PARODD) != 0 ? 'O' : 'E';
  text += (line.c_cflag & CSTOPB) != 0 ? '2' : '1';
  return text;
}

bool serial_alive(int descriptor) {
  int waiting = 0;
  return ::ioctl(descriptor, FIONREAD, &waiting) == 0;  // EIO after a hang-up
}

std::optional<std::uint32_t> serial_overruns(int descriptor) {
  serial_icounter_struct counters{};
  if (::ioctl(descriptor, TIOCGICOUNT, &counters) != 0) return std::nullopt;
  return static_cast<std::uint32_t>(counters.overrun) +
         static_cast<std::uint32_t>(counters.buf_overrun);
}

std::size_t serial_unsent(int descriptor) {
  int unsent = 0;
  return ::ioctl(descriptor, TIOCOUTQ, &unsent) == 0 && unsent > 0
             ? static_cast<std::size_t>(unsent)
             : 0;
}

void discard_serial_unsent(int descriptor) { ::ioctl(descriptor, TCFLSH, TCOFLUSH); }

void close_serial(Descriptor descriptor) {
  if (!descriptor.valid()) return;
  // Input is left alone: what a pseudo-terminal still holds belongs to the next reader.
  discard_serial_unsent(descriptor.get());
  ::ioctl(descriptor.get(), TIOCNXCL);
  ::flock(descriptor.get(), LOCK_UN);
  if (serial_unsent(descriptor.get()) == 0) return;  // the owner's end closes it
  // Some drivers forget nothing, and the kernel's close waits for them: let it wait elsewhere.
  const int number = descriptor.release();
  try {
    std::thread([number] { ::close(number); }).detach();
  } catch (const std::system_error&) {
    ::close(number);
  }
}

}  // namespace fadeward::port
