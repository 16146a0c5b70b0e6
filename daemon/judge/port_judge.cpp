#include "fadeward/judge/port_judge.hpp"

#include "fadeward/base/text.hpp"
#include "fadeward/judge/words.hpp"

namespace fadeward::judge {

namespace {
constexpr Duration kPatience = std::chrono::seconds{10};   // an adapter that re-enumerates is no fault
}

PortJudge::PortJudge(const PortSettings& settings, Time start) : settings_(settings), down_since_(start) {
  told_.name = settings.name;
  told_.since = start;
}

void PortJudge::reconfigure(const PortSettings& settings) { settings_ = settings; }

void PortJudge::open(const PortEvent& event, Time now, const AlertBook::Owner& owner) {
  ended_ = false;
  ever_open_ = true;
  told_.up = true;
  told_.since = now;
  told_.detail = printable(event.text);
  if (alerts_.active(AlertName::PortFault, {}))
    alerts_.clear(owner, AlertName::PortFault, {}, now, "Port " + settings_.name + " is open again: " + told_.detail + ".");
}

bool PortJudge::note(const PortEvent& event, Time now, const AlertBook::Owner& owner) {
  switch (event.kind) {
    case PortEvent::Kind::opened: open(event, now, owner); return true;
    case PortEvent::Kind::closed:
    case PortEvent::Kind::failed:
      if (told_.up || !told_.since) {
        down_since_ = now;
        told_.since = now;
      }
      if (told_.up) ++told_.faults;
      told_.up = false;
      told_.detail = printable(event.text);
      return true;
    case PortEvent::Kind::ended:
      ended_ = true;
      told_.up = false;
      told_.since = now;
      told_.detail = "read to its end";
      return false;
    case PortEvent::Kind::discarded:
      told_.discarded_bytes[static_cast<std::size_t>(event.discard)] += event.count;
      discarded_since_report_ += event.count;
      return true;
    case PortEvent::Kind::rejected:
      told_.rejected[static_cast<std::size_t>(event.reject)] += event.count == 0 ? 1 : event.count;
      ++unread_since_report_;
      if (!event.text.empty()) {
        told_.last_rejected = printable(event.text);
        told_.last_rejected_at = now;
      }
      return false;
    case PortEvent::Kind::value_discarded: told_.values_discarded += event.count; return false;
    case PortEvent::Kind::unknown_keys: told_.unknown_keys += event.count; return false;
  }
  return false;
}

void PortJudge::note_unmatched(std::string_view name) {
  ++told_.unmatched;
  // Mostly the same name again: no new text per report.
  if (told_.last_unmatched != name.substr(0, 200)) told_.last_unmatched = printable(name);
}

void PortJudge::note_report(Time now) {
  last_report_ = now;
  unread_since_report_ = discarded_since_report_ = 0;
}

void PortJudge::judge(Time now, const AlertBook::Owner& owner) {
  alerts_.tidy(now);
  if (ended_) return;
  Finding found;
  found.cause = Cause::port;
  if (!told_.up) {
    found.severity = Severity::critical;
    if (now - down_since_ < kPatience || alerts_.severity(AlertName::PortFault, {}) == found.severity) return;
    found.onset = down_since_;
    found.text = "Port " + settings_.name + (ever_open_ ? " is closed" : " could not be opened") +
                 (told_.detail.empty() ? "." : ": " + told_.detail + ".");
  } else {
    const Time heard = last_report_ && *last_report_ > *told_.since ? *last_report_ : *told_.since;
    if (settings_.silent <= Duration{} || now - heard <= settings_.silent) {
      if (!alerts_.active(AlertName::PortFault, {})) return;
      alerts_.clear(owner, AlertName::PortFault, {}, now, "Port " + settings_.name + " delivers reports again.");
      return;
    }
    found.severity = Severity::warning;
    if (alerts_.severity(AlertName::PortFault, {}) == found.severity) return;
    found.onset = heard;
    found.text = "Port " + settings_.name + " is open, but nothing that could be read came for " + in_words(now - heard) + ".";
  }
  alerts_.raise(owner, AlertName::PortFault, {}, now, std::move(found));
}

void PortJudge::shift(Duration step) {
  alerts_.shift(step);
  down_since_ += step;
  if (told_.since) *told_.since += step;
  if (told_.last_rejected_at) *told_.last_rejected_at += step;
  if (last_report_) *last_report_ += step;
}

PortView PortJudge::view() const {
  PortView out;
  out.open = told_.up || ended_;
  out.open_since = told_.up ? told_.since : std::nullopt;
  if (unread_since_report_ > 0)
    out.trouble = "port " + settings_.name + " delivered " + std::to_string(unread_since_report_) +
                  " frames that could not be read since the last good one, the last begins \"" +
                  told_.last_rejected.substr(0, 60) + "\"";
  else if (discarded_since_report_ > 0)
    out.trouble = "port " + settings_.name + " discarded " + std::to_string(discarded_since_report_) +
                  " bytes since the last good report";
  return out;
}

}  // namespace fadeward::judge
