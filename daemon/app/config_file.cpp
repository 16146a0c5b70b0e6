#include "fadeward/app/config_file.hpp"

#include "fadeward/budget/rules.hpp"
#include "fadeward/config/parse.hpp"

namespace fadeward::app {

Result<Settings> load_settings(const std::string& path) {
  config::Vocabulary vocabulary;
  for (const auto& set : budget::rule_sets()) vocabulary.rule_sets.emplace_back(set);
  return config::load(path, vocabulary);
}

}  // namespace fadeward::app
