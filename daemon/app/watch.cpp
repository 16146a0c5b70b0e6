#include "fadeward/app/watch.hpp"

#include <malloc.h>
#include <spdlog/spdlog.h>

#include <atomic>
#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/steady_timer.hpp>
#include <csignal>
#include <future>
#include <map>
#include <tuple>
#include <vector>

#include "fadeward/app/clock.hpp"
#include "fadeward/app/config_file.hpp"
#include "fadeward/app/history_feed.hpp"
#include "fadeward/app/history_writer.hpp"
#include "fadeward/app/notify.hpp"
#include "fadeward/app/port_feed.hpp"
#include "fadeward/app/proof_store.hpp"
#include "fadeward/app/state_file.hpp"
#include "fadeward/base/text.hpp"
#include "fadeward/config/describe.hpp"
#include "fadeward/config/web_config.hpp"
#include "fadeward/judge/supervisor.hpp"
#include "fadeward/publish/history_json.hpp"
#include "fadeward/publish/http_server.hpp"
#include "fadeward/publish/pusher.hpp"
#include "fadeward/publish/review_desk.hpp"
#include "fadeward/publish/snapshot_box.hpp"
#include "fadeward/review/context.hpp"

namespace fadeward::app {

namespace {

constexpr Duration kTick = std::chrono::seconds{1};
constexpr Duration kDrain = std::chrono::milliseconds{200};
// Together with the drain less than a second, whoever hangs on the other side.
constexpr Duration kPushEnd = std::chrono::milliseconds{500};
constexpr Duration kHttpEnd = std::chrono::milliseconds{250};
constexpr Duration kSaveEvery = std::chrono::hours{6};
constexpr Duration kSaveAlertsAfter = std::chrono::minutes{1};

/// Everything that runs, in the order in which it is built and the reverse of the order in which it
/// ends: state, core, ports, clock tick, HTTP.
class Daemon {
 public:
  Daemon(Settings settings, const WatchOptions& options)
      : options_(options),
        settings_(std::move(settings)),
        proofs_(take_proofs(settings_.history.dir, settings_)),
        clock_(options.time_factor == 1
                   ? Clock{}
                   : Clock{options.time_factor, options.time_start.value_or(Clock{}.now().wall)}),
        supervisor_(settings_, clock_.now(), core_options()),
        signals_(io_, SIGTERM, SIGINT, SIGHUP),
        timer_(io_),
        watchdog_(io_) {}

  int run() {
    if (const Status opened = open_state(); !opened) return fail(opened.error().message);
    publish::ProgramState program;
    program.started = clock_.now().wall;
    program.external_labels = settings_.external_labels;
    box_.change([&](publish::ProgramState& state) { state = program; });
    begin_history();
    publish_snapshot();
    open_push();
    if (const Status serving = open_http(); !serving) return fail(serving.error().message);
    for (PortIndex i = 0; i < settings_.ports.size(); ++i) {
      auto feed = PortFeed::make(io_, i, settings_.ports[i], clock_, supervisor_);
      if (!feed) return fail(feed.error().message);
      feeds_.push_back(std::move(feed).value());
    }
    for (const auto& feed : feeds_) feed->start();
    wait_for_signal();
    schedule_tick();
    schedule_watchdog();
    pusher_->start();
    box_.change([](publish::ProgramState& state) { state.ready = true; });
    notify_service_manager("READY=1");
    spdlog::info("watching {} links on {} ports", settings_.links.size(), settings_.ports.size());
    loop();
    return stop();
  }

 private:
  int fail(const std::string& why) {
    spdlog::error("{}", why);
    return 1;
  }

  Status open_state() {
    if (settings_.history.dir.empty()) return success();
    auto opened = StateFile::open(settings_.history.dir);
    if (!opened) return opened.error();
    state_ = std::move(opened).value();
    if (const Status history = open_history(); !history) return history;
    auto bytes = state_->load();
    if (!bytes) return bytes.error();
    if (!*bytes) return success();
    const Status restored = supervisor_.restore(**bytes, clock_.now());
    if (restored)
      spdlog::info("state of the last run restored from {}", settings_.history.dir);
    else
      spdlog::warn("state of the last run not used: {}; set aside as {}", restored.error().message,
                   state_->set_aside());
    return success();
  }

