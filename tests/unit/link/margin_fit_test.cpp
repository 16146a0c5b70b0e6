#include "fadeward/link/margin_fit.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "fadeward/base/archive.hpp"

namespace fadeward::link::margin_fit_test {
namespace {

using std::chrono::hours;
using std::chrono::minutes;
using std::chrono::seconds;

constexpr Time kStart{hours{24 * 365 * 55}};

/// Fills one hour with normal margins; below the limit and by chance some are lost.
class Sender {
 public:
  explicit Sender(unsigned seed) : random_(seed) {}

  void hour(FrameWindow& window, Time from, double mean_db, double collisions) {
    std::uint32_t lost = 0;
    for (int i = 0; i < 360; ++i) {
      const double margin_db = mean_db + 2.8 * normal_(random_);
      if (margin_db < 0.6 * normal_(random_) || uniform_(random_) < collisions) {
        ++lost;
        continue;
      }
      const double read_db = std::round(margin_db + 0.8 * normal_(random_));
      window.add(from + seconds{10 * i}, read_db - 120, -112.5, read_db, 1, lost, 0,
                 FrameWindow::kFullWeight);
      lost = 0;
    }
    window.expire(from + hours{1});
  }

 private:
  std::mt19937_64 random_;
  std::normal_distribution<double> normal_;
  std::uniform_real_distribution<double> uniform_;
};

// Phi(-1) = 0.158655, Phi(-2) = 0.022750, Phi(-3) = 0.001350 (tables of the normal distribution);
// 2.8 dB of the level and 0.6 dB of the limit are 2.86 dB, and skewness to the left adds to it.
TEST(MarginFit, WhatIsTooWeakFollowsTheNormalTable) {
  const double deviation = std::hypot(2.8, 0.64);
  const MarginFit fit;
  EXPECT_NEAR(fit.share_too_weak(0, 2.8), 0.5, 1e-9);
  EXPECT_GT(fit.share_too_weak(deviation, 2.8), 0.1586);
  EXPECT_LT(fit.share_too_weak(deviation, 2.8), 0.185);
  EXPECT_GT(fit.share_too_weak(2 * deviation, 2.8), 0.0227);
  EXPECT_LT(fit.share_too_weak(2 * deviation, 2.8), 0.050);
  EXPECT_LT(fit.share_too_weak(3 * deviation, 2.8), 0.015);
  EXPECT_LT(fit.share_too_weak(25, 2.8), 1e-3);
}

TEST(MarginFit, EmptyWindowHasNone) { EXPECT_FALSE(MarginFit{}.fit({}, {})); }

TEST(MarginFit, FindsTheMarginUnderLoss) {
  Sender sender(1);
  FrameWindow window;
  sender.hour(window, kStart, 1.0, 0);
  const auto fit = MarginFit{}.fit(window, {});
  ASSERT_TRUE(fit);
  // The population's median; the hour's own differs from it by 1.25 * 2.8 / sqrt(360) = 0.19.
  EXPECT_NEAR(fit->median_db, 1.0, 0.6) << "seed 1";
}

TEST(MarginFit, AFewMisreadingsDoNotMoveIt) {
  Sender sender(6);
  FrameWindow window;
  sender.hour(window, kStart, 1.0, 0);
  const double clean_db = MarginFit{}.fit(window, {})->median_db;
  for (int i = 0; i < 4; ++i)
    window.add(kStart + seconds{3590 + i}, -170, -112.5, -50, 1, 0, 0, FrameWindow::kFullWeight);
  EXPECT_NEAR(MarginFit{}.fit(window, {})->median_db, clean_db, 0.3) << "seed 6";
}

TEST(MarginFit, AWrongRequiredSnrIsSeenInWhatArrives) {
  // Frames arrive down to 6 dB below the limit that the settings promise.
  std::mt19937_64 random(7);
  std::normal_distribution<double> normal;
  FrameWindow window;
  std::uint32_t lost = 0;
  for (int i = 0; i < 360; ++i) {
    const double margin_db = -5 + 2.8 * normal(random);
    if (margin_db < -6) {
      ++lost;
      continue;
    }
    const double read_db = std::round(margin_db + 0.8 * normal(random));
    window.add(kStart + seconds{10 * i}, read_db - 120, -112.5, read_db, 1, lost, 0,
               FrameWindow::kFullWeight);
    lost = 0;
  }
  EXPECT_NEAR(MarginFit{}.fit(window, {})->median_db, -5, 1.0) << "seed 7";
}

TEST(MarginFit, HoldsAFitForFiveMinutes) {
  Sender sender(2);
  FrameWindow window;
  sender.hour(window, kStart, 1.0, 0);
  MarginFit margin;
  const Time now = kStart + hours{1};
  const double first = margin.recent(window, {}, now)->median_db;
  sender.hour(window, now, 5.0, 0);
  EXPECT_DOUBLE_EQ(margin.recent(window, {}, now + minutes{4})->median_db, first);
  EXPECT_GT(margin.recent(window, {}, now + minutes{6})->median_db, first + 2) << "seed 2";
  EXPECT_FALSE(margin.lately_clear(now));
  margin.note_clear(now);
  EXPECT_TRUE(margin.lately_clear(now + minutes{4}));
  EXPECT_FALSE(margin.lately_clear(now + minutes{5}));
}

TEST(MarginFit, LearnsCollisionsFromHoursWithMargin) {
  // 15 % of a strong link's frames collide; when its level falls, they go on to.
  MarginFit taught, fresh;
  for (int hour = 0; hour < 12; ++hour) taught.learn_collisions(306, 54);
  double taught_off = 0, fresh_off = 0;
  Sender sender(3);
  for (int i = 0; i < 40; ++i) {
    FrameWindow window;
    sender.hour(window, kStart, 2.0, 0.15);
    taught_off += std::abs(taught.fit(window, {})->median_db - 2.0);
    fresh_off += std::abs(fresh.fit(window, {})->median_db - 2.0);
  }
  EXPECT_LT(taught_off / 40, 0.35) << "seed 3";
  EXPECT_LE(taught_off, fresh_off) << "seed 3";
}

TEST(MarginFit, LearnsTheSpreadOfAClearLink) {
  Sender sender(4);
  MarginFit margin;
  for (int hour = 0; hour < 12; ++hour) {
    FrameWindow window;
    sender.hour(window, kStart + hours{hour}, 20, 0);
    margin.learn_shape(window);
  }
  FrameWindow weak;
  sender.hour(weak, kStart + hours{20}, -1, 0);
  const auto fit = margin.fit(weak, {});
  EXPECT_NEAR(fit->deviation_db, 2.8, 0.25) << "seed 4";
  EXPECT_LT(fit->log_deviation_sd, MarginFit{}.fit(weak, {})->log_deviation_sd);
  // What one direction learned serves the other.
  FitQuestion question;
  question.other = &margin;
  EXPECT_NEAR(MarginFit{}.fit(weak, question)->deviation_db, 2.8, 0.4) << "seed 4";
}

TEST(MarginFit, ArchivesWhatItLearnedAndRefusesNonsense) {
  MarginFit margin;
  Sender sender(5);
  FrameWindow window;
  sender.hour(window, kStart, 20, 0);
  for (int hour = 0; hour < 5; ++hour) {
    margin.learn_shape(window);
    margin.learn_collisions(300, 60);
  }
  std::string bytes;
  ArchiveWriter writer(bytes);
  margin.archive(writer);
  MarginFit again;
  ArchiveReader reader(bytes);
  again.archive(reader);
  EXPECT_TRUE(reader.ok());
  FrameWindow weak;
  sender.hour(weak, kStart, 1, 0);
  EXPECT_DOUBLE_EQ(again.fit(weak, {})->median_db, margin.fit(weak, {})->median_db);

  for (std::size_t i = 0; i < bytes.size(); ++i) {  // any damaged byte
    std::string bad = bytes;
    bad[i] = static_cast<char>(bad[i] ^ 0x7f);
    MarginFit hurt;
    ArchiveReader bad_reader(bad);
    hurt.archive(bad_reader);
    EXPECT_TRUE(std::isfinite(hurt.fit(weak, {})->median_db)) << "byte " << i;
  }
}

}  // namespace
}  // namespace fadeward::link::margin_fit_test
