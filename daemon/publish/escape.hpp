// Foreign text made safe for the places where it is written.
#pragma once

#include <optional>
#include <string>
#include <string_view>

namespace fadeward::publish {

/// Inside the quotes of a label value: \ " and newline escaped as both text formats ask for;
/// invalid UTF-8 becomes U+FFFD, since one bad byte would cost the whole scrape.
void append_label_value(std::string& out, std::string_view text);

/// A HELP line; `quotes` escapes double quotes too (OpenMetrics).
void append_help(std::string& out, std::string_view text, bool quotes);

/// One segment of a path for a link to it (RFC 3986: all but unreserved characters encoded).
void append_percent_encoded(std::string& out, std::string_view text);

/// RFC 3986 section 2.1; empty where a "%" is not followed by two hexadecimal digits.
std::optional<std::string> percent_decode(std::string_view text);

}  // namespace fadeward::publish
