// Something that a plan should not be carried out without having read.
#pragma once

#include <optional>
#include <string>

namespace fadeward::budget {

struct Caution {
  std::string rule;             ///< paragraph or method: "47 CFR 15.247(b)(2)"
  std::optional<double> limit;  ///< in the unit that `text` names; a share 0..1 where it says %
  std::optional<double> value;  ///< what the plan has; empty: not stated in the settings
  std::string text;             ///< one sentence
};

}  // namespace fadeward::budget
