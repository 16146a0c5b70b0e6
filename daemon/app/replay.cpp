#include "fadeward/app/replay.hpp"

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <memory>

#include "fadeward/app/line_reader.hpp"
#include "fadeward/app/read_ahead.hpp"
#include "fadeward/app/replay_history.hpp"
#include "fadeward/app/report_order.hpp"
#include "fadeward/base/text.hpp"
#include "fadeward/judge/link_table.hpp"
#include "fadeward/judge/supervisor.hpp"
#include "fadeward/publish/snapshot_json.hpp"
#include "fadeward/report/canonical.hpp"

namespace fadeward::app {

namespace {

constexpr Duration kMinute = std::chrono::minutes{1};
constexpr Duration kGap = std::chrono::hours{24 * 7};
constexpr std::size_t kPrepareLater = 12, kPrepareSoon = 5;  // reports ahead
constexpr std::size_t kFlushBytes = 1 << 18;

Time next_multiple_after(Time at, Duration span) {
  const auto since = at.time_since_epoch();
  auto rest = since % span;
  if (rest < Duration{}) rest += span;
  return at - rest + span;
}

/// One input: lines -> reports in order of time.
class Recording {
 public:
  Recording(LineReader reader, const judge::LinkTable& links, ReplaySummary& summary)
      : reader_(std::move(reader)), links_(links), summary_(summary) {}

  /// The oldest report that may go; null at the end.
  const LinkReport* peek() {
    for (;;) {
      if (const LinkReport* report = order_.peek()) return report;
      if (ended_) return nullptr;
      read_one();
    }
  }
  void pop() { order_.pop(); }
  LineReader& reader() { return reader_; }

 private:
  void read_one() {
    std::string_view line;
    if (!reader_.next(line)) {
      ended_ = true;
      order_.finish();
      return;
    }
    ++summary_.lines;
    LinkReport& report = order_.slot();
    const report::Parsed parsed = parser_.parse_padded(line, report);
    summary_.values_discarded += parsed.tally.values_discarded;
    summary_.unknown_keys += parsed.tally.unknown_keys;
    if (!parsed) return reject(parsed.outcome, line);
    if (!report.timed) {
      ++summary_.no_time;
      return;
    }
    report.port = kNoPort;
    report.index = links_.find(kNoPort, report.link);
    if (report.index == kNoLink) {
      ++summary_.unmatched;
      if (summary_.last_unmatched.empty()) summary_.last_unmatched = printable(report.link);
      return;
    }
    if (!order_.commit()) ++summary_.late;
  }

  void reject(report::Outcome outcome, std::string_view line) {
    if (outcome == report::Outcome::syntax) ++summary_.syntax;
    if (outcome == report::Outcome::empty) ++summary_.empty;
    if (outcome == report::Outcome::implausible) ++summary_.implausible;
    summary_.last_rejected = printable(line, 120);
  }

  LineReader reader_;
  const judge::LinkTable& links_;
  ReplaySummary& summary_;
  report::CanonicalParser parser_;
  ReportOrder order_;
  bool ended_ = false;
};

/// Drives the supervisor by the recording's clock and prints what it says.
class Player {
 public:
  Player(const Settings& settings, Duration snapshots, judge::Supervisor& supervisor,
         ReplayHistory* history, std::FILE* output)
      : settings_(settings),
        every_(snapshots),
        supervisor_(supervisor),
        history_(history),
        output_(output) {}

  void play(const LinkReport& report) {
    if (!started_) begin(report.time);
    if (report.time - last_ > kGap) leap(report.time);
    if (report.time >= next_) advance(report.time);
    supervisor_.take(report, {report.time, report.time.time_since_epoch()});
    if (!supervisor_.events().empty()) print_events();
    last_ = report.time;
  }
  /// The error is the history's.
  Status finish() {
    flush();
    return history_ != nullptr ? history_->finish(supervisor_, last_) : success();
  }
  bool failed() const { return failed_; }

 private:
  void begin(Time first) {
    started_ = true;
    last_ = first;
    tick_at_ = next_multiple_after(first, kMinute);
    snapshot_at_ = next_multiple_after(first - Duration{1}, every_);
    next_ = std::min(tick_at_, snapshot_at_);
  }

  /// Minutes and snapshots up to and including `now`.
  void advance(Time now) {
    while (next_ <= now) {
      const Time at = next_;
      if (at == tick_at_) {
        tick(at);
        tick_at_ += kMinute;
      }
      if (at == snapshot_at_) {
        print_snapshots(at);
        snapshot_at_ += every_;
      }
      next_ = std::min(tick_at_, snapshot_at_);
    }
  }

  void tick(Time at) {
    supervisor_.tick({at, at.time_since_epoch()});
    if (!supervisor_.events().empty()) print_events();
    if (history_ != nullptr) history_->minute(supervisor_, at);
  }

  /// A silence of everything: told once, judged for its first week, not minute by minute for years.
  void leap(Time to) {
    out_ += R"({"kind":"gap","from":)";
    append_rounded(out_, to_unix_seconds(last_), 3);
    out_ += R"(,"to":)";
    append_rounded(out_, to_unix_seconds(to), 3);
    out_ += "}\n";
    for (; tick_at_ <= last_ + kGap; tick_at_ += kMinute) tick(tick_at_);
    tick_at_ = next_multiple_after(to - Duration{1}, kMinute);
    snapshot_at_ = next_multiple_after(to - Duration{1}, every_);
    next_ = std::min(tick_at_, snapshot_at_);
  }

