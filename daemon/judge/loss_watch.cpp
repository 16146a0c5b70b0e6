#include "fadeward/judge/loss_watch.hpp"

#include <algorithm>
#include <cmath>

#include "fadeward/judge/suspect.hpp"

namespace fadeward::judge {

namespace {

constexpr double kSmallExcess = 0.02, kLargeExcess = 0.08;
constexpr double kMostSmall = 3, kMostLarge = 4;  // of one block
constexpr double kTell = 11;
constexpr double kLeastUsual = 0.002, kMostExplained = 0.10;
constexpr double kMemoryFrames = 60000;  // a week at one frame in 10 s
constexpr double kLateFrames = 700;      // two hours
constexpr std::uint32_t kQuietBlocks = 20;

double evidence(double heard, double lost, double usual, double excess, double most) {
  const double gained =
      lost * std::log1p(excess / usual) + heard * std::log1p(-excess / (1 - usual));
  return std::min(gained, most);
}

}  // namespace

bool LossWatch::add(std::uint32_t heard, std::uint32_t lost, double by_level, Time at, bool learn) {
  const double frames = static_cast<double>(heard) + lost;
  if (frames == 0) return false;
  const double share = lost / frames;
  accepted_now_ = false;
  frames_ = frames_ * std::exp(-frames / kLateFrames) + frames;
  ratio_ += frames / frames_ * (share - ratio_);
  const double expected = std::max(kLeastUsual, usual_) + by_level;
  const bool was = told_;
  if (!told_) {
    // Where the level may explain as much, nothing can be said about the rest.
    if (expected - accepted_ > kMostExplained) {
      settle();
    } else {
      const auto follow = [&](double& sum, Time& since, Run& run, double excess, double most) {
        if (sum == 0) {
          since = at;
          run = {};
        }
        run.frames += frames;
        run.lost += lost;
        sum = std::max(0.0, sum + evidence(heard, lost, expected, excess, most));
      };
      follow(small_, small_since_, small_run_, kSmallExcess, kMostSmall);
      follow(large_, large_since_, large_run_, kLargeExcess, kMostLarge);
      if (small_ > kTell || large_ > kTell) {
        told_ = true;
        told_at_ = at;
        since_told_ = {};
        onset_ = large_ > kTell ? large_since_ : small_since_;
        quiet_ = 0;
        const Run& run = large_ > kTell ? large_run_ : small_run_;
        ratio_ = run.lost / run.frames;  // of late: since it began
        frames_ = run.frames;
      }
    }
    if (learn && small_ < kTell / 2 && large_ < kTell / 2) {
      known_ = std::min(kMemoryFrames, known_ + frames);
      usual_ += frames / known_ * (std::min(share, std::max(0.2, 2.5 * usual_)) - usual_);
      usual_ = std::max(0.0, usual_);
      accepted_ = std::min(accepted_, usual_);
    }
  } else {
    since_told_.frames += frames;
    since_told_.lost += lost;
    if (since_told_.frames > kMemoryFrames) {  // the last weeks count
      since_told_.frames /= 2;
      since_told_.lost /= 2;
    }
    quiet_ = ratio_ < expected + kSmallExcess / 2 ? quiet_ + 1 : 0;
    if (quiet_ >= kQuietBlocks) {
      told_ = false;
      settle();
    } else if (at - told_at_ > kAcceptAfter &&
               ratio_ < since_told_.lost / since_told_.frames + kSmallExcess) {
      accept();
    }
  }
  return was != told_;
}

void LossWatch::accept() {
  usual_ = accepted_ = since_told_.lost / since_told_.frames;
  known_ = std::min(kMemoryFrames, std::max(known_, since_told_.frames));
  told_ = false;
  accepted_now_ = true;
  settle();
}

void LossWatch::shift(Duration step) {
  told_at_ += step;
  small_since_ += step;
  large_since_ += step;
  onset_ += step;
}

}  // namespace fadeward::judge
