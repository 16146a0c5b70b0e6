#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <random>

#include "fadeward/port/port.hpp"
#include "recorder.hpp"
#include "support/pty.hpp"
#include "support/temp_dir.hpp"

namespace fadeward::port::serial_port_test {
namespace {

using test::PtyPair;
using testing::ElementsAre;
using testing::HasSubstr;

bool held_open(const std::string& device) {
  for (const auto& entry : std::filesystem::directory_iterator("/proc/self/fd")) {
    std::error_code gone;
    const std::string target = std::filesystem::read_symlink(entry, gone).string();
    if (target == device || target == device + " (deleted)") return true;
  }
  return false;
}

class SerialPort : public testing::Test {
 protected:
  using Clock = std::chrono::steady_clock;
  static PortSettings settings_for(const std::string& path) {
    PortSettings settings;
    settings.source = SourceKind::serial;
    settings.path = path;
    return settings;
  }
  std::unique_ptr<Port> started(const PortSettings& settings) {
    auto port = make_port(io, 3, settings, seen);
    port->start();
    return port;
  }
  bool run_until_events(std::size_t count, std::chrono::milliseconds limit = 5000ms) {
    return run_until(
        io, [&] { return seen.events.size() >= count; }, limit);
  }
  bool run_until_bytes(std::size_t count) {
    return run_until(io, [&] { return seen.byte_count >= count; });
  }

  /// False where two bytes came further apart than `longest`.
  bool talk_without_pause(const PtyPair& pty, Clock::duration how_long, Clock::duration longest) {
    const auto begin = Clock::now();
    for (auto last = begin; last - begin < how_long;) {
      if (!pty.write(".")) return false;
      run_for(io, 10ms);
      const auto now = Clock::now();
      if (now - last > longest) return false;
      last = now;
    }
    return true;
  }

