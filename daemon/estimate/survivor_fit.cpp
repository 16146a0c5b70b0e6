#include "fadeward/estimate/survivor_fit.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace fadeward::estimate {

namespace {

constexpr int kRounds = 12;
constexpr double kConverged = 1e-2;
constexpr double kFaintBelief = 0.01;
constexpr double kFarWorse = 7;  // in log likelihood: a thousandth
/// Errors carry frames across the median, as many up as down but for chance: variance of the median
/// = mean |error| / (n density), 0.8 sd and 0.4 / deviation for normal ones, less what the
/// smoothing of readings takes away.
constexpr double kCrossing = 1.2;
constexpr double kMedianOfSample = 1.5708;  // pi / 2: variance of the median of normal values
constexpr double kSharpest = -1.6, kWidest = 2.5;  // of the logarithm of the deviation, dB
constexpr double kSureArrival = 4;                 // deviations above the limit

/// log Phi(x) and its first derivative phi(x) / Phi(x).
struct LogNormalArea {
  double value, slope;
};
LogNormalArea log_area_computed(double x) {
  const double area = 0.5 * std::erfc(-x / std::numbers::sqrt2);
  return {std::log(area), std::exp(-0.5 * x * x) * 0.3989422804014327 / area};
}

/// Values at every 32nd; between them a Taylor series of third order is good to 1e-8.
struct LogAreaTable {
  static constexpr int kLowest = -8, kHighest = 6, kSteps = 32;
  std::array<LogNormalArea, (kHighest - kLowest) * kSteps + 1> nodes;
  LogAreaTable() {
    for (std::size_t i = 0; i < nodes.size(); ++i)
      nodes[i] = log_area_computed(kLowest + static_cast<double>(i) / kSteps);
  }
};
const LogAreaTable kLogArea;

LogNormalArea log_area(double x) {
  if (!(x > LogAreaTable::kLowest)) {  // asymptotic series: both vanish
    const double inverse = 1 / (x * x);
    return {-0.5 * x * x - std::log(-x) - 0.9189385332046727 - inverse, -x - 1 / x};
  }
  if (x >= LogAreaTable::kHighest) return {0, 0};
  const double at = (x - LogAreaTable::kLowest) * LogAreaTable::kSteps;
  const int index = static_cast<int>(at + 0.5);
  const LogNormalArea& node = kLogArea.nodes[static_cast<std::size_t>(index)];
  const double d = (at - index) / LogAreaTable::kSteps;
  const double node_x = x - d;
  const double second = -node.slope * (node.slope + node_x);
  const double third = -second * (node.slope + node_x) - node.slope * (second + 1);
  return {node.value + d * (node.slope + d * (second / 2 + d * third / 6)),
          node.slope + d * (second + d * third / 2)};
}
double area(double x) { return 0.5 * std::erfc(-x / std::numbers::sqrt2); }

struct Shape {
  double mean, log_sd;
};

/// Value, gradient and (nearly) the Hessian of the log likelihood.
struct Slopes {
  double value = 0, mean = 0, log_sd = 0, mean2 = 0, cross = 0, log_sd2 = 0;

  /// f(u) with f' = slope, f'' = curve, u depending on both parameters by these derivatives.
  void chain(double weight, double slope, double curve, double by_mean, double by_log_sd) {
    mean += weight * slope * by_mean;
    log_sd += weight * slope * by_log_sd;
    mean2 += weight * curve * by_mean * by_mean;
    cross += weight * curve * by_mean * by_log_sd;
    log_sd2 += weight * curve * by_log_sd * by_log_sd;
  }
};

/// The levels on the scale on which they are normal, limit at 0.
class BentLevels {
 public:
  BentLevels(const SurvivorLevels& levels, const LossModel& model, double bend)
      : bend_(bend), limit_(model.limit_db) {
    for (int cell = levels.first(); cell <= levels.last(); cell += kTogether) {
      double weight = 0, moment = 0;
      for (int i = 0; i < kTogether && cell + i <= levels.last(); ++i) {
        weight += levels.at(cell + i);
        moment += i * levels.at(cell + i);
      }
      if (weight <= 0) continue;
      const double off =
          SurvivorLevels::level_of(cell) + SurvivorLevels::kStepDb * moment / weight - limit_;
      const double x = straight(off);
      if (size_ < cells_.size()) cells_[size_++] = {x, weight};
      weight_ += weight;
      sum_ += weight * x;
      square_ += weight * x * x;
      log_stretch_ += weight * bend_ * off;
    }
  }
  double straight(double above_limit_db) const {
    return bend_ == 0 ? above_limit_db : std::expm1(bend_ * above_limit_db) / bend_;
  }
  double level_db(double x) const {
    return limit_ + (bend_ == 0 ? x : std::log(std::max(0.05, 1 + bend_ * x)) / bend_);
  }
  double stretch(double x) const { return std::max(0.05, 1 + bend_ * x); }
  double weight() const { return weight_; }
  double mean() const { return sum_ / weight_; }
  double variance() const { return std::max(0.0, square_ / weight_ - mean() * mean()); }
  double log_stretch() const { return log_stretch_; }
  double bend() const { return bend_; }

