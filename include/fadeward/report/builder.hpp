// Putting a report together from named raw values: the common half of all mapped decoders.
#pragma once

#include <span>
#include <string>
#include <string_view>

#include "fadeward/report/decoder.hpp"
#include "fadeward/report/field_map.hpp"
#include "fadeward/report/raw_value.hpp"

namespace fadeward::report {

/// Between begin() and result() takes the values of one frame. Times are Unix seconds (scaled by
/// their rule, for milliseconds) or RFC 3339 text. A link is taken as it is written, or as the
/// whole number that its rule gives; one that cannot be read makes the whole frame `syntax`, since
/// a report of an unknown link must not land on another.
class ReportBuilder {
 public:
  explicit ReportBuilder(FieldMap map);

  const FieldMap& map() const { return map_; }

  void begin();

  /// A value under its name; an unknown name is counted. Text must live until the report is used.
  void take(std::string_view name, const RawValue& raw) { take(map_.find(name), raw); }
  void take(std::span<const Target> targets, const RawValue& raw);

  /// A value said to be absent: as if its name had not come before.
  void take_null(std::span<const Target> targets);

  /// Counts a key that nobody knows.
  void skip() { ++tally_.unknown_keys; }

  Parsed result() const;
  LinkReport& report() { return report_; }

 private:
  bool take_one(const Target& target, const RawValue& raw);
  bool take_link(const Target& target, const RawValue& raw);

  FieldMap map_;
  LinkReport report_;
  Tally tally_;
  bool link_lost_ = false;
  std::string link_text_;
};

}  // namespace fadeward::report
