// One direction of one link as JSON: the line that replay prints and the object that /links holds.
#pragma once

#include <string>
#include <string_view>

#include "fadeward/base/terms.hpp"
#include "fadeward/base/time.hpp"
#include "fadeward/judge/snapshot.hpp"

namespace fadeward::publish {

/// Appends one line of contract section 4, newline included:
/// {"kind":"snapshot","time":...,"link":...,"direction":...,"reports":...,...,"interval":{...}}
/// Decibels with two decimals (the standard error with three, the trend with four), ratios with
/// six significant digits; a value that is not known or not finite is null.
void append_snapshot_line(std::string& out, Time time, std::string_view link, Direction direction,
                          const judge::DirectionSnapshot& values);

/// Appends the pairs from "reports" to "cause" that both forms share, without braces.
void append_direction_values(std::string& out, const judge::DirectionSnapshot& values);

}  // namespace fadeward::publish
