// Readers of single values: numbers, spans, times, names, paths.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "fadeward/base/time.hpp"
#include "section.hpp"

namespace fadeward::config {

/// A scalar in, a value out, and the words for what is allowed.
template <class V>
Reader<V> scalar(std::string allowed, std::function<std::optional<V>(std::string_view)> convert) {
  return [allowed = std::move(allowed), convert = std::move(convert)](Reading& reading,
                                                                      const Node& node, V& out) {
    auto value = node.kind == Node::Kind::text ? convert(node.text) : std::optional<V>();
    if (!value) {
      reading.refuse(node, allowed);
      return false;
    }
    out = std::move(*value);
    return true;
  };
}

/// Decimal numbers without quotes, within [low, high]. `unit` is for people: "dBm", "km".
Reader<double> number(double low, double high, std::string_view unit);
Reader<double> ratio();       ///< 0..1
Reader<double> open_ratio();  ///< between 0 and 1, both excluded
Reader<double> factor();      ///< any finite number but 0
Reader<int> whole(int low, int high, std::string_view unit = {});
Reader<std::uint32_t> whole_u32(std::uint32_t low, std::uint32_t high, std::string_view unit = {});
Reader<std::size_t> whole_size(std::size_t low, std::size_t high, std::string_view unit = {});

Reader<bool> flag();
Reader<Duration> span(Duration low, Duration high);
Reader<Duration> span_or_off(Duration low, Duration high);  ///< off: 0
Reader<std::uint64_t> bytes_or_off(std::uint64_t low);  ///< "500MB", "2GB"; off: 0
Reader<Time> moment();

Reader<std::string> name();  ///< of a link or port: 1..128 bytes, no control characters
Reader<std::string> text(std::size_t most_bytes);  ///< not empty, control characters allowed
Reader<std::string> line(std::size_t most_bytes);  ///< the same without control characters
Reader<std::string> file_path();                   ///< resolved against the directory of the file

/// The whole string as a finite number; no sign of doubt tolerated ("1 m", "0x10", "").
std::optional<double> parse_number(std::string_view text);

/// "7", "-0.5", "1e+09"
std::string number_text(double value);

}  // namespace fadeward::config
