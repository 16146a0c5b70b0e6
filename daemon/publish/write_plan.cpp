#include "fadeward/publish/write_plan.hpp"

#include <algorithm>
#include <charconv>

#include "fadeward/publish/write_request.hpp"

namespace fadeward::publish {

namespace {

constexpr std::string_view kFirstLine = "fadeward push cursor 1";
constexpr Duration kMargin = std::chrono::minutes{1};  ///< a request takes its time

Time floor_quarter(Time time) {
  const auto since = time.time_since_epoch();
  auto over = since % WritePlan::kQuarter;
  if (over < Duration{0}) over += WritePlan::kQuarter;
  return Time{since - over};
}

/// The first end of a quarter hour after this.
Time next_end(Time time) { return floor_quarter(time) + WritePlan::kQuarter; }

std::optional<Time> parse_time(std::string_view text) {
  std::int64_t value = 0;
  const auto [end, failed] = std::from_chars(text.data(), text.data() + text.size(), value);
  constexpr std::int64_t kMost = 4102444800000;  // 2100
  if (failed != std::errc{} || end != text.data() + text.size() || value < 0 || value > kMost)
    return {};
  return Time{std::chrono::milliseconds{value}};
}

}  // namespace

std::string WriteCursor::text() const {
  std::string out(kFirstLine);
  out += "\ntarget " + target + "\nlive " + std::to_string(to_milliseconds(live)) + "\n";
  for (const Gap& gap : gaps)
    out += "gap " + std::to_string(to_milliseconds(gap.from)) + " " +
           std::to_string(to_milliseconds(gap.to)) + "\n";
  return out;
}

std::optional<WriteCursor> WriteCursor::parse(std::string_view text) {
  WriteCursor out;
  bool first = true;
  bool live = false;
  while (!text.empty()) {
    const auto end = text.find('\n');
    if (end == text.npos) return {};  // cut off
    const std::string_view line = text.substr(0, end);
    text.remove_prefix(end + 1);
    if (first != (line == kFirstLine)) return {};
    if (first) {
      first = false;
    } else if (line.starts_with("target ")) {
      out.target = line.substr(7);
    } else if (line.starts_with("live ")) {
      const auto time = parse_time(line.substr(5));
      if (!time) return {};
      out.live = *time;
      live = true;
    } else if (line.starts_with("gap ")) {
      const auto space = line.find(' ', 4);
      if (space == line.npos || out.gaps.size() >= WritePlan::kMostGaps) return {};
      const auto from = parse_time(line.substr(4, space - 4));
      const auto to = parse_time(line.substr(space + 1));
      if (!from || !to || *from >= *to) return {};
      out.gaps.push_back({*from, *to});
    } else {
      return {};
    }
  }
  if (!live) return {};
  return out;
}

WritePlan::WritePlan(WriteRules rules, WriteCursor cursor, Duration steady_start)
    : rules_([&rules] {
        if (!rules.out_of_order) rules.max_age = std::min(rules.max_age, kOldest);
        return rules;
      }()),
      cursor_(std::move(cursor)),
      start_(steady_start) {}

void WritePlan::look(Instant now, bool clock_trusted) {
  now_ = now;
  ready_ = clock_trusted;
  if (!clock_trusted) return;
  if (cursor_.live == Time{} || cursor_.live - now.wall > std::chrono::hours{1}) {
    // What happened before is left to the export of the history.
    cursor_.live = now.wall;
    cursor_.gaps.clear();
    return;
  }
  ready_ = to_milliseconds(now.wall) > to_milliseconds(cursor_.live);
}

std::int64_t WritePlan::beat() const {
  return (now_.wall.time_since_epoch() + rules_.phase) / rules_.interval;
}

Duration WritePlan::threshold() const { return std::max(kShort, 2 * rules_.interval); }

bool WritePlan::holds_live() const {
  return !rules_.out_of_order && rules_.history && now_.wall - cursor_.live > threshold() &&
         floor_quarter(now_.wall) > cursor_.live;
}

bool WritePlan::live_due() const { return ready_ && taken_ != beat() && !holds_live(); }

std::optional<WriteCursor::Gap> WritePlan::gap() const {
  if (!rules_.history) return {};
  if (!rules_.out_of_order) {
    if (!holds_live()) return {};
    return WriteCursor::Gap{cursor_.live, now_.wall};
  }
  if (cursor_.gaps.empty()) return {};
  return cursor_.gaps.front();
}

std::optional<WriteBacklog> WritePlan::backlog(std::size_t moments) const {
  const auto missing = gap();
  if (!ready_ || !missing || now_.steady - start_ < kStarted) return {};
  const Time last = std::min(floor_quarter(missing->to), floor_quarter(now_.wall - kSettled));
  const Time first = next_end(missing->from);
  if (first > last) return {};
  if (first <= oldest()) return WriteBacklog{missing->from, std::min(last, oldest()), true};
  if (!rules_.out_of_order) return WriteBacklog{missing->from, first, false};
  const auto more = static_cast<Duration::rep>(std::max<std::size_t>(moments, 1) - 1);
  return WriteBacklog{missing->from, std::min(last, first + kQuarter * more), false};
}

/// The youngest end of a quarter hour that a receiver need not take any more.
Time WritePlan::oldest() const { return floor_quarter(now_.wall - rules_.max_age + kMargin); }

bool WritePlan::outdated(const WriteBacklog& what) const {
  return !what.too_old && next_end(what.from) <= oldest();
}

Duration WritePlan::behind() const {
  auto missing = gap();
  // The outage that still lasts is no gap yet where live samples do not wait.
  if (!missing && rules_.history && now_.wall - cursor_.live > threshold())
    missing = WriteCursor::Gap{cursor_.live, now_.wall};
  if (!ready_ || !missing) return Duration{0};
  const Time first = next_end(missing->from);
  return first > missing->to ? Duration{0} : std::max(Duration{0}, now_.wall - first);
}

void WritePlan::live_taken() { taken_ = beat(); }

void WritePlan::live_accepted(Time time) {
  if (rules_.out_of_order && rules_.history && time - cursor_.live > threshold() &&
      floor_quarter(time) > cursor_.live) {
    cursor_.gaps.push_back({cursor_.live, time});
    if (cursor_.gaps.size() > kMostGaps) {
      cursor_.gaps[1].from = cursor_.gaps[0].from;
      cursor_.gaps.erase(cursor_.gaps.begin());
    }
  }
  cursor_.live = std::max(cursor_.live, time);
}

void WritePlan::backlog_done(const WriteBacklog& done) {
  if (!rules_.out_of_order) {
    cursor_.live = std::max(cursor_.live, done.to);
    return;
  }
  if (cursor_.gaps.empty()) return;
  WriteCursor::Gap& front = cursor_.gaps.front();
  front.from = std::max(front.from, done.to);
  if (next_end(front.from) > front.to) cursor_.gaps.erase(cursor_.gaps.begin());
}

}  // namespace fadeward::publish
