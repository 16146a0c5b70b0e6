#include "fadeward/app/history_feed.hpp"

#include <algorithm>
#include <cmath>

#include "fadeward/base/text.hpp"

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

}  // namespace

void HistoryFeed::settings(const Settings& settings, Instant now) {
  static_cast<void>(now);
  baseline_settings_.clear();
  for (const LinkSettings& link : settings.links) {
    baseline_settings_.push_back(link.baseline);
    for (const UpkeepPeriod& upkeep : link.upkeep)
      batch_.periods.push_back(
          {history::PeriodKind::upkeep, link.name, {}, upkeep.from, upkeep.to, {}, upkeep.note});
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
  batch_.marks.push_back({now.wall, kind, std::move(port), std::move(text)});
}

void HistoryFeed::started(const std::string& version, Instant now) {
  mark(history::MarkKind::started, now, "", version);
}

void HistoryFeed::stopped(Instant now) { mark(history::MarkKind::stopped, now, "", ""); }

void HistoryFeed::note(const judge::Event& event, const Settings& settings, Instant now) {
  static_cast<void>(now);
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
  batch_.events.push_back(std::move(record));
}

void HistoryFeed::look(const judge::Snapshot& snapshot, Instant now) {
  const Duration offset = now.wall.time_since_epoch() - now.steady;
  if (clock_steps_ && *clock_steps_ != snapshot.clock_steps && offset_known_) {
    const Duration step = offset - offset_;
    // What was noted under the clock as it was before moves with it, unless that was right already.
    const auto move = [step](Time& at) {
      if (!believable(at)) at += step;
    };
    for (history::EventRecord& event : batch_.events) {
      if (event.onset && !believable(event.time)) *event.onset += step;
      move(event.time);
    }
    for (history::MarkRecord& held : batch_.marks) move(held.time);
    std::string text;
    append_rounded(text, duration_to_seconds(step), 1);
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
      batch_.periods.push_back(std::move(period));
    }
    if (!known)
      known =
          Baselines{link.directions[0].baseline_margin_db, link.directions[1].baseline_margin_db};
  }
}

void HistoryFeed::collect(judge::Supervisor& supervisor, const Settings& settings) {
  supervisor.take_bins([&](LinkIndex link, Direction direction, Bin& bin) {
    if (link < settings.links.size())
      batch_.bins.push_back({settings.links[link].name, direction, std::move(bin)});
  });
}

void HistoryFeed::limit() {
  const auto cut = [this](auto& records) {
    if (records.size() <= kMostHeld) return;
    const std::size_t over = records.size() - kMostHeld;
    dropped_ += over;
    records.erase(records.begin(), records.begin() + static_cast<std::ptrdiff_t>(over));
  };
  cut(batch_.events);
  cut(batch_.marks);
  cut(batch_.periods);
}

history::Batch HistoryFeed::take(Instant now) {
  if (!believed(now)) {
    limit();
    return {};
  }
  // Noted before the clock was put right, and not moved: a time that never was.
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