  struct Cell {
    double x, weight;
  };
  const Cell* begin() const { return cells_.data(); }
  const Cell* end() const { return cells_.data() + size_; }

 private:
  static constexpr int kTogether = 3;  // 0.75 dB: finer says no more about readings of 1 dB

  double bend_, limit_;
  double weight_ = 0, sum_ = 0, square_ = 0, log_stretch_ = 0;
  std::size_t size_ = 0;
  std::array<Cell, SurvivorLevels::kCells / kTogether + 1> cells_;
};

class Likelihood {
 public:
  Likelihood(const BentLevels& levels, std::optional<FrameCounts> counts, const LossModel& model,
             const SurvivorBelief& belief, double scale)
      : levels_(levels), counts_(counts), model_(model), belief_(belief), scale_(scale) {}

  Slopes at(const Shape& shape, double collisions) const {
    Slopes out;
    const double sd2 = std::exp(2 * shape.log_sd),
                 reading2 = model_.reading_sd_db * model_.reading_sd_db;
    const double total2 = sd2 + reading2, share = sd2 / total2;
    add_levels(out, shape, total2, share);
    add_arrivals(out, shape, share);
    add_counts(out, shape, sd2, collisions);
    add_belief(out, shape);
    return out;
  }
  double chance_to_arrive(const Shape& shape) const {
    return area(shape.mean / std::hypot(std::exp(shape.log_sd), model_.limit_sd_db));
  }

 private:
  void add_levels(Slopes& out, const Shape& shape, double total2, double share) const {
    const double n = scale_ * levels_.weight();
    const double off = levels_.mean() - shape.mean;
    const double square = (levels_.variance() + off * off) / total2;
    out.value += -0.5 * n * (std::log(total2) + square);
    out.mean += n * off / total2;
    out.log_sd += n * share * (square - 1);
    out.mean2 -= n / total2;
    out.cross -= 2 * n * share * off / total2;
    out.log_sd2 += n * (2 * share * (1 - share) * (square - 1) - 2 * share * share * square);
  }

  /// That each arrived, given what was read of its level.
  void add_arrivals(Slopes& out, const Shape& shape, double share) const {
    const double reading2 = model_.reading_sd_db * model_.reading_sd_db;
    const double width = std::sqrt(share * reading2 + model_.limit_sd_db * model_.limit_sd_db);
    const double share_slope = 2 * share * (1 - share);
    const double width_slope = reading2 * share_slope / (2 * width);
    for (const BentLevels::Cell& cell : levels_) {
      const double weight = scale_ * cell.weight;
      const double off = cell.x - shape.mean;
      const double u = (shape.mean + share * off) / width;
      if (u > kSureArrival) break;
      const LogNormalArea arrive = log_area(u);
      out.value += weight * arrive.value;
      out.chain(weight, arrive.slope, -arrive.slope * (arrive.slope + u), (1 - share) / width,
                (share_slope * off - u * width_slope) / width);
    }
  }

