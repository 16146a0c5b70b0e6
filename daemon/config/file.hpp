// A configuration file: its bytes, and the document in them.
#pragma once

#include <string>
#include <string_view>

#include "fadeward/base/result.hpp"
#include "node.hpp"

namespace fadeward::config {

/// At most kMaxFileBytes and one more; the error names the path and the reason.
Result<std::string> read_file(const std::string& path);

/// The tree of a document. A byte order mark is taken off `yaml_text`. An error where it is larger
/// than kMaxFileBytes (it may have been cut off, passwords and all) or no YAML.
Result<NodePtr> read_document(std::string_view& yaml_text, std::string_view file_name);

}  // namespace fadeward::config
