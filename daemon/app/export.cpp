#include <algorithm>
#include <cstdio>

#include "fadeward/app/commands.hpp"
#include "fadeward/history/reader.hpp"
#include "fadeward/publish/history_export.hpp"

namespace fadeward::app {

int export_history(const ExportOptions& options) {
  auto reader = history::Reader::open(options.history);
  if (!reader) {
    std::fprintf(stderr, "fadeward: --history %s\n", reader.error().message.c_str());
    return 2;
  }
  publish::HistoryExport what;
  what.links = reader->links();
  if (!options.link.empty()) {
    if (std::ranges::find(what.links, options.link) == what.links.end()) {
      std::string names;
      for (const std::string& link : what.links) names += (names.empty() ? "" : ", ") + link;
      std::fprintf(stderr, "fadeward: --link %s: the history knows no such link; there are: %s\n",
                   options.link.c_str(), names.c_str());
      return 2;
    }
    what.links = {options.link};
  }
  if (options.from) what.from = *options.from;
  if (options.to) what.to = *options.to;
  bool written = true;
  publish::export_history(*reader, what, [&](std::string_view text) {
    written = std::fwrite(text.data(), 1, text.size(), stdout) == text.size();
    return written;
  });
  for (const std::string& problem : reader->problems())
    std::fprintf(stderr, "fadeward: %s\n", problem.c_str());
  return written && std::fflush(stdout) == 0 && reader->problems().empty() ? 0 : 1;
}

}  // namespace fadeward::app