  test::TempDir dir;
  boost::asio::io_context io;
  Recorder seen;
};

TEST_F(SerialPort, EveryByteValueBothWays) {
  const PtyPair pty;
  const auto port = started(settings_for(pty.path()));
  EXPECT_TRUE(seen.events.empty()) << "start() itself must not call";
  ASSERT_TRUE(run_until_events(1));
  EXPECT_EQ(seen.events[0].kind, Kind::opened);
  EXPECT_EQ(seen.events[0].text, pty.path() + ": 9600 baud 8N1");
  EXPECT_EQ(seen.events[0].port, 3);

  const std::string all = all_byte_values();
  ASSERT_TRUE(pty.write(all));
  ASSERT_TRUE(run_until_bytes(256));
  EXPECT_EQ(seen.bytes, all);
  EXPECT_EQ(port->send({reinterpret_cast<const std::uint8_t*>(all.data()), all.size()}), 256U);
  EXPECT_EQ(pty.read(1000), all);
  EXPECT_EQ(port->counts().bytes, 256U);
}

TEST_F(SerialPort, BytesSentBeforeTheOpeningAreNotThrownAway) {
  const PtyPair pty;
  ASSERT_TRUE(pty.write("early\n"));
  const auto port = started(settings_for(pty.path()));
  ASSERT_TRUE(run_until_bytes(6));
  EXPECT_EQ(seen.bytes, "early\n");
}

TEST_F(SerialPort, HangUpIsNoticedAtOnceAndTheLinkIsFollowedAnew) {
  const std::string link = dir / "by-id";
  PtyPair first(link);
  const auto port = started(settings_for(link));
  ASSERT_TRUE(run_until_events(1));
  const std::string gone = first.device_path();
  ASSERT_TRUE(first.write("half a li"));
  ASSERT_TRUE(run_until_bytes(9));

  const auto pulled = std::chrono::steady_clock::now();
  first.hang_up();
  ASSERT_TRUE(run_until_events(2));
  EXPECT_LT(std::chrono::steady_clock::now() - pulled, kPromptly);
  EXPECT_EQ(seen.events[1].text, link + ": the device hung up");
  EXPECT_FALSE(held_open(gone)) << "an adapter held open cannot come back under its own name";
  run_for(io, 400ms);  // at least one attempt without the device
  EXPECT_THAT(seen.kinds(), ElementsAre(Kind::opened, Kind::closed)) << "absence is no news";

  PtyPair second(link);
  ASSERT_TRUE(run_until_events(3));
  EXPECT_THAT(seen.kinds(), ElementsAre(Kind::opened, Kind::closed, Kind::opened));
  ASSERT_TRUE(second.write("whole line\n"));
  ASSERT_TRUE(run_until_bytes(20));
  EXPECT_EQ(seen.bytes, "half a liwhole line\n");
  EXPECT_EQ(port->counts().opened, 2U);
}

TEST_F(SerialPort, AbsentAtStartIsSaidOnceAndPickedUp) {
  const std::string link = dir / "late";
  const auto port = started(settings_for(link));
  ASSERT_TRUE(run_until_events(1));
  const std::size_t handlers = run_for(io, 900ms);  // attempts after 0.25 s and 0.75 s
  EXPECT_LE(handlers, 4U);
  EXPECT_THAT(seen.kinds(), ElementsAre(Kind::failed));
  EXPECT_EQ(seen.events[0].text, link + ": no such device");
  const PtyPair pty(link);
  ASSERT_TRUE(run_until_events(2));
  EXPECT_THAT(seen.kinds(), ElementsAre(Kind::failed, Kind::opened));
}

TEST_F(SerialPort, ADifferentReasonIsNews) {
  const std::string path = dir / "thing";
  const auto port = started(settings_for(path));
  ASSERT_TRUE(run_until_events(1));
  dir.file("thing", "no device");
  ASSERT_TRUE(run_until_events(2));
  EXPECT_EQ(seen.events[1].kind, Kind::failed);
  EXPECT_EQ(seen.events[1].text, path + ": not a serial device");
}

TEST_F(SerialPort, ASecondReaderIsRefusedUntilTheFirstLeaves) {
  const PtyPair pty;
  auto first = started(settings_for(pty.path()));
  ASSERT_TRUE(run_until_events(1));
  Recorder other;
  const auto second = make_port(io, 4, settings_for(pty.path()), other);
  second->start();
  ASSERT_TRUE(run_until(io, [&] { return !other.events.empty(); }));
  EXPECT_EQ(other.events[0].kind, Kind::failed);
  EXPECT_EQ(other.events[0].text, pty.path() + ": in use by another program");
  first.reset();
  ASSERT_TRUE(run_until(io, [&] { return other.events.size() == 2; }));
  EXPECT_EQ(other.events[1].kind, Kind::opened);
}

TEST_F(SerialPort, AnEndOfFileFromALivingDeviceIsRepaired) {
  const PtyPair pty;
  const auto port = started(settings_for(pty.path()));
  ASSERT_TRUE(run_until_events(1));
  termios meddled{};  // another program switches line editing on: ^D now ends a read empty
  ::tcgetattr(pty.device(), &meddled);
  meddled.c_lflag |= ICANON;
  meddled.c_cc[VEOF] = 4;
  ::tcsetattr(pty.device(), TCSANOW, &meddled);
  ASSERT_TRUE(pty.write("\x04"));
  const std::size_t handlers = run_for(io, 300ms);
  EXPECT_LE(handlers, 10U) << "no spinning";
  EXPECT_THAT(seen.kinds(), ElementsAre(Kind::opened));
  seen.bytes.clear();
  seen.byte_count = 0;
  const std::string all = all_byte_values();
  ASSERT_TRUE(pty.write(all));
  ASSERT_TRUE(run_until_bytes(256));
  EXPECT_EQ(seen.bytes, all);
}

TEST_F(SerialPort, AsksWhenTheLineIsQuiet) {
  const PtyPair pty;
  PortSettings settings = settings_for(pty.path());
  settings.poll = PollSettings{.send = "status\r\n", .every = 200ms, .quiet_before = 60ms};
  const auto port = started(settings);
  ASSERT_TRUE(run_until_events(1));
  ASSERT_TRUE(run_until(io, [&] { return port->counts().polls_sent == 1; }));
  EXPECT_EQ(pty.read(100), "status\r\n");

  // A radio that talks without a pause is not interrupted. Where the machine kept this test from
  // talking, the port was right to ask, and the radio talks once more.
  std::uint64_t asked = port->counts().polls_sent;
  bool without_pause = false;
  for (int tries = 0; tries < 10 && !without_pause; ++tries) {
    ASSERT_TRUE(pty.write("."));
    run_for(io, 10ms);
    asked = port->counts().polls_sent;
    without_pause = talk_without_pause(pty, 500ms, settings.poll->quiet_before / 2);
  }
  ASSERT_TRUE(without_pause);
  EXPECT_EQ(port->counts().polls_sent, asked);
  pty.read(1000, 0ms);  // asked in a pause of this test's
  ASSERT_TRUE(run_until(io, [&] { return port->counts().polls_sent == asked + 1; }));
  EXPECT_EQ(pty.read(100), "status\r\n");
  EXPECT_EQ(port->counts().polls_abandoned, 0U);
}

TEST_F(SerialPort, ADeviceThatTakesNothingBlocksNothing) {
  const PtyPair pty;
  PortSettings settings = settings_for(pty.path());
  settings.poll = PollSettings{.send = "status\r\n", .every = 20ms, .quiet_before = 0s};
  auto port = started(settings);
  ASSERT_TRUE(run_until_events(1));
  ASSERT_EQ(::tcflow(pty.device(), TCOOFF), 0);  // as if flow control held the line for ever
  const std::uint64_t sent = port->counts().polls_sent;
  const auto begin = std::chrono::steady_clock::now();
  run_for(io, 200ms);
  EXPECT_LT(std::chrono::steady_clock::now() - begin, 200ms + kPromptly);
  EXPECT_GE(port->counts().polls_abandoned, 3U);
  EXPECT_EQ(port->counts().polls_sent, sent);

  ASSERT_TRUE(pty.write("still heard"));
  ASSERT_TRUE(run_until_bytes(11));
  ASSERT_EQ(::tcflow(pty.device(), TCOON), 0);
  ASSERT_TRUE(run_until(io, [&] { return port->counts().polls_sent > sent; }));
  ASSERT_EQ(::tcflow(pty.device(), TCOOFF), 0);
  const auto closing = std::chrono::steady_clock::now();
  port.reset();
  EXPECT_LT(std::chrono::steady_clock::now() - closing, kPromptly);
  EXPECT_LT(time_to_end(io), kPromptly);
}

TEST_F(SerialPort, WritingToADeadDeviceDoesNotBlock) {
  PtyPair pty;
  const auto port = started(settings_for(pty.path()));
  ASSERT_TRUE(run_until_events(1));
  pty.hang_up();
  const std::uint8_t byte = 'x';
  EXPECT_EQ(port->send({&byte, 1}), 0U);
  ASSERT_TRUE(run_until_events(2));
  EXPECT_EQ(seen.events[1].kind, Kind::closed);
  EXPECT_EQ(port->send({&byte, 1}), 0U);
}

TEST_F(SerialPort, NoiseByTheMegabytePassesUnchanged) {
  const PtyPair pty;
  const auto port = started(settings_for(pty.path()));
  ASSERT_TRUE(run_until_events(1));
  const auto seed = std::random_device{}();
  SCOPED_TRACE(seed);
  std::mt19937 random(seed);
  std::string block(65536, '\0');
  for (char& byte : block) byte = static_cast<char>(random());
  constexpr std::uint64_t kBytes = 50'000'000;
  std::size_t checked = 0;
  bool equal = true;
  std::uint64_t written = 0;
  const auto end = std::chrono::steady_clock::now() + 30s;
  seen.after_each = [&] {
    equal = equal && seen.bytes.size() <= 65536;
    for (const char byte : seen.bytes) equal = equal && byte == block[checked++ & 0xffff];
    seen.bytes.clear();
  };
  while (checked < kBytes && std::chrono::steady_clock::now() < end) {
    const std::size_t from = written & 0xffff;
    const ssize_t put =
        written < kBytes ? ::write(pty.radio(), block.data() + from,
                                   std::min<std::uint64_t>(block.size() - from, kBytes - written))
                         : 0;
    if (put > 0) written += static_cast<std::uint64_t>(put);
    io.poll();
  }
  EXPECT_EQ(checked, kBytes);
  EXPECT_TRUE(equal);
}

TEST_F(SerialPort, AnIdlePortCostsNoWakeUps) {
  const PtyPair pty;
  const auto port = started(settings_for(pty.path()));
  ASSERT_TRUE(run_until_events(1));
  EXPECT_EQ(run_for(io, 500ms), 0U);
}

TEST_F(SerialPort, TheSinkMayEndThePortFromWithin) {
  const PtyPair pty;
  auto port = started(settings_for(pty.path()));
  seen.after_each = [&] { port.reset(); };
  ASSERT_TRUE(run_until_events(1));
  ASSERT_TRUE(pty.write("nobody listens"));
  EXPECT_LT(time_to_end(io), kPromptly);
  EXPECT_EQ(seen.byte_count, 0U);

  port = started(settings_for(pty.path()));
  seen.after_each = [&] {
    if (seen.byte_count > 0) port.reset();
  };
  ASSERT_TRUE(run_until_bytes(1));
  EXPECT_EQ(port, nullptr);
  EXPECT_LT(time_to_end(io), kPromptly);
  EXPECT_THAT(seen.kinds(), ElementsAre(Kind::opened, Kind::opened));
}

TEST_F(SerialPort, StopEndsTheLoopInEveryState) {
  const PtyPair pty;
  const auto open = started(settings_for(pty.path()));
  const auto absent = started(settings_for(dir / "absent"));
  ASSERT_TRUE(run_until_events(2));
  open->stop();
  absent->stop();
  EXPECT_LT(time_to_end(io), kPromptly);
  EXPECT_EQ(seen.events.size(), 2U);
  open->start();  // a stopped port stays so
  EXPECT_LT(time_to_end(io), kPromptly);
  EXPECT_EQ(seen.events.size(), 2U);
}

}  // namespace
}  // namespace fadeward::port::serial_port_test
