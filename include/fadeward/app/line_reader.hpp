// Lines of a recording: plain or gzip, from a file or from standard input.
#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "fadeward/base/result.hpp"

namespace fadeward::app {

/// Reads in large pieces and hands out lines in place. Gzip is recognised by its first two bytes.
class LineReader {
 public:
  static constexpr std::size_t kLongest = 65536;  ///< longer lines are skipped and counted
  static constexpr std::size_t kPadding = 64;     ///< readable bytes behind every line

  /// "-" is standard input.
  static Result<LineReader> open(const std::string& path);
  LineReader(LineReader&&) noexcept;
  LineReader& operator=(LineReader&&) noexcept;
  ~LineReader();

  /// The next line without its end (LF or CR LF); false at the end or on an error. The view, and
  /// kPadding bytes behind it, live until the next call.
  bool next(std::string_view& line);

  std::uint64_t too_long() const { return too_long_; }
  /// Empty, or why reading stopped before the end.
  const std::string& error() const { return error_; }

 private:
  struct Source;
  explicit LineReader(std::unique_ptr<Source> source);
  bool refill();

  std::unique_ptr<Source> source_;
  std::vector<char> buffer_;
  std::size_t begin_ = 0;     ///< of what is not handed out yet
  std::size_t end_ = 0;       ///< of what was read
  std::size_t searched_ = 0;  ///< no line end before this
  bool at_end_ = false;
  bool skipping_ = false;  ///< inside a line that is too long
  std::uint64_t too_long_ = 0;
  std::string error_;
};

}  // namespace fadeward::app
