#include "fadeward/history/month.hpp"

#include <algorithm>
#include <charconv>
#include <cstdio>
#include <filesystem>

namespace fadeward::history {

namespace {
constexpr std::string_view kBefore = "history-", kAfter = ".sqlite";
}

Time Month::begin() const {
  return Time{std::chrono::sys_days{std::chrono::year{year} / static_cast<int>(month) / 1}};
}

Month Month::next() const { return month == 12 ? Month{year + 1, 1} : Month{year, month + 1}; }

Time Month::end() const { return next().begin(); }

Month month_of(Time at) {
  const std::chrono::year_month_day date{std::chrono::floor<std::chrono::days>(at)};
  return {static_cast<int>(date.year()), static_cast<unsigned>(date.month())};
}

std::string file_name(Month month) {
  char text[48];
  std::snprintf(text, sizeof text, "%s%04d-%02u%s", kBefore.data(), month.year, month.month,
                kAfter.data());
  return text;
}

std::optional<Month> month_of_file(std::string_view name) {
  if (name.size() != kBefore.size() + 7 + kAfter.size() || !name.starts_with(kBefore) ||
      !name.ends_with(kAfter))
    return {};
  name = name.substr(kBefore.size(), 7);
  Month month;
  const auto year = std::from_chars(name.data(), name.data() + 4, month.year);
  const auto in_year = std::from_chars(name.data() + 5, name.data() + 7, month.month);
  if (year.ptr != name.data() + 4 || in_year.ptr != name.data() + 7 || name[4] != '-' ||
      month.year < 1970 || month.month < 1 || month.month > 12)
    return {};
  return month;
}

std::vector<Month> months_in(const std::string& dir) {
  std::vector<Month> out;
  std::error_code failed;
  for (std::filesystem::directory_iterator it(dir, failed), end; !failed && it != end;
       it.increment(failed))
    if (const auto month = month_of_file(it->path().filename().string())) out.push_back(*month);
  std::ranges::sort(out);
  return out;
}

}  // namespace fadeward::history
