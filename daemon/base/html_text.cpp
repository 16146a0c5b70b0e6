#include "fadeward/base/html_text.hpp"

#include "fadeward/base/text.hpp"

namespace fadeward {

void append_html(std::string& out, std::string_view text, std::size_t limit) {
  for (const char c : printable(text, limit)) {
    switch (c) {
      case '&': out += "&amp;"; break;
      case '<': out += "&lt;"; break;
      case '>': out += "&gt;"; break;
      case '"': out += "&quot;"; break;
      case '\'': out += "&#39;"; break;
      default: out += c;
    }
  }
}

}  // namespace fadeward
