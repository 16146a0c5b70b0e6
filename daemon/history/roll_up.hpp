// Makes hours of a month's quarter hours, in a new file that replaces the old one at the end.
#pragma once

#include <string>

#include "database.hpp"
#include "fadeward/base/result.hpp"
#include "fadeward/history/month.hpp"

namespace fadeward::history {

class RollUp {
 public:
  RollUp() = default;
  ~RollUp() { abandon(); }
  RollUp(const RollUp&) = delete;
  RollUp& operator=(const RollUp&) = delete;

  /// Whether the file holds hours already; an error: it cannot be read.
  static Result<bool> is_done(const std::string& path);
  static std::string working_name(const std::string& path) { return path + ".new"; }

  bool busy() const { return to_.is_open(); }
  Month month() const { return month_; }
  Status begin(const std::string& path, Month month, const std::string& vfs);
  /// One day. True: there is more; false: the new file stands in the place of the old one.
  Result<bool> step();
  /// Gives up; the old file is as it was.
  void abandon();

 private:
  Error error(const char* during) const;
  bool roll_day(std::int64_t day);
  Status replace();

  std::string path_;
  Month month_;
  Database from_;
  Database to_;
  std::int64_t day_ = 0;
  std::int64_t end_day_ = 0;
};

}  // namespace fadeward::history
