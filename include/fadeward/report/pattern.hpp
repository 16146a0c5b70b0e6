// Lines read by regular expressions with named groups.
#pragma once

#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "fadeward/report/builder.hpp"

namespace fadeward::report {

/// The first expression that is found in the frame counts (anchor with ^ and $ for the whole). Each
/// named group feeds the key of its name, or those whose rule names it in `from`; a group that took
/// no part, or is empty, is absence. Named groups that nobody knows are counted as unknown keys.
/// Expressions are RE2 and see bytes: '.' matches any byte but a newline, valid UTF-8 or not.
class PatternDecoder final : public Decoder {
 public:
  /// Errors: no expression, an invalid one, or one without any group that feeds a key.
  static Result<std::unique_ptr<Decoder>> make(FieldMap map,
                                               const std::vector<std::string>& expressions);
  ~PatternDecoder() override;
  void decode(std::string_view frame, Time now, ReportSink& sink) override;

 private:
  struct Pattern;
  struct Scratch;
  explicit PatternDecoder(FieldMap map);
  bool take_match(const Pattern& pattern, std::string_view frame);

  ReportBuilder builder_;
  std::vector<std::unique_ptr<Pattern>> patterns_;
  std::unique_ptr<Scratch> scratch_;
};

}  // namespace fadeward::report
