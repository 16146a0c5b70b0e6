// The command line: words in, one call of a command out.
#include <spdlog/sinks/stdout_color_sinks.h>
#include <spdlog/spdlog.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <cstdio>
#include <functional>
#include <string>
#include <tuple>
#include <vector>

#include "fadeward/app/commands.hpp"
#include "fadeward/app/config_file.hpp"
#include "fadeward/app/replay.hpp"
#include "fadeward/app/review.hpp"
#include "fadeward/app/watch.hpp"
#include "fadeward/base/text.hpp"
#include "fadeward/budget/report.hpp"
#include "fadeward/prove/frame.hpp"

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

struct Words {  // as typed
  std::string config, output, snapshots = "1h", time_start, start, history, from, to;
  std::vector<std::string> inputs;
  WatchOptions watch;
  BudgetOptions budget;
  ExportOptions exported;
  SimulateOptions simulate;
  ReviewOptions review;
  EchoOptions echo;
  ProveOptions prove;
  std::string prove_span = "10m", prove_wait = "5s", prove_knock = "30s", max_latency;
  double max_loss = 0.01;
};

int run_replay(const Words& words) {
  ReplayOptions options;
  options.inputs = words.inputs;
  const auto every = parse_span(words.snapshots);
  if (!every || *every < std::chrono::seconds{1})
    return bad_command_line("--snapshots " + words.snapshots +
                            ": a span of at least 1s with its unit, such as 15m or 1h");
  options.snapshots = *every;
  options.history = words.history;
  const auto settings = load_settings_to_judge(words.config);
  if (!settings) {
    std::fprintf(stderr, "%s\n", settings.error().message.c_str());
    return 2;
  }
  std::FILE* output =
      words.output.empty() || words.output == "-" ? stdout : std::fopen(words.output.c_str(), "w");
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
    if (words.watch.time_factor == 1)
      return bad_command_line("--time-start needs --time-factor above 1");
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
  for (const auto& [option, word, at] :
       {std::tuple{"--from", &words.from, &options.from}, {"--to", &words.to, &options.to}}) {
    if (word->empty()) continue;
    *at = parse_date_or_time(*word);
    if (!*at)
      return bad_command_line(std::string(option) + " " + *word + ": a date or an RFC 3339 time");
  }
  return export_history(options);
}

/// A span of the command line within limits; empty: it was refused, and told.
std::optional<Duration> span_option(const char* name, const std::string& word, Duration least,
                                    Duration most) {
  const auto span = parse_span(word);
  if (span && *span >= least && *span <= most) return span;
  bad_command_line(std::string(name) + " " + printable(word) + ": a span with its unit from " +
                   format_span(least) + " to " + format_span(most) + ", such as 90s or 10m");
  return {};
}

bool within(const char* name, double value, double least, double most, const char* what) {
  if (value >= least && value <= most) return true;
  std::string text = std::string(name) + ": " + what + " from ";
  append_number(text, least);
  text += " to ";
  append_number(text, most);
  bad_command_line(text);
  return false;
}

int run_prove(Words& words, bool loss_given) {
  using namespace std::chrono_literals;
  ProveOptions& options = words.prove;
  options.config = words.config;
  const auto span = span_option("--for", words.prove_span, 1s, 24h * 31);
  const auto wait = span_option("--wait", words.prove_wait, 100ms, 10min);
  const auto knock = span_option("--knock", words.prove_knock, 1s, 24h);
  if (!span || !wait || !knock) return 2;
  options.span = *span;
  options.wait = *wait;
  options.knock = *knock;
  prove::Criteria& criteria = options.criteria;
  if (!words.max_latency.empty()) {
    criteria.max_latency = span_option("--max-latency", words.max_latency, 1ms, 10min);
    if (!criteria.max_latency) return 2;
    options.wait = std::max(options.wait, *criteria.max_latency + 1s);
  }
  if (loss_given || !options.walk) criteria.max_loss = words.max_loss;
  const bool sound =
      within("--size", static_cast<double>(options.octets), prove::kSmallestFrame,
             prove::kLargestFrame, "octets") &&
      within("--rate", options.rate_per_s, 0.001, 1000, "frames a second") &&
      within("--max-loss", words.max_loss, 1e-6, 0.999, "a share") &&
      within("--latency-share", criteria.latency_share, 0.5, 0.99999, "a share") &&
      within("--confidence", criteria.confidence, 0.5, 0.9999, "a share") &&
      within("--min-margin", criteria.min_margin_db.value_or(0), -50, 200, "decibels");
  if (!sound) return 2;
  if (duration_to_seconds(options.span) * options.rate_per_s > prove::kMostNumbers)
    return bad_command_line("--for and --rate: at most " + std::to_string(prove::kMostNumbers) +
                            " frames in a run");
  return prove_link(options);
}

