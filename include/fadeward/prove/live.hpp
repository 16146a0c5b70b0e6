// Lines that change while a run goes on.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>

#include "fadeward/base/terms.hpp"
#include "fadeward/prove/tally.hpp"

namespace fadeward::prove {

/// "1234 of 6000 sent, lost out 3 in 1, round trip 412 ms, 38 min left"
std::string progress_line(const Tally& tally, std::uint64_t planned,
                          std::optional<double> latency_s, double left_s);

/// What aiming an antenna needs, each second.
struct Aim {
  std::array<std::optional<double>, kDirections> margins_db;  ///< of the last seconds
  std::uint32_t sent = 0;      ///< in the last ten seconds
  std::uint32_t answered = 0;
  std::optional<double> latency_s;
};

/// Keeps the best so far: of the weaker direction's margin where margins are known, else of the
/// share delivered.
class Walk {
 public:
  static constexpr std::size_t kColumns = 40;

  /// One line of at most kColumns characters, no colours:
  ///   "in 12.3 out 11.8dB 10/10 best 11.8 <<"     (the mark: as good as it ever was)
  ///   "got  9/10  90%    412 ms best 100%"
  std::string line(const Aim& aim);

 private:
  std::optional<double> best_margin_db_;
  std::optional<double> best_share_;
};

}  // namespace fadeward::prove
