#include "fadeward/app/margin_watch.hpp"

#include <algorithm>

namespace fadeward::app {

namespace {

constexpr std::chrono::seconds kTick{1};
constexpr std::chrono::seconds kRecent{10};

bool same_source(const PortSettings& a, const PortSettings& b) {
  return a.source == b.source && a.path == b.path && a.host == b.host &&
         a.tcp_udp_port == b.tcp_udp_port;
}

}  // namespace

MarginWatch::MarginWatch(const Settings& settings, LinkIndex link)
    : settings_(settings), link_(link), supervisor_(settings_, clock_.now()) {}

Result<std::unique_ptr<MarginWatch>> MarginWatch::make(boost::asio::io_context& io,
                                                       const Settings& settings,
                                                       const std::string& link,
                                                       const PortSettings& proved) {
  const auto found = std::ranges::find(settings.links, link, &LinkSettings::name);
  if (found == settings.links.end()) return Error{"link " + link + " is not configured"};
  auto watch = std::unique_ptr<MarginWatch>(
      new MarginWatch(settings, static_cast<LinkIndex>(found - settings.links.begin())));
  for (PortIndex i = 0; i < watch->settings_.ports.size(); ++i) {
    const PortSettings& port = watch->settings_.ports[i];
    const bool may_tell = found->match.port.empty() || found->match.port == port.name;
    if (!may_tell || same_source(port, proved)) continue;
    auto feed = PortFeed::make(io, i, port, watch->clock_, watch->supervisor_);
    if (!feed) return feed.error();
    watch->feeds_.push_back(std::move(feed).value());
  }
  return watch;
}

void MarginWatch::start() {
  for (const auto& feed : feeds_) feed->start();
}

void MarginWatch::stop() {
  for (const auto& feed : feeds_) feed->stop();
}

void MarginWatch::tick() {
  const Instant now = clock_.now();
  if (now.steady - ticked_ < kTick) return;
  ticked_ = now.steady;
  supervisor_.tick(now);
  supervisor_.clear_events();
}

void MarginWatch::begin_anew() {
  const Instant now = clock_.now();
  supervisor_ = judge::Supervisor(settings_, now);
  begun_ = now.steady;
}

MarginWatch::MarginsDb MarginWatch::recent_margins_db() {
  const Duration now = clock_.now().steady;
  const prove::MeasuredMargins measured = margins();
  for (std::size_t d = 0; d < kDirections; ++d)
    if (measured[d].margin_db) {
      recent_db_[d] = measured[d].margin_db;
      recent_at_[d] = now;
    } else if (now - recent_at_[d] > kRecent) {
      recent_db_[d].reset();
    }
  if (now - begun_ >= kRecent) begin_anew();
  return recent_db_;
}

prove::MeasuredMargins MarginWatch::margins() const {
  const auto snapshot = supervisor_.snapshot(clock_.now());
  prove::MeasuredMargins out;
  for (std::size_t d = 0; d < kDirections; ++d) {
    const judge::DirectionSnapshot& from = snapshot->links[link_].directions[d];
    out[d] = {from.margin_db, from.margin_stderr_db, from.signal_dbm, from.noise_dbm, from.reports};
  }
  return out;
}

std::string MarginWatch::note(const prove::MeasuredMargins& margins) const {
  if (feeds_.empty())
    return "Margins were not measured: the configuration has no other port that reports on this "
           "link.";
  std::string names;
  for (const auto& feed : feeds_) names += (names.empty() ? "" : ", ") + feed->settings().name;
  if (margins[0].reports + margins[1].reports == 0)
    return "Margins were not measured: no report on this link came from " + names + ".";
  return "Margins are medians of what " + names +
         " reported during the run (its last hour where longer).";
}

}  // namespace fadeward::app
