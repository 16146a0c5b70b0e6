// Calendar months (UTC) and the names of their files.
#pragma once

#include <compare>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "fadeward/base/time.hpp"

namespace fadeward::history {

struct Month {
  int year = 1970;
  unsigned month = 1;  ///< 1..12
  auto operator<=>(const Month&) const = default;

  Time begin() const;
  Time end() const;  ///< beginning of the next
  Month next() const;
};

Month month_of(Time at);

/// "history-2031-04.sqlite".
std::string file_name(Month month);
/// The month of such a name; empty for any other.
std::optional<Month> month_of_file(std::string_view name);

/// Months with a file in the directory, oldest first. A directory that cannot be read has none.
std::vector<Month> months_in(const std::string& dir);

}  // namespace fadeward::history