  void add_counts(Slopes& out, const Shape& shape, double sd2, double collisions) const {
    const double spread2 = sd2 + model_.limit_sd_db * model_.limit_sd_db,
                 spread = std::sqrt(spread2);
    const double a = shape.mean / spread;
    const double part = sd2 / spread2, by_mean = 1 / spread, by_log_sd = -a * part;
    const auto chain = [&](double weight, double slope, double curve) {
      out.chain(weight, slope, curve, by_mean, by_log_sd);
      out.cross -= weight * slope * part / spread;
      out.log_sd2 += weight * slope * a * part * (3 * part - 2);
    };
    // That the levels known are those of frames that arrived, and how many did.
    const double arrived = (counts_ ? counts_->heard : 0) - scale_ * levels_.weight();
    const LogNormalArea arrive = log_area(a);
    out.value += arrived * arrive.value;
    chain(arrived, arrive.slope, -arrive.slope * (arrive.slope + a));
    if (!counts_) return;
    out.value += counts_->heard * std::log(1 - collisions);
    if (counts_->lost <= 0) return;
    const double missing = std::max(1e-12, 1 - (1 - collisions) * area(a));
    const double rate = (1 - collisions) * std::exp(-0.5 * a * a) * 0.3989422804014327 / missing;
    out.value += counts_->lost * std::log(missing);
    chain(counts_->lost, -rate, a * rate - rate * rate);
  }

  void add_belief(Slopes& out, const Shape& shape) const {
    // The deviation is believed in decibels around the median.
    const double stretch = levels_.stretch(shape.mean), bend = levels_.bend();
    const double width = shape.log_sd - std::log(stretch) - belief_.log_deviation;
    const double by_mean = -bend / stretch, precision = belief_.log_deviation_precision;
    out.value -= 0.5 * precision * width * width;
    out.chain(1, -precision * width, -precision, by_mean, 1);
    if (belief_.median_precision <= 0) return;
    const double off = levels_.level_db(shape.mean) - belief_.median_db;
    out.value -= 0.5 * belief_.median_precision * off * off;
    out.chain(1, -belief_.median_precision * off, -belief_.median_precision, 1 / stretch, 0);
  }

