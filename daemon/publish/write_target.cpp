#include "write_target.hpp"

#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <boost/asio/post.hpp>
#include <cerrno>
#include <chrono>
#include <cstdio>
#include <cstring>
#include <fstream>
#include <sstream>

namespace fadeward::publish {

namespace {

constexpr Duration kFirstWait = std::chrono::seconds{5};
constexpr Duration kLongestWait = std::chrono::minutes{5};
constexpr std::size_t kMostMoments = 96;
constexpr std::size_t kLargestCursor = 16 * 1024;
constexpr auto kReadingTurn = std::chrono::milliseconds{20};
constexpr Duration kReadAgain = std::chrono::seconds{10};
constexpr Duration kPatience = std::chrono::minutes{2};    ///< while live samples wait
constexpr Duration kLongPatience = std::chrono::hours{1};  ///< while they do not

constexpr const char* kReplaced = "replaced";  ///< a newer live set came before it was taken
constexpr const char* kTooOld = "too_old";
constexpr const char* kOutOfOrder = "out_of_order";
constexpr const char* kRefused = "refused";

std::uint32_t seed_of(const std::string& text) {
  return static_cast<std::uint32_t>(std::hash<std::string>{}(text));
}

std::string host_name() {
  std::array<char, 256> name{};
  if (::gethostname(name.data(), name.size() - 1) != 0) return "unknown";
  return name.data();
}

WriteRules rules_of(const RemoteWriteSettings& settings, bool history) {
  WriteRules out;
  out.interval = settings.interval;
  out.phase =
      Duration{static_cast<Duration::rep>(seed_of(host_name())) * 1000 % settings.interval.count()};
  out.out_of_order = settings.out_of_order;
  out.max_age = settings.max_sample_age;
  out.history = history;
  return out;
}

/// Replaces the file as a whole.
Status write_file(const std::string& path, const std::string& text) {
  const std::string fresh = path + ".new";
  const int file = ::open(fresh.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0640);
  if (file < 0) return Error{fresh + ": " + std::strerror(errno)};
  const bool written =
      ::write(file, text.data(), text.size()) == static_cast<ssize_t>(text.size()) &&
      ::fsync(file) == 0;
  const int why = errno;
  ::close(file);
  if (!written) return Error{fresh + ": " + std::strerror(why)};
  if (std::rename(fresh.c_str(), path.c_str()) != 0)
    return Error{path + ": " + std::strerror(errno)};
  return success();
}

}  // namespace

WriteTarget::WriteTarget(boost::asio::io_context& io, const RemoteWriteSettings& settings,
                         const WebLimits& limits, const PushOutside& outside, SnapshotBox& box,
                         PushLedger& ledger)
    : settings_(settings),
      outside_(outside),
      box_(box),
      ledger_(ledger),
      io_(io),
      client_(io, settings, limits),
      trouble_("push of samples to " + client_.label(), outside.log),
      disk_trouble_("keeping how far samples were pushed", outside.log),
      history_trouble_("reading what " + client_.label() + " has missed", outside.log),
      plan_(rules_of(settings, !outside.history_dir.empty()), load_cursor(), outside.now().steady),
      backoff_(kFirstWait, kLongestWait, seed_of(host_name())) {
  ledger_.open(label(), {kReplaced, kTooOld, kOutOfOrder, kRefused});
}

WriteTarget::~WriteTarget() { save(); }

std::string WriteTarget::cursor_path() const { return outside_.history_dir + "/push-cursor"; }

/// One that cannot be used is as good as none: what was missed is left to the export.
WriteCursor WriteTarget::load_cursor() const {
  WriteCursor fresh;
  fresh.target = client_.label();
  if (outside_.history_dir.empty()) return fresh;
  std::ifstream file(cursor_path(), std::ios::binary);
  if (!file) return fresh;
  std::string text(kLargestCursor, '\0');
  file.read(text.data(), static_cast<std::streamsize>(text.size()));
  text.resize(static_cast<std::size_t>(file.gcount()));
  const auto cursor = WriteCursor::parse(text);
  return cursor && cursor->target == fresh.target ? *cursor : fresh;
}

void WriteTarget::save() {
  if (outside_.history_dir.empty() || plan_.cursor().live == Time{}) return;
  const std::string text = plan_.cursor().text();
  if (text == saved_) return;
  saved_at_ = plan_.cursor().live;
  if (const Status written = write_file(cursor_path(), text); !written)
    return disk_trouble_.failed(written.error().message);
  disk_trouble_.succeeded();
  saved_ = text;
}

void WriteTarget::label_with(const std::map<std::string, std::string>& external_labels) {
  labels_ = pushed_labels(external_labels, host_name());
}

void WriteTarget::turn() {
  if (client_.busy() || ended_) return;
  const Published published = box_.load();
  const Duration now = outside_.now().steady;
  trusted_ = published.snapshot->clock_trusted;
  plan_.look({published.snapshot->time, now}, trusted_);
  show_behind();
  // A set on its way is finished first: else a slow receiver would never get its end.
  if (plan_.live_due() && (live_queue_.empty() || failing_)) take_live(published);
  if (plan_.holds_live()) abandon_live();
  if (!trusted_ || now < not_before_) return;
  if (plan_.outdated(backlog_.what())) backlog_queue_.clear();
  if (backlog_queue_.empty() && !backlog_.reading() && now >= read_again_)
    load_backlog(*published.snapshot);
  // In turns, so that neither waits for the other for long.
  if (!live_queue_.empty() && (backlog_queue_.empty() || !backlog_next_)) return post(Load::live);
  if (!backlog_queue_.empty()) post(Load::backlog);
}

void WriteTarget::show_behind() {
  // Whole seconds are enough, and what does not change is not published anew.
  const Duration behind = std::chrono::floor<std::chrono::seconds>(plan_.behind());
  ledger_.set_behind(label(), behind);
}

/// Comes back to turn() at once, but not from within it.
void WriteTarget::again() {
  boost::asio::post(io_, [this, alive = std::weak_ptr(alive_)] {
    if (!alive.expired()) turn();
  });
}

// ---- live ---------------------------------------------------------------------------------------

void WriteTarget::take_live(const Published& published) {
  abandon_live();
  live_time_ = published.snapshot->time;
  live_.take(published, labels_, to_milliseconds(live_time_), live_batch_);
  ledger_.drop(label(), kRefused, live_.left_out());
  live_queue_.begin(live_batch_);
  plan_.live_taken();
}

void WriteTarget::abandon_live() {
  std::size_t samples = 0;
  for (; !live_queue_.empty(); live_queue_.accepted())
    samples += live_batch_.count(live_queue_.front());
  ledger_.drop(label(), kReplaced, samples);
}

// ---- backlog ------------------------------------------------------------------------------------

void WriteTarget::load_backlog(const judge::Snapshot& snapshot) {
  const std::size_t series =
      std::max<std::size_t>(1, 2 * backlog_quantities() * snapshot.links.size());
  const auto what =
      plan_.backlog(std::clamp<std::size_t>(WriteQueue::kMostSamples / series, 1, kMostMoments));
  if (!what) return reader_.reset();
  std::vector<std::string> links;
  for (const judge::LinkSnapshot& link : snapshot.links) links.push_back(link.name);
  if (!reader_) {
    auto opened = history::Reader::open(outside_.history_dir);
    if (opened)
      reader_.emplace(std::move(opened).value());
    else if (try_later(opened.error().message))
      return;
    else
      links.clear();  // nothing of it can be had
  }
  backlog_.begin(*what, std::move(links));
  read_backlog();
}

/// What cannot be read now may be soon. False: it has been waited for long enough.
bool WriteTarget::try_later(const std::string& why) {
  history_trouble_.failed(why);
  const Duration now = outside_.now().steady;
  if (!unread_since_) unread_since_ = now;
  if (now - *unread_since_ > (settings_.out_of_order ? kLongPatience : kPatience)) return false;
  read_again_ = now + kReadAgain;
  return true;
}

void WriteTarget::read_backlog() {
  const auto begin = std::chrono::steady_clock::now();
  while (reader_ && backlog_.step(*reader_, labels_)) {
    if (std::chrono::steady_clock::now() - begin < kReadingTurn) continue;
    boost::asio::post(io_, [this, alive = std::weak_ptr(alive_)] {
      if (!alive.expired()) read_backlog();
    });
    return;
  }
  backlog_read();
}

void WriteTarget::backlog_read() {
  if (reader_ && !reader_->problems().empty()) {
    const bool later = try_later(reader_->problems().front());
    reader_.reset();  // it tells each problem once
    if (later) return;
  } else if (reader_) {
    history_trouble_.succeeded();
    unread_since_.reset();
  }
  if (backlog_.what().too_old) {
    ledger_.drop(label(), kTooOld, backlog_.counted());
    old_ += backlog_.counted();
    return finished(Load::backlog);
  }
  backlog_queue_.begin(backlog_.batch());
  if (backlog_queue_.empty()) return finished(Load::backlog);
  again();
}

// ---- requests -----------------------------------------------------------------------------------

void WriteTarget::post(Load load) {
  backlog_next_ = load != Load::backlog;
  request_.clear();
  batch(load).encode(queue(load).front(), request_);
  WebRequest request;
  request.content_type = "application/x-protobuf";
  request.content_encoding = "snappy";
  request.more_headers = "X-Prometheus-Remote-Write-Version: 0.1.0\r\n";
  request.body = request_.compressed();
  client_.post(std::move(request),
               [this, load](const WebAnswer& answer) { answered(load, answer); });
}

void WriteTarget::answered(Load load, const WebAnswer& answer) {
  const PushOutcome outcome = outcome_of(answer);
  const Instant now = outside_.now();
  PushTally& tally = ledger_.tally(label());
  ++tally.requests;
  if (outcome == PushOutcome::accepted) {
    const WritePiece piece = queue(load).front();
    tally.sent += batch(load).count(piece);
    tally.last_success = now.wall;
    trouble_.succeeded();
    if (old_ > 0)
      outside_.log(PushTone::warning, std::to_string(old_) + " samples have become too old for " +
                                          label() + "; fadeward export still has them");
    old_ = 0;
    backoff_.succeeded();
    failing_ = false;
    if (load == Load::live) live_.accepted(live_batch_, piece);
    queue(load).accepted();
  } else {
    ++tally.failures;
    if (outcome == PushOutcome::poison || outcome == PushOutcome::too_large) {
      refused(load, answer);
    } else {
      trouble_.failed(describe(answer));
      not_before_ = now.steady + backoff_.failed(retry_after(answer.retry_after, now.wall));
      if (!failing_) save();  // whatever happens during the outage: it began here
      failing_ = true;
    }
  }
  if (queue(load).empty()) finished(load);
  if (!ended_) return again();
  if (load != Load::end) return post_end();
  if (live_queue_.empty() || failing_) return ended_();
  post(Load::end);
}

void WriteTarget::refused(Load load, const WebAnswer& answer) {
  const bool by_time = blames_time(answer.body);
  const bool large = outcome_of(answer) == PushOutcome::too_large;
  const auto lost = large ? queue(load).too_large() : queue(load).refused(by_time);
  if (!lost) return;
  const bool old = answer.body.find("order") == std::string::npos &&
                   answer.body.find("duplicate") == std::string::npos;
  ledger_.drop(label(),
               !by_time ? kRefused
               : old    ? kTooOld
                        : kOutOfOrder,
               batch(load).count(*lost));
  trouble_.failed(describe(answer));
  if (load == Load::live)
    live_.refused(live_batch_, *lost, !by_time && lost->last - lost->first == 1,
                  outside_.now().steady);
}

void WriteTarget::finished(Load load) {
  if (load == Load::backlog) {
    plan_.backlog_done(backlog_.what());
    save();
    return again();
  }
  plan_.live_accepted(live_time_);
  if (load == Load::end || plan_.cursor().live - saved_at_ >= WritePlan::kQuarter) save();
}

// ---- the end ------------------------------------------------------------------------------------

void WriteTarget::end(std::function<void()> done) {
  ended_ = std::move(done);
  if (!client_.busy()) return post_end();
  if (failing_) ended_();  // its answer is not worth waiting for
}

void WriteTarget::post_end() {
  abandon_live();
  live_time_ = std::max(outside_.now().wall, plan_.cursor().live + std::chrono::milliseconds{1});
  live_.take_ends(to_milliseconds(live_time_), live_batch_);
  live_queue_.begin(live_batch_);
  // Behind an outage nothing may overtake the backlog.
  if (!trusted_ || failing_ || plan_.holds_live() || live_queue_.empty()) return ended_();
  post(Load::end);
}

}  // namespace fadeward::publish
