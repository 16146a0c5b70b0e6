#include "fadeward/publish/write_request.hpp"

#include <algorithm>
#include <cmath>

#include "fadeward/publish/snappy_block.hpp"

namespace fadeward::publish {

namespace {

// Wire format of protocol buffers: key = field number << 3 | type; 1: eight bytes, 2: length first.
constexpr char kTimeSeries = 1 << 3 | 2;  // of WriteRequest
constexpr char kLabel = 1 << 3 | 2;       // of TimeSeries
constexpr char kSample = 2 << 3 | 2;
constexpr char kName = 1 << 3 | 2;  // of Label
constexpr char kLabelValue = 2 << 3 | 2;
constexpr char kValue = 1 << 3 | 1;  // of Sample
constexpr char kTimestamp = 2 << 3 | 0;

std::size_t varint_size(std::uint64_t value) {
  return (static_cast<std::size_t>(std::bit_width(value | 1U)) + 6) / 7;
}
void append_varint(std::string& out, std::uint64_t value) {
  for (; value >= 0x80; value >>= 7) out += static_cast<char>(value | 0x80);
  out += static_cast<char>(value);
}
void append_text(std::string& out, char key, std::string_view text) {
  out += key;
  append_varint(out, text.size());
  out += text;
}
std::size_t text_size(std::string_view text) { return 1 + varint_size(text.size()) + text.size(); }

/// Negative times take ten bytes, as protobuf has it for int64.
std::size_t sample_size(const WriteSample& sample) {
  return 9 + 1 + varint_size(static_cast<std::uint64_t>(sample.milliseconds));
}

void append_sample(std::string& out, const WriteSample& sample) {
  out += kSample;
  append_varint(out, sample_size(sample));
  out += kValue;
  const auto bits = std::bit_cast<std::uint64_t>(sample.value);
  for (int i = 0; i < 64; i += 8) out += static_cast<char>(bits >> i & 0xff);
  out += kTimestamp;
  append_varint(out, static_cast<std::uint64_t>(sample.milliseconds));
}

}  // namespace

void append_labels(std::string& out, std::span<const WriteLabel> labels) {
  for (const auto& [name, value] : labels) {
    if (value.empty()) continue;
    out += kLabel;
    append_varint(out, text_size(name) + text_size(value));
    append_text(out, kName, name);
    append_text(out, kLabelValue, value);
  }
}

double rounded_for_transport(double value) {
  if (!std::isfinite(value) || value == 0) return value;
  const int step = std::min(std::ilogb(value) - 12, -6);  // the bit that is kept last
  const double scaled = std::ldexp(value, -step);
  return std::abs(scaled) < 0x1p53 ? std::ldexp(std::nearbyint(scaled), step) : value;
}

void WriteRequestBuilder::add(std::string_view labels, std::span<const WriteSample> samples) {
  std::size_t size = labels.size();
  for (const WriteSample& sample : samples) {
    const std::size_t inner = sample_size(sample);
    size += 1 + varint_size(inner) + inner;
  }
  message_ += kTimeSeries;
  append_varint(message_, size);
  message_ += labels;
  for (const WriteSample& sample : samples) append_sample(message_, sample);
}

std::string WriteRequestBuilder::compressed() const { return snappy_block(message_); }

}  // namespace fadeward::publish
