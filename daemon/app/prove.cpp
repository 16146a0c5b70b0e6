// The near end of an acceptance test: time, port and files around the core in `prove`.
#include <spdlog/spdlog.h>
#include <unistd.h>

#include <algorithm>
#include <boost/asio/io_context.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/steady_timer.hpp>
#include <cerrno>
#include <cmath>
#include <csignal>
#include <cstdio>
#include <cstring>
#include <random>

#include "fadeward/app/commands.hpp"
#include "fadeward/app/config_file.hpp"
#include "fadeward/app/margin_watch.hpp"
#include "fadeward/app/proof_store.hpp"
#include "fadeward/base/text.hpp"
#include "fadeward/budget/report.hpp"
#include "fadeward/port/clock.hpp"
#include "fadeward/prove/live.hpp"
#include "fadeward/prove/prober.hpp"
#include "fadeward/prove/report.hpp"
#include "fadeward/prove/words.hpp"

namespace fadeward::app {

namespace {

using namespace std::chrono_literals;

constexpr Duration kOpenPatience = 30s;
constexpr Duration kAskEvery = 1s;
constexpr int kMostQuestions = 5;
constexpr Duration kWaitByHand = 2s;      // at most, when a run is ended by hand
constexpr Duration kTellTerminal = 1s;
constexpr Duration kTellLog = 30s;
constexpr Duration kAimSpan = 10s;

int refuse(const std::string& why) {
  std::fprintf(stderr, "fadeward: prove: %s\n", why.c_str());
  return 2;
}

/// One run. Phases follow each other; a single timer wakes it for what is due next.
class Run {
 public:
  Run(const ProveOptions& options, const PortSettings& port)
      : options_(options),
        line_(io_, port,
              {[this](auto bytes, Instant now) { take(bytes, now); },
               [this](const std::string& what, Instant) { opened(what); },
               [this](const std::string& why, Instant now) { closed(why, now); },
               [this](const std::string& why, Instant) { failed(why); }}),
        prober_({std::random_device{}(), options.octets, options.wait, options.rate_per_s,
                 options.criteria.max_latency}),
        signals_(io_, SIGINT, SIGTERM),
        timer_(io_),
        live_(::isatty(STDERR_FILENO) == 1),
        period_(seconds_to_duration(1 / options.rate_per_s)),
        planned_(planned_frames(options)) {}

  static std::uint64_t planned_frames(const ProveOptions& options) {
    return static_cast<std::uint64_t>(
        std::max(1.0, std::floor(duration_to_seconds(options.span) * options.rate_per_s + 1e-9)));
  }

  boost::asio::io_context& io() { return io_; }
  void watch_margins(std::unique_ptr<MarginWatch> watch) { margins_ = std::move(watch); }

  /// Empty string: it came to an end; else why it could not run.
  std::string run() {
    const Instant now = port::read_clocks();
    began_ = now;
    phase_since_ = now.steady;
    told_ = now.steady;
    line_.start();
    if (margins_) margins_->start();
    wait_for_signal();
    step();
    io_.run();
    line_.stop();
    if (margins_) margins_->stop();
    clear_live();
    return trouble_;
  }

  prove::Proof proof() const {
    prove::Proof out;
    out.program = "fadeward " FADEWARD_VERSION;
    out.link = options_.link;
    out.port = options_.port.port;
    out.line = what_;
    out.octets = options_.octets;
    out.rate_per_s = options_.rate_per_s;
    out.planned = planned_;
    const Instant now = port::read_clocks();
    out.from = first_sent_.value_or(began_).wall;
    out.to = now.wall;
    out.interrupted = by_hand_;
    out.criteria = options_.criteria;
    out.tally = prober_.tally(now.steady, true);
    if (margins_) out.margins = margins_->margins();
    out.margins_note = margins_ ? margins_->note(out.margins)
                                : "Margins were not measured: no configuration with a port that "
                                  "reports on this link was given (--config, --link).";
    out.verdict = prove::judge(out.tally, out.margins, out.criteria);
    const auto cautions = budget::standing_cautions();
    out.cautions.assign(cautions.begin(), cautions.end());
    return out;
  }

 private:
  enum class Phase { opening, knocking, probing, waiting, asking };

  // ---- what happens ------------------------------------------------------------------------

  void take(std::span<const std::uint8_t> bytes, Instant now) {
    prober_.feed(bytes, now.steady);
    const bool may_go_on = (phase_ == Phase::knocking && prober_.far_end_heard()) ||
                           (phase_ == Phase::waiting && prober_.all_answered()) ||
                           (phase_ == Phase::asking && prober_.settled());
    if (may_go_on) step();
  }

