#include "fadeward/judge/alert_book.hpp"

#include <algorithm>
#include <utility>

namespace fadeward::judge {

namespace {
constexpr Duration kRemembered = std::chrono::minutes{15};  // so that pushes can resolve it
constexpr Duration kApart = std::chrono::minutes{30};  // onsets of one change are no further apart
}  // namespace

const AlertBook::Record* AlertBook::find(AlertName alert,
                                         std::optional<Direction> direction) const {
  const auto it = std::ranges::find_if(records_, [&](const Record& record) {
    return record.alert == alert && record.direction == direction;
  });
  return it == records_.end() ? nullptr : &*it;
}

AlertBook::Record* AlertBook::find(AlertName alert, std::optional<Direction> direction) {
  return const_cast<Record*>(std::as_const(*this).find(alert, direction));
}

void AlertBook::emit(const Owner& owner, const Record& record, Change change, Time now) {
  Event event;
  event.time = now;
  event.link = owner.link;
  event.port = owner.port;
  event.direction = record.direction;
  event.change = change;
  event.alert = record.alert;
  event.severity = record.severity;
  event.cause = record.cause;
  event.shape = record.shape;
  event.onset = record.onset;
  event.size_db = record.size_db;
  event.confidence = record.confidence;
  event.text = record.text;
  owner.events->push_back(std::move(event));
}

void AlertBook::raise(const Owner& owner, AlertName alert, std::optional<Direction> direction,
                      Time now, Finding finding) {
  Record* record = find(alert, direction);
  if (record == nullptr) {
    records_.emplace_back();
    record = &records_.back();
    record->alert = alert;
    record->direction = direction;
  }
  const bool was_active = record->active;
  record->stale = false;
  const bool further = was_active && record->onset && finding.onset && finding.size_db &&
                       *finding.onset > *record->onset + kApart;
  if (was_active && !further && record->severity == finding.severity &&
      record->cause == finding.cause) {
    record->size_db = finding.size_db;
    record->confidence = finding.confidence;
    record->text = std::move(finding.text);
    return;
  }
  record->active = true;
  record->ended.reset();
  if (!was_active) record->since = now;
  record->severity = finding.severity;
  record->cause = finding.cause;
  record->shape = finding.shape;
  if (!was_active || !record->onset || further) record->onset = finding.onset;
  record->size_db = finding.size_db;
  record->confidence = finding.confidence;
  record->text = std::move(finding.text);
  emit(owner, *record, was_active ? Change::changed : Change::raised, now);
}

void AlertBook::clear(const Owner& owner, AlertName alert, std::optional<Direction> direction,
                      Time now, std::string text) {
  Record* record = find(alert, direction);
  if (record == nullptr || !record->active) return;
  record->active = record->stale = false;
  record->ended = now;
  record->text = std::move(text);
  emit(owner, *record, Change::cleared, now);
}

void AlertBook::mark_stale(AlertName alert, std::optional<Direction> direction, bool stale) {
  if (Record* record = find(alert, direction)) record->stale = record->active && stale;
}

void AlertBook::mark_all_stale(AlertName except, bool stale) {
  for (Record& record : records_)
    if (record.alert != except) record.stale = record.active && stale;
}

bool AlertBook::active(AlertName alert, std::optional<Direction> direction) const {
  const Record* record = find(alert, direction);
  return record != nullptr && record->active;
}

std::optional<Severity> AlertBook::severity(AlertName alert,
                                            std::optional<Direction> direction) const {
  const Record* record = find(alert, direction);
  if (record == nullptr || !record->active) return {};
  return record->severity;
}

std::optional<Cause> AlertBook::cause(AlertName alert, std::optional<Direction> direction) const {
  const Record* record = find(alert, direction);
  if (record == nullptr || !record->active) return {};
  return record->cause;
}

std::optional<Time> AlertBook::since(AlertName alert, std::optional<Direction> direction) const {
  const Record* record = find(alert, direction);
  if (record == nullptr || !record->active) return {};
  return record->since;
}

void AlertBook::tidy(Time now) {
  std::erase_if(records_, [&](const Record& record) {
    return !record.active && record.ended && now - *record.ended > kRemembered;
  });
}

void AlertBook::shift(Duration step) {
  for (Record& record : records_) {
    record.since += step;
    if (record.ended) *record.ended += step;
    if (record.onset) *record.onset += step;
  }
}

void AlertBook::clear_all(const Owner& owner, Time now, const std::string& text) {
  for (Record& record : records_)
    if (record.active) clear(owner, record.alert, record.direction, now, text);
}

void AlertBook::append_states(const Owner& owner, std::vector<AlertState>& out) const {
  for (const Record& record : records_) {
    AlertState state;
    state.alert = record.alert;
    state.link = owner.link;
    state.port = owner.port;
    state.direction = record.direction;
    state.active = record.active;
    state.severity = record.severity;
    state.cause = record.cause;
    state.stale = record.stale;
    state.since = record.since;
    state.ended = record.ended;
    state.onset = record.onset;
    state.size_db = record.size_db;
    state.confidence = record.confidence;
    state.text = record.text;
    out.push_back(std::move(state));
  }
}

}  // namespace fadeward::judge
