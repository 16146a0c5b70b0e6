// The state of the last run: whatever the file holds is restored or refused, and what was restored
// can be judged, described and saved again.
#include <cstring>
#include <string>
#include <vector>

#include "fadeward/base/settings.hpp"
#include "fadeward/judge/supervisor.hpp"
#include "fadeward/report/canonical.hpp"
#include "fadeward/simulate/world.hpp"
#include "fuzz/fuzz.hpp"
#include "truth/minimal_settings.hpp"

namespace fadeward::fuzz {

namespace {

constexpr std::size_t kSum = 8;  // bytes of the checksum behind the first line
constexpr Duration kStep = std::chrono::minutes{1};

simulate::World world_of(const char* scenario) {
  simulate::Options options;
  options.scenario = scenario;
  options.days = 3;
  options.interval_s = 60;
  auto made = simulate::World::make(options);
  require(static_cast<bool>(made), "the scenario exists");
  return std::move(made).value();
}

/// Plays a world into `core` until `end`; returns its last moment.
Time play(judge::Supervisor& core, simulate::World& world, Time from, Time end) {
  report::CanonicalParser parser;
  LinkReport report;
  std::string line;
  Time at = from, tick_at = from + kStep;
  while (world.next(line, at) && at < end) {
    for (; tick_at <= at; tick_at += kStep) core.tick({tick_at, tick_at.time_since_epoch()});
    report.clear();
    if (!parser.parse(line, report)) continue;
    report.port = kNoPort;
    report.index = kUnresolved;
    core.take(report, {at, at.time_since_epoch()});
    core.clear_events();
  }
  return at;
}

std::vector<std::string> made_seeds() {
  std::vector<std::string> out;
  for (const char* scenario : {"healthy", "path-step", "collisions"}) {
    simulate::World world = world_of(scenario);
    const Time start = world.plan().start;
    judge::Supervisor core(minimal_settings(), {start, start.time_since_epoch()});
    play(core, world, start, start + std::chrono::hours{60});
    out.push_back(core.save());
  }
  return out;
}

const std::vector<std::string>& saved() {
  static const std::vector<std::string> made = made_seeds();
  return made;
}

std::uint64_t checksum(std::string_view bytes) {  // FNV-1a, as supervisor.cpp keeps it
  std::uint64_t h = 0xcbf29ce484222325U;
  for (const char c : bytes) h = (h ^ static_cast<unsigned char>(c)) * 0x100000001b3U;
  return h;
}

/// The bytes with the first line and the checksum that they would need to be read at all.
std::string made_right(std::string_view bytes) {
  const std::string& good = saved().front();
  const std::size_t head = good.find('\n') + 1;
  std::string out = good.substr(0, head);
  const std::string_view payload =
      bytes.size() > head + kSum ? bytes.substr(head + kSum) : std::string_view{};
  const std::uint64_t sum = checksum(payload);
  char number[kSum];
  std::memcpy(number, &sum, kSum);
  out.append(number, kSum);
  return out.append(payload);
}

}  // namespace

std::span<const std::string_view> seeds() {
  static const std::vector<std::string_view> views(saved().begin(), saved().end());
  return views;
}

}  // namespace fadeward::fuzz

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace fadeward;
  const std::string state =
      fuzz::made_right({reinterpret_cast<const char*>(data), size});
  static const Settings settings = minimal_settings();
  simulate::World world = fuzz::world_of("healthy");
  const Time now = world.plan().start + std::chrono::hours{61};
  judge::Supervisor core(settings, {now, now.time_since_epoch()});
  if (!core.restore(state, {now, now.time_since_epoch()})) return 0;
  LinkReport report;
  report.clear();
  report.link = "L1";
  report.port = kNoPort;
  report.index = 0;
  for (int minute = 1; minute <= 130; ++minute) {
    const Time at = now + fuzz::kStep * minute;
    report.set(Field::seq, minute);
    report.set(Field::rssi_dbm, -100);
    report.set(Field::snr_db, 5);
    report.set(Field::noise_dbm, -110);
    report.set(Field::far_rssi_dbm, -100 - minute % 7);
    report.set(Field::far_snr_db, 4);
    report.set(Field::channel, minute % 50);
    report.set(Field::tx_frames, 10 * minute);
    core.take(report, {at, at.time_since_epoch()});
    core.tick({at, at.time_since_epoch()});
    core.clear_events();
  }
  const Time end = now + fuzz::kStep * 131;
  const auto snapshot = core.snapshot({end, end.time_since_epoch()});
  fuzz::require(snapshot->links.size() == 1, "every link is described");
  judge::Supervisor again(settings, {end, end.time_since_epoch()});
  fuzz::require(static_cast<bool>(again.restore(core.save(), {end, end.time_since_epoch()})),
                "what is saved can be restored");
  return 0;
}
