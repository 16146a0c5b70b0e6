#include "fadeward/report/csv.hpp"

#include <algorithm>
#include <utility>

namespace fadeward::report {

CsvDecoder::CsvDecoder(FieldMap map, std::string separator, const std::vector<std::string>& columns)
    : builder_(std::move(map)), separator_(std::move(separator)), given_(!columns.empty()) {
  for (const std::string& column : columns) columns_.push_back(builder_.map().find(column));
}

void CsvDecoder::restart() {
  if (!given_) columns_.clear();
}

bool CsvDecoder::read_cell(std::string_view line, std::size_t& at, std::string_view& cell) {
  if (at >= line.size() || line[at] != '"') {
    const std::size_t end = std::min(line.find(separator_, at), line.size());
    cell = line.substr(at, end - at);
    at = end;
    return true;
  }
  const std::size_t first = ++at;
  bool doubled = false;
  for (;; ++at) {
    at = line.find('"', at);
    if (at == std::string_view::npos) return false;
    if (at + 1 >= line.size() || line[at + 1] != '"') break;
    doubled = true;
    ++at;
  }
  cell = line.substr(first, at - first);
  ++at;
  if (at < line.size() && !line.substr(at).starts_with(separator_)) return false;
  if (!doubled) return true;
  const std::size_t begin = texts_.size();
  for (std::size_t i = 0; i < cell.size(); ++i) {
    texts_ += cell[i];
    if (cell[i] == '"') ++i;
  }
  cell = std::string_view(texts_).substr(begin);
  return true;
}

bool CsvDecoder::split(std::string_view line) {
  cells_.clear();
  texts_.clear();
  texts_.reserve(line.size());  // views into it must not move
  for (std::size_t at = 0;; at += separator_.size()) {
    std::string_view cell;
    if (!read_cell(line, at, cell)) return false;
    cells_.push_back(cell);
    if (at >= line.size()) return true;
  }
}

/// A known name among the cells and no number: no line of data looks like that.
bool CsvDecoder::is_header() const {
  bool known = false;
  for (const std::string_view cell : cells_) {
    const RawValue raw = raw_from_text(cell);
    if (raw.numeric) return false;
    known = known || !builder_.map().find(raw.text).empty();
  }
  return known;
}

void CsvDecoder::read_header() {
  columns_.clear();
  for (const std::string_view cell : cells_)
    columns_.push_back(builder_.map().find(raw_from_text(cell).text));
}

Parsed CsvDecoder::parse_row() {
  for (std::size_t i = 0; i < cells_.size(); ++i) {
    const RawValue raw = raw_from_text(cells_[i]);
    if (raw.text.empty()) continue;
    if (i < columns_.size()) {
      builder_.take(columns_[i], raw);
    } else {
      builder_.skip();
    }
  }
  return builder_.result();
}

void CsvDecoder::decode(std::string_view frame, Time, ReportSink& sink) {
  builder_.begin();
  Parsed parsed;
  if (split(frame)) {
    if (is_header()) {
      if (!given_) read_header();
      return;
    }
    if (!columns_.empty()) parsed = parse_row();
  }
  deliver(parsed, builder_.report(), frame, sink);
}

}  // namespace fadeward::report
