// A recording whose transmit gain is known and in which lost frames are logged with their gain:
// tests/data/unb868, source and licence there (SensorLab, Jozef Stefan Institute; CC BY 4.0). The
// truth is the gain setting of each frame in the file.
#include <gtest/gtest.h>
#include <zlib.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "fadeward/estimate/censored_regression.hpp"
#include "fadeward/estimate/survivor_fit.hpp"

namespace fadeward::estimate::known_gain_test {
namespace {

// Half of the frames that met nothing else arrive near this level: a fit of p0 Phi((gain - g50) /
// s) to the delivery by gain gives p0 0.905, g50 -29.92 dB, s 5.59 dB, the level there -134 dBm.
constexpr double kLimitDbm = -134;
constexpr double kLimitSdDb = 5.4;  ///< of s, less the 1.5 dB by which levels of one gain scatter
constexpr double kLevelIndependentLoss = 0.095;  // 1 - p0

struct Frame {
  double gain_db = 0;
  std::optional<double> level_dbm;  ///< empty: lost
};

std::vector<Frame> recording() {
  const std::string name =
      std::string(FADEWARD_TEST_DATA) + "/unb868/random_gain_attenuated.csv.gz";
  const std::unique_ptr<gzFile_s, int (*)(gzFile)> file(gzopen(name.c_str(), "rb"), gzclose);
  std::vector<Frame> frames;
  char line[128];
  if (!file || !gzgets(file.get(), line, sizeof line)) return frames;
  while (gzgets(file.get(), line, sizeof line)) {  // gain_db,seq,time,rssi_dbm,snr_db
    double gain = 0, level = 0;
    if (std::sscanf(line, "%lf,%*d,%*d,%lf,", &gain, &level) == 2)
      frames.push_back({gain, level});
    else
      frames.push_back({std::strtod(line, nullptr), std::nullopt});
  }
  return frames;
}

struct Line {
  double slope = 0, intercept = 0;
};

Line fit_line(const std::vector<Frame>& frames, const std::vector<Observation>& observed) {
  std::vector<double> design;
  for (auto& frame : frames) design.insert(design.end(), {1.0, frame.gain_db});
  const auto fit = fit_censored(design, 2, observed);
  if (!fit) {
    ADD_FAILURE() << "no fit";
    return {};
  }
  return {fit->coefficients[1], fit->coefficients[0]};
}

Line received_only(const std::vector<Frame>& frames) {
  std::vector<Frame> received;
  std::vector<Observation> observed;
  for (auto& frame : frames)
    if (frame.level_dbm) {
      received.push_back(frame);
      observed.push_back({*frame.level_dbm, false});
    }
  return fit_line(received, observed);
}

struct Group {
  double from_db = 0, gain_db = 0;  ///< lower end; mean gain of all frames sent
  std::vector<Frame> frames;
  SurvivorFit fit;
};

/// Frames by `width_db` of gain from the strongest down. What one group says of the loss that does
/// not depend on level is believed before the next, as it is from hour to hour on a link.
std::vector<Group> separate(const std::vector<Frame>& frames, double width_db) {
  std::vector<Group> groups;
  SurvivorBelief belief;
  belief.collisions.fill(1.0 / belief.collisions.size());  // nothing known
  for (double from = -width_db; from >= -30; from -= width_db) {
    Group group{from, 0, {}, {}};
    for (auto& frame : frames)
      if (frame.gain_db >= from && frame.gain_db < from + width_db) group.frames.push_back(frame);
    SurvivorLevels levels;
    FrameCounts counts;
    for (auto& frame : group.frames) {
      group.gain_db += frame.gain_db / static_cast<double>(group.frames.size());
      (frame.level_dbm ? counts.heard : counts.lost) += 1;
      if (frame.level_dbm) levels.add(*frame.level_dbm - kLimitDbm, 1);
    }
    levels.finish();
    const auto fit = fit_survivors(levels, counts, {0, kLimitSdDb, 0.4}, belief);
    if (!fit) {
      ADD_FAILURE() << "no fit from " << from << " dB";
      continue;
    }
    group.fit = *fit;
    belief.collisions = fit->collisions_after;
    groups.push_back(std::move(group));
  }
  return groups;
}

double lost_share(const Group& group) {
  const auto lost = std::count_if(group.frames.begin(), group.frames.end(),
                                  [](const Frame& frame) { return !frame.level_dbm; });
  return static_cast<double>(lost) / static_cast<double>(group.frames.size());
}

TEST(KnownGain, BothCausesOfLossAreSeparated) {
  const auto frames = recording();
  ASSERT_EQ(frames.size(), 5000u);
  const auto groups = separate(frames, 5);
  ASSERT_EQ(groups.size(), 6u);
  for (auto& group : groups) {
    // The curve quoted at the top: what it loses beyond the share that does not depend on level.
    double too_weak = 0;
    for (auto& frame : group.frames)
      too_weak += (1 - kLevelIndependentLoss) * 0.5 *
                  std::erfc((frame.gain_db + 29.92) / 5.59 / std::sqrt(2.0)) /
                  static_cast<double>(group.frames.size());
    std::printf(
        "gain %5.0f dB: %4zu sent, lost %.3f = whatever the level %.3f + too weak %.3f (curve "
        "%.3f), median level %.2f dBm\n",
        group.from_db, group.frames.size(), lost_share(group), group.fit.collisions,
        group.fit.level_lost, too_weak, group.fit.median_db + kLimitDbm);
    EXPECT_NEAR(group.fit.collisions, kLevelIndependentLoss, 0.02) << group.from_db;
    EXPECT_NEAR(group.fit.level_lost, too_weak, 0.03) << group.from_db;
  }
}

// 1 dB of gain is 1 dB of level. Frames that were lost to the level count as below the limit; those
// lost whatever their level say nothing of it and are left out, as many in each decibel of gain as
// the separation found. The limit is taken for sharp. A maximum likelihood with a limit as soft as
// that of `separate` gives 0.97 (independent computation): the received frames from -20 dB up, of
// which few are too weak, have 0.972 themselves.
Line censored(const std::vector<Frame>& frames, double collisions, double limit_dbm) {
  std::vector<Frame> kept;
  std::vector<Observation> observed;
  for (int from = -30; from < 0; ++from) {
    std::vector<double> lost_gains;
    double sent = 0;
    for (auto& frame : frames) {
      if (frame.gain_db < from || frame.gain_db >= from + 1) continue;
      sent += 1;
      if (!frame.level_dbm) {
        lost_gains.push_back(frame.gain_db);
        continue;
      }
      kept.push_back(frame);
      observed.push_back({*frame.level_dbm, false});
    }
    const auto too_weak = std::lround(static_cast<double>(lost_gains.size()) - collisions * sent);
    for (long i = 0; i < too_weak; ++i) {
      kept.push_back({lost_gains[static_cast<std::size_t>(i)], std::nullopt});
      observed.push_back({limit_dbm, true});
    }
  }
  return fit_line(kept, observed);
}

TEST(KnownGain, LevelFollowsGainOnceTheLostAreCounted) {
  const auto frames = recording();
  ASSERT_EQ(frames.size(), 5000u);
  const Line received = received_only(frames);
  std::printf("received frames alone: %.4f dB per dB, %.3f dBm at 0 dB\n", received.slope,
              received.intercept);
  // Ordinary least squares of the same frames (independent computation).
  EXPECT_NEAR(received.slope, 0.9603, 0.0001);
  EXPECT_NEAR(received.intercept, -105.217, 0.001);

  const auto groups = separate(frames, 5);
  ASSERT_FALSE(groups.empty());
  const double collisions = groups.back().fit.collisions;
  for (double limit : {kLimitDbm - 1, kLimitDbm, kLimitDbm + 1}) {
    const Line line = censored(frames, collisions, limit);
    std::printf("with the lost below %.0f dBm and %.3f lost whatever the level: %.4f dB per dB\n",
                limit, collisions, line.slope);
    EXPECT_NEAR(line.slope, 1, 0.02) << limit;
    EXPECT_GT(line.slope, received.slope + 0.02) << limit;
  }
  // Without the term of its own, strong frames that met others pull the line flat.
  const Line all_weak = censored(frames, 0, kLimitDbm);
  std::printf("all lost taken for too weak: %.4f dB per dB\n", all_weak.slope);
  EXPECT_LT(all_weak.slope, 0.98);

  // The medians of all frames sent, group by group, as a link would see them.
  double n = 0, x = 0, y = 0, xx = 0, xy = 0;
  for (auto& group : separate(frames, 2)) {
    const double level = group.fit.median_db + kLimitDbm;
    n += 1;
    x += group.gain_db;
    y += level;
    xx += group.gain_db * group.gain_db;
    xy += group.gain_db * level;
  }
  const double slope = (n * xy - x * y) / (n * xx - x * x);
  std::printf("medians of survivors' fits per 2 dB: %.4f dB per dB\n", slope);
  EXPECT_GT(slope, received.slope + 0.01);
  EXPECT_NEAR(slope, 1, 0.03);
}

}  // namespace
}  // namespace fadeward::estimate::known_gain_test
