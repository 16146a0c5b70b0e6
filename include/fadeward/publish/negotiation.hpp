// Which form of an answer a client asked for: RFC 9110 section 12.5.
#pragma once

#include <cstdint>
#include <string_view>

namespace fadeward::publish {

enum class Format : std::uint8_t {
  prometheus_text,    ///< Prometheus text exposition format 0.0.4
  openmetrics,        ///< OpenMetrics 1.0.0
  openmetrics_draft,  ///< the same bytes, announced as version 0.0.1 to older clients
};

/// Value of the Content-Type header, with version and charset.
std::string_view content_type_of(Format format);

/// The format with the highest q-value in an Accept header; of equals the one named first.
/// OpenMetrics only where it is named: a wildcard, an empty header, nonsense and types that we do
/// not speak all give the Prometheus text format, as a scraper's last resort.
Format choose_format(std::string_view accept);

/// Whether an Accept-Encoding header allows gzip (named or by "*", q > 0).
bool accepts_gzip(std::string_view accept_encoding);

}  // namespace fadeward::publish
