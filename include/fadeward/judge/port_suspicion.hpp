// The same change at the near end on many links of one port: one matter, one alert.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "fadeward/base/terms.hpp"
#include "fadeward/base/time.hpp"
#include "fadeward/judge/alert_book.hpp"

namespace fadeward::judge {

/// Causes at the near end, which all links of a port share.
bool is_near_side(Cause cause);

/// One link's word on it.
struct NearSide {
  Cause cause = Cause::none;
  Time onset{};
  std::optional<double> size_db;
  std::uint32_t speaker = 0;  ///< the link, by any number; all of one link stand together
  bool heard = true;          ///< false: the link has fallen silent, and this was its last word
};

/// A set of causes.
class CauseSet {
 public:
  bool has(Cause cause) const { return (bits_ >> static_cast<unsigned>(cause) & 1U) != 0; }
  void add(Cause cause) { bits_ |= 1U << static_cast<unsigned>(cause); }
  bool empty() const { return bits_ == 0; }

 private:
  std::uint32_t bits_ = 0;
};

/// What a link knows of the others of its port when it speaks of a suspicion.
struct Company {
  bool many = false;       ///< at least three active links: a near-side suspicion waits for others
  CauseSet told_for_port;  ///< told once for all of them; theirs are withheld
  bool others_unchanged =
      false;  ///< at least one other, and none has anything new about its inbound signal
};

/// Raises the alert of a port when at least three links and half of the active ones suspect the
/// same near-side cause, with onsets within an hour; ends it when fewer than a third do. Links that
/// fell silent raise nothing, but an alert stands on their last words as well: while none but these
/// are left, or no link is active at all, it is marked stale. Of causes that share an alert the one
/// that stands speaks, else that of the most links. Returns the causes that are told for the port
/// now. `active_links`: those that are not silent.
CauseSet judge_port(const std::vector<NearSide>& said, std::size_t active_links, Time now,
                    AlertBook& book, const AlertBook::Owner& owner);

}  // namespace fadeward::judge