  void opened(const std::string& what) {
    what_ = what;
    trouble_.clear();
    say("open: " + what);
    step();
  }

  void closed(const std::string& why, Instant now) {
    prober_.interrupted(now.steady);
    say("closed: " + why);
  }

  void failed(const std::string& why) {
    trouble_ = why;
    say("cannot be opened: " + why);
  }

  void wait_for_signal() {
    signals_.async_wait([this](const boost::system::error_code& error, int) {
      if (error) return;
      if (by_hand_ || phase_ == Phase::opening || phase_ == Phase::knocking || options_.walk)
        return end(true);
      by_hand_ = true;
      say("ending: waiting for the last answers (once more: at once)");
      enter(Phase::waiting);
      wait_for_signal();
      step();
    });
  }

  void end(bool by_hand) {
    by_hand_ = by_hand_ || by_hand;
    io_.stop();
  }

  // ---- phases ------------------------------------------------------------------------------

  void enter(Phase phase) {
    phase_ = phase;
    phase_since_ = port::read_clocks().steady;
    due_ = phase_since_;
    questions_ = 0;
  }

  void step() {
    const Instant now = port::read_clocks();
    Duration next = kTellTerminal;
    switch (phase_) {
      case Phase::opening: next = step_opening(now); break;
      case Phase::knocking: next = step_knocking(now); break;
      case Phase::probing: next = step_probing(now); break;
      case Phase::waiting: next = step_waiting(now); break;
      case Phase::asking: next = step_asking(now); break;
    }
    if (io_.stopped()) return;
    tick_margins(now);
    tell(now);
    timer_.expires_after(std::clamp<Duration>(next, 0us, 500ms));
    timer_.async_wait([this](const boost::system::error_code& error) {
      if (!error) step();
    });
  }

  Duration step_opening(Instant now) {
    if (line_.open()) {
      enter(Phase::knocking);
      return 0us;
    }
    if (now.steady - phase_since_ >= kOpenPatience) {
      if (trouble_.empty()) trouble_ = "it does not open";
      end(false);
    }
    return kAskEvery;
  }

  /// A question a second, until somebody answers.
  Duration step_knocking(Instant now) {
    if (prober_.far_end_heard() || (options_.walk && now.steady - phase_since_ >= 2 * kAskEvery)) {
      enter(Phase::probing);
      first_sent_ = now;
      if (margins_) margins_->begin_anew();
      return 0us;
    }
    if (now.steady - phase_since_ >= options_.knock) {
      say("no far end answered within " + format_span(options_.knock));
      end(false);
      return kAskEvery;
    }
    ask(now);
    return due_ - now.steady;
  }

  void ask(Instant now) {
    if (now.steady < due_) return;
    due_ = now.steady + kAskEvery;
    if (line_.open() && line_.idle() && line_.send(prober_.question())) ++questions_;
  }

  Duration step_probing(Instant now) {
    const bool over = prober_.sent() >= planned_ || now.steady - phase_since_ >= options_.span + period_;
    if (over) {
      enter(Phase::waiting);
      return 0us;
    }
    if (now.steady >= due_) {
      if (!line_.open()) return 20ms;
      if (!line_.idle()) return 2ms;
      line_.send(prober_.probe(now.steady));
      last_sent_ = now.steady;
      due_ = std::max(due_ + period_, now.steady - period_);   // no burst after a pause
    }
    return due_ - now.steady;
  }

  Duration step_waiting(Instant now) {
    const Duration wait = by_hand_ ? std::min(options_.wait, kWaitByHand) : options_.wait;
    if (prober_.all_answered() || now.steady - last_sent_ >= wait) {
      enter(Phase::asking);
      return 0us;
    }
    return last_sent_ + wait - now.steady;
  }

  /// What the far end has counted in the end.
  Duration step_asking(Instant now) {
    if (prober_.settled() || (questions_ >= kMostQuestions && now.steady >= due_) ||
        now.steady - phase_since_ >= 2 * kMostQuestions * kAskEvery) {
      end(false);
      return kAskEvery;
    }
    ask(now);
    return due_ - now.steady;
  }

  // ---- what is told ------------------------------------------------------------------------

  void clear_live() {
    if (!live_shown_) return;
    std::fputs("\r\033[K", stderr);
    live_shown_ = false;
  }

  void say(const std::string& text) {
    clear_live();
    spdlog::info("prove: {}", text);
  }

  void tick_margins(Instant now) {
    if (!margins_ || now.steady - ticked_ < 1s) return;
    ticked_ = now.steady;
    margins_->tick();
  }

