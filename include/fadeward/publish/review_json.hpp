// A review as JSON: every table, units in the key names, null where a value is not known.
#pragma once

#include <span>
#include <string>

#include "fadeward/publish/review_text.hpp"

namespace fadeward::publish {

/// {"links":[{...}]} with a newline.
std::string review_json(std::span<const review::LinkReview> reviews);
/// {"network_seconds":{...},"links":[{...}]} with a newline.
std::string report_json(std::span<const NamedPerformance> links);

}  // namespace fadeward::publish
