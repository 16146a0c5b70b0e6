#include <fcntl.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/socket.h>
#include <sys/stat.h>

#include "fadeward/port/descriptor.hpp"
#include "fadeward/port/port.hpp"
#include "recorder.hpp"
#include "support/temp_dir.hpp"

namespace fadeward::port::input_port_test {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;

class InputPort : public testing::Test {
 protected:
  std::unique_ptr<Port> started(const std::string& path) {
    PortSettings settings;
    settings.source = path.empty() ? SourceKind::stdin_stream : SourceKind::file;
    settings.path = path;
    auto port = make_port(io, 0, settings, seen);
    port->start();
    return port;
  }
  bool run_until_ended() {
    return run_until(
        io, [&] { return !seen.events.empty() && seen.events.back().kind == Kind::ended; });
  }

  test::TempDir dir;
  boost::asio::io_context io;
  Recorder seen;
};

/// Puts another descriptor in the place of standard input for a while.
class StandardInput {
 public:
  explicit StandardInput(int replacement) : before_(::dup(STDIN_FILENO)) {
    ::dup2(replacement, STDIN_FILENO);
  }
  StandardInput(const StandardInput&) = delete;
  StandardInput& operator=(const StandardInput&) = delete;
  ~StandardInput() { ::dup2(before_.get(), STDIN_FILENO); }

