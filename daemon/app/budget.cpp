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
  std::vector<budget::Plan> plans;
  for (const LinkSettings& link : settings->links) {
    if (!options.link.empty() && link.name != options.link) continue;
    const auto profile = read_profile(link);
    if (!profile) return refuse(profile.error().message);
    plans.push_back(budget::plan_of(link, *profile ? &**profile : nullptr));
  }
  if (plans.empty()) {
    std::string names;
    for (const LinkSettings& link : settings->links)
      names += (names.empty() ? "" : ", ") + link.name;
    return refuse("--link " + options.link + ": no such link; there are: " + names);
  }
  const std::string text = options.format == "json"   ? budget::to_json(plans)
                           : options.format == "html" ? budget::to_html(plans)
                                                      : budget::to_text(plans);
  return std::fwrite(text.data(), 1, text.size(), stdout) == text.size() && std::fflush(stdout) == 0
             ? 0
             : 1;
}

}  // namespace fadeward::app