  void tell(Instant now) {
    if (phase_ != Phase::probing) return;
    const Duration every = live_ || options_.walk ? kTellTerminal : kTellLog;
    if (now.steady - told_ < every) return;
    told_ = now.steady;
    if (options_.walk) return tell_aim(now);
    const double left_s = static_cast<double>(planned_ - std::min<std::uint64_t>(prober_.sent(), planned_)) /
                          options_.rate_per_s;
    const std::string line = prove::progress_line(prober_.tally(now.steady, false), planned_,
                                                  prober_.recent_latency_s(), left_s);
    if (!live_) return say(line);
    std::fprintf(stderr, "\r%s\033[K", line.c_str());
    live_shown_ = true;
  }

  void tell_aim(Instant now) {
    prove::Aim aim;
    aim.latency_s = prober_.recent_latency_s();
    const Duration grace =
        std::max<Duration>(1s, seconds_to_duration(2 * aim.latency_s.value_or(0)));
    std::tie(aim.sent, aim.answered) = prober_.recent(now.steady, kAimSpan, grace);
    if (margins_) aim.margins_db = fresh_margins(now);
    std::printf("%s\n", walk_.line(aim).c_str());
    std::fflush(stdout);
  }

  /// Of the last ten seconds or so: the watch begins anew every ten, and until it has something the
  /// value before stands.
  std::array<std::optional<double>, kDirections> fresh_margins(Instant now) {
    const prove::MeasuredMargins margins = margins_->margins();
    for (std::size_t d = 0; d < kDirections; ++d)
      if (margins[d].margin_db) {
        aimed_db_[d] = margins[d].margin_db;
        aimed_at_[d] = now.steady;
      } else if (now.steady - aimed_at_[d] > kAimSpan) {
        aimed_db_[d].reset();
      }
    if (now.steady - margins_begun_ >= kAimSpan) {
      margins_begun_ = now.steady;
      margins_->begin_anew();
    }
    return aimed_db_;
  }