  judge::SupervisorOptions core_options() const {
    judge::SupervisorOptions options;
    options.keep_bins = !settings_.history.dir.empty();
    options.boot = clock_.boot();
    return options;
  }

  Status open_history() {
    auto writer = HistoryWriter::open(
        settings_.history.dir, store_options(settings_.history),
        [](HistoryWriter::Tone tone, const std::string& text) {
          spdlog::log(tone == HistoryWriter::Tone::error     ? spdlog::level::err
                      : tone == HistoryWriter::Tone::warning ? spdlog::level::warn
                                                             : spdlog::level::info,
                      "{}", text);
        },
        clock_.boot());
    if (!writer) return writer.error();
    history_ = std::move(writer).value();
    return success();
  }

  void begin_history() {
    if (!history_) return;
    const Instant now = clock_.now();
    if (feed_.restore(history_->take_held(), now)) {
      spdlog::warn(
          "the program ran without a clock until the machine stopped: {} records have no date and "
          "are left out",
          feed_.dropped());
      history_->hold(feed_.take_held(), true);
    }
    feed_.started(FADEWARD_VERSION, now);
    feed_.settings(settings_, now);
    feed_.periods(periods_of(proofs_));
  }

  /// Before the settings are used: what `prove --baseline` left in the directory of the history.
  static std::vector<StoredProof> take_proofs(const std::string& dir, Settings& settings) {
    if (dir.empty()) return {};
    std::size_t skipped = 0;
    auto proofs = load_proofs(dir, skipped);
    if (!proofs) {
      spdlog::warn("proofs not read: {}", proofs.error().message);
      return {};
    }
    if (skipped > 0) spdlog::warn("{}/proved.jsonl: {} lines cannot be read", dir, skipped);
    put_proofs(*proofs, settings);
    return std::move(proofs).value();
  }

  /// After a tick. Once a minute what happened and the quarter hours that ended go to the disk:
  /// each transaction wears the flash, and a port may come and go by the second.
  void keep_history(const judge::Snapshot& snapshot, Instant now) {
    if (!history_) return;
    feed_.look(snapshot, now);
    tell_write_errors();
    const auto minute = std::chrono::floor<std::chrono::minutes>(now.wall);
    if (minute == collected_) return;
    collected_ = minute;
    feed_.collect(supervisor_, settings_, now);
    hand_over(now);
  }

  /// What has a date to the history, what has none to its file.
  void hand_over(Instant now) {
    history_->push(feed_.take(now), now.wall);
    history_->hold(feed_.take_held());
  }

  void tell_write_errors() {
    const std::uint64_t errors =
        (state_ ? state_->errors() : 0) + (history_ ? history_->errors() : 0);
    const std::uint64_t dropped =
        history_ ? history_->dropped() + feed_.dropped() + supervisor_.bins_dropped() : 0;
    if (errors == write_errors_ && dropped == history_dropped_) return;
    write_errors_ = errors;
    history_dropped_ = dropped;
    box_.change([errors, dropped](publish::ProgramState& state) {
      state.history_write_errors = errors;
      state.history_dropped = dropped;
    });
  }

