#include <cstdio>

#include "fadeward/app/commands.hpp"
#include "fadeward/app/config_file.hpp"
#include "fadeward/budget/report.hpp"

namespace fadeward::app {

namespace {

int refuse(const std::string& why) {
  std::fprintf(stderr, "%s\n", why.c_str());
  return 2;
}

}  // namespace

int budget(const BudgetOptions& options) {
  const auto settings = load_settings(options.config);
  if (!settings) return refuse(settings.error().message);
  std::vector<budget::LinkBudget> budgets;
  for (const LinkSettings& link : settings->links) {
    if (!options.link.empty() && link.name != options.link) continue;
    const auto profile = read_profile(link);
    if (!profile) return refuse(profile.error().message);
    budgets.push_back(budget::compute(link, *profile ? &**profile : nullptr));
  }
  if (budgets.empty()) {
    std::string names;
    for (const LinkSettings& link : settings->links) names += (names.empty() ? "" : ", ") + link.name;
    return refuse("--link " + options.link + ": no such link; there are: " + names);
  }
  const std::string text = options.json ? budget::to_json(budgets) : budget::to_text(budgets);
  return std::fwrite(text.data(), 1, text.size(), stdout) == text.size() && std::fflush(stdout) == 0 ? 0 : 1;
}

}  // namespace fadeward::app
