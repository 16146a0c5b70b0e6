// Lines of key=value pairs.
#pragma once

#include <array>
#include <string>
#include <string_view>

#include "fadeward/report/builder.hpp"

namespace fadeward::report {

/// Pairs stand between separators (any of the given characters, any number of them). A value may
/// stand in double quotes and then hold separators; \" and \\ in it stand for themselves. Blanks
/// around '=' are allowed on both sides together ("rssi = -101"). Words without '=' are passed
/// over. An empty value is absence; a value that is no number as a whole ("-101dBm") is left out
/// and counted. A line without any pair or with an open quote is `syntax`.
class PairsDecoder final : public Decoder {
 public:
  PairsDecoder(FieldMap map, std::string_view separators);
  void decode(std::string_view frame, Time now, ReportSink& sink) override;

 private:
  bool is_separator(char c) const { return separator_[static_cast<unsigned char>(c)]; }
  Parsed parse(std::string_view frame);
  std::size_t find_value(std::string_view frame, std::size_t at) const;
  bool read_value(std::string_view frame, std::size_t& at, std::string_view& value);
  bool read_quoted(std::string_view frame, std::size_t& at, std::string_view& value);

  ReportBuilder builder_;
  std::array<bool, 256> separator_{};
  std::string texts_;  ///< quoted values with escapes
};

}  // namespace fadeward::report
