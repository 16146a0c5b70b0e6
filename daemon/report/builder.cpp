#include "fadeward/report/builder.hpp"

#include <charconv>
#include <cmath>
#include <optional>
#include <utility>

#include "fadeward/report/put.hpp"

namespace fadeward::report {

namespace {

/// (bits of raw) * scale + offset; empty if there is no number, or no whole one to take bits from.
std::optional<double> convert(const Target& target, const RawValue& raw) {
  if (!raw.numeric) return {};
  if (target.bit_count == 0) return raw.number * target.scale + target.offset;
  if (!raw.whole) return {};
  const std::uint64_t mask = ~std::uint64_t{0} >> (64 - target.bit_count);
  const std::uint64_t bits = raw.integer >> target.low_bit & mask;
  return static_cast<double>(bits) * target.scale + target.offset;
}

}  // namespace

ReportBuilder::ReportBuilder(FieldMap map) : map_(std::move(map)) {}

void ReportBuilder::begin() {
  report_.clear();
  tally_ = {};
  link_lost_ = false;
}

void ReportBuilder::take(std::span<const Target> targets, const RawValue& raw) {
  if (targets.empty()) return skip();
  for (const Target& target : targets)
    if (!take_one(target, raw)) ++tally_.values_discarded;
}

void ReportBuilder::take_null(std::span<const Target> targets) {
  for (const Target& target : targets) {
    switch (target.kind) {
      case Target::Kind::field: remove(report_, target.field); break;
      case Target::Kind::time: report_.timed = false; break;
      case Target::Kind::link:
        report_.link = {};
        link_lost_ = false;
        break;
    }
  }
}

bool ReportBuilder::take_one(const Target& target, const RawValue& raw) {
  if (target.kind == Target::Kind::link) return take_link(target, raw);
  const std::optional<double> value = convert(target, raw);
  if (target.kind == Target::Kind::time)
    return value ? put_time(report_, *value) : put_time_text(report_, raw.text);
  if (value) return put(report_, target.field, *value);
  if (target.field == Field::far_time) return put_far_time_text(report_, raw.text);
  remove(report_, target.field);
  return false;
}

bool ReportBuilder::take_link(const Target& target, const RawValue& raw) {
  link_lost_ = false;
  if (target.is_plain() && !raw.text.empty()) {
    report_.link = raw.text;
    return true;
  }
  const std::optional<double> value = convert(target, raw);
  if (!value || std::abs(*value) > 9007199254740992.0 || *value != std::trunc(*value)) {
    link_lost_ = true;
    return false;
  }
  char digits[24];
  const auto [end, error] =
      std::to_chars(digits, digits + sizeof digits, static_cast<std::int64_t>(*value));
  link_text_.assign(digits, end);
  report_.link = link_text_;
  return true;
}

Parsed ReportBuilder::result() const {
  if (link_lost_) return {Outcome::syntax, tally_};
  return parsed(report_, tally_);
}

}  // namespace fadeward::report
