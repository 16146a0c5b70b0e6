// The keys of a port that say how frames become reports.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "fadeward/base/settings.hpp"
#include "section.hpp"

namespace fadeward::config {

Reader<DecoderKind> decoder_word();
Reader<std::string> expression();                   ///< an RE2 expression over bytes
Reader<std::vector<std::string>> one_expression();  ///< the same as a list of one
Reader<std::vector<PackedField>> packed_fields();
Reader<std::map<std::string, FieldRule>> field_rules();

/// Keys that belong to another decoder; names that lead to no known quantity; names referred to
/// that do not exist. `map` is the port's.
void check_decoder(Reading& reading, const Node& map, const PortSettings& port);

/// The word for a decoder: json, pairs, ...
std::string_view name_of(DecoderKind kind);

}  // namespace fadeward::config
