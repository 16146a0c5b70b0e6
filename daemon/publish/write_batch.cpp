#include "fadeward/publish/write_batch.hpp"

namespace fadeward::publish {

void WriteBatch::clear() {
  labels_.clear();
  series_.clear();
  samples_.clear();
  moments_.clear();
}

std::uint32_t WriteBatch::add_series(std::string_view labels) {
  series_.push_back({labels_.size(), static_cast<std::uint32_t>(labels.size()),
                     static_cast<std::uint32_t>(samples_.size())});
  labels_ += labels;
  return series() - 1;
}

std::uint32_t WriteBatch::add_moment(std::int64_t milliseconds) {
  moments_.push_back(milliseconds);
  return moments() - 1;
}

void WriteBatch::add_sample(std::uint32_t moment, double value) {
  samples_.push_back({moment, value});
}

std::string_view WriteBatch::labels(std::uint32_t series) const {
  const Series& each = series_[series];
  return std::string_view(labels_).substr(each.labels_at, each.labels_size);
}

std::span<const WriteBatch::Sample> WriteBatch::samples_of(std::uint32_t series) const {
  const std::size_t end = series + 1 < series_.size() ? series_[series + 1].begin : samples_.size();
  return std::span(samples_).subspan(series_[series].begin, end - series_[series].begin);
}

std::size_t WriteBatch::count(const WritePiece& piece) const {
  std::size_t out = 0;
  for (std::uint32_t i = piece.first; i < piece.last; ++i)
    for (const Sample& sample : samples_of(i))
      out += sample.moment >= piece.from && sample.moment < piece.to;
  return out;
}

void WriteBatch::encode(const WritePiece& piece, WriteRequestBuilder& out) const {
  std::vector<WriteSample> samples;
  for (std::uint32_t i = piece.first; i < piece.last; ++i) {
    samples.clear();
    for (const Sample& sample : samples_of(i))
      if (sample.moment >= piece.from && sample.moment < piece.to)
        samples.push_back({sample.value, moments_[sample.moment]});
    if (!samples.empty()) out.add(labels(i), samples);
  }
}

}  // namespace fadeward::publish
