#include "fadeward/judge/supervisor.hpp"

#include <algorithm>
#include <map>

#include "fadeward/base/archive.hpp"
#include "fadeward/base/checksum.hpp"
#include "fadeward/judge/link_judge.hpp"
#include "fadeward/judge/link_table.hpp"
#include "fadeward/judge/port_judge.hpp"

namespace fadeward::judge {

namespace {

constexpr Duration kTogether = std::chrono::hours{6};   // changes of links of one port that belong together
constexpr Duration kClockStep = std::chrono::seconds{2};      // less is slewing
constexpr Duration kOldestReport = std::chrono::hours{1};     // told times before that are not believed
constexpr Duration kFutureReport = std::chrono::seconds{60};
constexpr std::string_view kMagic = "fadeward state 15\n";

std::int64_t minute_of(Time at) { return std::chrono::floor<std::chrono::minutes>(at).time_since_epoch().count(); }

}  // namespace

struct Supervisor::State {
  State(const Settings& s, Instant start, SupervisorOptions o)
      : settings(s), options(o), table(s, o.recording), last(start), minute(minute_of(start.wall)) {
    links.reserve(s.links.size());
    for (const LinkSettings& link : s.links) links.emplace_back(link, o.keep_intervals, start.wall);
    ports.reserve(s.ports.size());
    for (const PortSettings& port : s.ports) ports.emplace_back(port, start.wall);
    bind_ports();
    keep_bins();
  }

  void keep_bins() {
    for (LinkJudge& link : links)
      for (const Direction d : {Direction::inbound, Direction::outbound})
        link.state().direction(d).keep_closed = options.keep_bins;
  }

  AlertBook::Owner link_owner(std::size_t link) { return {static_cast<LinkIndex>(link), kNoPort, &events}; }
  AlertBook::Owner port_owner(std::size_t port) { return {kNoLink, static_cast<PortIndex>(port), &events}; }

  void bind_ports() {
    for (LinkJudge& link : links) {
      link.bound_port = kNoPort;
      const std::string& wanted = link.settings().match.port;
      for (std::size_t p = 0; p < ports.size(); ++p)
        if (ports[p].name() == wanted || (wanted.empty() && ports.size() == 1))
          link.bound_port = static_cast<PortIndex>(p);
    }
  }

  /// A link that names no port stays with the one that it was first heard on, while there is one of
  /// this name.
  void bind_to(std::string_view port, LinkJudge& link) {
    for (std::size_t p = 0; p < ports.size(); ++p)
      if (link.bound_port == kNoPort && ports[p].name() == port)
        link.bound_port = static_cast<PortIndex>(p);
  }
  /// Name of the port that a link belongs to; empty: none yet.
  std::string heard_on(const LinkJudge& link) const {
    return link.bound_port < ports.size() ? ports[link.bound_port].name() : std::string();
  }

  /// Follows both clocks. A step of the wall clock moves every time that is kept, so that ages and
  /// hold times stay what they were.
  Time advance(Instant now) {
    if (options.recording) {
      last.wall = std::max(last.wall, now.wall);
      return last.wall;
    }
    const Duration step = (now.wall - last.wall) - (now.steady - last.steady);
    if (std::chrono::abs(step) > kClockStep) {
      ++clock_steps;
      for (LinkJudge& link : links) link.shift(step);
      for (PortJudge& port : ports) port.shift(step);
      minute = minute_of(now.wall);
    }
    last = now;
    return now.wall;
  }

  /// The time to book a report at. Its own time counts where it can be true.
  Time time_of(const LinkReport& report, Time now) {
    if (!report.timed) return now;
    if (options.recording) return report.time;
    if (report.time > now - kOldestReport && report.time <= now + kFutureReport)
      return std::min(report.time, now);
    if (report.port < ports.size()) ports[report.port].note_retimed();
    return now;
  }

  /// What the links of each port have in common.
  void compare_links(Time now) {
    ports_said.resize(ports.size());
    for (PortSaid& said : ports_said) said = {};
    for (const LinkJudge& link : links) {
      if (link.bound_port >= ports.size()) continue;
      PortSaid& said = ports_said[link.bound_port];
      const bool heard = link.up(now);
      link.suspicions().append_near_side(said.near_side, heard);
      if (!heard) continue;
      ++said.active;
      if (link.suspicions().inbound_signal_changed(now - kTogether)) ++said.changed;
    }
    for (std::size_t p = 0; p < ports.size(); ++p)
      ports_said[p].told = judge_port(ports_said[p].near_side, ports_said[p].active, now, ports[p].alerts(), port_owner(p));
  }