  Status open_http() {
    if (settings_.http.disabled) return success();
    publish::BuildInfo build;
    build.version = FADEWARD_VERSION;
    build.compiler = "g++ " __VERSION__;
    publish::HttpHooks hooks;
    hooks.reload = [this] { return reload_from_http(); };
    hooks.web_config = [](const std::string& path) { return config::load_web_config(path); };
    hooks.remark = [](bool good, const std::string& text) {
      spdlog::log(good ? spdlog::level::info : spdlog::level::err, "{}", text);
    };
    if (history_) {
      desk_ = std::make_unique<publish::ReviewDesk>(settings_.history.dir);
      tell_upkeep();
      hooks.last_days = [this] { return desk_->last_days(box_.load().snapshot->time); };
      hooks.more = [this, json = publish::HistoryJson(settings_.history.dir)](
                       const publish::HttpRequest& request) -> std::optional<publish::HttpAnswer> {
        const publish::Published published = box_.load();
        constexpr std::string_view kReview = "/review/";
        const std::string_view path = publish::path_of(request.target);
        if (path.starts_with(kReview))
          return desk_->page(path.substr(kReview.size()), *published.snapshot);
        if (path != "/history") return {};
        std::vector<std::string> names;
        for (const judge::LinkSnapshot& link : published.snapshot->links)
          names.push_back(link.name);
        return json.answer(request, names, published.snapshot->time);
      };
    }
    publish::HttpLimits limits;
    limits.stop = kHttpEnd;
    server_ = std::make_unique<publish::HttpServer>(settings_.http, box_, build, hooks, limits);
    const Status started = server_->start();
    if (started)
      spdlog::info("serving {}://{}:{}/", server_->is_secure() ? "https" : "http",
                   settings_.http.address, server_->port());
    return started;
  }

  void tell_upkeep() {
    if (!desk_) return;
    std::map<std::string, review::Periods, std::less<>> upkeep;
    for (const LinkSettings& link : settings_.links)
      upkeep[link.name] = review::configured_upkeep(link);
    desk_->configure(std::move(upkeep));
  }

  void open_push() {
    publish::PushOutside outside;
    outside.now = [this] { return clock_.now(); };
    outside.real = [this](Duration span) { return clock_.real(span); };
    outside.log = [](publish::PushTone tone, const std::string& text) {
      spdlog::log(tone == publish::PushTone::warning ? spdlog::level::warn : spdlog::level::info,
                  "{}", text);
    };
    outside.history_dir = settings_.history.dir;
    pusher_ = std::make_unique<publish::Pusher>(box_, std::move(outside));
    pusher_->configure(settings_.push, settings_.external_labels);
  }

  /// An exception in a handler is our own mistake: it is logged and the daemon goes on.
  void loop() {
    for (;;) {
      try {
        io_.run();
        return;
      } catch (const std::exception& fault) {
        spdlog::critical("fault in a handler: {}", fault.what());
      }
    }
  }

  void wait_for_signal() {
    signals_.async_wait([this](const boost::system::error_code& failed, int signal) {
      if (failed) return;
      if (signal == SIGHUP) {
        static_cast<void>(reload());  // it has logged what was wrong
        wait_for_signal();
        return;
      }
      spdlog::info("stopping ({})", signal == SIGTERM ? "SIGTERM" : "SIGINT");
      notify_service_manager("STOPPING=1");
      timer_.cancel();
      watchdog_.cancel();
      stopping_ = true;
      io_.stop();
    });
  }

  void schedule_tick() {
    timer_.expires_after(clock_.real(kTick));
    timer_.async_wait([this](const boost::system::error_code& failed) {
      if (failed || stopping_) return;
      tick();
      schedule_tick();
    });
  }

  void schedule_watchdog() {
    const Duration interval = watchdog_interval();
    if (interval == Duration{}) return;
    watchdog_.expires_after(interval);
    watchdog_.async_wait([this](const boost::system::error_code& failed) {
      if (failed || stopping_) return;
      notify_service_manager("WATCHDOG=1");
      schedule_watchdog();
    });
  }

  void tick() {
    const Instant now = clock_.now();
    supervisor_.tick(now);
    log_events();
    const judge::SnapshotPtr snapshot = supervisor_.snapshot(clock_.now());
    keep_history(*snapshot, now);
    box_.store(snapshot);
    save_if_due(now);
  }

  std::string link_name(LinkIndex link) const {
    return link < settings_.links.size() ? printable(settings_.links[link].name) : std::string("-");
  }

