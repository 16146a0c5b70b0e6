#include "fadeward/report/senml_pack.hpp"

#include "fadeward/report/json_text.hpp"

namespace fadeward::report {

namespace {

constexpr double kFirstAbsolute = 268435456.0;  // 2^28, RFC 8428 section 4.5.3
constexpr double kVersion = 10;                 // RFC 8428 section 4.4

const char* read_number(const char* at, const char* end, double& value) {
  bool whole = false;
  return read_json_number(at, end, value, whole);
}

}  // namespace

bool SenmlPack::resolve(std::string_view pack, double now_unix_s) {
  records_.clear();
  name_ends_.clear();
  names_.clear();
  texts_.clear();
  unknown_labels_ = 0;
  base_ = {};
  now_unix_s_ = now_unix_s;
  if (pack.size() > kLongest) return false;
  texts_.reserve(pack.size());  // views into it must not move
  copy_.assign(pack);
  copy_.append(kJsonPadding, '\0');
  const char* const end = copy_.data() + pack.size();
  const char* at = skip_json_space(copy_.data(), end);
  if (at >= end || *at++ != '[') return false;
  for (;;) {
    at = read_record(skip_json_space(at, end), end);
    if (!at) return false;
    at = skip_json_space(at, end);
    if (at >= end) return false;
    if (*at == ']') break;
    if (*at++ != ',') return false;
  }
  if (skip_json_space(at + 1, end) != end) return false;
  std::size_t begin = 0;
  for (std::size_t i = 0; i < records_.size(); begin = name_ends_[i++])
    records_[i].name = std::string_view(names_).substr(begin, name_ends_[i] - begin);
  return true;
}

const char* SenmlPack::read_record(const char* at, const char* end) {
  if (at >= end || *at++ != '{') return nullptr;
  Current record;
  at = skip_json_space(at, end);
  if (at < end && *at == '}') return add(record) ? at + 1 : nullptr;
  for (;;) {
    at = read_member(skip_json_space(at, end), end, record);
    if (!at) return nullptr;
    at = skip_json_space(at, end);
    if (at >= end) return nullptr;
    if (*at == '}') return add(record) ? at + 1 : nullptr;
    if (*at++ != ',') return nullptr;
  }
}

const char* SenmlPack::read_member(const char* at, const char* end, Current& record) {
  if (at >= end || *at != '"') return nullptr;
  bool escaped = false;
  const char* const first = at + 1;
  at = skip_json_string(first, end, escaped);
  if (!at) return nullptr;
  const std::string_view label = json_text(first, at - 1, escaped, label_);
  at = skip_json_space(at, end);
  if (at >= end || *at != ':') return nullptr;
  at = skip_json_space(at + 1, end);
  return at < end ? read_label(label, at, end, record) : nullptr;
}

const char* SenmlPack::read_text(const char* at, const char* end, std::string_view& text) {
  if (*at != '"') return nullptr;
  bool escaped = false;
  const char* const first = at + 1;
  at = skip_json_string(first, end, escaped);
  if (!at) return nullptr;
  text = json_text(first, at - 1, escaped, label_);
  if (escaped) {
    const std::size_t begin = texts_.size();
    texts_ += text;
    text = std::string_view(texts_).substr(begin);
  }
  return at;
}

const char* SenmlPack::read_label(std::string_view label, const char* at, const char* end,
                                  Current& record) {
  using Kind = SenmlRecord::Kind;
  double ignored = 0;
  if (label == "bn") return read_text(at, end, base_.name);
  if (label == "bu") return read_text(at, end, base_.unit);
  if (label == "bv") return read_number(at, end, base_.value);
  if (label == "n") return read_text(at, end, record.name);
  if (label == "u") return read_text(at, end, record.unit);
  if (label == "s" || label == "bs" || label == "ut") return read_number(at, end, ignored);
  if (label == "bt") {
    base_.timed = true;
    return read_number(at, end, base_.time);
  }
  if (label == "t") {
    record.timed = true;
    return read_number(at, end, record.time);
  }
  if (label == "bver") {
    at = read_number(at, end, ignored);
    return ignored > kVersion ? nullptr : at;
  }
  if (label == "v") {
    record.kind = Kind::number;
    return read_number(at, end, record.number);
  }
  if (label == "vs" || label == "vd") {
    record.kind = label == "vs" ? Kind::text : Kind::data;
    return read_text(at, end, record.text);
  }
  if (label == "vb") {
    if (*at == 'n') return nullptr;
    record.kind = Kind::boolean;
    record.number = *at == 't' ? 1 : 0;
    return skip_json_literal(at, end);
  }
  if (label.ends_with('_')) return nullptr;  // must be understood: RFC 8428 section 4.4
  ++unknown_labels_;
  return skip_json_value(at, end, 2);
}

bool SenmlPack::add(const Current& record) {
  SenmlRecord out;
  out.unit = record.unit.empty() ? base_.unit : record.unit;
  out.timed = base_.timed || record.timed;
  out.unix_s = base_.time + record.time;
  if (out.unix_s < kFirstAbsolute) out.unix_s += now_unix_s_;
  out.kind = record.kind;
  out.text = record.text;
  out.number = record.number;
  if (out.kind == SenmlRecord::Kind::number) out.number += base_.value;
  const std::size_t size = base_.name.size() + record.name.size();
  if (size == 0 && out.kind != SenmlRecord::Kind::none) return false;
  if (size > kLongestNames - names_.size()) return false;
  names_ += base_.name;
  names_ += record.name;
  name_ends_.push_back(names_.size());
  records_.push_back(out);
  return true;
}

}  // namespace fadeward::report
