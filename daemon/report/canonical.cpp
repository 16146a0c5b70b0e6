#include "fadeward/report/canonical.hpp"

#include <algorithm>
#include <cstring>

#include "fadeward/report/json_number.hpp"
#include "fadeward/report/put.hpp"

namespace fadeward::report {

namespace {

using number_detail::load;

constexpr std::uint64_t kLatestMicros = 32503680000'000000;  // the year 3000, as in base/field

std::size_t hash(std::string_view name) {
  std::uint64_t word = 0;
  std::memcpy(&word, name.data(), std::min<std::size_t>(name.size(), 8));
  return static_cast<std::size_t>(((word ^ name.size()) * 0x9e3779b97f4a7c15) >> 57U);
}

/// The quote that ends a short plain text; null if escapes, control characters or bytes beyond
/// ASCII come first or it does not end within 16 characters.
inline const char* plain_text_end(const char* at) {
  constexpr std::uint64_t kEach = number_detail::kEach;
  for (int i = 0; i < 2; ++i, at += 8) {
    const std::uint64_t word = load(at);
    const std::uint64_t quote = word ^ kEach * '"';
    const std::uint64_t slash = word ^ kEach * '\\';
    const std::uint64_t flags = (((quote - kEach) & ~quote) | ((slash - kEach) & ~slash) |
                                 ((word - kEach * 0x20) & ~word) | word) &
                                kEach * 0x80;
    if (flags == 0) continue;
    at += std::countr_zero(flags) >> 3;
    return *at == '"' ? at : nullptr;
  }
  return nullptr;
}

}  // namespace

bool CanonicalParser::Step::starts(const char* at) const {
  return (((load(at) ^ text[0]) & mask[0]) | ((load(at + 8) ^ text[1]) & mask[1]) |
          ((load(at + 16) ^ text[2]) & mask[2])) == 0;
}

CanonicalParser::CanonicalParser() {
  for (unsigned i = 0; i < kFields; ++i) add_key(i, field_info(static_cast<Field>(i)).name);
  add_key(kTime, "time");
  add_key(kLink, "link");
  for (Step& step : steps_) {  // no JSON text begins like this
    step.text.fill(~std::uint64_t{0});
    step.mask.fill(~std::uint64_t{0});
  }
}

void CanonicalParser::add_key(unsigned id, std::string_view name) {
  names_[id] = name;
  std::size_t slot = hash(name);
  while (slots_[slot] != 0) slot = (slot + 1) % kSlots;
  slots_[slot] = static_cast<std::uint8_t>(id + 1);
}

unsigned CanonicalParser::find_key(std::string_view name) const {
  for (std::size_t slot = hash(name); slots_[slot] != 0; slot = (slot + 1) % kSlots)
    if (names_[slots_[slot] - 1U] == name) return slots_[slot] - 1U;
  return kUnknown;
}

void CanonicalParser::learn(unsigned before, const char* first, const char* last, unsigned id) {
  Step& step = steps_[before];
  const auto size = static_cast<std::size_t>(last - first);
  if (size > sizeof step.text) return;
  step = {};
  std::memcpy(step.text.data(), first, size);
  std::memset(step.mask.data(), 0xff, size);
  step.size = static_cast<std::uint32_t>(size);
  step.id = id;
}

const char* CanonicalParser::read_key(const char* at, const char* end, unsigned& id) {
  if (at >= end || *at != '"') return nullptr;
  const char* const first = at + 1;
  bool escaped = false;
  const char* last = plain_text_end(first);
  if (!last) {
    last = skip_json_string(first, end, escaped);
    if (!last) return nullptr;
    --last;
  }
  id = find_key(json_text(first, last, escaped, scratch_));
  at = skip_json_space(last + 1, end);
  return at < end && *at == ':' ? skip_json_space(at + 1, end) : nullptr;
}

/// From behind a value (or the beginning) to the next value, whose key becomes `id`. At a closing
/// brace it stops and `id` becomes kStart.
const char* CanonicalParser::read_step(const char* at, const char* end, unsigned& id) {
  const char* const first = at;
  const unsigned before = id;
  at = skip_json_space(at, end);
  if (at >= end) return nullptr;
  if (before != kStart && *at == '}') {
    id = kStart;
    return at;
  }
  if (*at != (before == kStart ? '{' : ',')) return nullptr;
  at = skip_json_space(at + 1, end);
  if (before == kStart && at < end && *at == '}') return at;
  at = read_key(at, end, id);
  if (at && at < end) learn(before, first, at, id);
  return at;
}

const char* CanonicalParser::read_number(unsigned field, const char* at, const char* end,
                                         LinkReport& report, Tally& tally) {
  double value = 0;
  bool whole = false;
  if (*at != '-' && (*at < '0' || *at > '9')) return read_other(field, at, end, report, tally);
  at = read_json_number(at, end, value, whole);
  if (at && !put(report, static_cast<Field>(field), value)) ++tally.values_discarded;
  return at;
}

/// A value that is no number where one belongs.
const char* CanonicalParser::read_other(unsigned field, const char* at, const char* end,
                                        LinkReport& report, Tally& tally) {
  const bool is_null = *at == 'n';
  const bool is_text = *at == '"';
  const char* const first = at + 1;
  bool escaped = false;
  remove(report, static_cast<Field>(field));
  at = is_text ? skip_json_string(first, end, escaped) : skip_json_value(at, end, 1);
  if (!at || is_null) return at;
  const bool used = is_text && static_cast<Field>(field) == Field::far_time &&
                    put_far_time_text(report, json_text(first, at - 1, escaped, scratch_));
  if (!used) ++tally.values_discarded;
  return at;
}

inline const char* CanonicalParser::read_time(const char* at, const char* end, LinkReport& report,
                                              Tally& tally) {
  static constexpr std::uint64_t kMicros[7] = {1000000, 100000, 10000, 1000, 100, 10, 1};
  Decimal number;
  const char* const stop = read_short_number(at, number);
  // With fewer decimals and more digits the product could exceed 64 bits.
  if (stop && !number.negative && number.decimals <= 6 &&
      (number.decimals >= 2 || number.mantissa < 10'000'000'000'000)) [[likely]] {
    const std::uint64_t micros = number.mantissa * kMicros[number.decimals];
    if (micros <= kLatestMicros) [[likely]] {
      report.timed = true;
      report.time = Time{Duration{static_cast<std::int64_t>(micros)}};
      return stop;
    }
  }
  return read_rare_time(at, end, report, tally);
}

const char* CanonicalParser::read_rare_time(const char* at, const char* end, LinkReport& report,
                                            Tally& tally) {
  const char kind = *at;
  bool used = kind == 'n';
  report.timed = false;
  if (kind == '-' || (kind >= '0' && kind <= '9')) {
    double value = 0;
    bool whole = false;
    at = read_json_number(at, end, value, whole);
    used = at && put_time(report, value);
  } else if (kind == '"') {
    bool escaped = false;
    const char* const first = at + 1;
    at = skip_json_string(first, end, escaped);
    used = at && put_time_text(report, json_text(first, at - 1, escaped, scratch_));
  } else {
    at = skip_json_value(at, end, 1);
  }
  if (at && !used) ++tally.values_discarded;
  return at;
}

const char* CanonicalParser::read_rare_link(const char* at, const char* end, LinkReport& report) {
  if (*at == '"') {
    bool escaped = false;
    const char* const first = at + 1;
    at = skip_json_string(first, end, escaped);
    if (at) report.link = json_text(first, at - 1, escaped, link_text_);
    return at;
  }
  if (*at == 'n') {
    report.link = {};
    return skip_json_literal(at, end);
  }
  double value = 0;
  bool whole = false;
  const char* const stop = read_json_number(at, end, value, whole);
  if (!stop || !whole) return nullptr;
  report.link = {at, static_cast<std::size_t>(stop - at)};
  return stop;
}

const char* CanonicalParser::read_value(unsigned id, const char* at, const char* end,
                                        LinkReport& report, Tally& tally) {
  if (id < kFields) {
    Decimal number;
    const char* const stop = read_short_number(at, number);
    if (!stop) return read_number(id, at, end, report, tally);
    if (!put(report, static_cast<Field>(id), number.value())) ++tally.values_discarded;
    return stop;
  }
  if (id == kTime) return read_time(at, end, report, tally);
  if (id == kLink) {
    const char* const last = *at == '"' ? plain_text_end(at + 1) : nullptr;
    if (!last) return read_rare_link(at, end, report);
    report.link = {at + 1, static_cast<std::size_t>(last - at - 1)};
    return last + 1;
  }
  ++tally.unknown_keys;
  return skip_json_value(at, end, 1);
}

Parsed CanonicalParser::parse_padded(std::string_view line, LinkReport& report) {
  report.clear();
  if (line.size() > kLongest) return {};
  const char* at = line.data();
  const char* const end = at + line.size();
  Tally tally;
  unsigned id = kStart;
  for (;;) {
    const Step& step = steps_[id];
    if (step.starts(at)) [[likely]] {
      at += step.size;
      id = step.id;
    } else {
      at = read_step(at, end, id);
      if (!at || at >= end) [[unlikely]]
        return {};
      if (id == kStart) break;
    }
    if (at >= end) [[unlikely]]
      return {};
    if (id < kFields) [[likely]] {
      double value = 0;
      const char* const stop = read_before_comma(at, value);
      if (stop) [[likely]] {
        if (!put(report, static_cast<Field>(id), value)) [[unlikely]]
          ++tally.values_discarded;
        at = stop;
        continue;
      }
    }
    // The same key may have been followed by less space the last time.
    if (is_json_space(*at)) [[unlikely]]
      at = skip_json_space(at, end);
    if (at >= end) [[unlikely]]
      return {};
    at = read_value(id, at, end, report, tally);
    if (!at) [[unlikely]]
      return {};
  }
  if (skip_json_space(at + 1, end) != end) return {};
  return parsed(report, tally);
}

Parsed CanonicalParser::parse(std::string_view line, LinkReport& report) {
  if (line.size() > kLongest) {
    report.clear();
    return {};
  }
  if (copy_.size() < line.size() + kJsonPadding) copy_.resize(line.size() + kJsonPadding);
  std::memcpy(copy_.data(), line.data(), line.size());
  std::memset(copy_.data() + line.size(), 0, kJsonPadding);
  return parse_padded({copy_.data(), line.size()}, report);
}

void CanonicalDecoder::decode(std::string_view frame, Time, ReportSink& sink) {
  const Parsed parsed = parser_.parse(frame, report_);
  deliver(parsed, report_, frame, sink);
}

}  // namespace fadeward::report