std::string caution_list() {
  std::string out = "Cautions:\n";
  for (const std::string_view caution : budget::standing_cautions())
    out += "  " + std::string(caution) + "\n";
  return out;
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

/// A command of the program: its words, and what it does with them once they are parsed.
struct Command {
  CLI::App* words = nullptr;
  std::function<int()> run;  ///< the exit code
};

void add_config(CLI::App* command, Words& words) {
  command->add_option("--config", words.config, "configuration file (YAML)")->required();
}

Command watch_command(CLI::App& app, Words& words) {
  CLI::App* command =
      app.add_subcommand("watch", "the daemon: read ports, judge links, serve HTTP, keep history");
  add_config(command, words);
  command->add_option("--time-factor", words.watch.time_factor,
                      "demonstrations only: let the program's time run so many times faster");
  command->add_option("--time-start", words.time_start, "with --time-factor: the time to begin at");
  return {command, [&words] { return run_watch(words); }};
}

Command check_command(CLI::App& app, Words& words) {
  CLI::App* command = app.add_subcommand(
      "check", "validate the configuration and print what it means; opens no port");
  add_config(command, words);
  return {command, [&words] { return check(words.config); }};
}

Command replay_command(CLI::App& app, Words& words) {
  CLI::App* command =
      app.add_subcommand("replay", "judge recorded reports under the recording's own clock");
  add_config(command, words);
  command->add_option("--snapshots", words.snapshots, "span between snapshots (default 1h)");
  command->add_option("--history", words.history,
                      "directory to keep the history in (default: none is kept)");
  command->add_option("--output", words.output, "file to write to (default standard output)");
  command
      ->add_option("input", words.inputs,
                   "recordings in JSON Lines, plain or gzip; - is standard input")
      ->required();
  return {command, [&words] { return run_replay(words); }};
}

Command budget_command(CLI::App& app, Words& words) {
  CLI::App* command =
      app.add_subcommand("budget", "link budget, clearance, availability and cautions");
  add_config(command, words);
  command->add_option("--link", words.budget.link, "one link only");
  CLI::Option* format = command
                            ->add_option("--format", words.budget.format,
                                         "text (default), html (the path drawn) or json")
                            ->check(CLI::IsMember({"text", "html", "json"}));
  command
      ->add_flag_callback(
          "--json", [&words] { words.budget.format = "json"; }, "the same as --format json")
      ->excludes(format);
  return {command, [&words] {
            words.budget.config = words.config;
            return budget(words.budget);
          }};
}

Command export_command(CLI::App& app, Words& words) {
  CLI::App* command = app.add_subcommand(
      "export", "the history as OpenMetrics text with timestamps, for backfilling");
  command->add_option("--history", words.history, "directory of the history")->required();
  command->add_option("--link", words.exported.link, "one link only");
  command->add_option("--label", words.exported.labels,
                      "NAME=VALUE onto every series, as a scrape adds it (gateway=mill-house)");
  command->add_option("--from", words.from, "first moment: a date or an RFC 3339 time");
  command->add_option("--to", words.to, "end, not included");
  return {command, [&words] { return run_export(words); }};
}

Command review_command(CLI::App& app, Words& words) {
  CLI::App* command =
      app.add_subcommand("review", "what the history says: seasons, changes, trend, availability");
  ReviewOptions& review_options = words.review;
  command->add_option("--history", review_options.history, "directory of the history")->required();
  command->add_option("--link", review_options.link, "one link only");
  command->add_option("--from", review_options.from, "first day or moment (UTC)");
  command->add_option("--to", review_options.to, "first day or moment no longer in it");
  command->add_option("--split", review_options.split,
                      "compare before and after this day, work or weather");
  command->add_option("--format", review_options.format, "text (default), html, csv or json");
  command->add_flag("--report", review_options.report, "the performance report alone");
  command->add_option("--config", review_options.config,
                      "configuration, for thresholds and budgets");
  return {command, [&words] { return review(words.review); }};
}

Command simulate_command(CLI::App& app, Words& words) {
  CLI::App* command =
      app.add_subcommand("simulate", "invented links with known truth, as canonical reports");
  command->footer(scenario_list());
  SimulateOptions& simulate_options = words.simulate;
  command->add_option("--scenario", simulate_options.world.scenario, "name of the world, see below")
      ->required();
  command->add_option("--seed", simulate_options.world.seed, "same seed, same world (default 1)");
  command->add_option("--days", simulate_options.world.days, "length (default 1)");
  command->add_option("--start", words.start, "first moment (default 2031-04-01)");
  command->add_option("--interval", simulate_options.world.interval_s,
                      "seconds between frames (default 10)");
  command->add_option("--signal", simulate_options.world.signal_dbm, "mean wanted signal, dBm");
  command->add_option("--size", simulate_options.world.size,
                      "size of the fault, dB; share for collisions");
  command->add_option("--onset-days", simulate_options.world.onset_days, "when the fault begins");
  command->add_option("--fault-hours", simulate_options.world.fault_hours, "how long it lasts");
  command->add_option("--links", simulate_options.world.links,
                      "number of links at the gateway (default 1)");
  command->add_option("--seq-bits", simulate_options.world.seq_bits,
                      "width at which frame numbers wrap");
  command->add_option("--counter-bits", simulate_options.world.counter_bits,
                      "width at which counters wrap");
  command->add_option("--omit", simulate_options.world.omit, "keys to leave out of the reports");
  command->add_flag_callback(
      "--no-rain", [&words] { words.simulate.world.rain = false; }, "a world without rain");
  command->add_option("--truth", simulate_options.truth,
                      "file for what really happened (JSON Lines)");
  command->add_option("--pace", simulate_options.pace,
                      "so many times faster than life (default: at once)");
  command->add_option("--pty", simulate_options.pty,
                      "play the radio at a pseudo-terminal linked at this path");
  return {command, [&words] { return run_simulate(words); }};
}

void add_port(CLI::App* command, PortWords& port) {
  command
      ->add_option("--port", port.port,
                   "serial:PATH, tcp://HOST:PORT, or with --config the name of a port")
      ->required();
  command->add_option("--baud", port.baud, "bits per second of a serial port (default 9600)");
  command->add_option("--parity", port.parity, "none (default), even or odd");
  command->add_option("--flow", port.flow, "none (default) or rts_cts");
}

Command prove_command(CLI::App& app, Words& words) {
  CLI::App* command = app.add_subcommand(
      "prove",
      "acceptance test of a link with numbered frames; `fadeward echo` runs at the far end");
  command->footer(caution_list());
  ProveOptions& prove_options = words.prove;
  add_port(command, prove_options.port);
  command->add_option("--config", words.config,
                      "configuration: other ports of the link tell margins");
  command->add_option("--link", prove_options.link, "with --config: the link that is proved");
  command->add_option("--size", prove_options.octets,
                      "octets of a frame on the wire, 40 to 4096 (default 48)");
  command->add_option("--rate", prove_options.rate_per_s,
                      "frames a second (default 1; 2 with --walk)");
  command->add_option("--for", words.prove_span, "length of the run (default 10m; 1h with --walk)");
  command->add_option("--max-loss", words.max_loss,
                      "share of frames that may be lost, each direction (default 0.01)");
  command->add_option("--max-latency", words.max_latency, "round trips must be within this span");
  command->add_option("--latency-share", prove_options.criteria.latency_share,
                      "so many of them (default 0.99)");
  command->add_option("--min-margin", prove_options.criteria.min_margin_db,
                      "decibels, both directions");
  command->add_option("--confidence", prove_options.criteria.confidence,
                      "of each statement (default 0.95)");
  command->add_option("--wait", words.prove_wait, "how long an answer may take (default 5s)");
  command->add_option("--knock", words.prove_knock,
                      "how long to wait for the far end (default 30s)");
  command->add_option("--json", prove_options.json,
                      "file for the report as JSON; - is standard output, instead of text");
  command->add_option("--html", prove_options.html, "file for the report as a page to sign");
  command->add_flag("--baseline", prove_options.baseline,
                    "with --config and --link: keep an accepted result as baseline for watch");
  command->add_flag("--walk", prove_options.walk,
                    "for aiming antennas: a line a second until Ctrl-C");
  return {command, [&words, command] {
            if (words.prove.walk && command->count("--rate") == 0) words.prove.rate_per_s = 2;
            if (words.prove.walk && command->count("--for") == 0) words.prove_span = "1h";
            return run_prove(words, command->count("--max-loss") > 0);
          }};
}

Command echo_command(CLI::App& app, Words& words) {
  CLI::App* command = app.add_subcommand(
      "echo", "the far end of `fadeward prove`: answers and counts until Ctrl-C");
  command->footer(caution_list());
  add_port(command, words.echo.port);
  command->add_option("--config", words.echo.config, "configuration, for a port given by its name");
  return {command, [&words] { return echo(words.echo); }};
}

int run(int argc, char** argv) {
  Words words;
  CLI::App app{
      "Keeps an eye on licence-free serial radio links: margins of both directions, alerts with "
      "their cause, metrics for monitoring stacks.",
      "fadeward"};
  const std::string version = "fadeward " FADEWARD_VERSION ", built with g++ " __VERSION__;
  app.set_version_flag("--version", version);
  app.require_subcommand(1);
  std::vector<Command> commands;
  for (const auto make :
       {watch_command, check_command, replay_command, budget_command, export_command,
        review_command, simulate_command, prove_command, echo_command}) {
    commands.push_back(make(app, words));
    commands.back().words->set_version_flag("--version", version);
  }
  try {
    app.parse(argc, argv);
  } catch (const CLI::Success& done) {  // --help, --version
    return app.exit(done);
  } catch (const CLI::ParseError& wrong) {
    app.exit(wrong);
    return 2;
  }
  const auto given = std::ranges::find_if(
      commands, [](const Command& command) { return command.words->parsed(); });
  return given->run();
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
