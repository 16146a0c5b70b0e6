#include "fadeward/link/frame_window.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdlib>

namespace fadeward::link {

namespace {

std::uint16_t cell_of(const FrameSample& sample) {
  constexpr int kLowest = static_cast<int>(estimate::SlidingHistogram::kLowestDb * 100), kStep = 25;
  const int cell = (sample.margin_cdb - kLowest + kStep / 2) / kStep;
  return static_cast<std::uint16_t>(std::clamp(cell, 0, estimate::SlidingHistogram::kCells - 1));
}
std::uint16_t capped(std::uint32_t count) {
  return static_cast<std::uint16_t>(std::min<std::uint32_t>(count, 0xffff));
}

}  // namespace

void FrameWindow::rebase(Time at) {
  // Leaves room for frames that come out of order and for the longest window.
  const Time origin = at - kLongest - kSpan;
  const auto moved = static_cast<std::int64_t>((origin - origin_).count() / 100000);
  for (std::size_t i = 0; i < samples_.size(); ++i) {
    const std::int64_t stamp_ds = std::int64_t{samples_[i].at_ds} - moved;
    samples_[i].at_ds = static_cast<std::uint32_t>(std::clamp<std::int64_t>(stamp_ds, 0, UINT32_MAX));
  }
  origin_ = origin;
}

std::uint32_t FrameWindow::stamp(Time at) {
  const std::int64_t stamp_ds = stamp_of(at);
  if (!samples_.empty() && stamp_ds >= 0 && stamp_ds <= INT32_MAX) [[likely]]
    return static_cast<std::uint32_t>(stamp_ds);
  if (samples_.empty() || stamp_ds > INT32_MAX) rebase(at);
  return static_cast<std::uint32_t>(std::clamp<std::int64_t>(stamp_of(at), 0, UINT32_MAX));
}

void FrameWindow::add(Time at, double signal_dbm, double noise_dbm, double margin_db,
                      std::uint32_t frames, std::uint32_t lost, std::uint8_t channel,
                      std::uint8_t weight) {
  FrameSample sample;
  sample.signal_cdbm = hundredths(signal_dbm);
  sample.noise_cdbm = hundredths(noise_dbm);
  sample.margin_cdb = hundredths(margin_db);
  sample.channel = channel;
  sample.weight = weight;
  add(at, sample, frames, lost);
}

void FrameWindow::add(Time at, FrameSample sample, std::uint32_t frames, std::uint32_t lost) {
  if (thin_by_ > 1 && ++skipped_ < thin_by_) {
    skipped_frames_ += frames;
    skipped_lost_ += lost;
    return;
  }
  sample.at_ds = stamp(at);
  sample.lost = capped(lost + skipped_lost_);
  sample.frames = capped(frames + skipped_frames_);
  skipped_ = 0;
  skipped_frames_ = 0;
  skipped_lost_ = 0;
  if (samples_.size() == samples_.capacity() && samples_.size() * 3 / 2 > kMost)
    samples_.reserve(kMost + 1);
  samples_.push(sample);
  margins_.add(cell_of(sample), sample.weight);
  frames_ += sample.frames;
  lost_ += sample.lost;
  if (samples_.size() <= kFewest + 1) oldest_leaves_ = Time::min();   // the rule may have changed
  if (samples_.size() <= kMost) return;
  expire(at);
  if (samples_.size() > kMost) thin();
}

/// Keeps every second sample; each stands for twice as many frames.
void FrameWindow::thin() {
  std::size_t kept = 0;
  for (std::size_t i = 0; i + 1 < samples_.size(); i += 2) {
    FrameSample both = samples_[i + 1];
    both.frames = capped(std::uint32_t{both.frames} + samples_[i].frames);
    both.lost = capped(std::uint32_t{both.lost} + samples_[i].lost);
    samples_[kept++] = both;
  }
  Ring<FrameSample> shorter;
  shorter.reserve(kMost + 1);
  for (std::size_t i = 0; i < kept; ++i) shorter.push(samples_[i]);
  const std::size_t old_size = samples_.size();
  if (old_size % 2 == 1) shorter.push(samples_[old_size - 1]);
  samples_ = std::move(shorter);
  thin_by_ = capped(std::uint32_t{thin_by_} * 2);
  rebuild();
}

void FrameWindow::rebuild() {
  oldest_leaves_ = Time::min();
  margins_.clear();
  frames_ = lost_ = 0;
  visit([&](const FrameSample& sample) {
    margins_.add(cell_of(sample), sample.weight);
    frames_ += sample.frames;
    lost_ += sample.lost;
  });
  if (thin_by_ == 0) thin_by_ = 1;
}

void FrameWindow::one_lost_fewer() {
  if (skipped_lost_ > 0) {
    --skipped_lost_;
    return;
  }
  for (std::size_t i = samples_.size(); i-- > 0;) {
    if (samples_[i].lost == 0) continue;
    --samples_[i].lost;
    --lost_;
    return;
  }
}

void FrameWindow::drop_oldest() {
  const FrameSample& sample = samples_.front();
  margins_.remove(cell_of(sample), sample.weight);
  frames_ -= sample.frames;
  lost_ -= sample.lost;
  samples_.pop();
}

void FrameWindow::expire_some(Time now) {
  const std::int64_t now_ds = stamp_of(now);
  const std::int64_t hour_ds = kSpan.count() / 100000, longest_ds = kLongest.count() / 100000;
  oldest_leaves_ = Time::max();
  while (!samples_.empty()) {
    const std::int64_t stays_ds = samples_.size() > kFewest ? hour_ds : longest_ds;
    if (samples_.front().at_ds + stays_ds >= now_ds) {
      oldest_leaves_ = time_of(samples_.front()) + Duration{stays_ds * 100000};
      break;
    }
    drop_oldest();
  }
  // An hour that fits without thinning ends it.
  if (thin_by_ > 1 && samples_.size() < kMost / 4) thin_by_ = static_cast<std::uint16_t>(thin_by_ / 2);
}

void FrameWindow::clear() {
  samples_.clear();
  margins_.clear();
  frames_ = lost_ = 0;
  skipped_frames_ = skipped_lost_ = 0;
  skipped_ = 0;
  thin_by_ = 1;
  oldest_leaves_ = Time::min();
}

Duration FrameWindow::span(Time now) const {
  if (samples_.empty()) return kSpan;
  const Duration age = now - time_of(samples_.front());
  return age > kSpan ? std::chrono::ceil<std::chrono::seconds>(age) : kSpan;
}

std::optional<double> FrameWindow::margin_quantile_db(double q, bool lost_at_bottom) const {
  if (!lost_at_bottom || lost_ == 0) return margins_.quantile_db(q);
  const double lost_share = static_cast<double>(lost_) / (static_cast<double>(lost_) + frames_);
  const double of_received = (q - lost_share) / (1 - lost_share);
  if (of_received <= 0) return {};
  return margins_.quantile_db(of_received);
}

std::optional<double> FrameWindow::weighted_median(std::int16_t FrameSample::* level) const {
  if (samples_.empty()) return {};
  // Cells of 0.25 dB from -200 dBm to +56 dBm.
  constexpr int kCells = 1024, kStep = 25, kLowest = -20000;
  std::array<std::uint16_t, kCells> weights{};
  std::uint32_t total = 0;
  int lowest = kCells - 1, highest = 0;
  visit([&](const FrameSample& sample) {
    const int cell = std::clamp((sample.*level - kLowest + kStep / 2) / kStep, 0, kCells - 1);
    weights[static_cast<std::size_t>(cell)] += sample.weight;
    total += sample.weight;
    lowest = std::min(lowest, cell);
    highest = std::max(highest, cell);
  });
  const auto weight = [&](int cell) { return static_cast<double>(weights[static_cast<std::size_t>(cell)]); };
  const auto value = [](int cell) { return cell * 0.25 - 200; };
  const double wanted = total / 2.0;
  double below = 0;
  int cell = lowest;
  while (below + weight(cell) < wanted) below += weight(cell++);

  // Where many frames share a cell, the reports are coarser than the spread and the median lies
  // between the middles of that cell and the next such one; where few do, it is the plain median.
  constexpr double kMany = 10 * kFullWeight;
  constexpr int kCoarsest = 8;   // cells: levels in steps of 2 dB
  const double middle = below + weight(cell) / 2;
  if (weight(cell) < kMany) {
    if (below + weight(cell) > wanted) return value(cell);
    int next = cell + 1;
    while (next < highest && weight(next) == 0) ++next;
    return (value(cell) + value(std::min(next, highest))) / 2;
  }
  const int step = wanted < middle ? -1 : 1;
  double apart = weight(cell) / 2;
  for (int other = cell + step; std::abs(other - cell) <= kCoarsest && other >= lowest && other <= highest;
       other += step) {
    if (weight(other) >= kMany)
      return value(cell) + (value(other) - value(cell)) * std::abs(wanted - middle) / (apart + weight(other) / 2);
    apart += weight(other);
  }
  return value(cell);
}

std::optional<double> FrameWindow::signal_median_dbm() const {
  return weighted_median(&FrameSample::signal_cdbm);
}
std::optional<double> FrameWindow::noise_median_dbm() const {
  return weighted_median(&FrameSample::noise_cdbm);
}

FrameWindow::NoiseMoments FrameWindow::noise_moments() const {
  if (samples_.empty()) return {};
  const std::int64_t origin = samples_.front().noise_cdbm;
  std::int64_t sum = 0, square = 0;
  visit([&](const FrameSample& sample) {
    const std::int64_t off = sample.noise_cdbm - origin;
    sum += off;
    square += off * off;
  });
  const double n = static_cast<double>(samples_.size()), mean = static_cast<double>(sum) / n;
  return {(static_cast<double>(origin) + mean) * 0.01, std::max(0.0, static_cast<double>(square) / n - mean * mean) * 1e-4};
}

std::optional<double> FrameWindow::recent_margin_db(Time now, Duration span) const {
  estimate::SlidingHistogram recent;
  for (std::size_t i = samples_.size(); i-- > 0;) {
    if (now - time_of(samples_[i]) > span) break;
    recent.add(cell_of(samples_[i]), samples_[i].weight);
  }
  return recent.quantile_db(0.5);
}

}  // namespace fadeward::link
