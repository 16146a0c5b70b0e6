#include "fadeward/report/json.hpp"

#include <utility>

#include "fadeward/report/canonical.hpp"
#include "fadeward/report/json_text.hpp"

namespace fadeward::report {

JsonDecoder::JsonDecoder(FieldMap map) : builder_(std::move(map)) {}

void JsonDecoder::decode(std::string_view frame, Time, ReportSink& sink) {
  builder_.begin();
  deliver(parse(frame), builder_.report(), frame, sink);
}

Parsed JsonDecoder::parse(std::string_view frame) {
  if (frame.size() > CanonicalParser::kLongest) return {};
  copy_.assign(frame);
  copy_.append(kJsonPadding, '\0');
  path_.clear();
  texts_.clear();
  texts_.reserve(frame.size());  // views into it must not move
  const char* const end = copy_.data() + frame.size();
  const char* at = skip_json_space(copy_.data(), end);
  if (at >= end || *at != '{') return {};
  at = read_object(at + 1, end, 1);
  if (!at || skip_json_space(at, end) != end) return {};
  return builder_.result();
}

const char* JsonDecoder::read_object(const char* at, const char* end, int depth) {
  at = skip_json_space(at, end);
  if (at < end && *at == '}') return at + 1;
  for (;;) {
    at = read_member(skip_json_space(at, end), end, depth);
    if (!at) return nullptr;
    at = skip_json_space(at, end);
    if (at >= end) return nullptr;
    if (*at == '}') return at + 1;
    if (*at++ != ',') return nullptr;
  }
}

const char* JsonDecoder::read_member(const char* at, const char* end, int depth) {
  if (at >= end || *at != '"') return nullptr;
  bool escaped = false;
  const char* const first = at + 1;
  at = skip_json_string(first, end, escaped);
  if (!at) return nullptr;
  const std::size_t outer = path_.size();
  if (outer > 0) path_ += '.';
  path_ += json_text(first, at - 1, escaped, key_text_);
  at = skip_json_space(at, end);
  if (at >= end || *at != ':') return nullptr;
  at = read_value(skip_json_space(at + 1, end), end, depth);
  path_.resize(outer);
  return at;
}

const char* JsonDecoder::read_value(const char* at, const char* end, int depth) {
  if (at >= end) return nullptr;
  const auto targets = builder_.map().find(path_);
  if (*at == '"') return read_text(at, end, targets);
  if (*at == '{' && targets.empty() && depth < kDeepest && builder_.map().any_below(path_ + '.'))
    return read_object(at + 1, end, depth + 1);
  if (targets.empty()) {
    builder_.skip();
    return skip_json_value(at, end, depth);
  }
  if (*at == 'n') {
    builder_.take_null(targets);
    return skip_json_literal(at, end);
  }
  RawValue raw;
  if (*at == '-' || (*at >= '0' && *at <= '9')) {
    const char* const stop = read_json_number(at, end, raw.number, raw.whole);
    if (!stop) return nullptr;
    const double value = raw.number;
    if (raw.whole) raw = raw_from_text({at, static_cast<std::size_t>(stop - at)});
    raw.numeric = true;
    raw.number = value;
    builder_.take(targets, raw);
    return stop;
  }
  builder_.take(targets, raw);
  return skip_json_value(at, end, depth);
}

const char* JsonDecoder::read_text(const char* at, const char* end,
                                   std::span<const Target> targets) {
  bool escaped = false;
  const char* const first = at + 1;
  at = skip_json_string(first, end, escaped);
  if (!at) return nullptr;
  if (targets.empty()) {
    builder_.skip();
    return at;
  }
  std::string_view text = json_text(first, at - 1, escaped, key_text_);
  if (escaped) {
    const std::size_t begin = texts_.size();
    texts_ += text;
    text = std::string_view(texts_).substr(begin);
  }
  if (text.empty()) {
    builder_.take_null(targets);
  } else {
    builder_.take(targets, raw_from_text(text));
  }
  return at;
}

}  // namespace fadeward::report
