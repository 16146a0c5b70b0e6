// The configuration file with the vocabulary of the other rooms.
#pragma once

#include <string>

#include "fadeward/base/result.hpp"
#include "fadeward/base/settings.hpp"

namespace fadeward::app {

/// config::load, knowing the rule sets of `budget`.
Result<Settings> load_settings(const std::string& path);

}  // namespace fadeward::app
