// What the settings mean, in words: the output of `fadeward check`.
#pragma once

#include <string>
#include <vector>

#include "fadeward/base/settings.hpp"

namespace fadeward::config {

/// Several aligned lines per port and link, with units and with the defaults filled in, then the
/// warnings. Foreign text is made printable. Ends with a newline.
std::string describe(const Settings& settings);

/// What is allowed but hardly meant, one sentence each; also for the log at start.
std::vector<std::string> warnings(const Settings& settings);

}  // namespace fadeward::config
