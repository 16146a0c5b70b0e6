#include "fadeward/app/history_feed.hpp"

#include <algorithm>
#include <cmath>

#include "fadeward/base/text.hpp"
#include "fadeward/review/context.hpp"

namespace fadeward::app {

namespace {

constexpr Duration kCommissioning = std::chrono::hours{24 * 14};
constexpr double kOtherBaselineDb = 0.05;

history::EventChange change_of(judge::Change change) {
  switch (change) {
    case judge::Change::raised: return history::EventChange::raised;
    case judge::Change::changed: return history::EventChange::changed;
    case judge::Change::cleared: return history::EventChange::cleared;
  }
  return history::EventChange::raised;
}

/// The same moment by the other clock; dates stay.
Time since_boot(Time at, Instant now) {
  return believable(at) ? at : Time{at - now.wall + now.steady};
}

/// "38 quarter hours of 2 links"
std::string words_of(const std::vector<history::BinRecord>& bins) {
  std::set<std::string> links;
  std::set<Time> quarters;
  for (const history::BinRecord& record : bins) {
    links.insert(record.link);
    quarters.insert(record.bin.start);
  }
  const auto counted = [](std::size_t count, const char* one, const char* many) {
    return std::to_string(count) + " " + (count == 1 ? one : many);
  };
  return counted(quarters.size(), "quarter hour", "quarter hours") + " of " +
         counted(links.size(), "link", "links");
}

}  // namespace

void HistoryFeed::settings(const Settings& settings, Instant now) {
  static_cast<void>(now);
  baseline_settings_.clear();
  for (const LinkSettings& link : settings.links) {
    baseline_settings_.push_back(link.baseline);
    for (history::PeriodRecord& upkeep : review::configured_upkeep(link))
      batch_.periods.push_back(std::move(upkeep));
    if (!link.baseline.commissioning)
      batch_.periods.push_back({history::PeriodKind::baseline,
                                link.name,
                                {},
                                link.baseline.from,
                                link.baseline.to,
                                {},
                                ""});
  }
}

void HistoryFeed::mark(history::MarkKind kind, Instant now, std::string port, std::string text) {
  put(history::MarkRecord{now.wall, kind, std::move(port), std::move(text)}, now);
}

// ---- what waits for a clock ----------------------------------------------------------------

void HistoryFeed::put(history::EventRecord event, Instant now) {
  if (believed(now)) {
    batch_.events.push_back(std::move(event));
    return;
  }
  event.time = since_boot(event.time, now);
  if (event.onset) event.onset = since_boot(*event.onset, now);
  fresh_.events.push_back(event);
  held_.events.push_back(std::move(event));
}

void HistoryFeed::put(history::MarkRecord mark, Instant now) {
  if (believed(now)) {
    batch_.marks.push_back(std::move(mark));
    return;
  }
  mark.time = since_boot(mark.time, now);
  fresh_.marks.push_back(mark);
  held_.marks.push_back(std::move(mark));
}

void HistoryFeed::put(history::BinRecord bin, Instant now) {
  if (believed(now)) {
    batch_.bins.push_back(std::move(bin));
    return;
  }
  bin.bin.start = since_boot(bin.bin.start, now);
  bin.again = true;
  hold(std::move(bin));
}

/// Not in the file: what was learned is in the state as well.
void HistoryFeed::put(history::PeriodRecord period, Instant now) {
  if (believed(now)) {
    batch_.periods.push_back(std::move(period));
    return;
  }
  period.from = since_boot(period.from, now);
  period.to = since_boot(period.to, now);
  held_.periods.push_back(std::move(period));
}

/// Of this run: the state of the run before may have held a part of it open.
bool HistoryFeed::is_first(const history::BinRecord& bin) {
  return met_.emplace(bin.link, bin.direction).second;
}

void HistoryFeed::hold(history::BinRecord bin) {
  const bool first = is_first(bin);
  std::size_t count = 0;
  for (history::BinRecord& other : held_.bins) {
    if (other.link != bin.link || other.direction != bin.direction) continue;
    ++count;
    if (!first || std::chrono::abs(other.bin.start - bin.bin.start) >= kBinSpan / 2) continue;
    if (other.bin.frames + other.bin.lost < bin.bin.frames + bin.bin.lost) other = bin;
    return;
  }
  if (count >= kMostHeldBins) {
    ++dropped_;
    return;
  }
  fresh_.bins.push_back(bin);
  held_.bins.push_back(std::move(bin));
}

bool HistoryFeed::restore(history::Held held, Instant now) {
  held_ = std::move(held.records);
  held_offset_ = held.offset;
  batch_.append(held.dated);
  const history::Batch& lost = held.undated;
  dropped_ += lost.bins.size() + lost.events.size() + lost.marks.size();
  if (!lost.bins.empty()) mark(history::MarkKind::undated, now, "", words_of(lost.bins));
  // The file goes once what it held is written.
  if (!batch_.empty()) batch_.placed_by = now.wall.time_since_epoch() - now.steady;
  if (lost.empty()) return false;
  fresh_ = held_;
  fresh_.append(history::Batch(batch_));
  return true;
}

history::Batch HistoryFeed::take_held() { return std::exchange(fresh_, {}); }

// ---- what happens ---------------------------------------------------------------------------

void HistoryFeed::started(const std::string& version, Instant now) {
  mark(history::MarkKind::started, now, "", version);
}

void HistoryFeed::stopped(Instant now) { mark(history::MarkKind::stopped, now, "", ""); }

void HistoryFeed::note(const judge::Event& event, const Settings& settings, Instant now) {
  history::EventRecord record;
  record.time = event.time;
  if (event.link < settings.links.size()) record.link = settings.links[event.link].name;
  if (event.port < settings.ports.size()) record.port = settings.ports[event.port].name;
  record.direction = event.direction;
  record.change = change_of(event.change);
  record.alert = event.alert;
  record.severity = event.severity;
  record.cause = event.cause;
  record.shape = event.shape;
  record.onset = event.onset;
  record.size_db = event.size_db;
  record.confidence = event.confidence;
  record.text = event.text;
  put(std::move(record), now);
}

void HistoryFeed::look(const judge::Snapshot& snapshot, Instant now) {
  const Duration offset = now.wall.time_since_epoch() - now.steady;
  if (clock_steps_ && *clock_steps_ != snapshot.clock_steps && offset_known_) {
    std::string text;
    append_rounded(text, duration_to_seconds(offset - offset_), 1);
    mark(history::MarkKind::clock_step, now, "", text + " s");
  }
  clock_steps_ = snapshot.clock_steps;
  offset_ = offset;
  offset_known_ = true;

  const Time hour = std::chrono::floor<std::chrono::hours>(now.wall);
  for (const judge::PortSnapshot& port : snapshot.ports) {
    auto known = std::ranges::find(ports_, port.name, &KnownPort::name);
    if (known == ports_.end()) known = ports_.insert(known, KnownPort{port.name, false, hour, 0});
    if (known->up == port.up) continue;
    if (known->hour != hour) {
      known->hour = hour;
      known->marks = 0;
    }
    if (known->marks >= kMostPortMarks) continue;
    ++known->marks;
    known->up = port.up;
    mark(port.up ? history::MarkKind::port_up : history::MarkKind::port_down, now, port.name,
         port.detail);
  }

  for (std::size_t i = 0; i < snapshot.links.size(); ++i) {
    const judge::LinkSnapshot& link = snapshot.links[i];
    if (baselines_.size() <= i) baselines_.resize(i + 1);
    auto& [name, known] = baselines_[i];
    if (name != link.name) {
      name = link.name;
      known.reset();
    }
    for (std::size_t d = 0; d < kDirections; ++d) {
      const auto& margin = link.directions[d].baseline_margin_db;
      // What is there at the first look was learned by an earlier run, which has kept it.
      if (!known || !margin) continue;
      auto& last = (*known)[d];
      if (last && std::abs(*last - *margin) < kOtherBaselineDb) continue;
      last = margin;
      history::PeriodRecord period{history::PeriodKind::baseline,
                                   link.name,
                                   static_cast<Direction>(d),
                                   now.wall - kCommissioning,
                                   now.wall,
                                   margin,
                                   "learned"};
      if (i < baseline_settings_.size() && !baseline_settings_[i].commissioning) {
        period.from = baseline_settings_[i].from;
        period.to = baseline_settings_[i].to;
      }
      put(std::move(period), now);
    }
    if (!known)
      known =
          Baselines{link.directions[0].baseline_margin_db, link.directions[1].baseline_margin_db};
  }
}

void HistoryFeed::collect(judge::Supervisor& supervisor, const Settings& settings, Instant now) {
  supervisor.take_bins([&](LinkIndex link, Direction direction, Bin& bin) {
    if (link < settings.links.size())
      put(history::BinRecord{settings.links[link].name, direction, std::move(bin)}, now);
  });
}

void HistoryFeed::limit() {
  const auto cut = [this](auto& records) {
    if (records.size() <= kMostHeld) return;
    const std::size_t over = records.size() - kMostHeld;
    dropped_ += over;
    records.erase(records.begin(), records.begin() + static_cast<std::ptrdiff_t>(over));
  };
  cut(held_.events);
  cut(held_.marks);
  cut(held_.periods);
  cut(batch_.periods);
}

history::Batch HistoryFeed::take(Instant now) {
  if (!believed(now)) {
    limit();
    return {};
  }
  if (!held_.empty()) {
    const Duration offset = held_offset_.value_or(now.wall.time_since_epoch() - now.steady);
    history::Batch all = history::placed(std::exchange(held_, {}), offset);
    all.append(batch_);
    batch_ = std::move(all);
    batch_.placed_by = offset;
  }
  held_offset_.reset();
  fresh_ = {};
  // No time that never was, wherever it came from.
  const auto never = [this](Time at) { return !recording_ && !believable(at); };
  dropped_ += std::erase_if(batch_.events, [&](const auto& event) { return never(event.time); });
  dropped_ += std::erase_if(batch_.marks, [&](const auto& held) { return never(held.time); });
  dropped_ += std::erase_if(batch_.bins, [&](const auto& bin) { return never(bin.bin.start); });
  history::Batch out = std::move(batch_);
  batch_ = {};
  out.at = now.wall;
  return out;
}

}  // namespace fadeward::app
