// One change that is watched: from its first sign to its end.
#pragma once

#include <array>
#include <cstdint>

#include "fadeward/base/terms.hpp"
#include "fadeward/base/time.hpp"
#include "fadeward/judge/signature.hpp"

namespace fadeward::judge {

/// What was told and stays so long without growing is the new usual.
inline constexpr Duration kAcceptAfter = std::chrono::hours{24 * 21};

struct Suspect {
  enum class State : std::uint8_t {
    pending,   ///< seen, not certain or not lasting enough to be told
    told,      ///< an alarm
    over,      ///< gone again after it was told
    accepted,  ///< it stays, and is the new usual
  };
  State state = State::pending;
  Explanation what;
  Shape shape = Shape::step;
  Time onset{};
  Time told_at{};
  /// When more of it was found last, later by what was not seen since; the epoch: never.
  Time grown_at{};
  double confidence = 0;  ///< 0..1, of the cause against the next likely one
  std::array<double, kStreams> before_db{};  ///< streams before it, daily rhythm removed
  std::array<bool, kStreams> before_known{};
  std::array<double, kStreams> effect_db{};  ///< what it does to them, as judged last
  std::uint32_t blocks = 0;                  ///< complete ones since its onset
  std::uint32_t gone_blocks = 0;             ///< in a row that say that it is over
  std::uint32_t other_blocks = 0;            ///< in a row that another cause explains better
  double best_gain = 0;                      ///< while it was young
  bool own_proof = false;  ///< the stream that sets the cause apart speaks by itself
  bool abrupt = false;
  bool one_way = false;                ///< only one direction's signal was known when it was told
  Direction way = Direction::inbound;  ///< that one

  bool told() const { return state == State::told; }

  template <class A>
  void archive(A& a) {
    a(state, what.cause, what.size_db, what.noise_db, what.gain, what.misfit, what.lead, shape,
      onset, told_at, grown_at, confidence, before_db, before_known, effect_db, blocks,
      gone_blocks, other_blocks, best_gain, own_proof, abrupt, one_way, way);
  }
};

}  // namespace fadeward::judge
