#include <cerrno>
#include <cstdio>
#include <cstring>
#include <fstream>
#include <sstream>

#include "fadeward/app/commands.hpp"
#include "fadeward/app/config_file.hpp"
#include "fadeward/budget/report.hpp"

namespace fadeward::app {

namespace {

int refuse(const std::string& why) {
  std::fprintf(stderr, "%s\n", why.c_str());
  return 2;
}

Result<std::optional<budget::Profile>> read_profile(const std::string& path) {
  if (path.empty()) return std::optional<budget::Profile>{};
  std::ifstream file(path, std::ios::binary);
  std::ostringstream text;
  if (file) text << file.rdbuf();
  if (!file) return Error{path + ": " + std::strerror(errno)};
  auto profile = budget::parse_profile(text.str());
  if (!profile) return Error{path + ": " + profile.error().message};
  return std::optional(std::move(profile).value());
}

}  // namespace

int budget(const BudgetOptions& options) {
  const auto settings = load_settings(options.config);
  if (!settings) return refuse(settings.error().message);
  std::vector<budget::LinkBudget> budgets;
  for (const LinkSettings& link : settings->links) {
    if (!options.link.empty() && link.name != options.link) continue;
    const auto profile = read_profile(link.budget.profile);
    if (!profile) return refuse("link " + link.name + ": " + profile.error().message);
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
