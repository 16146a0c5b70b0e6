// Reading a configuration file.
#pragma once

#include <string>

#include "fadeward/base/result.hpp"

namespace fadeward::config {

/// At most kMaxFileBytes and one more; the error names the path and the reason.
Result<std::string> read_file(const std::string& path);

}  // namespace fadeward::config
