// The list of metric families: what /metrics, the Collectable and the list under tests share.
#pragma once

#include <cstdint>
#include <span>
#include <string_view>

namespace fadeward::publish {

enum class MetricKind : std::uint8_t { gauge, counter, info };

struct Family {
  std::string_view name;  ///< of the samples in the Prometheus text format: counters with _total
  MetricKind kind;
  std::string_view unit;  ///< OpenMetrics unit, the end of the name; empty: none
  std::string_view help;
};

/// In the order of exposition. Lives as long as the program.
std::span<const Family> families();

/// The family's name in OpenMetrics metadata: without the _total or _info of its samples.
std::string_view openmetrics_name(const Family& family);

}  // namespace fadeward::publish
