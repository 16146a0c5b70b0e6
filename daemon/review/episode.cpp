#include "fadeward/review/episode.hpp"

#include <algorithm>
#include <map>
#include <tuple>

namespace fadeward::review {

namespace {

using history::EventChange;
using history::EventRecord;

void tell(Episode& episode, const EventRecord& event) {
  episode.severity = std::max(episode.severity, event.severity);
  if (event.change == EventChange::cleared) {
    // What grew after it was told, or was measured better by its end.
    if (event.size_db && *event.size_db > episode.size_db.value_or(0)) {
      episode.size_db = event.size_db;
      if (!event.text.empty()) episode.text = event.text;
    }
    return;
  }
  if (event.cause != Cause::none) episode.cause = event.cause;
  if (event.shape != Shape::none) episode.shape = event.shape;
  if (event.size_db) episode.size_db = event.size_db;
  if (!event.text.empty()) episode.text = event.text;
}

}  // namespace

std::vector<Episode> episodes_of(const std::vector<EventRecord>& events) {
  using Key = std::tuple<AlertName, std::string, int>;
  std::map<Key, std::size_t> standing;
  std::vector<Episode> out;
  for (const EventRecord& event : events) {
    const Key key{event.alert, event.port,
                  event.direction ? static_cast<int>(*event.direction) : -1};
    auto at = standing.find(key);
    if (at == standing.end() || event.change == EventChange::raised) {
      Episode episode;
      episode.raised = event.time;
      episode.from = event.onset ? std::min(*event.onset, event.time) : event.time;
      episode.port = event.port;
      episode.direction = event.direction;
      episode.alert = event.alert;
      episode.cause = event.cause;
      out.push_back(std::move(episode));
      at = standing.insert_or_assign(key, out.size() - 1).first;
    }
    Episode& episode = out[at->second];
    tell(episode, event);
    if (event.change != EventChange::cleared) continue;
    episode.to = event.time;
    standing.erase(at);
  }
  std::ranges::stable_sort(out, {}, &Episode::from);
  return out;
}

bool tells_cause(const Episode& episode) {
  return episode.alert == AlertName::FadingSuspected ||
         episode.alert == AlertName::InterferenceSuspected ||
         episode.alert == AlertName::EquipmentSuspected || episode.alert == AlertName::HopUneven;
}

bool passes_for_weather(const Episode& episode) {
  constexpr std::chrono::days kSpell{14}, kSwing{21};
  return tells_cause(episode) && episode.cause == Cause::path && episode.to &&
         *episode.to - episode.from < (episode.shape == Shape::cycle ? kSwing : kSpell);
}

std::string_view meaning_of(Cause cause) {
  switch (cause) {
    case Cause::none: return "no cause was found";
    case Cause::path: return "the path: leaves, an obstruction or weather";
    case Cause::near_antenna: return "antenna or feeder at the gateway";
    case Cause::far_antenna: return "antenna or feeder at the site";
    case Cause::far_transmit: return "the site's transmitter, or the receive path at the gateway";
    case Cause::near_transmit: return "the gateway's transmitter, or the receive path at the site";
    case Cause::near_receive: return "the receiver at the gateway";
    case Cause::far_receive: return "the receiver at the site";
    case Cause::near_noise: return "noise or another transmitter near the gateway";
    case Cause::far_noise: return "noise or another transmitter near the site";
    case Cause::near_channels: return "another transmitter on some channels, heard at the gateway";
    case Cause::far_channels: return "another transmitter on some channels, heard at the site";
    case Cause::collisions: return "collisions with other traffic";
    case Cause::port: return "bytes lost between radio and program";
    case Cause::restart: return "a radio restarted";
    case Cause::silent: return "no reports";
  }
  return "";
}

}  // namespace fadeward::review
