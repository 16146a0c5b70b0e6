#include <unistd.h>

#include <cstdio>

#include "fadeward/app/commands.hpp"
#include "fadeward/app/config_file.hpp"
#include "fadeward/base/text.hpp"
#include "fadeward/config/describe.hpp"
#include "fadeward/config/web_config.hpp"

namespace fadeward::app {

int check(const std::string& config) {
  const auto settings = load_settings(config);
  if (!settings) {
    std::fprintf(stderr, "%s\n", settings.error().message.c_str());
    return 2;
  }
  std::string text = config::describe(*settings);
  const std::string& web_config = settings->http.web_config;
  if (!web_config.empty() && ::access(web_config.c_str(), F_OK) != 0) {
    // It may be made on the machine where it will run.
    std::fprintf(stderr, "%s: is not there; without it `fadeward watch` will not start\n",
                 printable(web_config).c_str());
  } else if (!web_config.empty()) {
    const auto web = load_web_config(settings->http);
    if (!web) {
      std::fprintf(stderr, "%s\n", web.error().message.c_str());
      return 2;
    }
    text += "\n" + printable(web_config) + ": " + config::describe(*web) + "\n";
  }
  return std::fwrite(text.data(), 1, text.size(), stdout) == text.size() && std::fflush(stdout) == 0
             ? 0
             : 1;
}

}  // namespace fadeward::app