  Company company_of(std::size_t link, PortIndex port, Time now) const {
    const PortSaid& said = ports_said[port];
    Company company;
    company.many = said.active >= 3;
    company.told_for_port = said.told;
    const std::size_t own = links[link].suspicions().inbound_signal_changed(now - kTogether) ? 1 : 0;
    company.others_unchanged = said.active >= 2 && said.changed <= own;
    return company;
  }

  void judge_minute(Time now) {
    for (std::size_t i = 0; i < links.size(); ++i) {
      if (i + 2 < links.size()) links[i + 2].prefetch_head(-1);
      if (i + 1 < links.size()) links[i + 1].prefetch();
      const PortIndex port = links[i].bound_port;
      links[i].watch(now);
      links[i].judge(now, port < ports.size() ? ports[port].view() : PortView{}, link_owner(i));
    }
    compare_links(now);
    for (std::size_t i = 0; i < links.size(); ++i) {
      const PortIndex port = links[i].bound_port;
      links[i].tell(now, port < ports.size() ? company_of(i, port, now) : Company{}, link_owner(i));
    }
  }

  Settings settings;
  SupervisorOptions options;
  LinkTable table;
  std::vector<LinkJudge> links;
  std::vector<PortJudge> ports;
  struct PortSaid {   // of the minute under way
    std::vector<NearSide> near_side;
    std::size_t active = 0;
    std::size_t changed = 0;
    CauseSet told;
  };
  std::vector<PortSaid> ports_said;
  std::vector<Event> events;
  Instant last;
  std::int64_t minute;
  std::uint64_t clock_steps = 0;
  std::uint64_t events_total = 0;      ///< events ever emitted and drained
  std::uint64_t events_at_save = 0;
};

Supervisor::Supervisor(const Settings& settings, Instant start, SupervisorOptions options)
    : state_(std::make_unique<State>(settings, start, options)) {}
Supervisor::~Supervisor() = default;
Supervisor::Supervisor(Supervisor&&) noexcept = default;
Supervisor& Supervisor::operator=(Supervisor&&) noexcept = default;

std::size_t Supervisor::link_count() const { return state_->links.size(); }

LinkIndex Supervisor::resolve(LinkReport& report) const {
  report.index = state_->table.find(report.port, report.link);
  return report.index;
}

void Supervisor::take(const LinkReport& report, Instant now) {
  State& s = *state_;
  const Time wall = s.advance(now);
  const LinkIndex index = report.index == kUnresolved ? s.table.find(report.port, report.link) : report.index;
  PortJudge* port = report.port < s.ports.size() ? &s.ports[report.port] : nullptr;
  if (index >= s.links.size()) {
    if (port != nullptr) port->note_unmatched(report.link);
    return;
  }
  LinkJudge& link = s.links[index];
  if (port != nullptr) {
    // One name on two ports is two radios: the first one heard keeps it.
    if (link.bound_port == kNoPort) link.bound_port = report.port;
    if (link.bound_port != report.port) {
      port->note_unmatched(report.link);
      return;
    }
    port->note_report(wall);
  }
  link.take(report, s.time_of(report, wall), wall, s.link_owner(index));
}

void Supervisor::prepare(const LinkReport* later, const LinkReport* soon) const {
  const std::vector<LinkJudge>& links = state_->links;
  if (later != nullptr && later->index < links.size())
    links[later->index].prefetch_head(later->has(Field::channel) ? (*later)[Field::channel] : -1);
  if (soon != nullptr && soon->index < links.size()) links[soon->index].prefetch();
}

void Supervisor::note(const PortEvent& event, Instant now) {
  State& s = *state_;
  const Time wall = s.advance(now);
  if (event.port >= s.ports.size()) return;
  if (!s.ports[event.port].note(event, wall, s.port_owner(event.port))) return;
  for (LinkJudge& link : s.links)
    if (link.bound_port == event.port) link.state().gap_unknown();
}

void Supervisor::tick(Instant now) {
  State& s = *state_;
  const Time wall = s.advance(now);
  for (std::size_t i = 0; i < s.ports.size(); ++i) s.ports[i].judge(wall, s.port_owner(i));
  const std::int64_t minute = minute_of(wall);
  if (minute == s.minute) return;
  s.minute = minute;
  s.judge_minute(wall);
}

std::span<const Event> Supervisor::events() const { return state_->events; }

void Supervisor::clear_events() {
  state_->events_total += state_->events.size();
  state_->events.clear();
}

SnapshotPtr Supervisor::snapshot(Instant now) const {
  State& s = *state_;
  const Time wall = s.options.recording ? std::max(s.last.wall, now.wall) : now.wall;
  auto out = std::make_shared<Snapshot>();
  out->time = wall;
  out->clock_trusted = s.options.recording || believable(wall);
  out->clock_steps = s.clock_steps;
  const auto detail =
      s.settings.metrics.channels ? LinkJudge::Detail::channels : LinkJudge::Detail::all;
  out->links.reserve(s.links.size());
  for (std::size_t i = 0; i < s.links.size(); ++i) {
    out->links.push_back(s.links[i].describe(wall, detail));
    s.links[i].alerts().append_states({static_cast<LinkIndex>(i), kNoPort, nullptr}, out->alerts);
  }
  out->ports.reserve(s.ports.size());
  for (std::size_t i = 0; i < s.ports.size(); ++i) {
    out->ports.push_back(s.ports[i].describe());
    s.ports[i].alerts().append_states({kNoLink, static_cast<PortIndex>(i), nullptr}, out->alerts);
  }
  return out;
}

DirectionSnapshot Supervisor::interval_snapshot(LinkIndex index, Direction direction, Instant now) {
  State& s = *state_;
  LinkJudge& link = s.links[index];
  DirectionSnapshot out = link.describe(direction, s.advance(now), LinkJudge::Detail::window);
  if (const auto taken = link.state().direction(direction).interval.take())
    out.interval = {taken->frames, taken->lost, taken->signal_median_dbm, taken->noise_median_dbm};
  return out;
}

void Supervisor::reconfigure(const Settings& settings, Instant now) {
  State& old = *state_;
  const Time wall = old.advance(now);
  auto fresh = std::make_unique<State>(settings, old.last, old.options);
  fresh->events = std::move(old.events);
  fresh->events_total = old.events_total;
  fresh->events_at_save = old.events_at_save;
  fresh->clock_steps = old.clock_steps;
  fresh->minute = old.minute;
  std::map<std::string, std::size_t, std::less<>> link_at, port_at;
  for (std::size_t i = 0; i < settings.links.size(); ++i) link_at[settings.links[i].name] = i;
  for (std::size_t i = 0; i < settings.ports.size(); ++i) port_at[settings.ports[i].name] = i;
  std::vector<std::string> heard_on(settings.links.size());
  for (std::size_t i = 0; i < old.links.size(); ++i) {
    const auto it = link_at.find(old.links[i].name());
    if (it == link_at.end()) {
      // The index means nothing in the new settings: the text names the link.
      old.links[i].alerts().clear_all({kNoLink, kNoPort, &fresh->events}, wall,
                                      "Link " + old.links[i].name() + " was removed from the configuration.");
      continue;
    }
    heard_on[it->second] = old.heard_on(old.links[i]);
    fresh->links[it->second] = std::move(old.links[i]);
    fresh->links[it->second].reconfigure(settings.links[it->second]);
  }
  fresh->bind_ports();
  for (std::size_t i = 0; i < old.ports.size(); ++i) {
    const auto it = port_at.find(old.ports[i].name());
    if (it == port_at.end()) {
      old.ports[i].alerts().clear_all({kNoLink, kNoPort, &fresh->events}, wall,
                                      "Port " + old.ports[i].name() + " was removed from the configuration.");
      continue;
    }
    fresh->ports[it->second] = std::move(old.ports[i]);
    fresh->ports[it->second].reconfigure(settings.ports[it->second]);
  }
  for (std::size_t i = 0; i < fresh->links.size(); ++i) fresh->bind_to(heard_on[i], fresh->links[i]);
  state_ = std::move(fresh);
}

void Supervisor::take_bins(const std::function<void(LinkIndex, Direction, Bin&)>& visit) {
  State& s = *state_;
  for (std::size_t i = 0; i < s.links.size(); ++i)
    for (const Direction d : {Direction::inbound, Direction::outbound}) {
      std::vector<Bin>& closed = s.links[i].state().direction(d).closed;
      for (Bin& bin : closed) visit(static_cast<LinkIndex>(i), d, bin);
      closed.clear();
    }
}

void Supervisor::end_bins() {
  for (LinkJudge& link : state_->links)
    for (const Direction d : {Direction::inbound, Direction::outbound}) link.state().direction(d).end_bin();
}

std::uint64_t Supervisor::bins_dropped() const {
  std::uint64_t sum = 0;
  for (LinkJudge& link : state_->links)
    for (const Direction d : {Direction::inbound, Direction::outbound})
      sum += link.state().direction(d).closed_dropped;
  return sum;
}

// ---- state over a restart ------------------------------------------------------------------

std::string Supervisor::save() const {
  State& s = *state_;
  std::string payload;
  ArchiveWriter writer(payload);
  writer(s.last.wall);
  const auto put = [&](auto& units) {
    auto count = static_cast<std::uint32_t>(units.size());
    writer(count);
    for (auto& unit : units) {
      std::string name = unit.name(), bytes;
      ArchiveWriter one(bytes);
      unit.archive(one);
      writer(name, bytes);
    }
  };
  put(s.links);
  put(s.ports);
  for (const LinkJudge& link : s.links) {
    std::string port = s.heard_on(link);
    writer(port);
  }
  writer(s.options.boot, s.last.steady);
  s.events_at_save = s.events_total + s.events.size();

  std::string out{kMagic};
  ArchiveWriter frame(out);
  std::uint64_t sum = checksum_of(payload);
  frame(sum);
  return out + payload;
}

Status Supervisor::restore(std::string_view bytes, Instant now) {
  State& s = *state_;
  if (!bytes.starts_with(kMagic)) return Error{"not a state file of this version"};
  bytes.remove_prefix(kMagic.size());
  std::uint64_t sum = 0;
  ArchiveReader head(bytes);
  head(sum);
  if (!head.ok()) return Error{"state file is cut short"};
  bytes.remove_prefix(sizeof sum);
  if (sum != checksum_of(bytes)) return Error{"state file is damaged: its checksum does not match"};

  auto fresh = std::make_unique<State>(s.settings, now, s.options);
  ArchiveReader reader(bytes);
  Time saved{};
  reader(saved);
  std::vector<LinkJudge*> saved_links;  // in the order of the file; gone ones are null
  const auto get = [&](auto& units, auto&& note) {
    std::uint32_t count = 0;
    reader(count);
    for (std::uint32_t i = 0; i < count && reader.ok(); ++i) {
      std::string name, one;
      reader(name, one);
      const auto it = std::ranges::find_if(units, [&](const auto& unit) { return unit.name() == name; });
      note(it == units.end() ? nullptr : &*it);
      if (it == units.end()) continue;
      ArchiveReader unit(one);
      it->archive(unit);
      if (!unit.ok() || !unit.at_end()) reader.fail();
    }
  };
  get(fresh->links, [&](LinkJudge* link) { saved_links.push_back(link); });
  get(fresh->ports, [](PortJudge*) {});
  for (LinkJudge* link : saved_links) {
    std::string port;
    reader(port);
    if (link != nullptr) fresh->bind_to(port, *link);
  }
  std::string boot;
  Duration steady{};
  if (!reader.at_end()) reader(boot, steady);  // earlier ones do not have it
  if (!reader.ok() || !reader.at_end()) return Error{"state file does not hold what it says"};
  const auto each_direction = [&](auto work) {
    for (LinkJudge& link : fresh->links)
      for (const Direction d : {Direction::inbound, Direction::outbound}) work(link.state().direction(d));
  };
  const auto shift = [&](Duration step) {
    for (LinkJudge& link : fresh->links) link.shift(step);
    for (PortJudge& port : fresh->ports) port.shift(step);
  };
  const bool same_boot = !boot.empty() && boot == fresh->options.boot;
  if (same_boot) {
    const Duration step = (now.wall - saved) - (now.steady - steady);
    if (std::chrono::abs(step) > kClockStep) shift(step);
  } else if (!believable(saved) && !fresh->options.recording) {
    // When that was nobody knows, nor how long ago.
    each_direction([](auto& direction) { direction.drop_bin(); });
  }
  // A clock that stands before the save has lost its time: keep ages as they would be at once. The
  // quarter hour under way belongs to the time before.
  if (!same_boot && saved > now.wall) {
    if (fresh->options.keep_bins) each_direction([](auto& direction) { direction.end_bin(); });
    shift(now.wall - saved);
  }
  // A quarter hour that ended meanwhile: its frames are still in the window, and soon too old for it.
  each_direction([&](auto& direction) { direction.end_bin_before(now.wall); });
  fresh->clock_steps = s.clock_steps;
  state_ = std::move(fresh);
  return success();
}

bool Supervisor::alerts_changed_since_save() const {
  return state_->events_total + state_->events.size() != state_->events_at_save;
}

}  // namespace fadeward::judge