  const BentLevels& levels_;
  const std::optional<FrameCounts> counts_;
  const LossModel& model_;
  const SurvivorBelief& belief_;
  const double scale_;
};

struct Peak {
  Shape shape{};
  double value = 0;
  double mean_var = 0, log_sd_var = 0;
  double log_volume = 0;  // of the posterior around it
};

/// Newton's method, kept inside the region where the surface is a hill.
Peak climb(const Likelihood& likelihood, Shape from, double collisions) {
  Slopes here = likelihood.at(from, collisions);
  double damping = 0;
  for (int round = 0; round < kRounds; ++round) {
    double h11 = -here.mean2 + damping, h22 = -here.log_sd2 + damping;
    const double h12 = -here.cross;
    h11 = std::max(h11, 1e-3);
    h22 = std::max(h22, 1e-3);
    double det = h11 * h22 - h12 * h12;
    if (det < 0.05 * h11 * h22) {  // not a hill here: step along each axis alone
      det = h11 * h22;
      const double mean_step = here.mean / h11, log_step = here.log_sd / h22;
      from.mean += std::clamp(mean_step, -1.5, 1.5);
      from.log_sd = std::clamp(from.log_sd + std::clamp(log_step, -0.3, 0.3), kSharpest, kWidest);
      here = likelihood.at(from, collisions);
      continue;
    }
    const double mean_step = std::clamp((h22 * here.mean - h12 * here.log_sd) / det, -3.0, 3.0);
    const double log_step = std::clamp((h11 * here.log_sd - h12 * here.mean) / det, -0.5, 0.5);
    Shape next{from.mean + mean_step, std::clamp(from.log_sd + log_step, kSharpest, kWidest)};
    const Slopes there = likelihood.at(next, collisions);
    if (there.value < here.value - 1e-6 && damping < 1e6) {
      damping = damping > 0 ? damping * 8 : 0.1 * std::max(h11, h22);
      continue;
    }
    damping *= 0.2;
    from = next;
    here = there;
    if (std::abs(mean_step) < kConverged && std::abs(log_step) < kConverged) break;
  }
  Peak peak{from, here.value, 0, 0, 0};
  const double h11 = std::max(-here.mean2, 1e-3), h22 = std::max(-here.log_sd2, 1e-3);
  const double det = std::max(h11 * h22 - here.cross * here.cross, 0.05 * h11 * h22);
  peak.mean_var = h22 / det;
  peak.log_sd_var = h11 / det;
  peak.log_volume = -0.5 * std::log(det);
  return peak;
}

/// The middle of the frames sent, counting each that arrived as often as frames of its level were
/// sent, and how surely frames of that level arrive.
struct Middle {
  double level_db = 0;
  double arrival = 0;
};
std::optional<Middle> weighed_middle(const SurvivorLevels& levels, const BentLevels& bent,
                                     const Shape& shape, const LossModel& model, double sent) {
  const double sd2 = std::exp(2 * shape.log_sd),
               reading2 = model.reading_sd_db * model.reading_sd_db;
  const double share = sd2 / (sd2 + reading2);
  const double width = std::sqrt(share * reading2 + model.limit_sd_db * model.limit_sd_db);
  double above = 0;
  for (int cell = levels.last(); cell >= levels.first(); --cell) {
    if (levels.at(cell) <= 0) continue;
    const double level = SurvivorLevels::level_of(cell);
    const double u =
        (shape.mean + share * (bent.straight(level - model.limit_db) - shape.mean)) / width;
    const double arrival = u > kSureArrival ? 1 : std::max(0.05, area(u));
    const double here = levels.at(cell) / arrival;
    if (above + here >= sent / 2)
      return Middle{level + SurvivorLevels::kStepDb * (0.5 - (sent / 2 - above) / here), arrival};
    above += here;
  }
  return {};
}

struct Candidate {
  double score = -1e300, median = 0, median_var = 0, low = 0, log_sd = 0, log_sd_var = 0,
         arrive = 1;
};

Candidate candidate(const SurvivorLevels& levels, const BentLevels& bent,
                    const Likelihood& likelihood, const LossModel& model, const Peak& peak,
                    double collisions, const std::optional<FrameCounts>& counts) {
  Candidate one;
  const double straight_sd = std::exp(peak.shape.log_sd);
  const double stretch = bent.stretch(peak.shape.mean), sd = straight_sd / stretch;
  one.arrive = likelihood.chance_to_arrive(peak.shape);
  one.median = bent.level_db(peak.shape.mean);
  one.low = bent.level_db(peak.shape.mean - 2.3263 * straight_sd);
  one.log_sd = peak.shape.log_sd - std::log(stretch);
  one.log_sd_var = peak.log_sd_var;
  one.median_var = peak.mean_var / (stretch * stretch);
  if (!counts || counts->heard <= 0) return one;
  const double sent = (counts->heard + counts->lost) / counts->heard;  // for each that arrived
  const auto middle =
      weighed_middle(levels, bent, peak.shape, model, levels.weight() * sent * (1 - collisions));
  const double trust = middle ? std::clamp((middle->arrival - 0.55) / 0.4, 0.0, 1.0) : 0.0;
  const double beyond = (1 - trust) * (model.limit_db - one.median);  // how far it was extrapolated
  if (trust > 0) one.median += trust * (middle->level_db - one.median);
  const double soft = std::hypot(model.reading_sd_db, model.limit_sd_db);
  // Frames that collided say nothing. Of those that were heard but told nobody their level the
  // counts do: only what lies between the limit and the median is a matter of chance.
  const double known = std::min(1.0, levels.weight() / counts->heard);
  const double between = std::clamp((one.arrive - 0.5) / one.arrive, 0.0, 0.5);
  const double chance = 4 * between * (1 - between) * one.arrive * one.arrive;
  one.median_var = kCrossing * soft * sd / (levels.effective() * sent) +
                   kMedianOfSample * trust * (collisions * known + (1 - known) * chance) * sd * sd /
                       levels.effective() +
                   beyond * beyond * peak.log_sd_var;
  return one;
}

}  // namespace

void SurvivorLevels::add(double level_db, float weight) {
  constexpr int kHalf = static_cast<int>(0.5 / kStepDb);
  const int cell = static_cast<int>(
      std::clamp((level_db - kLowestDb) / kStepDb + 0.5, double{kHalf}, kCells - 1.0 - kHalf));
  // Four cells and two halves would be exact; five of a fifth differ by nothing that matters.
  const float part = weight / (2 * kHalf + 1);
  cells_[static_cast<std::size_t>(cell - kHalf)] += part;
  cells_[static_cast<std::size_t>(cell + kHalf + 1)] -= part;
  first_ = std::min(first_, cell - kHalf);
  last_ = std::max(last_, cell + kHalf);
  const double w = static_cast<double>(weight);
  weight_ += w;
  square_ += w * w;
  sum_ += w * level_db;
  sum_square_ += w * level_db * level_db;
}

void SurvivorLevels::finish() {
  float running = 0;
  for (int cell = first_; cell <= last_; ++cell) {
    running += cells_[static_cast<std::size_t>(cell)];
    cells_[static_cast<std::size_t>(cell)] = running < 1e-4F ? 0 : running;
  }
}

