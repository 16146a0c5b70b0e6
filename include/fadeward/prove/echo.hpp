// The far end: answers every probe, and counts.
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <span>
#include <string>
#include <vector>

#include "fadeward/prove/intake.hpp"
#include "fadeward/prove/number_track.hpp"

namespace fadeward::prove {

/// Answers a probe with an echo of the same size and a question with an answer of the same size;
/// never an echo or an answer, so that two of them on one line stay silent. A probe heard again is
/// counted and not answered. Keeps the last kSessions sessions of near ends. One thread.
class Echo {
 public:
  static constexpr std::size_t kSessions = 4;

  /// `session`: any number that differs from start to start. `on_session` is called when a session
  /// is heard for the first time.
  explicit Echo(std::uint32_t session, std::function<void(std::uint32_t)> on_session = {});
  Echo(const Echo&) = delete;
  Echo& operator=(const Echo&) = delete;

  /// Takes bytes of the line and appends what is to be sent to `out`: at most about as much.
  void feed(std::span<const std::uint8_t> bytes, std::vector<std::uint8_t>& out);
  void cut() { intake_.cut(); }

  /// Of the session heard last.
  FarCounts counts() const;
  std::uint64_t noise_octets() const { return intake_.noise_octets(); }

 private:
  struct Session {
    std::uint32_t id = 0;
    bool used = false;
    std::uint64_t turn = 0;  ///< when it was heard last
    std::uint32_t echoes = 0;
    std::uint32_t damaged_before = 0;  ///< frames that were not its own
    NumberTrack probes;
  };

  void take(const Frame& frame, std::size_t octets);
  Session& session_of(const Frame& frame);
  FarCounts counts_of(const Session& session) const;

  const std::uint32_t own_session_;
  const std::function<void(std::uint32_t)> on_session_;
  std::array<Session, kSessions> sessions_;
  std::size_t last_ = 0;  ///< index of the session heard last
  std::uint64_t turns_ = 0;
  std::uint32_t damaged_at_last_ = 0;  ///< damaged frames up to the last good one
  Intake intake_;
  std::vector<std::uint8_t>* out_ = nullptr;
};

}  // namespace fadeward::prove
