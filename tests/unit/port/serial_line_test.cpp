#include "fadeward/port/serial_line.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/file.h>

#include "recorder.hpp"
#include "support/pty.hpp"
#include "support/temp_dir.hpp"

namespace fadeward::port::serial_line_test {
namespace {

using test::PtyPair;
using testing::HasSubstr;

// The kernel's structure with free rates, laid out as <asm-generic/termbits.h> publishes it.
struct KernelLine {
  unsigned input, output, control, local;
  unsigned char discipline;
  unsigned char characters[19];
  unsigned input_baud, output_baud;
};
constexpr unsigned long kGetKernelLine = _IOR('T', 0x2A, KernelLine);

KernelLine kernel_line(int descriptor) {
  KernelLine line{};
  EXPECT_EQ(::ioctl(descriptor, kGetKernelLine, &line), 0);
  return line;
}

std::string read_all(int descriptor, std::size_t size) {
  std::string got;
  for (int tries = 0; got.size() < size && tries < 2000; ++tries) {
    char part[4096];
    const ssize_t n = ::read(descriptor, part, sizeof part);
    if (n > 0) {
      got.append(part, static_cast<std::size_t>(n));
    } else {
      pollfd wanted{descriptor, POLLIN, 0};
      ::poll(&wanted, 1, 10);
    }
  }
  return got;
}

TEST(SerialLine, EveryByteValuePassesUnchangedBothWays) {
  PtyPair pty;
  termios cooked{};  // the worst that an earlier program can leave behind
  ::tcgetattr(pty.device(), &cooked);
  cooked.c_iflag |= ICRNL | IXON | IXOFF | ISTRIP | INLCR | PARMRK;
  cooked.c_oflag |= OPOST | ONLCR;
  cooked.c_lflag |= ICANON | ECHO | ISIG | IEXTEN;
  ::tcsetattr(pty.device(), TCSANOW, &cooked);

  const auto device = open_serial(pty.path(), {});
  ASSERT_TRUE(device) << device.error().message;
  const std::string all = all_byte_values();
  ASSERT_TRUE(pty.write(all));
  EXPECT_EQ(read_all(device->get(), all.size()), all);
  ASSERT_EQ(::write(device->get(), all.data(), all.size()), 256);
  EXPECT_EQ(pty.read(1000), all);  // and no echo before it
}

TEST(SerialLine, ReadsReturnAtTheFirstByte) {
  PtyPair pty;
  const auto device = open_serial(pty.path(), {});
  ASSERT_TRUE(device);
  termios line{};
  ::tcgetattr(pty.device(), &line);
  EXPECT_EQ(line.c_cc[VMIN], 1);
  EXPECT_EQ(line.c_cc[VTIME], 0);
  EXPECT_NE(line.c_cflag & CLOCAL, 0U);
  EXPECT_NE(line.c_cflag & CREAD, 0U);
  EXPECT_EQ(line.c_cflag & HUPCL, 0U);
}

TEST(SerialLine, AnyRate) {
  PtyPair pty;
  for (const std::uint32_t baud : {50U, 9600U, 57123U, 250000U, 1500000U, 3686400U}) {
    SerialSettings settings;
    settings.baud = baud;
    const auto device = open_serial(pty.path(), settings);
    ASSERT_TRUE(device) << device.error().message;
    EXPECT_EQ(kernel_line(pty.device()).output_baud, baud);
    EXPECT_EQ(kernel_line(pty.device()).input_baud, baud);
    EXPECT_EQ(describe_serial(device->get()), std::to_string(baud) + " baud 8N1");
  }
}

TEST(SerialLine, StopBitsParityAndFlowControlReachTheKernel) {
  PtyPair pty;
  SerialSettings settings;
  settings.stop_bits = 2;
  settings.flow = SerialSettings::Flow::rts_cts;
  settings.parity = SerialSettings::Parity::odd;
  {
    const auto device = open_serial(pty.path(), settings);
    ASSERT_TRUE(device);
    const unsigned control = kernel_line(pty.device()).control;
    EXPECT_NE(control & CSTOPB, 0U);
    EXPECT_NE(control & CRTSCTS, 0U);
    EXPECT_NE(control & PARODD, 0U);  // a pseudo-terminal clears PARENB itself
  }
  settings.flow = SerialSettings::Flow::xon_xoff;
  const auto device = open_serial(pty.path(), settings);
  ASSERT_TRUE(device);
  const KernelLine line = kernel_line(pty.device());
  EXPECT_EQ(line.control & CRTSCTS, 0U);
  EXPECT_EQ(line.input & (IXON | IXOFF | IXANY), unsigned{IXON | IXOFF});
  EXPECT_EQ(line.characters[VSTART], 0x11);  // DC1 and DC3 of ISO 646
  EXPECT_EQ(line.characters[VSTOP], 0x13);
}

TEST(SerialLine, RefusesASecondReaderBeforeTouchingTheLine) {
  PtyPair pty;
  SerialSettings first;
  first.baud = 57600;
  auto device = open_serial(pty.path(), first);
  ASSERT_TRUE(device);
  EXPECT_TRUE(pty.taken());
  SerialSettings second;
  second.baud = 1200;
  const auto other = open_serial(pty.path(), second);
  ASSERT_FALSE(other);
  EXPECT_EQ(other.error().message, pty.path() + ": in use by another program");
  EXPECT_EQ(kernel_line(pty.device()).output_baud, 57600U);

  close_serial(std::move(*device));
  EXPECT_FALSE(pty.taken());
  EXPECT_TRUE(open_serial(pty.path(), second));
}

TEST(SerialLine, RespectsALockOfAnotherProgram) {
  PtyPair pty;
  const Descriptor other(::open(pty.path().c_str(), O_RDWR | O_NOCTTY | O_NONBLOCK));
  ASSERT_EQ(::flock(other.get(), LOCK_EX | LOCK_NB), 0);
  EXPECT_FALSE(open_serial(pty.path(), {}));
  ASSERT_EQ(::flock(other.get(), LOCK_UN), 0);
  EXPECT_TRUE(open_serial(pty.path(), {}));
}

TEST(SerialLine, SaysWhatIsWrong) {
  const test::TempDir dir;
  EXPECT_EQ(open_serial("/dev/no-such-adapter", {}).error().message,
            "/dev/no-such-adapter: no such device");
  const std::string plain = dir.file("plain", "text");
  EXPECT_EQ(open_serial(plain, {}).error().message, plain + ": not a serial device");
  SerialSettings settings;
  settings.baud = 0;
  const PtyPair pty;
  EXPECT_THAT(open_serial(pty.path(), settings).error().message, HasSubstr("0 baud"));
}

TEST(SerialLine, ADriverWithoutCountersIsNoError) {
  const PtyPair pty;
  EXPECT_FALSE(serial_overruns(pty.device()));  // tty_ioctl(4): not every driver has TIOCGICOUNT
  EXPECT_EQ(serial_unsent(pty.device()), 0U);
}

TEST(SerialLine, KnowsAHangUp) {
  PtyPair pty;
  const auto device = open_serial(pty.path(), {});
  ASSERT_TRUE(device);
  EXPECT_TRUE(serial_alive(device->get()));
  pty.hang_up();
  EXPECT_FALSE(serial_alive(device->get()));
}

}  // namespace
}  // namespace fadeward::port::serial_line_test
