// The configuration file with the vocabulary of the other rooms.
#pragma once

#include <optional>
#include <string>

#include "fadeward/base/result.hpp"
#include "fadeward/base/settings.hpp"
#include "fadeward/base/web_config.hpp"
#include "fadeward/budget/profile.hpp"

namespace fadeward::app {

/// config::load, knowing the rule sets of `budget`.
Result<Settings> load_settings(const std::string& path);

/// The terrain profile of a link; empty if it names none. Errors name file and line.
Result<std::optional<budget::Profile>> read_profile(const LinkSettings& link);

/// For judging: load_settings, and where a link's budget rests on a terrain profile, the expected
/// levels that follow from it are put in as if they had been given.
Result<Settings> load_settings_to_judge(const std::string& path);

/// The web-config file with what it names: certificates and keys are read and given up again.
Result<WebConfig> load_web_config(const HttpSettings& http);

}  // namespace fadeward::app
