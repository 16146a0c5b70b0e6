#include "fadeward/report/field_map.hpp"

#include <cmath>

namespace fadeward::report {

namespace {

bool target_for(std::string_view key, Target& target) {
  if (key == "time") {
    target.kind = Target::Kind::time;
  } else if (key == "link") {
    target.kind = Target::Kind::link;
  } else {
    const auto field = field_by_name(key);
    if (!field) return false;
    target.kind = Target::Kind::field;
    target.field = *field;
  }
  return true;
}

Status apply_rule(const std::string& key, const FieldRule& rule, Target& target) {
  const std::string where = "fields: " + key + ": ";
  if (!std::isfinite(rule.scale) || rule.scale == 0)
    return Error{where + "scale must be finite and not 0"};
  if (!std::isfinite(rule.offset)) return Error{where + "offset must be finite"};
  target.scale = rule.scale;
  target.offset = rule.offset;
  if (!rule.bits) return success();
  const auto [low, count] = *rule.bits;
  if (low < 0 || count < 1 || low + count > 64)
    return Error{where + "bits must lie within 0..63, at least one of them"};
  target.low_bit = static_cast<std::uint8_t>(low);
  target.bit_count = static_cast<std::uint8_t>(count);
  return success();
}

}  // namespace

Result<FieldMap> FieldMap::make(const std::map<std::string, FieldRule>& rules) {
  FieldMap map;
  for (const auto& [key, rule] : rules) {
    Target target;
    if (!target_for(key, target))
      return Error{"fields: '" + key + "' is neither a key of the canonical report, time nor link"};
    if (const Status status = apply_rule(key, rule, target); !status) return status.error();
    map.targets_[rule.from.empty() ? key : rule.from].push_back(target);
  }
  const auto add_canonical = [&](std::string_view key) {
    Target target;
    if (rules.contains(std::string(key)) || !target_for(key, target)) return;
    map.targets_[std::string(key)].push_back(target);
  };
  for (std::size_t i = 0; i < kFields; ++i) add_canonical(field_info(static_cast<Field>(i)).name);
  add_canonical("time");
  add_canonical("link");
  return map;
}

std::span<const Target> FieldMap::find(std::string_view name) const {
  const auto found = targets_.find(name);
  return found == targets_.end() ? std::span<const Target>() : found->second;
}

bool FieldMap::any_below(std::string_view prefix) const {
  for (const auto& [name, targets] : targets_)
    if (std::string_view(name).starts_with(prefix)) return true;
  return false;
}

}  // namespace fadeward::report
