#include "fadeward/simulate/world.hpp"

#include <algorithm>
#include <array>
#include <cstdint>
#include <deque>
#include <utility>
#include <vector>

#include "fadeward/base/text.hpp"
#include "fadeward/simulate/gauss_markov.hpp"
#include "fadeward/simulate/link_model.hpp"
#include "fadeward/simulate/report_line.hpp"
#include "fadeward/simulate/truth.hpp"
#include "fadeward/simulate/weather.hpp"

namespace fadeward::simulate {
namespace {

constexpr std::uint64_t kGatewayStream = 1;  // links begin at 16
constexpr Duration kHour = std::chrono::hours(1);

std::uint64_t mask_of(int bits) {
  return bits >= 64 ? ~std::uint64_t{0} : (std::uint64_t{1} << static_cast<unsigned>(bits)) - 1;
}

}  // namespace

class World::Impl {
 public:
  Impl(Plan given, bool truth)
      : plan(std::move(given)),
        truth_wanted_(truth),
        end_(plan.start + plan.length),
        weather_(plan.showers),
        near_noise_(plan.links.front().noise_sd_db, plan.links.front().noise_time, plan.start,
                    Random(plan.seed, kGatewayStream)),
        hour_end_(std::chrono::floor<std::chrono::hours>(plan.start) + kHour) {
    style_.omitted = plan.omitted;
    style_.seq_mask = mask_of(plan.seq_bits);
    style_.counter_mask = mask_of(plan.counter_bits);
    for (std::size_t i = 0; i < plan.links.size(); ++i) add_link(i);
    std::make_heap(queue_.begin(), queue_.end(), later);
    if (truth_wanted_) {
      truth_ = world_line(plan) + "\n";
      story_ = story_lines(plan);
    }
  }

  bool next(std::string& line, Time& time) {
    while (!queue_.empty()) {
      std::pop_heap(queue_.begin(), queue_.end(), later);
      Turn& turn = queue_.back();
      if (turn.time >= end_) {
        queue_.pop_back();
        continue;
      }
      time = turn.time;
      Site& site = sites_[turn.site];
      advance(turn, site);
      std::push_heap(queue_.begin(), queue_.end(), later);
      if (run(site, time, line)) return true;
    }
    finish();
    return false;
  }

  std::string take_truth() { return std::exchange(truth_, {}); }

  const Plan plan;

 private:
  struct Site {
    LinkModel model;
    std::string link_json;
    Random jitter;
    Time due;  // without jitter
    std::array<TruthHour, kDirections> hours;
  };
  struct Turn {
    Time time;
    std::uint32_t site;
  };
  static bool later(const Turn& a, const Turn& b) {
    return a.time != b.time ? a.time > b.time : a.site > b.site;
  }

  void add_link(std::size_t i) {
    // The clocks of the links are not in step: each has its own phase within the interval.
    Random clock(plan.seed, (i + 1) * 16 + 15);
    const Duration phase =
        seconds_to_duration(duration_to_seconds(plan.interval) * clock.uniform(0.05, 0.95));
    std::string name;
    append_json_string(name, plan.links[i].name);
    sites_.push_back({LinkModel(plan.links[i], plan.seed, i, plan.start, plan.interval),
                      std::move(name),
                      clock,
                      plan.start + phase,
                      {}});
    queue_.push_back({plan.start + phase, static_cast<std::uint32_t>(i)});
  }

  void advance(Turn& turn, Site& site) {
    site.due += plan.interval;
    const double jitter_s = std::min(0.05, 0.01 * duration_to_seconds(plan.interval));
    turn.time = site.due + seconds_to_duration(jitter_s * (2.0 * site.jitter.uniform() - 1.0));
  }

  bool run(Site& site, Time time, std::string& line) {
    if (truth_wanted_) {
      while (time >= hour_end_) close_hour();
    }
    const Exchange* exchange =
        site.model.step(time, {weather_.loss_db(time), near_noise_.at(time)});
    if (exchange == nullptr) return false;
    if (truth_wanted_) {
      site.hours[static_cast<std::size_t>(Direction::inbound)].add(exchange->inbound);
      site.hours[static_cast<std::size_t>(Direction::outbound)].add(exchange->outbound);
    }
    if (!exchange->inbound.heard) return false;
    write_report(line, site.link_json, *exchange, style_);
    return true;
  }

  void close_hour() {
    for (; told_ < story_.size() && story_[told_].first < hour_end_; ++told_) {
      truth_ += story_[told_].second;
      truth_ += '\n';
    }
    for (Site& site : sites_) {
      for (const Direction direction : {Direction::inbound, Direction::outbound}) {
        site.hours[static_cast<std::size_t>(direction)].close(truth_, hour_end_, site.link_json,
                                                              direction);
      }
    }
    hour_end_ += kHour;
  }

  void finish() {
    if (!truth_wanted_ || finished_) return;
    finished_ = true;
    while (hour_end_ - kHour < end_) close_hour();
  }

  const bool truth_wanted_;
  const Time end_;
  ReportStyle style_;
  Weather weather_;
  GaussMarkov near_noise_;
  std::vector<Site> sites_;
  std::vector<Turn> queue_;  // heap, the earliest turn first
  Time hour_end_;
  std::vector<std::pair<Time, std::string>> story_;
  std::size_t told_ = 0;
  std::string truth_;
  bool finished_ = false;
};

Result<World> World::make(const Options& options) {
  Result<Plan> plan = make_plan(options);
  if (!plan) return plan.error();
  return World(std::move(plan).value(), options.truth);
}

World::World(Plan plan, bool truth) : impl_(std::make_unique<Impl>(std::move(plan), truth)) {}
World::World(World&&) noexcept = default;
World& World::operator=(World&&) noexcept = default;
World::~World() = default;

bool World::next(std::string& line, Time& time) { return impl_->next(line, time); }
std::string World::take_truth() { return impl_->take_truth(); }
const Plan& World::plan() const { return impl_->plan; }

}  // namespace fadeward::simulate
