// The body of a remote-write request, version 1.0 of the Prometheus specification: a protobuf
// prometheus.WriteRequest, compressed with the block format of Snappy.
#pragma once

#include <bit>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "fadeward/base/time.hpp"

namespace fadeward::publish {

/// Tells a receiver that a series has ended: a NaN with this bit pattern (specification, "Stale
/// markers").
inline constexpr double kStaleMarker = std::bit_cast<double>(std::uint64_t{0x7ff0000000000002});

/// Milliseconds since the Unix epoch, cut down.
constexpr std::int64_t to_milliseconds(Time time) {
  return std::chrono::floor<std::chrono::milliseconds>(time).time_since_epoch().count();
}

/// Name and value; views into somebody else's text.
using WriteLabel = std::pair<std::string_view, std::string_view>;

/// Appends the labels of a series as they stand in a TimeSeries message (field 1, repeated). They
/// come sorted by name and without repeats; empty values are left out, as the specification asks.
void append_labels(std::string& out, std::span<const WriteLabel> labels);

/// Rounded to 13 significant bits, but never coarser than 1/64: whole numbers stay exact, -101.2
/// dBm moves by less than 0.008 dB. Zeros at the end of a double compress away.
double rounded_for_transport(double value);

struct WriteSample {
  double value = 0;
  std::int64_t milliseconds = 0;
};

/// Gathers one request. Keeps its memory over clear().
class WriteRequestBuilder {
 public:
  void clear() { message_.clear(); }
  /// `labels` as from append_labels; samples in order of time.
  void add(std::string_view labels, std::span<const WriteSample> samples);

  const std::string& message() const { return message_; }  ///< before compression
  std::string compressed() const;

 private:
  std::string message_;
};

}  // namespace fadeward::publish
