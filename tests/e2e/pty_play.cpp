// Plays lines into a pseudo-terminal as a radio would, for a program that takes it for a serial
// device. See kUsage.
#include <fcntl.h>
#include <poll.h>
#include <unistd.h>

#include <cerrno>
#include <chrono>
#include <csignal>
#include <cstdlib>
#include <cstring>
#include <iostream>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "support/pty.hpp"

namespace {

using Clock = std::chrono::steady_clock;
using Milliseconds = std::chrono::milliseconds;
using namespace std::chrono_literals;

constexpr const char* kUsage =
    "pty_play --link PATH [options]\n"
    "Creates a pseudo-terminal with a symbolic link at PATH, waits until a program has opened it,\n"
    "plays the input into it line by line, waits until everything has been read, and leaves.\n"
    "  --input FILE           what to play; default: standard input\n"
    "  --rate LINES_PER_S     pace; default 0: as fast as it is read\n"
    "  --answer ASK=REPLY     whenever the program writes ASK, answer REPLY (\\r \\n \\\\ "
    "resolved);\n"
    "                         may be given several times\n"
    "  --wait S               how long to wait for the program, default 30; plays on afterwards\n"
    "  --drain S              how long to wait for the end of reading, default 60\n"
    "  --hold S|eof           keep the device for S seconds more, or until standard input ends\n"
    "Prints one line to standard error per step. Exit: 0 all read; 1 not read in time; 2 usage.\n";

volatile std::sig_atomic_t stop_asked = 0;

struct Options {
  std::string link;
  std::string input;
  double lines_per_s = 0;
  std::vector<std::pair<std::string, std::string>> answers;
  double wait_s = 30;
  double drain_s = 60;
  double hold_s = 0;
  bool hold_until_eof = false;
};

std::string unescaped(const std::string& text) {
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] != '\\' || i + 1 == text.size()) {
      out += text[i];
      continue;
    }
    const char next = text[++i];
    out += next == 'r' ? '\r' : next == 'n' ? '\n' : next;
  }
  return out;
}

std::optional<double> number(const std::string& text) {
  char* end = nullptr;
  const double value = std::strtod(text.c_str(), &end);
  if (text.empty() || *end != '\0' || !(value >= 0) || value > 1e9) return std::nullopt;
  return value;
}

bool set_option(Options& options, const std::string& key, const std::string& value) {
  const auto as_number = number(value);
  if (key == "--link")
    options.link = value;
  else if (key == "--input")
    options.input = value;
  else if (key == "--hold" && value == "eof")
    options.hold_until_eof = true;
  else if (key == "--rate" && as_number)
    options.lines_per_s = *as_number;
  else if (key == "--wait" && as_number)
    options.wait_s = *as_number;
  else if (key == "--drain" && as_number)
    options.drain_s = *as_number;
  else if (key == "--hold" && as_number)
    options.hold_s = *as_number;
  else if (key == "--answer" && value.find('=') != std::string::npos) {
    const std::size_t equals = value.find('=');
    options.answers.emplace_back(unescaped(value.substr(0, equals)),
                                 unescaped(value.substr(equals + 1)));
  } else {
    return false;
  }
  return true;
}

std::optional<Options> options_from(int argc, char** argv) {
  Options options;
  for (int i = 1; i < argc; i += 2) {
    if (i + 1 == argc || !set_option(options, argv[i], argv[i + 1])) return std::nullopt;
  }
  if (options.link.empty()) return std::nullopt;
  return options;
}

Milliseconds milliseconds(double seconds) {
  return Milliseconds(static_cast<std::int64_t>(seconds * 1e3));
}

class Player {
 public:
  explicit Player(const Options& options) : options_(options), pty_(options.link) {}

  int run() {
    say("device " + pty_.device_path() + " as " + options_.link);
    pass_until([&] { return pty_.taken(); }, milliseconds(options_.wait_s));
    was_taken_ = pty_.taken();
    say(was_taken_ ? "opened by a program" : "not opened for exclusive use, playing all the same");
    const std::size_t lines = play();
    say("played " + std::to_string(lines) + " lines");
    const bool drained = drain();
    if (stop_asked != 0) {
      say("asked to stop");
    } else if (drained) {
      say("all read");
      hold();
    } else {
      say("NOT all read: " + std::to_string(pty_.unread()) + " bytes or more wait");
    }
    say("leaving");
    return drained ? 0 : 1;
  }

 private:
  static void say(const std::string& text) { std::cerr << "pty_play: " << text << std::endl; }

  std::size_t play() {
    const int input = options_.input.empty() ? STDIN_FILENO
                                             : ::open(options_.input.c_str(), O_RDONLY | O_CLOEXEC);
    if (input < 0) {
      say("cannot read " + options_.input);
      return 0;
    }
    const auto begin = Clock::now();
    std::size_t lines = 0;
    std::string line;
    while (stop_asked == 0 && next_line(input, line)) {
      if (options_.lines_per_s > 0) {
        const double due_s = static_cast<double>(lines) / options_.lines_per_s;
        const auto due = begin + std::chrono::duration_cast<Clock::duration>(
                                     std::chrono::duration<double>(due_s));
        pass_until([&] { return Clock::now() >= due; }, 24h);
      }
      if (!write(line)) break;
      if (++lines % 64 == 0) answer();
    }
    if (input != STDIN_FILENO) ::close(input);
    return lines;
  }

