#include "fadeward/report/pairs.hpp"

#include <utility>

namespace fadeward::report {

namespace {

bool is_blank(char c) { return c == ' ' || c == '\t'; }

std::size_t skip_blanks(std::string_view text, std::size_t at) {
  while (at < text.size() && is_blank(text[at])) ++at;
  return at;
}

}  // namespace

PairsDecoder::PairsDecoder(FieldMap map, std::string_view separators) : builder_(std::move(map)) {
  for (const char c : separators) separator_[static_cast<unsigned char>(c)] = true;
  separator_['\n'] = true;  // lines of a block
}

void PairsDecoder::decode(std::string_view frame, Time, ReportSink& sink) {
  builder_.begin();
  deliver(parse(frame), builder_.report(), frame, sink);
}

/// From the end of a key to the place of its value; npos if the word is no key.
std::size_t PairsDecoder::find_value(std::string_view frame, std::size_t at) const {
  if (at < frame.size() && frame[at] == '=') return at + 1;
  const std::size_t sign = skip_blanks(frame, at);
  if (sign == at || sign >= frame.size() || frame[sign] != '=') return std::string_view::npos;
  return skip_blanks(frame, sign + 1);
}

bool PairsDecoder::read_quoted(std::string_view frame, std::size_t& at, std::string_view& value) {
  const std::size_t first = ++at;
  bool escaped = false;
  for (; at < frame.size() && frame[at] != '"'; ++at) {
    if (frame[at] != '\\') continue;
    escaped = true;
    ++at;
  }
  if (at >= frame.size()) return false;
  value = frame.substr(first, at - first);
  ++at;
  if (!escaped) return true;
  const std::size_t begin = texts_.size();
  for (std::size_t i = 0; i < value.size(); ++i) {
    if (value[i] == '\\') ++i;
    texts_ += value[i];
  }
  value = std::string_view(texts_).substr(begin);
  return true;
}

bool PairsDecoder::read_value(std::string_view frame, std::size_t& at, std::string_view& value) {
  if (at < frame.size() && frame[at] == '"') return read_quoted(frame, at, value);
  const std::size_t first = at;
  while (at < frame.size() && !is_separator(frame[at])) ++at;
  value = frame.substr(first, at - first);
  return true;
}

Parsed PairsDecoder::parse(std::string_view frame) {
  texts_.clear();
  texts_.reserve(frame.size());  // views into it must not move
  bool any = false;
  for (std::size_t at = 0; at < frame.size();) {
    if (is_separator(frame[at])) {
      ++at;
      continue;
    }
    const std::size_t first = at;
    while (at < frame.size() && frame[at] != '=' && !is_separator(frame[at])) ++at;
    const std::string_view key = frame.substr(first, at - first);
    const std::size_t place = find_value(frame, at);
    if (place == std::string_view::npos) continue;  // a word
    at = place;
    std::string_view value;
    if (!read_value(frame, at, value)) return {};
    any = any || !key.empty();
    const auto targets = builder_.map().find(key);
    if (!targets.empty() && value.empty()) {
      builder_.take_null(targets);
    } else if (!key.empty()) {
      builder_.take(targets, raw_from_text(value));
    }
  }
  return any ? builder_.result() : Parsed{};
}

}  // namespace fadeward::report