  void print_snapshots(Time at) {
    for (LinkIndex link = 0; link < settings_.links.size(); ++link)
      for (const Direction direction : {Direction::inbound, Direction::outbound})
        publish::append_snapshot_line(
            out_, at, settings_.links[link].name, direction,
            supervisor_.interval_snapshot(link, direction, {at, at.time_since_epoch()}));
    if (out_.size() > kFlushBytes) flush();
  }

  void print_events() {
    for (const judge::Event& event : supervisor_.events()) {
      if (history_ != nullptr) history_->note(event, event.time);
      judge::append_json(
          out_, event, event.link < settings_.links.size() ? settings_.links[event.link].name : "",
          event.port < settings_.ports.size() ? settings_.ports[event.port].name : "");
    }
    supervisor_.clear_events();
    if (out_.size() > kFlushBytes) flush();
  }

  void flush() {
    if (std::fwrite(out_.data(), 1, out_.size(), output_) != out_.size()) failed_ = true;
    out_.clear();
  }

  const Settings& settings_;
  const Duration every_;
  judge::Supervisor& supervisor_;
  ReplayHistory* history_;  ///< null: none is kept
  std::FILE* output_;
  std::string out_;
  bool started_ = false;
  bool failed_ = false;
  Time last_{};
  Time tick_at_{};
  Time snapshot_at_{};
  Time next_ = Time::min();
};

/// All inputs as one stream in order of time.
class Recordings {
 public:
  void add(std::unique_ptr<Recording> recording) { recordings_.push_back(std::move(recording)); }

  /// The oldest report that was not handed out yet, the first of equals; null at the end.
  const LinkReport* next() {
    if (last_ != nullptr) last_->pop();
    last_ = nullptr;
    const LinkReport* oldest = nullptr;
    for (const auto& recording : recordings_) {
      const LinkReport* report = recording->peek();
      if (report == nullptr || (oldest != nullptr && report->time >= oldest->time)) continue;
      oldest = report;
      last_ = recording.get();
    }
    return oldest;
  }
  /// At the end: what could not be read, and why.
  const LineReader& reader(std::size_t index) { return recordings_[index]->reader(); }

 private:
  std::vector<std::unique_ptr<Recording>> recordings_;
  Recording* last_ = nullptr;  ///< whose report was handed out
};

}  // namespace

std::string ReplaySummary::in_words() const {
  std::string out = std::to_string(lines) + " lines, " + std::to_string(taken) +
                    " reports taken, " + std::to_string(rejected()) + " rejected";
  const std::pair<std::uint64_t, const char*> parts[] = {
      {syntax, "not readable"},      {empty, "saying nothing about a link"},
      {implausible, "impossible"},   {no_time, "without time"},
      {late, "more than 60 s late"}, {too_long, "too long"}};
  const char* before = " (";
  for (const auto& [count, what] : parts) {
    if (count == 0) continue;
    out += before + std::to_string(count) + " " + what;
    before = ", ";
  }
  if (rejected() > 0) out += ")";
  if (unmatched > 0)
    out += ", " + std::to_string(unmatched) + " of links that are not configured (the first: \"" +
           last_unmatched + "\")";
  if (values_discarded > 0)
    out += ", " + std::to_string(values_discarded) + " impossible values left out";
  if (unknown_keys > 0) out += ", " + std::to_string(unknown_keys) + " unknown keys ignored";
  if (!last_rejected.empty()) out += "; last rejected: " + last_rejected;
  return out;
}

Result<ReplaySummary> replay(const Settings& settings, const ReplayOptions& options,
                             std::FILE* output) {
  ReplaySummary summary;
  judge::SupervisorOptions core;
  core.keep_intervals = true;
  core.recording = true;
  core.keep_bins = !options.history.empty();
  std::unique_ptr<ReplayHistory> history;
  if (core.keep_bins) {
    auto opened = ReplayHistory::open(options.history, settings);
    if (!opened) return opened.error();
    history = std::move(opened).value();
  }
  std::vector<LineReader> readers;
  for (const std::string& input : options.inputs) {
    auto reader = LineReader::open(input);
    if (!reader) return reader.error();
    readers.push_back(std::move(reader).value());
  }
  const judge::LinkTable links(settings, true);
  Recordings recordings;
  for (LineReader& reader : readers)
    recordings.add(std::make_unique<Recording>(std::move(reader), links, summary));

  // Supervision begins with the first report: links that are never heard count from there.
  std::unique_ptr<judge::Supervisor> supervisor;
  std::unique_ptr<Player> player;
  std::uint64_t taken = 0;
  ReadAhead reports([&] { return recordings.next(); });
  while (const LinkReport* report = reports.next()) {
    if (!player) {
      supervisor = std::make_unique<judge::Supervisor>(
          settings, Instant{report->time, report->time.time_since_epoch()}, core);
      player =
          std::make_unique<Player>(settings, options.snapshots, *supervisor, history.get(), output);
    }
    supervisor->prepare(reports.ahead(kPrepareLater), reports.ahead(kPrepareSoon));
    player->play(*report);
    ++taken;
  }
  if (player)
    if (const Status finished = player->finish(); !finished) return finished.error();
  summary.taken = taken;
  for (std::size_t i = 0; i < options.inputs.size(); ++i) {
    const LineReader& reader = recordings.reader(i);
    summary.too_long += reader.too_long();
    if (!reader.error().empty()) return Error{options.inputs[i] + ": " + reader.error()};
  }
  if ((player && player->failed()) || std::fflush(output) != 0)
    return Error{std::string("cannot write the output: ") + std::strerror(errno)};
  return summary;
}

}  // namespace fadeward::app
