// Members of JSON objects: null where nothing is known.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "fadeward/base/time.hpp"

namespace fadeward::json {

/// Appends ,"key": or "key": after an opening brace. Keys are our own and need no escapes.
void key(std::string& out, std::string_view name);

void text(std::string& out, std::string_view name, std::string_view value);
/// An empty text is null.
void text_or_null(std::string& out, std::string_view name, std::string_view value);
void flag(std::string& out, std::string_view name, bool value);
void count(std::string& out, std::string_view name, std::uint64_t value);
void rounded(std::string& out, std::string_view name, const std::optional<double>& value,
             int decimals);
/// Six significant digits.
void ratio(std::string& out, std::string_view name, const std::optional<double>& value);
/// Exact to the microsecond, whole seconds as an integer.
void seconds(std::string& out, std::string_view name, const std::optional<Duration>& value);
/// RFC 3339 string.
void moment(std::string& out, std::string_view name, const std::optional<Time>& value);

}  // namespace fadeward::json