  const ProveOptions& options_;
  boost::asio::io_context io_{1};
  std::unique_ptr<MarginWatch> margins_;
  DuplexLine line_;
  prove::Prober prober_;
  boost::asio::signal_set signals_;
  boost::asio::steady_timer timer_;
  const bool live_;
  const Duration period_;
  const std::uint64_t planned_;
  Phase phase_ = Phase::opening;
  Duration phase_since_{};
  Duration due_{};
  Duration last_sent_{};
  Duration told_{};
  Duration ticked_{};
  int questions_ = 0;
  bool by_hand_ = false;
  bool live_shown_ = false;
  Instant began_{};
  std::optional<Instant> first_sent_;
  std::string what_, trouble_;
  prove::Walk walk_;
  std::array<std::optional<double>, kDirections> aimed_db_;
  std::array<Duration, kDirections> aimed_at_{};
  Duration margins_begun_{};
};

// ---- before and after ----------------------------------------------------------------------

/// A file that cannot be written should be known before the run, not after it.
Status try_file(const std::string& path) {
  if (path.empty() || path == "-") return success();
  std::FILE* file = std::fopen(path.c_str(), "ab");
  if (file == nullptr) return Error{path + ": " + std::strerror(errno)};
  std::fclose(file);
  return success();
}

bool put_file(const std::string& path, const std::string& text) {
  if (path.empty()) return true;
  std::FILE* file = path == "-" ? stdout : std::fopen(path.c_str(), "wb");
  bool fine = file != nullptr && std::fwrite(text.data(), 1, text.size(), file) == text.size();
  if (file == stdout)
    fine = std::fflush(stdout) == 0 && fine;
  else if (file != nullptr)
    fine = std::fclose(file) == 0 && fine;
  if (!fine) std::fprintf(stderr, "fadeward: prove: %s: %s\n", path.c_str(), std::strerror(errno));
  return fine;
}

/// Start, data, parity and stop bits.
int bits_per_octet(const SerialSettings& serial) {
  return 1 + serial.data_bits + (serial.parity != SerialSettings::Parity::none ? 1 : 0) + serial.stop_bits;
}

Status check_line(const ProveOptions& options, const PortSettings& port) {
  if (port.source != SourceKind::serial) return success();
  if (port.serial.data_bits != 8) return Error{"--port: the test needs 8 data bits"};
  const double most = port.serial.baud / (static_cast<double>(options.octets) * bits_per_octet(port.serial));
  if (options.rate_per_s <= most) return success();
  std::string text = "--rate: at " + std::to_string(port.serial.baud) + " baud at most ";
  append_rounded(text, std::floor(most * 100) / 100, 2);
  return Error{text + " frames of " + std::to_string(options.octets) + " octets a second"};
}

std::string conflicts(const ProveOptions& options) {
  if (!options.link.empty() && options.config.empty()) return "--link needs --config";
  if (options.criteria.min_margin_db && (options.config.empty() || options.link.empty()))
    return "--min-margin needs --config and --link: margins come from what the link's ports report";
  if (options.baseline && (options.config.empty() || options.link.empty()))
    return "--baseline needs --config and --link";
  if (options.baseline && options.walk) return "--baseline does not go with --walk";
  return "";
}

StoredProof stored(const prove::Proof& proof) {
  StoredProof out;
  out.link = proof.link;
  out.from = proof.from;
  out.to = proof.to;
  for (std::size_t d = 0; d < kDirections; ++d) out.margins_db[d] = proof.margins[d].margin_db;
  out.note = "proved: " + prove::count_words(proof.tally.trips.answered, "frame", "frames") + " of " +
             std::to_string(proof.tally.trips.sent) + " there and back";
  if (proof.tally.latency) out.note += ", median " + prove::seconds_words(proof.tally.latency->median_s);
  return out;
}

bool keep_baseline(const prove::Proof& proof, const std::string& dir) {
  if (proof.verdict.outcome != prove::Outcome::passed) {
    std::fputs("Not stored as baseline: the link was not accepted.\n", stderr);
    return true;
  }
  const Status kept = store_proof(dir, stored(proof));
  if (!kept) {
    std::fprintf(stderr, "fadeward: prove: %s\n", kept.error().message.c_str());
    return false;
  }
  std::fprintf(stderr, "Stored as baseline in %s; fadeward watch takes it with its next start or SIGHUP.\n",
               dir.c_str());
  return true;
}

int report(const ProveOptions& options, const prove::Proof& proof, const Settings* settings) {
  bool fine = options.json == "-" || options.html == "-" || put_file("-", prove::to_text(proof));
  fine = put_file(options.json, options.json.empty() ? "" : prove::to_json(proof)) && fine;
  fine = put_file(options.html, options.html.empty() ? "" : prove::to_html(proof)) && fine;
  if (options.baseline) fine = keep_baseline(proof, settings->history.dir) && fine;
  if (!fine) return 1;
  return proof.verdict.outcome == prove::Outcome::passed ? 0 : 3;
}

}  // namespace

int prove_link(const ProveOptions& options) {
  if (const std::string why = conflicts(options); !why.empty()) return refuse(why);
  std::optional<Settings> settings;
  const LinkSettings* link = nullptr;
  if (!options.config.empty()) {
    auto loaded = load_settings(options.config);
    if (!loaded) {
      std::fprintf(stderr, "%s\n", loaded.error().message.c_str());
      return 2;
    }
    settings = std::move(loaded).value();
    std::string names;
    for (const LinkSettings& one : settings->links) {
      names += (names.empty() ? "" : ", ") + one.name;
      if (one.name == options.link) link = &one;
    }
    if (!options.link.empty() && link == nullptr)
      return refuse("--link " + printable(options.link) + ": no such link; there are: " + names);
    if (options.baseline && settings->history.dir.empty())
      return refuse("--baseline needs history: { dir: ... } in " + options.config);
  }
  const auto port = port_of(options.port, settings ? &*settings : nullptr);
  if (!port) return refuse(port.error().message);
  if (const Status fits = check_line(options, *port); !fits) return refuse(fits.error().message);
  for (const std::string& file : {options.json, options.html})
    if (const Status writable = try_file(file); !writable) return refuse(writable.error().message);

  std::signal(SIGPIPE, SIG_IGN);
  Run run(options, *port);
  if (link != nullptr) {
    auto watch = MarginWatch::make(run.io(), *settings, options.link, *port);
    if (!watch) return refuse(watch.error().message);
    run.watch_margins(std::move(watch).value());
  }
  if (!options.walk)
    std::fprintf(stderr, "%s\n", prove::prospect(Run::planned_frames(options), options.criteria).c_str());
  const std::string trouble = run.run();
  if (!trouble.empty()) {
    std::fprintf(stderr, "fadeward: prove: port: %s\n", trouble.c_str());
    if (run.proof().tally.probes == 0) return 1;
  }
  if (options.walk) return 0;
  prove::Proof proof = run.proof();
  if (link != nullptr) {
    proof.near_height_m = link->budget.near.height_m;
    proof.far_height_m = link->budget.far.height_m;
  }
  return report(options, proof, settings ? &*settings : nullptr);
}

}  // namespace fadeward::app
