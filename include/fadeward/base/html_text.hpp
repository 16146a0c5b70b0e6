// Foreign text in HTML documents.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace fadeward {

/// Text or a quoted attribute of an HTML document; at most `limit` bytes of it. Control characters
/// and invalid UTF-8 are shown as \xNN.
void append_html(std::string& out, std::string_view text, std::size_t limit = 1000);

}  // namespace fadeward
