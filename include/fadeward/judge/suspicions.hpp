// What is suspected of one link: gathers blocks, asks the watches, keeps the Suspected alerts.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "fadeward/base/time.hpp"
#include "fadeward/judge/alert_book.hpp"
#include "fadeward/judge/change_watch.hpp"
#include "fadeward/judge/loss_watch.hpp"
#include "fadeward/link/link_state.hpp"

namespace fadeward::judge {

/// FadingSuspected, InterferenceSuspected and EquipmentSuspected of one link. Called once a minute;
/// does something once a block (three minutes, or the time of about 18 reports where they are rare).
class Suspicions {
 public:
  void set_moving(bool moving) { changes_.set_moving(moving); }

  /// `judged`: false in upkeep; `heard`: the link is up.
  void judge(Time now, link::LinkState& state, bool judged, AlertBook& book, const AlertBook::Owner& owner);
  /// A setting of the radios changed, or upkeep ended: what was before is no measure.
  void settle();
  void shift(Duration step);
  void rebaseline() { changes_.rebaseline(); }

  /// The gravest cause told that touches this direction; none if there is none.
  Cause cause_of(Direction direction) const;
  std::optional<double> size_db_of(Direction direction) const;
  const ChangeWatch& changes() const { return changes_; }

  template <class A>
  void archive(A& a) {
    a(changes_, losses_[0], losses_[1], contrasts_[0], contrasts_[1], block_from_, block_until_);
  }

 private:
  /// Some hop channels noisier than the others.
  struct Contrast {
    bool told = false;
    bool lasting = false;
    std::uint32_t seen = 0;      ///< blocks in a row
    std::uint32_t unseen = 0;
    std::uint32_t channels = 0;
    std::uint32_t known = 0;
    double rise_db = 0;
    Time onset{};
    template <class A>
    void archive(A& a) {
      a(told, lasting, seen, unseen, channels, known, rise_db, onset);
    }
  };
  struct Told {   // one told suspicion, whatever watch it comes from
    Cause cause = Cause::none;
    Shape shape = Shape::none;
    Time onset{};
    std::optional<double> size_db;
    double confidence = 0;
    double weight = 0;           ///< the larger speaks where two share an alert
    std::string text;
  };

  link::Block take_block(Time now, link::LinkState& state);
  void watch_losses(const link::Block& block, link::LinkState& state, bool learn);
  void watch_channels(const link::Block& block, link::LinkState& state);
  std::vector<Told> told(Time now, bool with_text) const;
  void tell(Time now, AlertBook& book, const AlertBook::Owner& owner) const;

  ChangeWatch changes_;
  std::array<LossWatch, kDirections> losses_;
  std::array<Contrast, kDirections> contrasts_;
  Time block_from_{};
  Time block_until_{};
};

/// The alert that speaks of a cause, and its direction (empty: both).
AlertName alert_of(Cause cause);
std::optional<Direction> direction_of(Cause cause);

}  // namespace fadeward::judge
