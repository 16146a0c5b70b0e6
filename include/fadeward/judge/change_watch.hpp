// Looks for changes of one link: steps within minutes, drifts and growing cycles within days.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <utility>
#include <vector>

#include "fadeward/base/ring.hpp"
#include "fadeward/base/time.hpp"
#include "fadeward/estimate/daily_rhythm.hpp"
#include "fadeward/judge/drift.hpp"
#include "fadeward/judge/hour_book.hpp"
#include "fadeward/judge/signature.hpp"
#include "fadeward/judge/suspect.hpp"
#include "fadeward/judge/swing.hpp"
#include "fadeward/link/block.hpp"

namespace fadeward::judge {

/// Fed with one block every few minutes. Steps are differences between the blocks just before and
/// just after a moment, compared with how much such differences usually are on this link, at
/// several spans; drifts are medians of days against the slow level. Both are explained by the
/// signatures of the causes.
///
/// A change of the path alone is told only once it has lasted longer than weather does, unless it
/// is both sudden and large; changes that weather cannot make are told within minutes.
class ChangeWatch {
 public:
  /// A site that moves has no usual level: only noise is judged.
  void set_moving(bool moving) { moving_ = moving; }
  /// Behind a repeater the two directions' levels belong to different hops: each is no evidence for
  /// the other. The inbound signal alone is followed.
  void set_relayed(bool relayed) { relayed_ = relayed; }

  /// `judged`: false while in upkeep: the levels are followed, nothing is suspected.
  void add(const link::Block& block, bool judged);
  /// Radios were set otherwise: what is before cannot be compared with what comes.
  void settle();
  void shift(Duration step);
  /// Nothing was seen for so long: what was told has lasted no longer by that.
  void postpone_acceptance(Duration by);

  /// Pending ones and those told; one that has ended stays for one block, so that it can be told.
  const std::vector<Suspect>& suspects() const { return suspects_; }
  /// Something changes that is not judged to its end yet.
  bool unsettled() const;
  /// Level now against the usual one in dB, both directions' signals and both noises (index:
  /// Stream); what is known.
  Changes off_usual() const { return off_usual(20, 20, kFewestHours); }
  /// The same of the newest half hour, or of one block where that is longer: for what must be said
  /// at once, and from the third hour on. The standard deviations are those of an hour.
  Changes off_usual_now() const;
  bool knows_usual() const { return rhythms_[0].hours() >= kFewestHours; }
  /// The present levels are the usual ones from now on (work on the mast, a decision of a person).
  void rebaseline();

  template <class A>
  void archive(A& a) {
    a(recent_, square_, jumps_, rhythms_, hours_, hour_, hour_sum_, hour_count_, suspects_,
      both_seen_, both_, meant_, way_, returned_, last_at_, swings_, hours_seen_, hours_taught_);
    if constexpr (A::kReading)
      if (recent_.size() > kRecent || suspects_.size() > kMostSuspects) a.fail();
  }

 private:
  static constexpr std::uint32_t kFewestHours = 30;
  static constexpr std::size_t kScales = 5;
  static constexpr std::size_t kRecent = 64;  // blocks
  static constexpr std::size_t kMostSuspects = 64;
  using Vector = std::array<double, kStreams>;

  /// One block; daily rhythm removed. The sums run on from block to block and wrap around: what
  /// lies between two of them is a difference.
  struct Values {
    std::array<std::int16_t, kStreams> cdb{};
    std::array<std::uint16_t, kStreams> counts{};  ///< of known values, this one included
    std::array<std::uint32_t, kStreams> sums_cdb{};
    std::uint8_t known = 0;
    bool has(std::size_t stream) const { return (known >> stream & 1U) != 0; }
    template <class A>
    void archive(A& a) {
      a(cdb, counts, sums_cdb, known);
    }
  };
  struct Mean {
    Vector db{};
    std::array<bool, kStreams> known{};
  };

  struct Levels {
    Vector db{};
    std::array<bool, kStreams> known{};
  };
  Levels levels_of(const link::Block& block);
  void choose_meaning(const link::BlockSide& in, const link::BlockSide& away, bool has_in,
                      bool has_out);
  void forget_level(std::size_t stream);
  void push(const Levels& levels);
  Mean mean_of(std::size_t first_back,
               std::size_t count) const;  ///< blocks, counted back from the newest
  Mean mean_before(std::size_t first_back, std::size_t of_path, std::size_t of_rest) const;
  std::size_t clear_before(std::size_t blocks_back) const;
  Changes changes_between(const Mean& before, const Mean& after, double blocks_after) const;
  Changes off_usual(std::size_t blocks, double blocks_after, std::uint32_t fewest_hours) const;
  double sigma_db(std::size_t stream, double blocks_after) const;
  using Means = std::array<Mean, kScales>;
  bool quiet(const Mean& before, const Mean& after, std::size_t scale) const;
  Means means_after() const;  ///< of the newest blocks, one for each scale that is filled
  void learn_jumps(const Means& after_means);
  void look_for_steps(const link::Block& block, const Means& after_means);
  bool is_same_event(const Explanation& found, std::size_t blocks_back);
  void judge_pending(Suspect& suspect, Time now);
  void judge_told(Suspect& suspect, Time now);
  bool may_be_told(const Suspect& suspect) const;
  bool still_there(const Suspect& suspect) const;
  std::optional<Mean> hours_before(const Suspect& suspect) const;
  bool stands_out(Suspect& suspect) const;
  bool began_at_once(const Suspect& suspect) const;
  void tell(Suspect& suspect, Time now);
  void end(Suspect& suspect, Suspect::State how);
  void take_back(const Suspect& suspect);
  void close_hour(Time now, bool judged);
  void teach_rhythms();
  void take_out(std::size_t hours, const Vector& effect_db);
  Changes heard() const;
  void look_for_drifts(Time now);
  bool told_since(Time since) const;
  void look_for_swings(Time now);
  void told_effects(Vector& sum) const;

  Ring<Values> recent_;
  std::array<std::array<float, kStreams>, kScales> square_{};  ///< mean square of usual differences
  std::uint32_t jumps_ = 0;                                    ///< that these rest on
  std::array<estimate::DailyRhythm, kStreams> rhythms_;
  HourBook hours_;
  SwingWatch swings_;
  std::uint32_t hours_seen_ = 0, hours_taught_ = 0;  ///< to the rhythms
  std::int64_t hour_ = INT64_MIN;
  Vector hour_sum_{};
  std::array<std::uint32_t, kStreams> hour_count_{};
  std::vector<Suspect> suspects_;
  std::uint32_t both_seen_ = 0;  ///< blocks with both directions; fades
  bool both_ = false;            ///< `common` is the mean of both directions; else that of `way_`
  bool meant_ = false;           ///< that is settled
  Direction way_ = Direction::inbound;
  double returned_ = 0;  ///< sudden changes of the path that went away again; fades over weeks
  Time last_at_{};
  Duration span_ = std::chrono::minutes{3};  ///< of the last block
  bool moving_ = false;
  bool relayed_ = false;
};

}  // namespace fadeward::judge