 private:
  Descriptor before_;
};

TEST_F(InputPort, AFileToItsEnd) {
  std::string content;
  for (int i = 0; i < 1000; ++i) content += all_byte_values();
  const std::string path = dir.file("log", content + "cut tail");
  const auto port = started(path);
  ASSERT_TRUE(run_until_ended());
  EXPECT_EQ(seen.bytes, content + "cut tail");
  EXPECT_GE(seen.calls, 4U) << "in pieces";
  EXPECT_THAT(seen.kinds(), ElementsAre(Kind::opened, Kind::ended));
  EXPECT_EQ(seen.events[0].text, path);
  EXPECT_EQ(seen.events[1].text, path + ": end");
  EXPECT_LT(time_to_end(io), kPromptly) << "nothing will follow";
}

TEST_F(InputPort, AnEmptyFile) {
  const auto port = started(dir.file("empty", ""));
  ASSERT_TRUE(run_until_ended());
  EXPECT_THAT(seen.kinds(), ElementsAre(Kind::opened, Kind::ended));
  EXPECT_EQ(seen.calls, 0U);
}

TEST_F(InputPort, AnAbsentFileIsPickedUp) {
  const std::string path = dir / "later";
  const auto port = started(path);
  ASSERT_TRUE(run_until(io, [&] { return !seen.events.empty(); }));
  EXPECT_EQ(seen.events[0].kind, Kind::failed);
  EXPECT_EQ(seen.events[0].text, path + ": no such file or directory");
  dir.file("later", "text");
  ASSERT_TRUE(run_until_ended());
  EXPECT_EQ(seen.bytes, "text");
}

TEST_F(InputPort, ADirectoryIsNoFile) {
  const auto port = started(dir / "");
  ASSERT_TRUE(run_until(io, [&] { return !seen.events.empty(); }));
  EXPECT_EQ(seen.events[0].kind, Kind::failed);
  EXPECT_THAT(seen.events[0].text, HasSubstr("is a directory"));
}

TEST_F(InputPort, APipeWaitsForItsWriter) {
  const std::string path = dir / "pipe";
  ASSERT_EQ(::mkfifo(path.c_str(), 0600), 0);
  const auto port = started(path);
  EXPECT_LE(run_for(io, 200ms), 2U);
  EXPECT_THAT(seen.kinds(), ElementsAre(Kind::opened)) << "no writer yet is not the end";
  Descriptor writer(::open(path.c_str(), O_WRONLY | O_CLOEXEC));
  ASSERT_EQ(::write(writer.get(), "a", 1), 1);
  ASSERT_TRUE(run_until(io, [&] { return seen.bytes == "a"; }));
  EXPECT_EQ(run_for(io, 100ms), 0U);
  ASSERT_EQ(::write(writer.get(), "b", 1), 1);
  writer.reset();
  ASSERT_TRUE(run_until_ended());
  EXPECT_EQ(seen.bytes, "ab");
}

TEST_F(InputPort, StandardInputFromAPipe) {
  int ends[2];
  ASSERT_EQ(::pipe2(ends, O_CLOEXEC), 0);
  Descriptor reader(ends[0]);
  Descriptor writer(ends[1]);
  const StandardInput input(reader.get());
  const auto port = started("");
  ASSERT_EQ(::write(writer.get(), "one", 3), 3);
  ASSERT_TRUE(run_until(io, [&] { return seen.bytes == "one"; }));
  EXPECT_EQ(::fcntl(STDIN_FILENO, F_GETFL) & O_NONBLOCK, 0) << "shared with our parent";
  writer.reset();
  ASSERT_TRUE(run_until_ended());
  EXPECT_EQ(seen.events[0].text, "standard input");
  EXPECT_NE(::fcntl(STDIN_FILENO, F_GETFD), -1) << "not ours to close";
}

TEST_F(InputPort, StandardInputThatIsAlreadyAtItsEnd) {
  int ends[2];
  ASSERT_EQ(::pipe2(ends, O_CLOEXEC), 0);
  Descriptor reader(ends[0]);
  Descriptor(ends[1]).reset();
  const StandardInput input(reader.get());
  const auto port = started("");
  ASSERT_TRUE(run_until_ended());
}

TEST_F(InputPort, StandardInputFromAFileOrASocket) {
  Descriptor file(::open(dir.file("in", "skipped rest").c_str(), O_RDONLY));
  ASSERT_EQ(::lseek(file.get(), 8, SEEK_SET), 8);
  {
    const StandardInput input(file.get());
    const auto port = started("");
    ASSERT_TRUE(run_until_ended());
    EXPECT_EQ(seen.bytes, "rest");
  }
  int pair[2];
  ASSERT_EQ(::socketpair(AF_UNIX, SOCK_STREAM, 0, pair), 0);
  Descriptor ours(pair[0]);
  Descriptor theirs(pair[1]);
  const StandardInput input(theirs.get());
  seen = {};
  const auto port = started("");
  ASSERT_EQ(::write(ours.get(), "socket", 6), 6);
  ours.reset();
  ASSERT_TRUE(run_until_ended());
  EXPECT_EQ(seen.bytes, "socket");
}

TEST_F(InputPort, AnEndlessFileLeavesRoomForOthers) {
  seen.keep_bytes = false;
  const auto flood = started("/dev/zero");
  const std::string path = dir / "pipe";  // bytes in it are there at once, whatever the load
  ASSERT_EQ(::mkfifo(path.c_str(), 0600), 0);
  const Descriptor writer(::open(path.c_str(), O_RDWR | O_CLOEXEC));
  Recorder other;
  PortSettings settings;
  settings.source = SourceKind::file;
  settings.path = path;
  const auto pipe = make_port(io, 1, settings, other);
  pipe->start();
  ASSERT_TRUE(run_until(io, [&] { return !other.events.empty() && seen.byte_count > 10'000'000; }));
  ASSERT_EQ(::write(writer.get(), "through", 7), 7);
  const std::uint64_t before = seen.byte_count;
  ASSERT_TRUE(run_until(io, [&] { return other.bytes == "through"; }));
  EXPECT_LT(seen.byte_count - before, 16U * 65536U);
  flood->stop();
  pipe->stop();
  EXPECT_LT(time_to_end(io), kPromptly);
}

TEST_F(InputPort, AQuestionIsNotForInput) {
  PortSettings settings;
  settings.source = SourceKind::file;
  settings.path = dir.file("log", "text");
  settings.poll = PollSettings{.send = "?", .every = 10ms, .quiet_before = 0s};
  const auto port = make_port(io, 0, settings, seen);
  port->start();
  ASSERT_TRUE(run_until_ended());
  EXPECT_EQ(port->counts().polls_sent + port->counts().polls_abandoned, 0U);
}

}  // namespace
}  // namespace fadeward::port::input_port_test
