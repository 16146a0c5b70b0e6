// A strict reader of JSON (RFC 8259) for checking lines: anything that the grammar does not allow
// throws. Small and slow on purpose; shares nothing with the program's writers or decoders.
#pragma once

#include <cctype>
#include <cstdlib>
#include <map>
#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

namespace strict_json {

struct Value {
  enum class Kind { null, boolean, number, text, array, object } kind = Kind::null;
  double number = 0;
  std::string text;  // of a number: as written
  std::vector<Value> items;
  std::map<std::string, Value> members;

  bool has(const std::string& key) const { return members.count(key) != 0; }
  bool is_null() const { return kind == Kind::null; }
  const Value& operator[](const std::string& key) const { return members.at(key); }
  double num(const std::string& key) const {
    const Value& value = members.at(key);
    if (value.kind != Kind::number) throw std::runtime_error(key + " is no number");
    return value.number;
  }
};

class Reader {
 public:
  explicit Reader(std::string_view text) : text_(text) {}
  Value whole() {
    Value value = any();
    if (at_ != text_.size()) fail("something after the value");
    return value;
  }

 private:
  [[noreturn]] void fail(const std::string& what) const {
    throw std::runtime_error(what + " at " + std::to_string(at_) + " of " + std::string(text_));
  }
  char peek() const { return at_ < text_.size() ? text_[at_] : '\0'; }
  void expect(char c) {
    if (peek() != c) fail(std::string("no '") + c + "'");
    ++at_;
  }
  bool take(char c) {
    if (peek() != c) return false;
    ++at_;
    return true;
  }
  void word(std::string_view w) {
    if (text_.substr(at_, w.size()) != w) fail("unknown word");
    at_ += w.size();
  }

  Value any() {
    Value value;
    switch (peek()) {
      case '{': return object();
      case '[': return array();
      case '"':
        value.kind = Value::Kind::text;
        value.text = string();
        return value;
      case 'n': word("null"); return value;
      case 't':
        word("true");
        value.kind = Value::Kind::boolean;
        value.number = 1;
        return value;
      case 'f':
        word("false");
        value.kind = Value::Kind::boolean;
        return value;
      default: return number();
    }
  }
  Value object() {
    Value value;
    value.kind = Value::Kind::object;
    expect('{');
    if (take('}')) return value;
    do {
      const std::string key = string();
      expect(':');
      if (!value.members.emplace(key, any()).second) fail("key twice");
    } while (take(','));
    expect('}');
    return value;
  }
  Value array() {
    Value value;
    value.kind = Value::Kind::array;
    expect('[');
    if (take(']')) return value;
    do value.items.push_back(any());
    while (take(','));
    expect(']');
    return value;
  }
  std::string string() {
    expect('"');
    std::string out;
    while (peek() != '"') {
      if (at_ >= text_.size() || static_cast<unsigned char>(peek()) < 0x20) fail("bad string");
      if (peek() == '\\') fail("escapes are not expected in these lines");
      out += text_[at_++];
    }
    ++at_;
    return out;
  }
  void digits() {
    if (std::isdigit(static_cast<unsigned char>(peek())) == 0) fail("no digit");
    while (std::isdigit(static_cast<unsigned char>(peek())) != 0) ++at_;
  }
  Value number() {
    const std::size_t begin = at_;
    take('-');
    if (!take('0')) digits();
    if (take('.')) digits();
    if (peek() == 'e' || peek() == 'E') {
      ++at_;
      if (peek() == '+' || peek() == '-') ++at_;
      digits();
    }
    Value value;
    value.kind = Value::Kind::number;
    value.text = std::string(text_.substr(begin, at_ - begin));
    value.number = std::strtod(value.text.c_str(), nullptr);
    return value;
  }

  std::string_view text_;
  std::size_t at_ = 0;
};

inline Value parse(std::string_view text) { return Reader(text).whole(); }

}  // namespace strict_json
