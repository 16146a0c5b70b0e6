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
#include "fadeward/judge/port_suspicion.hpp"
#include "fadeward/link/link_state.hpp"

namespace fadeward::judge {

/// FadingSuspected, InterferenceSuspected and EquipmentSuspected of one link. Called once a minute;
/// does something once a block (three minutes, or the time of about 18 reports where they are
/// rare).
class Suspicions {
 public:
  void set_moving(bool moving) { changes_.set_moving(moving); }
  void set_relayed(bool relayed) { changes_.set_relayed(relayed); }

  /// Looks. `judged`: false in upkeep: levels are followed, nothing is suspected.
  void watch(Time now, link::LinkState& state, bool judged);
  /// Speaks: keeps the alerts as the suspicions are, if anything was looked at since the last call.
  void tell(Time now, AlertBook& book, const AlertBook::Owner& owner, const Company& company);

  /// What is suspected at the near end, for whoever compares the links of a port. `heard`: the link
  /// is not silent.
  void append_near_side(std::vector<NearSide>& out, bool heard) const;
  /// Something new about the inbound signal, pending or told, with an onset after `since`.
  bool inbound_signal_changed(Time since) const;
  /// A setting of the radios changed, or upkeep ended: what was before is no measure.
  void settle();
  void shift(Duration step);
  /// The present levels are the usual ones; what was told of them ends with the next `tell`.
  void rebaseline();

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
    std::uint32_t seen = 0;  ///< blocks in a row
    std::uint32_t unseen = 0;
    std::uint32_t channels = 0;
    std::uint32_t known = 0;
    double rise_db = 0;
    Time onset{};
    Time told_at{};
    Time steady_since{};   ///< it has not grown since
    double steady_db = 0;  ///< the rise then
    template <class A>
    void archive(A& a) {
      a(told, lasting, seen, unseen, channels, known, rise_db, onset, told_at, steady_since,
        steady_db);
    }
  };
  struct Told {  // one told suspicion, whatever watch it comes from
    Cause cause = Cause::none;
    Shape shape = Shape::none;
    Time onset{};
    Time told_at{};
    std::optional<double> size_db;
    double confidence = 0;
    std::optional<Direction> direction;  ///< where it shows in one alone
    double weight = 0;                   ///< the larger speaks where two share an alert
    std::string text;
  };

  void postpone_acceptance(Duration by);
  link::Block take_block(Time now, link::LinkState& state);
  void watch_losses(const link::Block& block, link::LinkState& state);
  void watch_channels(const link::Block& block, link::LinkState& state);
  enum class Text : std::uint8_t { none, alone, others_unchanged };
  std::vector<Told> told(Time now, Text text) const;

  ChangeWatch changes_;
  std::array<LossWatch, kDirections> losses_;
  std::array<Contrast, kDirections> contrasts_;
  Time block_from_{};
  Time block_until_{};
  std::uint64_t said_ = 0;  ///< what was told last, as a sum; not kept over a restart
  Time said_at_{};
  bool looked_ = false;       ///< since the last tell
  bool rebaselined_ = false;  ///< since the last tell
  std::string accepted_;      ///< what became the usual since the last tell, as a sentence
  bool spoke_ = true;         ///< an alert may stand; after a restart nobody knows
};

/// The alert that speaks of a cause, and its direction (empty: both).
AlertName alert_of(Cause cause);
std::optional<Direction> direction_of(Cause cause);

}  // namespace fadeward::judge
