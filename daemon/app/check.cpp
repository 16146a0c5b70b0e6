#include <cstdio>

#include "fadeward/app/commands.hpp"
#include "fadeward/app/config_file.hpp"
#include "fadeward/config/describe.hpp"

namespace fadeward::app {

int check(const std::string& config) {
  const auto settings = load_settings(config);
  if (!settings) {
    std::fprintf(stderr, "%s\n", settings.error().message.c_str());
    return 2;
  }
  const std::string text = config::describe(*settings);
  return std::fwrite(text.data(), 1, text.size(), stdout) == text.size() && std::fflush(stdout) == 0 ? 0 : 1;
}

}  // namespace fadeward::app
