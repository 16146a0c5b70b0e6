#include "fadeward/app/review.hpp"

#include <unistd.h>

#include <algorithm>
#include <array>
#include <cstdio>
#include <vector>

#include "fadeward/app/config_file.hpp"
#include "fadeward/base/text.hpp"
#include "fadeward/history/reader.hpp"
#include "fadeward/publish/review_json.hpp"
#include "fadeward/publish/review_page.hpp"
#include "fadeward/publish/review_text.hpp"
#include "fadeward/review/context.hpp"
#include "fadeward/review/review.hpp"

namespace fadeward::app {

namespace {

constexpr std::array<const char*, 4> kFormats = {"text", "html", "csv", "json"};

int refuse(const std::string& why) {
  std::fprintf(stderr, "fadeward: %s\n", why.c_str());
  return 2;
}

/// One line that is written over, on a terminal only.
class ProgressLine {
 public:
  ProgressLine() : shown_(::isatty(STDERR_FILENO) == 1) {}
  ~ProgressLine() {
    if (wrote_) std::fprintf(stderr, "\r\033[K");
  }
  ProgressLine(const ProgressLine&) = delete;
  ProgressLine& operator=(const ProgressLine&) = delete;
  void show(const std::string& link, double share) {
    const int percent = static_cast<int>(100 * std::clamp(share, 0.0, 1.0));
    if (!shown_ || percent == last_) return;
    last_ = percent;
    wrote_ = true;
    std::fprintf(stderr, "\r\033[Kreading %s: %d %%", printable(link, 60).c_str(), percent);
  }

 private:
  bool shown_;
  bool wrote_ = false;
  int last_ = -1;
};

struct Moments {
  std::optional<Time> from, to, split;
};

/// The words of the first that cannot be read; empty: all read.
std::string read_moments(const ReviewOptions& options, Moments& out) {
  const auto read = [](const char* key, const std::string& text,
                       std::optional<Time>& into) -> std::string {
    if (text.empty()) return {};
    into = parse_date_or_time(text);
    if (into) return {};
    return std::string(key) + " " + printable(text, 60) +
           ": a date (2031-04-01) or an RFC 3339 time (2031-04-01T12:00:00Z)";
  };
  for (const auto& wrong :
       {read("--from", options.from, out.from), read("--to", options.to, out.to),
        read("--split", options.split, out.split)})
    if (!wrong.empty()) return wrong;
  if (out.from && out.to && *out.from >= *out.to)
    return "--from " + options.from + " is not before --to " + options.to;
  return {};
}

std::string joined(const std::vector<std::string>& names) {
  std::string out;
  for (const std::string& name : names) out += (out.empty() ? "" : ", ") + printable(name, 60);
  return out;
}

int print(const std::string& text) {
  return std::fwrite(text.data(), 1, text.size(), stdout) == text.size() && std::fflush(stdout) == 0
             ? 0
             : 1;
}

}  // namespace

int review(const ReviewOptions& options) {
  if (std::ranges::find(kFormats, options.format) == kFormats.end())
    return refuse("--format " + printable(options.format, 60) + ": text, html, csv or json");
  Moments moments;
  if (const std::string wrong = read_moments(options, moments); !wrong.empty())
    return refuse(wrong);
  std::optional<Settings> settings;
  if (!options.config.empty()) {
    auto loaded = load_settings_to_judge(options.config);
    if (!loaded) {
      std::fprintf(stderr, "%s\n", loaded.error().message.c_str());
      return 2;
    }
    settings = std::move(loaded).value();
  }
  auto opened = history::Reader::open(options.history);
  if (!opened)
    return refuse("--history " + printable(opened.error().message));  // it names the directory
  history::Reader& reader = *opened;
  std::vector<std::string> names = reader.links();
  if (names.empty())
    return refuse("--history " + printable(options.history) + ": holds no link yet");
  if (!options.link.empty()) {
    if (std::ranges::find(names, options.link) == names.end())
      return refuse("--link " + printable(options.link, 60) +
                    ": not in this history; there are: " + joined(names));
    names = {options.link};
  }

  ProgressLine progress;
  std::vector<review::LinkReview> reviews;
  std::vector<publish::NamedPerformance> reports;
  for (std::size_t i = 0; i < names.size(); ++i) {
    review::Question question;
    question.link = names[i];
    question.from = moments.from;
    question.to = moments.to;
    question.split = moments.split;
    if (settings) question.context = review::context_of(*settings, names[i]);
    question.progress = [&](double share) {
      progress.show(names[i], (static_cast<double>(i) + share) / static_cast<double>(names.size()));
    };
    progress.show(names[i], static_cast<double>(i) / static_cast<double>(names.size()));
    if (options.report)
      reports.push_back({names[i], review::report_link(reader, question)});
    else
      reviews.push_back(review::review_link(reader, question));
  }
  for (const std::string& problem : reader.problems())
    std::fprintf(stderr, "fadeward: %s\n", problem.c_str());

  if (options.format == "json")
    return print(options.report ? publish::report_json(reports) : publish::review_json(reviews));
  if (options.format == "csv")
    return print(options.report ? publish::report_csv(reports) : publish::review_csv(reviews));
  if (options.format == "html")
    return print(options.report ? publish::report_page(reports) : publish::review_page(reviews));
  if (options.report) return print(publish::report_text(reports));
  std::string text;
  for (const auto& one : reviews) text += (text.empty() ? "" : "\n\n") + publish::review_text(one);
  return print(text);
}

}  // namespace fadeward::app
