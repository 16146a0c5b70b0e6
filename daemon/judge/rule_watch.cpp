#include "fadeward/judge/rule_watch.hpp"

#include <algorithm>
#include <cmath>

#include "fadeward/base/text.hpp"
#include "fadeward/estimate/chi_square.hpp"

namespace fadeward::judge {

namespace {

constexpr double kByChance = 1e-6;  // a false alarm in centuries of judged blocks
constexpr double kBusiest = 1.6;    // times the middle one that is used
constexpr double kFarOut = 5;       // deviations of the middle one
constexpr double kUnused = 0.1;     // share of the channels
constexpr double kClearedShare = 0.8;  // of the limit of hop clocks
constexpr double kLongest_s = 60;   // of one frame; more is a mistake
constexpr std::size_t kMostRecent = 4096;
constexpr Duration kHour = std::chrono::hours{1};
constexpr Duration kLongPause = std::chrono::minutes{30};
constexpr const char* kAid = "; only reported frames are seen, and the local regulator decides.";

std::int64_t minute_of(Time at) {
  return std::chrono::floor<std::chrono::minutes>(at).time_since_epoch().count();
}

bool same(const std::optional<budget::RuleLimit>& a, const std::optional<budget::RuleLimit>& b) {
  return a.has_value() == b.has_value() && (!a || a->value == b->value);
}

}  // namespace

RuleWatch::RuleWatch(const LinkSettings& settings) { reconfigure(settings); }

void RuleWatch::reconfigure(const LinkSettings& settings) {
  const budget::RuleLimits fresh = budget::limits_of(settings);
  const bool same_hops = set_ == settings.rules.set && channels_set_ == settings.rules.channels;
  const bool same_dwell =
      same(fresh.dwell_s, limits_.dwell_s) && same(fresh.dwell_period_s, limits_.dwell_period_s);
  limits_ = fresh;
  set_ = settings.rules.set;
  channels_set_ = settings.rules.channels;
  clock_limit_s_ = settings.rules.hop_clock_s.value_or(kUsualHopClock_s);
  if (!same_hops) {
    begin_channels();
    hop_verdict_.reset();
  }
  if (!same_dwell) {
    recent_.clear();
    dwell_broken_.reset();
  }
}

void RuleWatch::shift(Duration step) {
  for (OnAir& one : recent_) one.at += step;
  if (dwell_since_) *dwell_since_ += step;
  if (dwell_broken_) dwell_broken_->at += step;
  for (Hour& hour : hours_) {
    if (hour.newest != INT64_MIN) hour.newest += std::llround(duration_to_seconds(step) / 60);
    if (hour.since) *hour.since += step;
  }
  for (Counter& counter : sent_) counter.at += step;
}

void RuleWatch::Hour::add(Time at, double airtime_s) {
  const std::int64_t minute = minute_of(at);
  if (!since) since = at;
  if (newest == INT64_MIN || minute > newest + 60) {
    minutes_s.fill(0);
    newest = minute;
  }
  while (newest < minute) minutes_s[static_cast<std::size_t>(++newest % 60)] = 0;
  if (minute <= newest - 60) return;  // too late to count
  minutes_s[static_cast<std::size_t>(minute % 60)] += static_cast<float>(airtime_s);
}

double RuleWatch::Hour::sum_s(Time now) const {
  const std::int64_t oldest = minute_of(now) - 59;
  double sum = 0;
  for (std::int64_t minute = std::max(oldest, newest - 59); minute <= newest; ++minute)
    sum += static_cast<double>(minutes_s[static_cast<std::size_t>(minute % 60)]);
  return sum;
}

/// Growth over a long pause belongs to no hour in particular; a counter that begins again says
/// nothing of what it had counted.
double RuleWatch::Counter::grown(std::optional<double> value, Time now) {
  if (!value) return 0;
  const bool counts = last && *value >= *last && now - at < kLongPause;
  const double by = counts ? *value - *last : 0;
  last = value;
  at = now;
  return std::min(by, 1e6);
}

void RuleWatch::take(const LinkReport& report, Time at) {
  const auto value = [&report](Field field) {
    return report.has(field) ? std::optional(report[field]) : std::nullopt;
  };
  const auto channel =
      report.has(Field::channel) ? value(Field::channel) : value(Field::frequency_hz);
  if (channel) take_channel(*channel);
  if (const auto offset_s = value(Field::hop_offset_s)) take_clock(*offset_s);
  const auto far_sent = value(Field::far_tx_frames), near_sent = value(Field::tx_frames);
  const double far_frames = sent_[0].grown(far_sent, at),
               near_frames = sent_[1].grown(near_sent, at);
  const auto airtime = value(Field::airtime_s);
  if (!airtime || !(*airtime > 0) || *airtime > kLongest_s) return;
  if (channel) take_dwell(*channel, *airtime, at);
  // Without a counter of its own the far end has sent at least what was heard.
  hours_[0].add(at, *airtime * (far_sent ? far_frames : 1));
  if (near_sent) hours_[1].add(at, *airtime * near_frames);
}

void RuleWatch::take_channel(double channel) {
  const auto place = std::ranges::lower_bound(channels_, channel);
  const auto i = place - channels_.begin();
  if (place == channels_.end() || *place != channel) {
    if (channels_.size() >= kMostChannels) return;
    channels_.insert(place, channel);
    counts_.insert(counts_.begin() + i, 0);
  }
  ++counts_[static_cast<std::size_t>(i)];
  ++frames_;
}

void RuleWatch::take_dwell(double channel, double airtime_s, Time at) {
  if (!limits_.dwell_s) return;
  if (!dwell_since_) dwell_since_ = at;
  const double period_s = limits_.dwell_period_s ? limits_.dwell_period_s->value : 0;
  const Time oldest = at - seconds_to_duration(period_s);
  while (!recent_.empty() && (recent_.front().at <= oldest || recent_.size() >= kMostRecent))
    recent_.pop_front();
  double sum_s = airtime_s;
  for (const OnAir& one : recent_)
    if (one.channel == channel && one.at <= at) sum_s += one.airtime_s;
  recent_.push_back({at, channel, airtime_s});
  if (sum_s <= limits_.dwell_s->value * 1.001) return;  // what is rounded in a report
  const bool old = dwell_broken_ && at - dwell_broken_->at > kHour;
  if (!dwell_broken_ || old || sum_s > dwell_broken_->seconds) dwell_broken_ = {at, channel, sum_s};
  dwell_broken_->at = std::max(dwell_broken_->at, at);
}

void RuleWatch::take_clock(double offset_s) {
  if (clock_errors_s_.size() < kClockFrames) {
    clock_errors_s_.push_back(std::abs(offset_s));
    return;
  }
  clock_errors_s_[oldest_error_] = std::abs(offset_s);
  oldest_error_ = (oldest_error_ + 1) % kClockFrames;
}

/// The median: one frame that was timed badly is no clock that drifts.
std::optional<RuleWatch::Verdict> RuleWatch::hop_clock() {
  if (clock_errors_s_.size() < kClockFrames) return {};
  std::vector<double> errors_s = clock_errors_s_;
  const auto middle = errors_s.begin() + kClockFrames / 2;
  std::ranges::nth_element(errors_s, middle);
  clock_off_ = *middle > (clock_off_ ? kClearedShare : 1) * clock_limit_s_;
  Verdict verdict;
  verdict.broken = clock_off_;
  verdict.value = *middle;
  verdict.text = "The hop clocks of both ends are " + rounded_text(1000 * *middle, 2) +
                 " ms apart (median of the last " + std::to_string(kClockFrames) + " frames), " +
                 rounded_text(1000 * clock_limit_s_, 2) + " ms are usual";
  verdict.text +=
      clock_off_ ? ": frames are cut where channels change, and hopping may fall out of step." : ".";
  return verdict;
}

bool RuleWatch::channels_judged() const {
  return limits_.channels_min.has_value() || channels_set_.has_value();
}

std::optional<RuleWatch::Verdict> RuleWatch::hopping() {
  auto use = channel_use();
  if (use && use->broken) return use;
  const bool was_off = clock_off_;
  auto clock = hop_clock();
  if (clock && clock->broken) return clock;
  // A clock that is right ends what a clock began, never what channels did that are not known yet.
  return use || (channels_judged() && !was_off) ? use : clock;
}

/// Channels are met anew: those of another plan are not unused ones of this.
void RuleWatch::begin_channels() {
  channels_.clear();
  counts_.clear();
  frames_ = 0;
}

std::optional<RuleWatch::Verdict> RuleWatch::channel_use() {
  const double wanted = channels_set_          ? *channels_set_
                        : limits_.channels_min ? limits_.channels_min->value
                                               : 0;
  const std::size_t channels =
      std::max(channels_.size(), static_cast<std::size_t>(std::max(wanted, 0.0)));
  if (!channels_judged() || channels < 2 || frames_ < kFramesPerChannel * channels) return hop_verdict_;
  std::vector<std::uint32_t> counts = counts_;
  counts.resize(channels, 0);
  const estimate::Evenness even = estimate::evenness_of(counts);
  const auto busiest = static_cast<double>(*std::ranges::max_element(counts));
  const auto unused = static_cast<std::size_t>(std::ranges::count(counts, 0U));
  const bool many_unused = static_cast<double>(unused) > kUnused * static_cast<double>(channels);
  // Channels that lose frames look less used; those that are used more than others do not.
  std::ranges::sort(counts);
  const auto used = std::ranges::upper_bound(counts, 0U);
  const double middle = *(used + (counts.end() - used) / 2);
  const bool one_busy =
      busiest > kBusiest * middle && busiest - middle > kFarOut * std::sqrt(middle);
  Verdict verdict;
  verdict.broken = even.p < kByChance && (one_busy || many_unused);
  verdict.value = busiest / static_cast<double>(frames_);
  verdict.text =
      "Of " + std::to_string(channels) + " hop channels " + std::to_string(channels - unused) +
      " carried the last " + std::to_string(frames_) + " frames heard; the busiest had " +
      rounded_text(100 * verdict.value, 1) + " % (" + rounded_text(100 / static_cast<double>(channels), 1) +
      " % would be even; chi-square " + rounded_text(even.statistic, 0) + " with " +
      std::to_string(even.freedom) + " degrees of freedom)";
  verdict.text +=
      verdict.broken
          ? ": the radio does not hop as it should, or whole channels are lost" +
                (limits_.channels_min ? " (" + limits_.channels_min->rule + ")" : std::string()) +
                kAid
          : ".";
  begin_channels();
  return hop_verdict_ = std::move(verdict);
}

std::optional<RuleWatch::Verdict> RuleWatch::dwell(Time now) const {
  if (!limits_.dwell_s || !dwell_since_) return {};
  const bool broken = dwell_broken_ && now - dwell_broken_->at <= kHour;
  if (!broken && now - *dwell_since_ < kHour) return {};
  Verdict verdict;
  verdict.broken = broken;
  if (!broken) {
    verdict.text =
        "For an hour no channel was used longer than " + rounded_text(limits_.dwell_s->value, 3) + " s.";
    return verdict;
  }
  verdict.value = dwell_broken_->seconds;
  verdict.text =
      "Channel " + rounded_text(dwell_broken_->channel, 0) + " was in use for " +
      rounded_text(dwell_broken_->seconds, 3) + " s" +
      (limits_.dwell_period_s ? " within " + rounded_text(limits_.dwell_period_s->value, 1) + " s"
                              : " at once") +
      ", " + rounded_text(limits_.dwell_s->value, 3) + " s are allowed (" + limits_.dwell_s->rule + ")" +
      kAid;
  return verdict;
}

std::optional<RuleWatch::Verdict> RuleWatch::duty(Direction direction, Time now) const {
  const Hour& hour = hours_[static_cast<std::size_t>(direction)];
  if (!limits_.duty_ratio || !hour.since) return {};
  const double ratio = hour.sum_s(now) / 3600;
  const bool broken = ratio > limits_.duty_ratio->value * 1.001;
  if (!broken && now - *hour.since < kHour) return {};
  Verdict verdict;
  verdict.broken = broken;
  verdict.value = ratio;
  verdict.text = std::string(direction == Direction::inbound ? "The far end" : "The near end") +
                 " transmitted " + rounded_text(100 * ratio, 2) + " % of the last hour, " +
                 rounded_text(100 * limits_.duty_ratio->value, 2) + " % are allowed (" +
                 limits_.duty_ratio->rule + ")" + (broken ? kAid : ".");
  return verdict;
}

}  // namespace fadeward::judge
