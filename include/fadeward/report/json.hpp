// Any JSON object, its members mapped to canonical keys by rules.
#pragma once

#include <string>
#include <string_view>

#include "fadeward/report/builder.hpp"

namespace fadeward::report {

/// As strict as the canonical parser, and the same in all but this:
///   - members of nested objects are reached by a path with points ("radio.rx.level", at most
///     eight objects deep); arrays are skipped as unknown;
///   - text that is one number (raw_value.hpp) stands for that number.
class JsonDecoder final : public Decoder {
 public:
  explicit JsonDecoder(FieldMap map);
  void decode(std::string_view frame, Time now, ReportSink& sink) override;

 private:
  static constexpr int kDeepest = 8;
  Parsed parse(std::string_view frame);
  const char* read_object(const char* at, const char* end, int depth);
  const char* read_member(const char* at, const char* end, int depth);
  const char* read_value(const char* at, const char* end, int depth);
  const char* read_text(const char* at, const char* end, std::span<const Target> targets);

  ReportBuilder builder_;
  std::string copy_;  ///< of the frame, with the padding that json_text.hpp asks for
  std::string path_;  ///< of the member being read
  std::string key_text_;
  std::string texts_;  ///< values with escapes, one frame's worth
};

}  // namespace fadeward::report