  void log_events() {
    for (const judge::Event& event : supervisor_.events()) {
      if (history_) feed_.note(event, settings_, clock_.now());
      const std::string when =
          clock_.factor() == 1
              ? ""
              : format_rfc3339(std::chrono::floor<std::chrono::seconds>(event.time)) + " ";
      const std::string where = event.port != kNoPort
                                    ? "port " + printable(settings_.ports[event.port].name)
                                    : "link " + link_name(event.link);
      const std::string cause =
          event.cause == Cause::none ? "" : " cause " + std::string(name_of(event.cause));
      const auto level = event.change == judge::Change::cleared ? spdlog::level::info
                         : event.severity == Severity::critical ? spdlog::level::err
                         : event.severity == Severity::warning  ? spdlog::level::warn
                                                                : spdlog::level::info;
      spdlog::log(level, "{}{}: {} {} ({}{}): {}", when, where, name_of(event.alert),
                  name_of(event.change), name_of(event.severity), cause, event.text);
    }
    supervisor_.clear_events();
  }

  void publish_snapshot() { box_.store(supervisor_.snapshot(clock_.now())); }

  /// Alerts soon after they changed, the rest a few times a day: flash wears by the write.
  void save_if_due(Instant now) {
    if (!state_) return;
    const bool alerts =
        supervisor_.alerts_changed_since_save() && now.steady - saved_ > kSaveAlertsAfter;
    if (!alerts && now.steady - saved_ < kSaveEvery) return;
    saved_ = now.steady;
    state_->save(supervisor_.save());
    if (state_->errors() == save_errors_) return;
    save_errors_ = state_->errors();
    tell_write_errors();
    spdlog::error("state could not be written to {} ({} times so far)", settings_.history.dir,
                  save_errors_);
  }

  Status reload_from_http() {
    auto promise = std::make_shared<std::promise<Status>>();
    auto done = promise->get_future();
    boost::asio::post(io_, [this, promise] { promise->set_value(reload()); });
    // The loop may have ended meanwhile and never come to it: the end waits for this thread.
    for (int i = 0; i < 100 && !stopping_; ++i)
      if (done.wait_for(std::chrono::milliseconds{50}) == std::future_status::ready)
        return done.get();
    return Error{stopping_ ? "the program is ending" : "no answer within 5 s"};
  }

  /// The new settings as a whole or not at all.
  Status reload() {
    auto loaded = load_settings_to_judge(options_.config);
    if (!loaded) {
      spdlog::error("configuration not reloaded, the old one stays:\n{}", loaded.error().message);
      box_.change(
          [](publish::ProgramState& state) { state.config_last_reload_successful = false; });
      return loaded.error();
    }
    Settings fresh = std::move(loaded).value();
    std::vector<std::unique_ptr<PortFeed>> feeds;
    for (PortIndex i = 0; i < fresh.ports.size(); ++i) {
      const auto same = std::ranges::find_if(
          feeds_, [&](const auto& feed) { return feed && feed->settings() == fresh.ports[i]; });
      if (same != feeds_.end()) {
        feeds.push_back(std::move(*same));
        continue;
      }
      auto made = PortFeed::make(io_, i, fresh.ports[i], clock_, supervisor_);
      if (!made) {  // cannot happen after the checks of config; keep what runs
        spdlog::error("configuration not reloaded: {}", made.error().message);
        box_.change(
            [](publish::ProgramState& state) { state.config_last_reload_successful = false; });
        for (auto& kept : feeds) feeds_.push_back(std::move(kept));
        std::erase(feeds_, nullptr);
        return made.error();
      }
      feeds.push_back(std::move(made).value());
      opened_anew_.push_back(feeds.back().get());
    }
    for (const auto& gone : feeds_)
      if (gone) gone->stop();
    feeds_ = std::move(feeds);
    const auto of = [](const HttpSettings& http) {
      return std::tie(http.address, http.port, http.web_config, http.enable_reload, http.disabled);
    };
    if (of(fresh.http) != of(settings_.http) || fresh.history != settings_.history)
      spdlog::warn("http and history change with the next start only");
    fresh.http = settings_.http;
    fresh.history = settings_.history;
    proofs_ = take_proofs(fresh.history.dir, fresh);
    // Both go by the numbers of the old settings, and a link that is gone takes its bins with it.
    log_events();
    if (history_) feed_.collect(supervisor_, settings_, clock_.now());
    supervisor_.reconfigure(fresh, clock_.now());
    settings_ = std::move(fresh);
    for (PortIndex i = 0; i < feeds_.size(); ++i) feeds_[i]->move_to(i);
    for (PortFeed* feed : opened_anew_) feed->start();
    opened_anew_.clear();
    log_events();
    if (history_) {
      feed_.settings(settings_, clock_.now());
      feed_.periods(periods_of(proofs_));
    }
    tell_upkeep();
    publish_snapshot();
    box_.change([this](publish::ProgramState& state) {
      state.config_last_reload_successful = true;
      state.config_last_reload = clock_.now().wall;
      state.external_labels = settings_.external_labels;
    });
    pusher_->configure(settings_.push, settings_.external_labels);
    spdlog::info("configuration reloaded: {} links on {} ports", settings_.links.size(),
                 settings_.ports.size());
    return success();
  }

