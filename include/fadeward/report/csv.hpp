// Columns between separators (RFC 4180).
#pragma once

#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "fadeward/report/builder.hpp"

namespace fadeward::report {

/// The columns are given, or come from the header line: the first line in which a cell is a known
/// name; lines before it are `syntax`. A later header line (after a restart of the device) is read
/// again where the header came from the stream, and passed over where the columns are given.
///
/// Cells in double quotes may hold separators, and "" for a quote. Short lines are tolerated:
/// missing and empty cells are absent. Cells without a column, or of an unknown one, are counted as
/// unknown keys. A quote that stays open, or text behind a closed one, is `syntax`.
class CsvDecoder final : public Decoder {
 public:
  /// `separator`: at least one character, no quote. `columns` may be empty.
  CsvDecoder(FieldMap map, std::string separator, const std::vector<std::string>& columns);
  void decode(std::string_view frame, Time now, ReportSink& sink) override;
  void restart() override;

 private:
  bool split(std::string_view line);
  bool read_cell(std::string_view line, std::size_t& at, std::string_view& cell);
  bool is_header() const;
  void read_header();
  Parsed parse_row();

  ReportBuilder builder_;
  const std::string separator_;
  const bool given_;
  std::vector<std::span<const Target>> columns_;  ///< into the builder's map
  std::vector<std::string_view> cells_;
  std::string texts_;  ///< quoted cells with quotes in them
};

}  // namespace fadeward::report