double SurvivorLevels::variance() const {
  if (weight_ <= 0) return 0;
  const double mean = sum_ / weight_;
  return std::max(0.0, sum_square_ / weight_ - mean * mean);
}

std::optional<SurvivorFit> fit_survivors(const SurvivorLevels& levels,
                                         std::optional<FrameCounts> counts, const LossModel& model,
                                         const SurvivorBelief& belief) {
  if (levels.weight() <= 0) return {};
  // Frames of unequal weight say less than their number.
  const double scale = levels.effective() / levels.weight();
  const double sent = counts ? counts->heard + counts->lost : 0;
  const double lost_share = sent > 0 ? counts->lost / sent : 0;

  constexpr std::size_t kShares = SurvivorBelief::kCollisions.size(),
                        kBends = SurvivorBelief::kBends.size();
  std::array<std::array<Candidate, kShares>, kBends> candidates{};
  double best = -1e300;
  for (std::size_t b = 0; b < kBends; ++b) {
    if (belief.bends[b] < kFaintBelief) continue;
    const BentLevels bent(levels, model, SurvivorBelief::kBends[b]);
    const Likelihood likelihood(bent, counts, model, belief, scale);
    Shape from{bent.mean() - lost_share * std::sqrt(bent.variance()),
               0.5 * std::log(std::max(0.3, bent.variance()))};
    // From the share believed most upwards, then downwards, as long as it can matter.
    const auto most = static_cast<std::size_t>(
        std::max_element(belief.collisions.begin(), belief.collisions.end()) -
        belief.collisions.begin());
    double best_here = -1e300;
    const auto try_share = [&](std::size_t i) {
      const double collisions = SurvivorBelief::kCollisions[i];
      if (i > 0 && collisions > 1.4 * lost_share + 0.01) return false;
      const Peak peak = climb(likelihood, from, collisions);
      from = peak.shape;
      Candidate& one = candidates[b][i];
      one = candidate(levels, bent, likelihood, model, peak, collisions, counts);
      one.score = peak.value + scale * bent.log_stretch() + peak.log_volume +
                  std::log(std::max(belief.collisions[i], 1e-4) * belief.bends[b]);
      best = std::max(best, one.score);
      best_here = std::max(best_here, one.score);
      return one.score > best_here - kFarWorse;
    };
    std::size_t start = most;
    while (start > 0 && SurvivorBelief::kCollisions[start] > 1.4 * lost_share + 0.01) --start;
    try_share(start);
    const Shape there = from;
    for (std::size_t i = start + 1; i < kShares && try_share(i);) ++i;
    from = there;
    for (std::size_t i = start; i > 0 && try_share(i - 1);) --i;
  }

  SurvivorFit out;
  if (best < -1e299) return {};
  double total = 0, square = 0, log_sd = 0, log_sd_square = 0;
  for (std::size_t b = 0; b < kBends; ++b) {
    for (std::size_t i = 0; i < kShares; ++i) {
      const Candidate& one = candidates[b][i];
      if (one.score < best - kFarWorse) continue;
      const double weight = std::exp(one.score - best);
      const double collisions = SurvivorBelief::kCollisions[i];
      total += weight;
      out.median_db += weight * one.median;
      square += weight * (one.median * one.median + one.median_var);
      log_sd += weight * one.log_sd;
      log_sd_square += weight * (one.log_sd * one.log_sd + one.log_sd_var);
      out.low_db += weight * one.low;
      out.collisions += weight * collisions;
      out.level_lost += weight * (1 - collisions) * (1 - one.arrive);
      out.collisions_after[i] += weight;
      out.bends_after[b] += weight;
    }
  }
  out.log_evidence = best + std::log(total);
  out.median_db /= total;
  out.median_sd_db = std::sqrt(std::max(0.0, square / total - out.median_db * out.median_db));
  log_sd /= total;
  out.log_deviation_sd = std::sqrt(std::max(0.0, log_sd_square / total - log_sd * log_sd));
  out.deviation_db = std::exp(log_sd);
  out.low_db /= total;
  out.collisions /= total;
  out.level_lost /= total;
  for (double& share : out.collisions_after) share /= total;
  for (double& share : out.bends_after) share /= total;
  if (lost_share == 0) out.collisions_after = belief.collisions;
  return out;
}

}  // namespace fadeward::estimate
