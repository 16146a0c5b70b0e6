#include "fadeward/app/config_file.hpp"

#include <cerrno>
#include <cstring>
#include <fstream>
#include <sstream>

#include "fadeward/base/text.hpp"
#include "fadeward/budget/link_budget.hpp"
#include "fadeward/budget/rules.hpp"
#include "fadeward/config/parse.hpp"
#include "fadeward/config/web_config.hpp"
#include "fadeward/publish/tls_context.hpp"

namespace fadeward::app {

Result<Settings> load_settings(const std::string& path) {
  config::Vocabulary vocabulary;
  for (const auto& set : budget::rule_sets()) vocabulary.rule_sets.emplace_back(set);
  return config::load(path, vocabulary);
}

Result<std::optional<budget::Profile>> read_profile(const LinkSettings& link) {
  const std::string& path = link.budget.profile;
  if (path.empty()) return std::optional<budget::Profile>{};
  std::ifstream file(path, std::ios::binary);
  std::ostringstream text;
  if (file) text << file.rdbuf();
  if (!file) return Error{"link " + link.name + ": profile " + path + ": " + std::strerror(errno)};
  auto profile = budget::parse_profile(text.str());
  if (!profile)
    return Error{"link " + link.name + ": profile " + path + ": " + profile.error().message};
  return std::optional(std::move(profile).value());
}

Result<WebConfig> load_web_config(const HttpSettings& http) {
  auto web = config::load_web_config(http.web_config);
  if (!web || !web->tls) return web;
  if (const auto usable = publish::make_tls_context(*web->tls); !usable)
    return Error{printable(http.web_config) + ": tls_server_config: " + usable.error().message};
  return web;
}

Result<Settings> load_settings_to_judge(const std::string& path) {
  auto settings = load_settings(path);
  if (!settings) return settings;
  for (LinkSettings& link : settings->links) {
    const auto profile = read_profile(link);
    if (!profile) return profile.error();
    if (!*profile) continue;
    const budget::LinkBudget budget = budget::compute(link, &**profile);
    link.budget.inbound_signal_dbm = budget.direction(Direction::inbound).signal_dbm.value;
    link.budget.outbound_signal_dbm = budget.direction(Direction::outbound).signal_dbm.value;
  }
  return settings;
}

}  // namespace fadeward::app
