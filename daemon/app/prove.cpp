// The near end of an acceptance test: options and files around a run.
#include <cerrno>
#include <cmath>
#include <csignal>
#include <cstdio>
#include <cstring>

#include "fadeward/app/commands.hpp"
#include "fadeward/app/config_file.hpp"
#include "fadeward/app/proof_store.hpp"
#include "fadeward/app/proving_run.hpp"
#include "fadeward/base/text.hpp"
#include "fadeward/prove/words.hpp"

namespace fadeward::app {

namespace {

int refuse(const std::string& why) {
  std::fprintf(stderr, "fadeward: prove: %s\n", why.c_str());
  return 2;
}

/// A file that cannot be written should be known before the run, not after it.
Status try_file(const std::string& path) {
  if (path.empty() || path == "-") return success();
  std::FILE* file = std::fopen(path.c_str(), "ab");
  if (file == nullptr) return Error{path + ": " + std::strerror(errno)};
  std::fclose(file);
  return success();
}

bool put_file(const std::string& path, const std::string& text) {
  if (path.empty()) return true;
  std::FILE* file = path == "-" ? stdout : std::fopen(path.c_str(), "wb");
  bool fine = file != nullptr && std::fwrite(text.data(), 1, text.size(), file) == text.size();
  if (file == stdout)
    fine = std::fflush(stdout) == 0 && fine;
  else if (file != nullptr)
    fine = std::fclose(file) == 0 && fine;
  if (!fine) std::fprintf(stderr, "fadeward: prove: %s: %s\n", path.c_str(), std::strerror(errno));
  return fine;
}

/// Start, data, parity and stop bits.
int bits_per_octet(const SerialSettings& serial) {
  return 1 + serial.data_bits + (serial.parity != SerialSettings::Parity::none ? 1 : 0) +
         serial.stop_bits;
}

Status check_rate(const ProveOptions& options, const PortSettings& port) {
  if (port.source != SourceKind::serial) return success();
  const double most =
      port.serial.baud / (static_cast<double>(options.octets) * bits_per_octet(port.serial));
  if (options.rate_per_s <= most) return success();
  std::string text = "--rate: at " + std::to_string(port.serial.baud) + " baud at most ";
  append_rounded(text, std::floor(most * 100) / 100, 2);
  return Error{text + " frames of " + std::to_string(options.octets) + " octets a second"};
}

std::string conflicts(const ProveOptions& options) {
  if (!options.link.empty() && options.config.empty()) return "--link needs --config";
  if (options.criteria.min_margin_db && (options.config.empty() || options.link.empty()))
    return "--min-margin needs --config and --link: margins come from what the link's ports report";
  if (options.baseline && (options.config.empty() || options.link.empty()))
    return "--baseline needs --config and --link";
  if (options.baseline && options.walk) return "--baseline does not go with --walk";
  return "";
}

StoredProof stored(const prove::Proof& proof) {
  StoredProof out;
  out.link = proof.link;
  out.from = proof.from;
  out.to = proof.to;
  for (std::size_t d = 0; d < kDirections; ++d) out.margins_db[d] = proof.margins[d].margin_db;
  out.note = "proved: " + prove::count_words(proof.tally.trips.answered, "frame", "frames") +
             " of " + std::to_string(proof.tally.trips.sent) + " there and back";
  if (proof.tally.latency)
    out.note += ", median " + prove::seconds_words(proof.tally.latency->median_s);
  return out;
}

bool keep_baseline(const prove::Proof& proof, const std::string& dir) {
  if (proof.verdict.outcome != prove::Outcome::passed) {
    std::fputs("Not stored as baseline: the link was not accepted.\n", stderr);
    return true;
  }
  const StoredProof proved = stored(proof);
  const Status kept = store_proof(dir, proved);
  if (!kept) {
    std::fprintf(stderr, "fadeward: prove: %s\n", kept.error().message.c_str());
    return false;
  }
  const bool measured = proved.margins_db[0] || proved.margins_db[1];
  std::fprintf(
      stderr,
      "Stored as baseline in %s; fadeward watch takes it with its next start or SIGHUP.%s\n",
      dir.c_str(), measured ? "" : " It holds no margin to compare with: none was measured.");
  return true;
}

int report(const ProveOptions& options, const prove::Proof& proof, const Settings* settings) {
  bool fine = options.json == "-" || options.html == "-" || put_file("-", prove::to_text(proof));
  fine = put_file(options.json, options.json.empty() ? "" : prove::to_json(proof)) && fine;
  fine = put_file(options.html, options.html.empty() ? "" : prove::to_html(proof)) && fine;
  if (options.baseline) fine = keep_baseline(proof, settings->history.dir) && fine;
  if (!fine) return 1;
  return proof.verdict.outcome == prove::Outcome::passed ? 0 : 3;
}

}  // namespace

int prove_link(const ProveOptions& options) {
  if (const std::string why = conflicts(options); !why.empty()) return refuse(why);
  std::optional<Settings> settings;
  const LinkSettings* link = nullptr;
  if (!options.config.empty()) {
    auto loaded = load_settings(options.config);
    if (!loaded) {
      std::fprintf(stderr, "%s\n", loaded.error().message.c_str());
      return 2;
    }
    settings = std::move(loaded).value();
    std::string names;
    for (const LinkSettings& one : settings->links) {
      names += (names.empty() ? "" : ", ") + one.name;
      if (one.name == options.link) link = &one;
    }
    if (!options.link.empty() && link == nullptr)
      return refuse("--link " + printable(options.link) + ": no such link; there are: " + names);
    if (options.baseline && settings->history.dir.empty())
      return refuse("--baseline needs history: { dir: ... } in " + options.config);
  }
  const auto port = port_of(options.port, settings ? &*settings : nullptr);
  if (!port) return refuse(port.error().message);
  if (const Status fits = check_rate(options, *port); !fits) return refuse(fits.error().message);
  for (const std::string& file : {options.json, options.html})
    if (const Status writable = try_file(file); !writable) return refuse(writable.error().message);

  std::signal(SIGPIPE, SIG_IGN);
  ProvingRun run(options, *port);
  if (link != nullptr) {
    auto watch = MarginWatch::make(run.io(), *settings, options.link, *port);
    if (!watch) return refuse(watch.error().message);
    run.watch_margins(std::move(watch).value());
  }
  if (!options.walk)
    std::fprintf(stderr, "%s\n",
                 prove::prospect(ProvingRun::planned_frames(options), options.criteria).c_str());
  const std::string trouble = run.run();
  if (!trouble.empty()) {
    std::fprintf(stderr, "fadeward: prove: port: %s\n", trouble.c_str());
    if (run.proof().tally.probes == 0) return 1;
  }
  if (options.walk) return 0;
  prove::Proof proof = run.proof();
  if (link != nullptr) {
    proof.near_height_m = link->budget.near.height_m;
    proof.far_height_m = link->budget.far.height_m;
  }
  return report(options, proof, settings ? &*settings : nullptr);
}

}  // namespace fadeward::app
