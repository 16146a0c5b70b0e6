// Quarter hours that no figure holds: a run of the program heard them and never knew the time.
#pragma once

#include <string>
#include <vector>

#include "fadeward/history/record.hpp"

namespace fadeward::review {

/// The marks that tell of such, in their order. Each stands at the start that found them; what it
/// counts is of all links of the gateway.
std::vector<history::MarkRecord> undated_of(const std::vector<history::MarkRecord>& marks);

/// One of them as a sentence, how much and found when. What is not said of how much is "something".
std::string undated_words(const history::MarkRecord& mark);

}  // namespace fadeward::review
