// The command line: words in, one call of a command out.
#include <spdlog/sinks/stdout_color_sinks.h>
#include <spdlog/spdlog.h>

#include <CLI/CLI.hpp>
#include <cstdio>
#include <string>
#include <tuple>

#include "fadeward/app/commands.hpp"
#include "fadeward/app/config_file.hpp"
#include "fadeward/app/replay.hpp"
#include "fadeward/app/review.hpp"
#include "fadeward/app/watch.hpp"

namespace fadeward::app {
namespace {

void set_up_log() {
  auto log = spdlog::stderr_color_mt("fadeward");
  log->set_pattern("%Y-%m-%dT%H:%M:%S.%eZ %^%l%$ %v", spdlog::pattern_time_type::utc);
  log->flush_on(spdlog::level::info);
  spdlog::set_default_logger(std::move(log));
}

int bad_command_line(const std::string& why) {
  std::fprintf(stderr, "fadeward: %s\n", why.c_str());
  return 2;
}

struct Words {   // as typed
  std::string config, output, snapshots = "1h", time_start, start, history, from, to;
  std::vector<std::string> inputs;
  WatchOptions watch;
  BudgetOptions budget;
  ExportOptions exported;
  SimulateOptions simulate;
  ReviewOptions review;
};

int run_replay(const Words& words) {
  ReplayOptions options;
  options.inputs = words.inputs;
  const auto every = parse_span(words.snapshots);
  if (!every || *every < std::chrono::seconds{1})
    return bad_command_line("--snapshots " + words.snapshots + ": a span of at least 1s with its unit, such as 15m or 1h");
  options.snapshots = *every;
  options.history = words.history;
  const auto settings = load_settings_to_judge(words.config);
  if (!settings) {
    std::fprintf(stderr, "%s\n", settings.error().message.c_str());
    return 2;
  }
  std::FILE* output = words.output.empty() || words.output == "-" ? stdout : std::fopen(words.output.c_str(), "w");
  if (output == nullptr) {
    std::perror(("fadeward: " + words.output).c_str());
    return 1;
  }
  const auto summary = replay(*settings, options, output);
  if (output != stdout) std::fclose(output);
  if (!summary) {
    spdlog::error("replay: {}", summary.error().message);
    return 1;
  }
  spdlog::info("replay: {}", summary->in_words());
  return 0;
}

int run_watch(Words& words) {
  words.watch.config = words.config;
  if (!(words.watch.time_factor >= 1 && words.watch.time_factor <= 100000))
    return bad_command_line("--time-factor: a number from 1 to 100000");
  if (!words.time_start.empty()) {
    words.watch.time_start = parse_date_or_time(words.time_start);
    if (!words.watch.time_start)
      return bad_command_line("--time-start " + words.time_start + ": a date or an RFC 3339 time");
    if (words.watch.time_factor == 1) return bad_command_line("--time-start needs --time-factor above 1");
  }
  return watch(words.watch);
}

int run_simulate(Words& words) {
  SimulateOptions& options = words.simulate;
  options.world.truth = !options.truth.empty();
  if (!words.start.empty()) {
    const auto start = parse_date_or_time(words.start);
    if (!start) return bad_command_line("--start " + words.start + ": a date or an RFC 3339 time");
    options.world.start = *start;
  }
  if (options.pace < 0) return bad_command_line("--pace: 0 or a positive factor");
  return simulate_world(options);
}

int run_export(Words& words) {
  ExportOptions& options = words.exported;
  options.history = words.history;
  for (const auto& [option, word, at] : {std::tuple{"--from", &words.from, &options.from}, {"--to", &words.to, &options.to}}) {
    if (word->empty()) continue;
    *at = parse_date_or_time(*word);
    if (!*at) return bad_command_line(std::string(option) + " " + *word + ": a date or an RFC 3339 time");
  }
  return export_history(options);
}

std::string scenario_list() {
  std::string out = "Scenarios (all invented):\n";
  for (const auto& scenario : simulate::scenarios()) {
    out += "  " + std::string(scenario.name);
    out.append(scenario.name.size() < 18 ? 18 - scenario.name.size() : 1, ' ');
    out += std::string(scenario.description) + "\n";
  }
  return out;
}

int run(int argc, char** argv) {
  Words words;
  CLI::App app{"Keeps an eye on licence-free serial radio links: margins of both directions, alerts with "
               "their cause, metrics for monitoring stacks.",
               "fadeward"};
  const std::string version = "fadeward " FADEWARD_VERSION ", built with g++ " __VERSION__;
  app.set_version_flag("--version", version);
  app.require_subcommand(1);
  const auto with_config = [&](CLI::App* command) {
    command->add_option("--config", words.config, "configuration file (YAML)")->required();
  };

  CLI::App* watch_command = app.add_subcommand("watch", "the daemon: read ports, judge links, serve HTTP, keep history");
  with_config(watch_command);
  watch_command->add_option("--time-factor", words.watch.time_factor, "demonstrations only: let the program's time run so many times faster");
  watch_command->add_option("--time-start", words.time_start, "with --time-factor: the time to begin at");

  CLI::App* check_command = app.add_subcommand("check", "validate the configuration and print what it means; opens no port");
  with_config(check_command);

  CLI::App* replay_command = app.add_subcommand("replay", "judge recorded reports under the recording's own clock");
  with_config(replay_command);
  replay_command->add_option("--snapshots", words.snapshots, "span between snapshots (default 1h)");
  replay_command->add_option("--history", words.history, "directory to keep the history in (default: none is kept)");
  replay_command->add_option("--output", words.output, "file to write to (default standard output)");
  replay_command->add_option("input", words.inputs, "recordings in JSON Lines, plain or gzip; - is standard input")->required();

  CLI::App* budget_command = app.add_subcommand("budget", "link budget, clearance, availability and cautions");
  with_config(budget_command);
  budget_command->add_option("--link", words.budget.link, "one link only");
  budget_command->add_flag("--json", words.budget.json, "JSON instead of text");

  CLI::App* export_command = app.add_subcommand("export", "the history as OpenMetrics text with timestamps, for backfilling");
  export_command->add_option("--history", words.history, "directory of the history")->required();
  export_command->add_option("--link", words.exported.link, "one link only");
  export_command->add_option("--from", words.from, "first moment: a date or an RFC 3339 time");
  export_command->add_option("--to", words.to, "end, not included");

  CLI::App* review_command = app.add_subcommand("review", "what the history says: seasons, changes, trend, availability");
  ReviewOptions& review_options = words.review;
  review_command->add_option("--history", review_options.history, "directory of the history")->required();
  review_command->add_option("--link", review_options.link, "one link only");
  review_command->add_option("--from", review_options.from, "first day or moment (UTC)");
  review_command->add_option("--to", review_options.to, "first day or moment no longer in it");
  review_command->add_option("--split", review_options.split, "compare before and after this day, work or weather");
  review_command->add_option("--format", review_options.format, "text (default), html, csv or json");
  review_command->add_flag("--report", review_options.report, "the performance report alone");
  review_command->add_option("--config", review_options.config, "configuration, for thresholds and budgets");

  CLI::App* simulate_command = app.add_subcommand("simulate", "invented links with known truth, as canonical reports");
  simulate_command->footer(scenario_list());
  SimulateOptions& simulate_options = words.simulate;
  simulate_command->add_option("--scenario", simulate_options.world.scenario, "name of the world, see below")->required();
  simulate_command->add_option("--seed", simulate_options.world.seed, "same seed, same world (default 1)");
  simulate_command->add_option("--days", simulate_options.world.days, "length (default 1)");
  simulate_command->add_option("--start", words.start, "first moment (default 2031-04-01)");
  simulate_command->add_option("--interval", simulate_options.world.interval_s, "seconds between frames (default 10)");
  simulate_command->add_option("--signal", simulate_options.world.signal_dbm, "mean wanted signal, dBm");
  simulate_command->add_option("--size", simulate_options.world.size, "size of the fault, dB; share for collisions");
  simulate_command->add_option("--onset-days", simulate_options.world.onset_days, "when the fault begins");
  simulate_command->add_option("--fault-hours", simulate_options.world.fault_hours, "how long it lasts");
  simulate_command->add_option("--links", simulate_options.world.links, "number of links at the gateway (default 1)");
  simulate_command->add_option("--seq-bits", simulate_options.world.seq_bits, "width at which frame numbers wrap");
  simulate_command->add_option("--counter-bits", simulate_options.world.counter_bits, "width at which counters wrap");
  simulate_command->add_option("--omit", simulate_options.world.omit, "keys to leave out of the reports");
  simulate_command->add_flag("!--no-rain", simulate_options.world.rain, "a world without rain");
  simulate_command->add_option("--truth", simulate_options.truth, "file for what really happened (JSON Lines)");
  simulate_command->add_option("--pace", simulate_options.pace, "so many times faster than life (default: at once)");
  simulate_command->add_option("--pty", simulate_options.pty, "play the radio at a pseudo-terminal linked at this path");

  for (CLI::App* command : app.get_subcommands({})) command->set_version_flag("--version", version);

  try {
    app.parse(argc, argv);
  } catch (const CLI::Success& done) {   // --help, --version
    return app.exit(done);
  } catch (const CLI::ParseError& wrong) {
    app.exit(wrong);
    return 2;
  }
  words.budget.config = words.config;
  if (watch_command->parsed()) return run_watch(words);
  if (check_command->parsed()) return check(words.config);
  if (replay_command->parsed()) return run_replay(words);
  if (budget_command->parsed()) return budget(words.budget);
  if (export_command->parsed()) return run_export(words);
  if (review_command->parsed()) return review(words.review);
  return run_simulate(words);
}

}  // namespace
}  // namespace fadeward::app

int main(int argc, char** argv) {
  try {
    fadeward::app::set_up_log();
    return fadeward::app::run(argc, argv);
  } catch (const std::exception& fault) {
    std::fprintf(stderr, "fadeward: %s\n", fault.what());
    return 1;
  }
}