  /// What the kernel already holds is still read, as far as it comes at once.
  void drain() {
    io_.restart();
    const Duration give_up = Clock{}.now().steady + kDrain;
    while (Clock{}.now().steady < give_up && io_.poll_one() > 0) {
    }
    for (const auto& feed : feeds_) feed->stop();
  }

  int stop() {
    drain();
    log_events();
    pusher_->stop(kPushEnd);
    if (server_) server_->stop();
    if (!state_) return 0;
    end_history();
    state_->save(supervisor_.save());
    if (const Status saved = state_->finish(); !saved)
      return fail("state not saved: " + saved.error().message);
    return 0;
  }

  /// The open quarter hour goes with the state.
  void end_history() {
    const Instant now = clock_.now();
    feed_.collect(supervisor_, settings_, now);
    feed_.stopped(now);
    hand_over(now);
    if (const Status written = history_->finish(); !written)
      spdlog::error("history not written to its end: {}", written.error().message);
  }

  const WatchOptions& options_;
  Settings settings_;
  std::vector<StoredProof> proofs_;
  Clock clock_;
  judge::Supervisor supervisor_;
  std::unique_ptr<StateFile> state_;  // its lock guards the history as well
  std::unique_ptr<HistoryWriter> history_;
  HistoryFeed feed_;
  std::chrono::sys_time<std::chrono::minutes> collected_{};
  publish::SnapshotBox box_;
  boost::asio::io_context io_{1};
  boost::asio::signal_set signals_;
  boost::asio::steady_timer timer_;
  boost::asio::steady_timer watchdog_;
  std::vector<std::unique_ptr<PortFeed>> feeds_;
  std::vector<PortFeed*> opened_anew_;
  std::unique_ptr<publish::ReviewDesk> desk_;  ///< outlives the server, which asks it
  std::unique_ptr<publish::HttpServer> server_;
  std::unique_ptr<publish::Pusher> pusher_;
  Duration saved_ = clock_.now().steady;
  std::uint64_t save_errors_ = 0;
  std::uint64_t write_errors_ = 0;  ///< told so far
  std::uint64_t history_dropped_ = 0;
  std::atomic<bool> stopping_ = false;  ///< also read by the HTTP thread
};

}  // namespace

int watch(const WatchOptions& options) {
  // Two threads need no arena each; memory stays small over years.
  mallopt(M_ARENA_MAX, 1);
  mallopt(M_MMAP_THRESHOLD, 256 * 1024);  // large answers go back to the system
  mallopt(M_TRIM_THRESHOLD, 512 * 1024);
  std::signal(SIGPIPE, SIG_IGN);
  auto settings = load_settings_to_judge(options.config);
  if (!settings) {
    std::fprintf(stderr, "%s\n", settings.error().message.c_str());
    return 2;
  }
  if (!settings->http.web_config.empty()) {
    if (const auto web = load_web_config(settings->http); !web) {
      std::fprintf(stderr, "%s\n", web.error().message.c_str());
      return 2;
    }
  }
  for (const std::string& warning : config::warnings(*settings)) spdlog::warn("{}", warning);
  Daemon daemon(std::move(settings).value(), options);
  return daemon.run();
}

}  // namespace fadeward::app
