// One moment of everything that is pushed: the families of /metrics as a batch of samples.
#pragma once

#include <cstdint>
#include <map>
#include <memory>
#include <string>
#include <unordered_map>
#include <unordered_set>
#include <vector>

#include "fadeward/publish/snapshot_box.hpp"
#include "fadeward/publish/write_batch.hpp"

namespace fadeward::publish {

/// Labels that every pushed series carries: the external ones and `job` (fadeward, unless it is
/// among them). Where there are no external ones nothing else would tell gateways apart: then
/// `instance` is the name of the machine. Each more costs about a byte and a half a sample.
std::map<std::string, std::string> pushed_labels(
    const std::map<std::string, std::string>& external_labels, const std::string& host_name);

/// Follows which series a receiver believes to be alive. One thread.
class LiveSamples {
 public:
  LiveSamples();
  ~LiveSamples();
  LiveSamples(const LiveSamples&) = delete;
  LiveSamples& operator=(const LiveSamples&) = delete;

  /// Fills `out` with one moment: the families of links, alerts, ports and the program (but not of
  /// the process and of HTTP), and `up` 1; values as rounded_for_transport. Series that the
  /// receiver has and that are gone come last, with a stale marker.
  void take(const Published& published, const std::map<std::string, std::string>& labels,
            std::int64_t milliseconds, WriteBatch& out);
  /// Stale markers alone, for everything that the receiver has.
  void take_ends(std::int64_t milliseconds, WriteBatch& out) const;

  /// This part of the batch of the last take() has been accepted.
  void accepted(const WriteBatch& batch, const WritePiece& piece);
  /// This one was given up. `forever`: its series are not taken again for an hour.
  void refused(const WriteBatch& batch, const WritePiece& piece, bool forever, Duration steady_now);
  /// Series that are left out now because they were refused.
  std::size_t left_out() const { return left_out_; }

 private:
  struct Tables;
  std::unique_ptr<Tables> tables_;
  std::unordered_map<std::uint64_t, std::string> open_;  ///< labels, by their hash
  std::unordered_map<std::uint64_t, Duration> refused_;  ///< when
  std::uint32_t ends_from_ = 0;                          ///< series from here on are markers
  std::size_t left_out_ = 0;
};

}  // namespace fadeward::publish
