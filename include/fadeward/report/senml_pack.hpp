// Resolving SenML packs (RFC 8428, JSON form).
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace fadeward::report {

/// One resolved record (RFC 8428 section 4.6): base fields applied, time absolute.
struct SenmlRecord {
  enum class Kind : std::uint8_t { none, number, text, boolean, data };
  std::string_view name;
  std::string_view unit;  ///< empty: none given
  double unix_s = 0;
  bool timed = false;      ///< the pack said something about time; else unix_s is `now`
  Kind kind = Kind::none;  ///< none: a record with a sum or base fields only
  double number = 0;       ///< number: value; boolean: 0 or 1
  std::string_view text;   ///< text; data: as in the pack (base64url)
};

/// Reads packs one after the other into the same buffers.
class SenmlPack {
 public:
  static constexpr std::size_t kLongest = 65536;
  static constexpr std::size_t kLongestNames = 1U << 20U;  ///< of all resolved names together

  /// Resolves a pack; times below 2^28 are relative to `now_unix_s`. False if it is no array of
  /// objects in strict JSON, a label has a value of the wrong type, a record with a value has no
  /// name, the version is above 10, a label that must be understood (ending in '_') is unknown, or
  /// a limit is exceeded.
  bool resolve(std::string_view pack, double now_unix_s);

  /// Views live until the next call of resolve().
  const std::vector<SenmlRecord>& records() const { return records_; }

  /// Labels that RFC 8428 does not define.
  std::uint32_t unknown_labels() const { return unknown_labels_; }

 private:
  struct Base {
    std::string_view name, unit;
    double time = 0, value = 0;
    bool timed = false;
  };
  struct Current {
    std::string_view name, unit;
    double time = 0;
    bool timed = false;
    SenmlRecord::Kind kind = SenmlRecord::Kind::none;
    double number = 0;
    std::string_view text;
  };

  const char* read_record(const char* at, const char* end);
  const char* read_member(const char* at, const char* end, Current& record);
  const char* read_label(std::string_view label, const char* at, const char* end, Current& record);
  const char* read_text(const char* at, const char* end, std::string_view& text);
  bool add(const Current& record);

  Base base_;
  double now_unix_s_ = 0;
  std::uint32_t unknown_labels_ = 0;
  std::vector<SenmlRecord> records_;
  std::vector<std::size_t> name_ends_;  ///< of each record's name in names_
  std::string copy_, names_, texts_, label_;
};

}  // namespace fadeward::report
