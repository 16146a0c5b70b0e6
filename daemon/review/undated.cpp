#include "fadeward/review/undated.hpp"

#include <algorithm>
#include <iterator>

#include "fadeward/review/words.hpp"

namespace fadeward::review {

std::vector<history::MarkRecord> undated_of(const std::vector<history::MarkRecord>& marks) {
  std::vector<history::MarkRecord> out;
  std::ranges::copy_if(marks, std::back_inserter(out), [](const history::MarkRecord& mark) {
    return mark.kind == history::MarkKind::undated;
  });
  return out;
}

std::string undated_words(const history::MarkRecord& mark) {
  const std::string what = mark.text.empty() ? "something" : mark.text;
  return what + ", heard before the start of " + moment_words(mark.time) +
         " by a run of the program that never knew the time: in no figure here.";
}

}  // namespace fadeward::review