  // The next line with its end; a last line without end stays without. Answers while it waits.
  bool next_line(int input, std::string& line) {
    std::size_t end = pending_.find('\n', pending_from_);
    while (end == std::string::npos && stop_asked == 0) {
      pollfd sources[] = {{input, POLLIN, 0}, {pty_.radio(), POLLIN, 0}};
      ::poll(sources, 2, 100);
      if ((sources[1].revents & POLLIN) != 0) answer();
      if (sources[0].revents == 0) continue;
      pending_.erase(0, std::exchange(pending_from_, 0));
      const std::size_t searched = pending_.size();
      pending_.resize(searched + 65536);
      const ssize_t got = ::read(input, pending_.data() + searched, 65536);
      pending_.resize(searched + static_cast<std::size_t>(got > 0 ? got : 0));
      if (got <= 0) {
        line = std::exchange(pending_, {});
        return !line.empty();
      }
      end = pending_.find('\n', searched);
    }
    if (end == std::string::npos) return false;
    line.assign(pending_, pending_from_, end + 1 - pending_from_);
    pending_from_ = end + 1;
    return true;
  }

  // Without a reader the kernel takes some kilobytes and then no more: a slow reader is waited for.
  bool write(std::string_view bytes) {
    const auto end = Clock::now() + milliseconds(options_.drain_s);
    while (!bytes.empty() && stop_asked == 0) {
      const ssize_t put = ::write(pty_.radio(), bytes.data(), bytes.size());
      if (put > 0) {
        bytes.remove_prefix(static_cast<std::size_t>(put));
        continue;
      }
      if (errno != EAGAIN || Clock::now() > end || program_left()) {
        say("the program takes nothing more");
        return false;
      }
      wait_for(POLLIN | POLLOUT, 100ms);
      answer();
    }
    return true;
  }

  bool program_left() const { return was_taken_ && !pty_.taken(); }

  bool drain() {
    int empty = 0;
    pass_until(
        [&] {
          empty = pty_.unread() == 0 ? empty + 1 : 0;
          return empty >= 5 || program_left();
        },
        milliseconds(options_.drain_s));
    return empty >= 5 || (program_left() && pty_.unread() == 0);
  }

  void hold() {
    if (!options_.hold_until_eof) {
      pass_until([] { return false; }, milliseconds(options_.hold_s));
      return;
    }
    pass_until(
        [] {
          pollfd input{STDIN_FILENO, POLLIN, 0};
          char skipped[4096];
          return ::poll(&input, 1, 0) > 0 && ::read(STDIN_FILENO, skipped, sizeof skipped) <= 0;
        },
        24h);
  }

  template <class Done>
  void pass_until(Done done, Milliseconds limit) {
    const auto end = Clock::now() + limit;
    while (stop_asked == 0 && Clock::now() < end && !done()) {
      wait_for(POLLIN, 5ms);
      answer();
    }
  }

  void wait_for(int events, Milliseconds limit) const {
    pollfd radio{pty_.radio(), static_cast<short>(events), 0};
    ::poll(&radio, 1, static_cast<int>(limit.count()));
  }

  void answer() {
    char part[4096];
    const ssize_t got = ::read(pty_.radio(), part, sizeof part);
    if (got <= 0) return;
    asked_.append(part, static_cast<std::size_t>(got));
    for (const auto& [question, reply] : options_.answers) {
      if (question.empty()) continue;
      std::size_t at = asked_.find(question);
      for (; at != std::string::npos; at = asked_.find(question, at)) {
        asked_.erase(at, question.size());
        pty_.write(reply);
      }
    }
    constexpr std::size_t kLongestQuestion = 4096;
    if (asked_.size() > kLongestQuestion) asked_.erase(0, asked_.size() - kLongestQuestion);
  }

  Options options_;
  fadeward::test::PtyPair pty_;
  bool was_taken_ = false;
  std::string asked_;
  std::string pending_;  ///< input read ahead, from pending_from_ on
  std::size_t pending_from_ = 0;
};

}  // namespace

int main(int argc, char** argv) {
  if (argc == 2 && std::strcmp(argv[1], "--help") == 0) {
    std::cout << kUsage;
    return 0;
  }
  const auto options = options_from(argc, argv);
  if (!options) {
    std::cerr << kUsage;
    return 2;
  }
  for (const int signal : {SIGTERM, SIGINT, SIGHUP}) {
    struct sigaction action {};
    action.sa_handler = [](int) { stop_asked = 1; };  // without SA_RESTART: reads end too
    ::sigaction(signal, &action, nullptr);
  }
  try {
    return Player(*options).run();
  } catch (const std::exception& error) {
    std::cerr << "pty_play: " << error.what() << '\n';
    return 1;
  }
}
