// What waits for a clock, on disk: a gateway that loses its power before it knows the time must not
// lose what it has heard.
//
// A small file beside the history, written only while the clock is not believed: pieces, each with
// its length and checksum, appended and synced. Times in it are spans since the boot of the machine
// unless they are dates; the piece names the boot. Once the time is known a piece with the
// difference of both clocks follows, so that a second attempt places everything where the first did.
#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "fadeward/base/result.hpp"
#include "fadeward/history/store.hpp"

namespace fadeward::history {

/// What an earlier run has left.
struct Held {
  /// Of this boot: times are spans since it unless `believable`. The bins are marked `again`.
  Batch records;
  std::optional<Duration> offset;  ///< wall - steady, where it was known already
  /// Of boots that ended after their time was known: with dates.
  Batch dated;
  /// Of boots that ended before: nobody knows when that was.
  Batch undated;
  std::uint64_t spoiled = 0;  ///< bytes that are no whole piece: a power cut while writing, damage
};

/// Gives dates to what has none (see believable()): spans since the boot and `offset`, quarter hours
/// by the nearest quarter. Two bins that come to lie in one quarter become one.
Batch placed(Batch records, Duration offset);

/// One thread. Every call opens the file anew, so that none is held open for the years after.
class HeldFile {
 public:
  static constexpr std::uint64_t kMostBytes = 16U << 20;

  /// `boot`: the name of this boot of the machine; empty: not known, then nothing of an earlier run
  /// is of this boot.
  HeldFile(const std::string& dir, std::string boot);

  /// No file is an empty answer, one of another version an error.
  Result<Held> load();

  /// Appends what `records` hold (periods are not kept); durable when it returns. An error: the disk
  /// does not take it, or there is no room under kMostBytes; what was there before stands.
  Status append(const Batch& records);
  Status append_offset(Duration offset);
  /// Replaces all that is there by these, as a whole.
  Status replace(const Batch& records);
  /// No file is no error.
  Status remove();
  std::string set_aside();  ///< under another name, which is returned

  const std::string& path() const { return path_; }

 private:
  Status append_piece(const std::string& piece);

  std::string path_;
  std::string boot_;
};

}  // namespace fadeward::history
