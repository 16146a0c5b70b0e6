// The canonical report: one JSON object, read straight into a LinkReport.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>

#include "fadeward/report/decoder.hpp"
#include "fadeward/report/json_text.hpp"

namespace fadeward::report {

/// Reads canonical reports, keys in any order. RFC 8259 strictly, at most 64 KiB:
///   - a line that is no JSON object, or holds NaN, a leading zero, invalid UTF-8 or half a
///     surrogate pair anywhere, is refused as `syntax`;
///   - null is absence; of a key given twice the last counts;
///   - unknown keys are counted and their values checked and skipped, nested ones included;
///   - a value that cannot be (1e999, an RSSI of +200, half a frame, text or an object where a
///     number belongs, "-101" included) is left out and counted, the report stays;
///   - `time` and `far_time` are Unix seconds or RFC 3339 text;
///   - `link` is text or a whole number, taken as it is written; any other type is `syntax`, since
///     a report of an unknown link must not land on another.
///
/// It remembers which key followed which, so that lines alike are read fastest; that changes no
/// result. Not for two threads at once.
class CanonicalParser {
 public:
  static constexpr std::size_t kLongest = 65536;

  CanonicalParser();

  /// Reads one line into `report`, which is cleared first (`port` is left alone). `report.link`
  /// refers to this parser's buffers and lives until its next call.
  Parsed parse(std::string_view line, LinkReport& report);

  /// The same without a copy of the line, for text with at least kJsonPadding readable bytes behind
  /// its end, whatever they hold. `report.link` refers to `line` or to this parser.
  Parsed parse_padded(std::string_view line, LinkReport& report);

 private:
  static constexpr unsigned kTime = kFields;
  static constexpr unsigned kLink = kFields + 1;
  static constexpr unsigned kUnknown = kFields + 2;
  static constexpr unsigned kStart = kFields + 3;
  static constexpr std::size_t kSlots = 128;

  /// All that stood between two values the last time, as in `,"snr_db": `, and the key in it.
  struct Step {
    std::array<std::uint64_t, 3> text{};
    std::array<std::uint64_t, 3> mask{};
    std::uint32_t size = 0;
    std::uint32_t id = kUnknown;
    bool starts(const char* at) const;  ///< looks at 24 bytes
  };

  void add_key(unsigned id, std::string_view name);
  unsigned find_key(std::string_view name) const;
  void learn(unsigned before, const char* first, const char* last, unsigned id);
  const char* read_step(const char* at, const char* end, unsigned& id);
  const char* read_key(const char* at, const char* end, unsigned& id);
  const char* read_value(unsigned id, const char* at, const char* end, LinkReport& report,
                         Tally& tally);
  const char* read_number(unsigned field, const char* at, const char* end, LinkReport& report,
                          Tally& tally);
  const char* read_other(unsigned field, const char* at, const char* end, LinkReport& report,
                         Tally& tally);
  const char* read_time(const char* at, const char* end, LinkReport& report, Tally& tally);
  const char* read_rare_time(const char* at, const char* end, LinkReport& report, Tally& tally);
  const char* read_rare_link(const char* at, const char* end, LinkReport& report);

  std::array<Step, kStart + 1> steps_;        ///< what followed each key
  std::array<std::uint8_t, kSlots> slots_{};  ///< hash table of key numbers + 1
  std::array<std::string_view, kUnknown> names_{};
  std::string copy_;       ///< of a line without padding
  std::string scratch_;    ///< of a text with escapes
  std::string link_text_;  ///< of a link with escapes
};

/// The canonical parser as a decoder.
class CanonicalDecoder final : public Decoder {
 public:
  void decode(std::string_view frame, Time now, ReportSink& sink) override;

 private:
  CanonicalParser parser_;
  LinkReport report_;
};

}  // namespace fadeward::report
