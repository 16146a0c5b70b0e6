#include "fadeward/simulate/valley_years.hpp"

#include <array>
#include <numeric>
#include <utility>

namespace fadeward::simulate {
namespace {

using std::chrono::hours;
using std::chrono::minutes;

constexpr double kDayS = 86400.0;
constexpr std::uint64_t kLeafStreams = 8;  ///< random streams, one a link: between plan and links

class Builder {
 public:
  Builder(Plan& plan, const Options& options, Random& random)
      : plan_(plan), options_(options), random_(random) {}

  void build() {
    plan_.interval = seconds_to_duration(options_.interval_s.value_or(60.0));
    plan_.links.resize(4);
    for (LinkPlan& each : plan_.links) each = plan_.links.front();
    name(plan_.links[0], "weir", -92, 0.2);
    name(plan_.links[1], "ridge", -101, -0.3);
    name(plan_.links[2], "sluice", -102, 0.4);
    name(plan_.links[3], "quarry", -98, -0.1);
    weir(plan_.links[0]);
    ridge(plan_.links[1]);
    sluice(plan_.links[2]);
    quarry(plan_.links[3]);
  }

 private:
  void name(LinkPlan& link, const char* name, double signal_dbm, double asymmetry_db) {
    link.name = name;
    const double level_dbm = options_.signal_dbm.value_or(signal_dbm);
    link.inbound_signal_dbm = level_dbm + asymmetry_db;
    link.outbound_signal_dbm = level_dbm - asymmetry_db;
  }

  Time day(double days) const { return plan_.start + seconds_to_duration(kDayS * days); }
  /// Within a week of it, at a working hour.
  Time about(double days) {
    return std::chrono::floor<std::chrono::days>(day(days + random_.uniform(-7, 7))) +
           seconds_to_duration(3600 * random_.uniform(7, 16));
  }
  double around(double size) { return size * random_.uniform(0.9, 1.1); }

  Fault growing(Cause cause, Time from, double days, double size_db) {
    Fault out;
    out.cause = cause;
    out.shape = Shape::drift;
    out.from = from;
    out.ramp = seconds_to_duration(kDayS * days);
    out.size = around(size_db);
    return out;
  }

  /// From a stream of its own: a longer world has the same summers and more.
  void leaves(LinkPlan& link, double loss_db) {
    Random random(plan_.seed, kLeafStreams + static_cast<std::uint64_t>(&link - plan_.links.data()));
    const std::chrono::year_month_day first = std::chrono::floor<std::chrono::days>(plan_.start);
    const std::chrono::year_month_day last =
        std::chrono::floor<std::chrono::days>(plan_.start + plan_.length);
    for (auto year = first.year(); year <= last.year(); ++year) {
      const Time begin{std::chrono::sys_days{year / std::chrono::January / 1}};
      Foliage one;
      one.out = begin + seconds_to_duration(kDayS * (121 + random.uniform(-6, 6)));
      one.fallen = begin + seconds_to_duration(kDayS * (289 + random.uniform(-6, 6)));
      one.loss_db = loss_db * random.uniform(0.9, 1.1);
      link.foliage.push_back(one);
    }
  }

  void weir(LinkPlan& link) {
    link.rain_factor = 0.4;
    link.faults.push_back(growing(Cause::path, about(490), 12, 4));
    const Time exchanged = about(1190);
    link.outages.push_back({Cause::restart, exchanged, exchanged + minutes(25), false, true});
    link.power_steps.push_back({exchanged, 0, -3});
  }

  void ridge(LinkPlan& link) {
    link.rain_factor = 1.3;
    link.aging_db_per_year = 0.9;
    leaves(link, 1.5);
    const Time storm = day(291) + hours(2);
    link.outages.push_back({Cause::silent, storm, storm + hours(11), false, true});
  }

  void sluice(LinkPlan& link) {
    leaves(link, 4);
    const Time visit = day(1082);
    const Time mended = visit + hours(12) + minutes(30);
    Fault water = growing(Cause::far_antenna, about(880), 90, 3);
    water.per_rain_db = 0.8;
    water.until = mended;
    Fault worse = growing(Cause::far_antenna, about(1010), 4, 3);
    worse.until = mended;
    link.faults = {water, worse};
    link.visits.push_back({visit + hours(8), visit + hours(15), "mast visit"});
    link.outages.push_back({Cause::restart, visit + hours(10), mended, false, true});
  }

  void quarry(LinkPlan& link) {
    link.fading_k_db = 7;
    std::array<std::uint16_t, 9> taken{};
    // A transmitter a few channels wide: neighbours, not any nine.
    const auto first = static_cast<std::uint16_t>(random_.below(40));
    std::iota(taken.begin(), taken.end(), first);
    Fault neighbour;
    neighbour.cause = Cause::far_channels;
    neighbour.from = about(700);
    neighbour.until = about(930);
    neighbour.size = around(8);
    neighbour.channels.assign(taken.begin(), taken.begin() + 6);
    Fault more = neighbour;
    more.from = about(760);
    more.channels.assign(taken.begin() + 6, taken.end());
    link.faults = {neighbour, more};
  }

  Plan& plan_;
  const Options& options_;
  Random& random_;
};

}  // namespace

void build_valley_years(Plan& plan, const Options& options, Random& random) {
  Builder(plan, options, random).build();
}

}  // namespace fadeward::simulate
