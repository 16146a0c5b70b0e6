// Samples that are sent together: series, moments, and which series has a value at which moment.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "fadeward/publish/write_request.hpp"

namespace fadeward::publish {

/// A part of a batch: series [first, last) at moments [from, to).
struct WritePiece {
  std::uint32_t first = 0;
  std::uint32_t last = 0;
  std::uint32_t from = 0;
  std::uint32_t to = 0;
};

/// Filled series by series, each in order of time.
class WriteBatch {
 public:
  void clear();
  /// Begins a series; `labels` as from append_labels. Returns its number.
  std::uint32_t add_series(std::string_view labels);
  /// A moment; in rising order. Returns its number.
  std::uint32_t add_moment(std::int64_t milliseconds);
  /// Of the series begun last.
  void add_sample(std::uint32_t moment, double value);

  std::size_t size() const { return samples_.size(); }
  std::uint32_t series() const { return static_cast<std::uint32_t>(series_.size()); }
  std::uint32_t moments() const { return static_cast<std::uint32_t>(moments_.size()); }
  std::string_view labels(std::uint32_t series) const;
  WritePiece whole() const { return {0, series(), 0, moments()}; }

  /// Samples in it.
  std::size_t count(const WritePiece& piece) const;
  void encode(const WritePiece& piece, WriteRequestBuilder& out) const;

 private:
  struct Series {
    std::size_t labels_at = 0;
    std::uint32_t labels_size = 0;
    std::uint32_t begin = 0;  ///< of its samples
  };
  struct Sample {
    std::uint32_t moment = 0;
    double value = 0;
  };
  std::span<const Sample> samples_of(std::uint32_t series) const;

  std::string labels_;
  std::vector<Series> series_;
  std::vector<Sample> samples_;
  std::vector<std::int64_t> moments_;
};

}  // namespace fadeward::publish
