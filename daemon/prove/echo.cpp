#include "fadeward/prove/echo.hpp"

#include <algorithm>
#include <utility>

namespace fadeward::prove {

Echo::Echo(std::uint32_t session, std::function<void(std::uint32_t)> on_session)
    : own_session_(session),
      on_session_(std::move(on_session)),
      intake_(0, [this](const Frame& frame, std::size_t octets) { take(frame, octets); }) {}

void Echo::feed(std::span<const std::uint8_t> bytes, std::vector<std::uint8_t>& out) {
  out_ = &out;
  intake_.feed(bytes);
  out_ = nullptr;
}

FarCounts Echo::counts_of(const Session& session) const {
  FarCounts counts;
  counts.session = own_session_;
  counts.echoes = session.echoes;
  counts.first = session.probes.first();
  counts.highest = session.probes.highest();
  counts.heard = session.probes.distinct();
  counts.duplicates = session.probes.duplicates();
  counts.reordered = session.probes.late();
  counts.corrupted = intake_.damaged() - session.damaged_before;
  return counts;
}

FarCounts Echo::counts() const { return counts_of(sessions_[last_]); }

Echo::Session& Echo::session_of(const Frame& frame) {
  const auto known = std::ranges::find_if(
      sessions_, [&](const Session& one) { return one.used && one.id == frame.session; });
  if (known != sessions_.end()) return *known;
  Session& fresh = *std::ranges::min_element(sessions_, {}, &Session::turn);
  fresh = Session{};
  fresh.id = frame.session;
  fresh.used = true;
  // What came damaged since the last good frame may have been the first probes of this session, but
  // no more of it than numbers are missing.
  const std::uint32_t missing =
      frame.kind == FrameKind::probe && frame.number > 0 ? frame.number - 1 : frame.number;
  fresh.damaged_before =
      intake_.damaged() - std::min(intake_.damaged() - damaged_at_last_, missing);
  if (on_session_) on_session_(frame.session);
  return fresh;
}

void Echo::take(const Frame& frame, std::size_t octets) {
  const bool asked = frame.kind == FrameKind::question;
  if (!asked && (frame.kind != FrameKind::probe || frame.number == 0)) return;
  Session& session = session_of(frame);
  session.turn = ++turns_;
  last_ = static_cast<std::size_t>(&session - sessions_.data());
  damaged_at_last_ = intake_.damaged();
  if (!asked) {
    if (session.probes.take(frame.number) == NumberTrack::Arrival::duplicate) return;
    ++session.echoes;
  }
  append_frame({asked ? FrameKind::answer : FrameKind::echo, frame.session, frame.number,
                counts_of(session)},
               octets, *out_);
}

}  // namespace fadeward::prove
