// The far end of an acceptance test.
#include "fadeward/prove/echo.hpp"

#include <spdlog/spdlog.h>

#include <boost/asio/io_context.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/steady_timer.hpp>
#include <csignal>
#include <cstdio>
#include <random>

#include "fadeward/app/commands.hpp"
#include "fadeward/app/config_file.hpp"

namespace fadeward::app {

namespace {

constexpr std::chrono::seconds kTellEvery{30};

class FarEnd {
 public:
  explicit FarEnd(const PortSettings& port)
      : line_(io_, port,
              {[this](auto bytes, Instant) { take(bytes); },
               [](const std::string& what, Instant) { spdlog::info("echo: open ({})", what); },
               [this](const std::string& why, Instant) {
                 echo_.cut();
                 spdlog::warn("echo: closed: {}", why);
               },
               [](const std::string& why, Instant) {
                 spdlog::warn("echo: cannot be opened: {}", why);
               }}),
        echo_(std::random_device{}(),
              [](std::uint32_t session) { spdlog::info("echo: session {:08x} begins", session); }),
        signals_(io_, SIGINT, SIGTERM),
        timer_(io_) {}

  int run() {
    line_.start();
    signals_.async_wait([this](const boost::system::error_code& error, int) {
      if (!error) io_.stop();
    });
    schedule();
    io_.run();
    line_.stop();
    tell();
    return 0;
  }

 private:
  void take(std::span<const std::uint8_t> bytes) {
    answers_.clear();
    echo_.feed(bytes, answers_);
    if (!answers_.empty() && !line_.send(answers_)) refused_ += answers_.size();
  }

  void schedule() {
    timer_.expires_after(kTellEvery);
    timer_.async_wait([this](const boost::system::error_code& error) {
      if (error) return;
      tell();
      schedule();
    });
  }

  /// Where something has changed.
  void tell() {
    const prove::FarCounts counts = echo_.counts();
    if (counts == told_) return;
    told_ = counts;
    spdlog::info(
        "echo: heard {} (highest number {}), again {}, out of order {}, damaged {}, noise {} "
        "octets",
        counts.heard, counts.highest, counts.duplicates, counts.reordered, counts.corrupted,
        echo_.noise_octets());
    if (refused_ > 0)
      spdlog::warn("echo: {} octets of answers were not taken by the port", refused_);
  }

  boost::asio::io_context io_{1};
  DuplexLine line_;
  prove::Echo echo_;
  boost::asio::signal_set signals_;
  boost::asio::steady_timer timer_;
  std::vector<std::uint8_t> answers_;
  std::uint64_t refused_ = 0;
  prove::FarCounts told_;
};

int refuse(const std::string& why) {
  std::fprintf(stderr, "fadeward: echo: %s\n", why.c_str());
  return 2;
}

}  // namespace

int echo(const EchoOptions& options) {
  std::optional<Settings> settings;
  if (!options.config.empty()) {
    auto loaded = load_settings(options.config);
    if (!loaded) {
      std::fprintf(stderr, "%s\n", loaded.error().message.c_str());
      return 2;
    }
    settings = std::move(loaded).value();
  }
  const auto port = port_of(options.port, settings ? &*settings : nullptr);
  if (!port) return refuse(port.error().message);
  std::signal(SIGPIPE, SIG_IGN);
  FarEnd far_end(*port);
  return far_end.run();
}

}  // namespace fadeward::app
