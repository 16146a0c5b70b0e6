#include "fadeward/publish/alert_roll.hpp"

#include <algorithm>

#include "alert_text.hpp"
#include "fadeward/base/json_text.hpp"
#include "fadeward/publish/alerts_json.hpp"

namespace fadeward::publish {

void AlertRoll::take(const judge::AlertState& alert, std::string labels, Duration now) {
  const auto [at, fresh] = entries_.try_emplace(std::move(labels));
  Entry& entry = at->second;
  if (entry.seen && !entry.ended) return;  // twice in one snapshot: the active one counts
  const std::optional<Time> ended =
      alert.active ? std::nullopt : std::optional(alert.ended.value_or(time_));
  if (fresh || entry.ended.has_value() != ended.has_value() || entry.cause != alert.cause)
    entry.changed = ++version_;
  if (ended && (fresh || !entry.ended)) entry.ended_steady = now;
  entry.annotations = alert_annotations(alert);
  entry.cause = alert.cause;
  entry.since = alert.since;
  entry.ended = ended;
  entry.seen = true;
}

void AlertRoll::look(const judge::Snapshot& snapshot,
                     const std::map<std::string, std::string>& external_labels, Duration now) {
  time_ = snapshot.time;
  clock_trusted_ = snapshot.clock_trusted;
  forgotten_.clear();
  for (auto& [labels, entry] : entries_) entry.seen = false;
  for (const judge::AlertState& alert : snapshot.alerts)
    if (is_alarm(snapshot, alert)) take(alert, alert_labels(snapshot, alert, external_labels), now);
  for (auto& [labels, entry] : entries_) {
    if (entry.seen || entry.ended) continue;
    entry.ended = time_;
    entry.ended_steady = now;
    entry.changed = ++version_;
  }
  std::erase_if(entries_, [&](const auto& item) {
    const Entry& entry = item.second;
    const bool old = entry.ended && now - entry.ended_steady >= kResolvedFor;
    if (old && !entry.seen) forgotten_.push_back(entry.changed);
    return old && !entry.seen;
  });
}

std::string AlertRoll::body() const {
  std::string out = "[";
  for (const auto& [labels, entry] : entries_) {
    if (!clock_trusted_ && entry.ended) continue;
    out += out.size() == 1 ? "\n{" : ",\n{";
    out += "\"labels\":" + labels + ",\"annotations\":" + entry.annotations;
    if (clock_trusted_) {
      // The clock may have been set back since: neither lies ahead of now.
      const Time since = std::min(entry.since, time_);
      const Time end =
          entry.ended ? std::max(since, std::min(*entry.ended, time_)) : time_ + kAlertAhead;
      json::moment(out, "startsAt", since);
      json::moment(out, "endsAt", end);
    }
    out += '}';
  }
  out += "]\n";
  return out;
}

std::size_t AlertRoll::changed_since(std::uint64_t version) const {
  return static_cast<std::size_t>(
      std::count_if(entries_.begin(), entries_.end(),
                    [version](const auto& item) { return item.second.changed > version; }));
}

}  // namespace fadeward::publish
