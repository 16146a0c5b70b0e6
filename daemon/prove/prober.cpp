#include "fadeward/prove/prober.hpp"

#include <algorithm>
#include <limits>

namespace fadeward::prove {

namespace {

constexpr std::size_t kMostSegments = 256;
constexpr std::size_t kLatencyFrames = 25;

/// All counts only grow, and what is older may come later.
void merge(FarCounts& known, const FarCounts& told) {
  if (told.first != 0 && (known.first == 0 || told.first < known.first)) known.first = told.first;
  for (std::uint32_t FarCounts::*count :
       {&FarCounts::echoes, &FarCounts::highest, &FarCounts::heard, &FarCounts::duplicates,
        &FarCounts::reordered, &FarCounts::corrupted})
    known.*count = std::max(known.*count, told.*count);
}

}  // namespace

Prober::Prober(const ProberSettings& settings)
    : settings_(settings),
      session_(settings.session),
      intake_(settings.octets, [this](const Frame& frame, std::size_t) { take(frame); }) {}

std::span<const std::uint8_t> Prober::probe(Duration now) {
  out_.clear();
  if (trips_.size() >= kMostNumbers) return out_;
  if (trips_.empty()) damaged_before_ = intake_.damaged();
  trips_.push_back({now, kOpen});
  append_frame({FrameKind::probe, session_, sent(), {}}, settings_.octets, out_);
  return out_;
}

std::span<const std::uint8_t> Prober::question() {
  out_.clear();
  append_frame({FrameKind::question, session_, sent(), {}}, settings_.octets, out_);
  return out_;
}

void Prober::feed(std::span<const std::uint8_t> bytes, Duration now) {
  now_ = now;
  intake_.feed(bytes);
}

void Prober::interrupted(Duration now) {
  intake_.cut();
  ++interruptions_;
  for (auto trip = trips_.rbegin(); trip != trips_.rend() && trip->sent >= now - settings_.wait;
       ++trip) {
    if (trip->took_us != kOpen) continue;
    trip->took_us = kVoided;
    ++voided_;
  }
  ++session_;
  session_begin_ = sent() + 1;
}

bool Prober::plausible(const Frame& frame, std::uint32_t sent) {
  const FarCounts& far = frame.far;
  const bool is_echo = frame.kind == FrameKind::echo;
  return frame.number <= sent && far.highest <= sent && far.heard <= far.highest &&
         far.first <= far.highest && far.echoes <= far.heard &&
         (!is_echo || (frame.number >= 1 && far.echoes >= 1));
}

Prober::Segment* Prober::segment_of(const Frame& frame) {
  bool session_known = false;
  for (auto known = segments_.rbegin(); known != segments_.rend(); ++known) {
    if (known->near_session != frame.session) continue;
    if (known->far.session == frame.far.session) return &*known;
    session_known = true;
  }
  if (frame.session != session_ || segments_.size() >= kMostSegments) return nullptr;
  Segment fresh;
  fresh.near_session = frame.session;
  fresh.begin = session_known ? 0 : session_begin_;
  fresh.far.session = frame.far.session;
  segments_.push_back(fresh);
  return &segments_.back();
}

void Prober::take(const Frame& frame) {
  if (frame.kind == FrameKind::probe || frame.kind == FrameKind::question) {
    frame.session == session_ ? ++looped_ : ++foreign_;
    return;
  }
  Segment* const segment = plausible(frame, sent()) ? segment_of(frame) : nullptr;
  if (segment == nullptr) {
    ++foreign_;
    return;
  }
  merge(segment->far, frame.far);
  if (frame.kind == FrameKind::answer)
    segment->asked_after = std::max(segment->asked_after, frame.number);
  else
    take_echo(frame, *segment);
}

void Prober::take_echo(const Frame& frame, Segment& segment) {
  segment.echoes.take(frame.far.echoes);
  Trip& trip = trips_[frame.number - 1];
  if (trip.took_us >= 0) return;
  if (trip.took_us == kVoided) --voided_;
  const auto took = std::max(now_ - trip.sent, Duration{0}).count();
  trip.took_us = static_cast<std::int32_t>(
      std::min<Duration::rep>(took, std::numeric_limits<std::int32_t>::max()));
  ++answered_;
}

bool Prober::settled() const {
  return !segments_.empty() && segments_.back().near_session == session_ &&
         segments_.back().asked_after == sent();
}

void Prober::put_outbound(const Segment& segment, DirectionTally& tally) const {
  const std::uint32_t begin = segment.begin != 0 ? segment.begin : segment.far.first;
  const std::uint32_t end = std::max(segment.far.highest, segment.asked_after);
  if (begin != 0 && end >= begin) {
    const std::uint32_t span = end - begin + 1;
    tally.sent += span;
    tally.delivered += std::min(segment.far.heard, span);
  }
  tally.duplicated += segment.far.duplicates;
  tally.reordered += segment.far.reordered;
  tally.corrupted += segment.far.corrupted;
}

Tally Prober::tally(Duration now, bool final) const {
  Tally out;
  out.probes = trips_.size();
  out.voided = voided_;
  out.trips.answered = answered_;
  std::vector<double> seconds;
  if (final) seconds.reserve(answered_);
  for (const Trip& trip : trips_) {
    if (trip.took_us == kOpen && !final && now - trip.sent < settings_.wait) ++out.waiting;
    if (trip.took_us >= 0 && settings_.latency_limit &&
        Duration{trip.took_us} > *settings_.latency_limit)
      ++out.later_than_limit;
    if (final && trip.took_us >= 0) seconds.push_back(trip.took_us * 1e-6);
  }
  out.trips.sent = out.probes - out.voided - out.waiting;
  if (!segments_.empty()) {
    DirectionTally outbound, inbound;
    for (const Segment& segment : segments_) {
      put_outbound(segment, outbound);
      inbound.sent += segment.far.echoes;
      inbound.delivered += segment.echoes.distinct();
      inbound.duplicated += segment.echoes.duplicates();
      inbound.reordered += segment.echoes.late();
      if (segment.begin == 0) ++out.far_restarts;
    }
    inbound.corrupted = intake_.damaged() - damaged_before_;
    out.untold = out.probes - std::min(outbound.sent, out.probes);
    out.directions[static_cast<std::size_t>(Direction::outbound)] = outbound;
    out.directions[static_cast<std::size_t>(Direction::inbound)] = inbound;
  }
  out.settled = settled();
  out.interruptions = interruptions_;
  out.looped = looped_;
  out.foreign = foreign_;
  out.noise_octets = intake_.noise_octets();
  out.latency = latency_of(seconds);
  if (!trips_.empty() && settings_.rate_per_s > 0)
    out.elapsed_s =
        duration_to_seconds(trips_.back().sent - trips_.front().sent) + 1 / settings_.rate_per_s;
  return out;
}

std::pair<std::uint32_t, std::uint32_t> Prober::recent(Duration now, Duration span,
                                                       Duration grace) const {
  std::uint32_t sent = 0, answered = 0;
  for (auto trip = trips_.rbegin(); trip != trips_.rend() && trip->sent >= now - span; ++trip) {
    if (trip->took_us >= 0) ++answered;
    if (trip->took_us >= 0 || now - trip->sent >= grace) ++sent;
  }
  return {sent, answered};
}

std::optional<double> Prober::recent_latency_s() const {
  std::vector<double> seconds;
  for (auto trip = trips_.rbegin(); trip != trips_.rend() && seconds.size() < kLatencyFrames;
       ++trip) {
    if (static_cast<std::size_t>(trip - trips_.rbegin()) > 40 * kLatencyFrames) break;
    if (trip->took_us >= 0) seconds.push_back(trip->took_us * 1e-6);
  }
  const auto latency = latency_of(seconds);
  return latency ? std::optional(latency->median_s) : std::nullopt;
}

}  // namespace fadeward::prove
