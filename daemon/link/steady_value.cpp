#include "fadeward/link/steady_value.hpp"

namespace fadeward::link {

namespace {
constexpr std::uint8_t kEnough = 3;
}

std::optional<SteadyValue::Change> SteadyValue::take(double value) {
  if (!current_) {
    current_ = value;
    return {};
  }
  if (value == *current_) {
    count_ = 0;
    return {};
  }
  count_ = value == candidate_ ? static_cast<std::uint8_t>(count_ + 1) : std::uint8_t{1};
  candidate_ = value;
  if (count_ < kEnough) return {};
  const Change change{*current_, value};
  current_ = value;
  count_ = 0;
  return change;
}

}  // namespace fadeward::link
