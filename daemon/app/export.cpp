#include <algorithm>
#include <cstdio>

#include "fadeward/app/commands.hpp"
#include "fadeward/base/text.hpp"
#include "fadeward/history/reader.hpp"
#include "fadeward/publish/history_export.hpp"

namespace fadeward::app {

namespace {

int refuse(const std::string& why) {
  std::fprintf(stderr, "fadeward: %s\n", why.c_str());
  return 2;
}

}  // namespace

int export_history(const ExportOptions& options) {
  if (options.from && options.to && *options.from >= *options.to)
    return refuse("--from is not before --to");
  auto reader = history::Reader::open(options.history);
  if (!reader) return refuse("--history " + printable(reader.error().message));
  publish::HistoryExport what;
  what.links = reader->links();
  if (what.links.empty())
    return refuse("--history " + printable(options.history) + ": holds no link yet");
  if (!options.link.empty()) {
    if (std::ranges::find(what.links, options.link) == what.links.end()) {
      std::string names;
      for (const std::string& link : what.links)
        names += (names.empty() ? "" : ", ") + printable(link, 60);
      return refuse("--link " + printable(options.link, 60) +
                    ": not in this history; there are: " + names);
    }
    what.links = {options.link};
  }
  for (const std::string& label : options.labels) {
    const auto equals = label.find('=');
    const std::string name = label.substr(0, equals);
    if (equals == std::string::npos || equals + 1 == label.size() || !publish::may_label(name) ||
        !what.labels.emplace(name, label.substr(equals + 1)).second)
      return refuse("--label " + printable(label, 60) +
                    ": NAME=VALUE, a name once and none that the series have already");
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
