#include "fadeward/simulate/link_model.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <set>
#include <string>
#include <utility>
#include <vector>

namespace fadeward::simulate::link_model_test {
namespace {

using std::chrono::hours;
using std::chrono::seconds;

constexpr std::uint64_t kSeed = 23;
const Time kStart{seconds(1932768000)};

class InventedLink : public ::testing::Test {
  ::testing::ScopedTrace seed_{__FILE__, __LINE__, "seed " + std::to_string(kSeed)};
};

/// A link without any habit: what remains is what a test is about.
LinkPlan plain_link(double signal_dbm) {
  LinkPlan link;
  link.name = "L1";
  link.inbound_signal_dbm = link.outbound_signal_dbm = signal_dbm;
  link.shadow_sd_db = link.noise_sd_db = link.daily_db = link.daily_noise_db = 0;
  return link;
}

template <class Use>
void run(const LinkPlan& plan, int exchanges, Use use) {
  LinkModel model(plan, kSeed, 0, kStart, seconds(10));
  for (int i = 0; i < exchanges; ++i) use(model.step(kStart + seconds(10) * i, {}));
}

TEST_F(InventedLink, VisitsEveryHopChannelOnceBeforeItRepeats) {
  std::vector<std::set<int>> rounds(20);
  int i = 0;
  run(plain_link(-100), 20 * 50, [&](const Exchange* e) {
    ASSERT_NE(e, nullptr);
    rounds[static_cast<std::size_t>(i++ / 50)].insert(e->channel);
  });
  for (const auto& round : rounds) {
    EXPECT_EQ(round.size(), 50U);
    EXPECT_EQ(*round.begin(), 0);
    EXPECT_EQ(*round.rbegin(), 49);
  }
}

TEST_F(InventedLink, HopChannelsDifferAlikeInBothDirections) {
  std::vector<double> in(50), out(50), visits(50);
  run(plain_link(-100), 50 * 400, [&](const Exchange* e) {
    const auto c = static_cast<std::size_t>(e->channel);
    in[c] += e->inbound.signal_dbm;
    out[c] += e->outbound.signal_dbm;
    visits[c] += 1;
  });
  double mean_in = 0, mean_out = 0;
  for (std::size_t c = 0; c < 50; ++c) {
    in[c] /= visits[c];
    out[c] /= visits[c];
    mean_in += in[c] / 50;
    mean_out += out[c] / 50;
  }
  double ii = 0, oo = 0, io = 0;
  for (std::size_t c = 0; c < 50; ++c) {
    ii += (in[c] - mean_in) * (in[c] - mean_in);
    oo += (out[c] - mean_out) * (out[c] - mean_out);
    io += (in[c] - mean_in) * (out[c] - mean_out);
  }
  EXPECT_GT(io / std::sqrt(ii * oo), 0.95);
  EXPECT_GT(std::sqrt(ii / 49), 1.2);  // 2 dB, with the luck of 50 draws that resemble neighbours
  EXPECT_LT(std::sqrt(ii / 49), 2.8);
}

// With all offsets zero the mean power is the configured one; 10 lg E[P] of Rice fading is 0 dB.
TEST_F(InventedLink, MeanPowerIsTheConfiguredLevel) {
  LinkPlan link = plain_link(-100);
  link.channel_spread_db = 0;
  double in = 0, out = 0;
  constexpr int kExchanges = 200'000;
  run(link, kExchanges, [&](const Exchange* e) {
    in += std::pow(10.0, (e->inbound.signal_dbm + 100) / 10);
    out += std::pow(10.0, (e->outbound.signal_dbm + 100) / 10);
  });
  // The receivers' filters (0.3 dB) and the channels' wander (0.4 dB) add 0.01 dB on average.
  EXPECT_NEAR(10 * std::log10(in / kExchanges), 0, 0.06);
  EXPECT_NEAR(10 * std::log10(out / kExchanges), 0, 0.06);
}

// Within each quarter of a dB of margin, the frames heard are a binomial sample of the logistic.
TEST_F(InventedLink, FramesAreLostByTheirMarginAlone) {
  struct Bin {
    double heard = 0, expected = 0, variance = 0;
  };
  std::vector<Bin> bins(24);
  run(plain_link(-120), 300'000, [&](const Exchange* e) {
    for (const Frame& frame : {e->inbound, e->outbound}) {
      const double at = std::floor((frame.margin_db + 3) * 4);
      if (at < 0 || at >= 24) continue;
      Bin& bin = bins[static_cast<std::size_t>(at)];
      const double p = 1 / (1 + std::exp(-frame.margin_db / 0.35));
      bin.heard += frame.heard ? 1 : 0;
      bin.expected += p;
      bin.variance += p * (1 - p);
    }
  });
  for (const Bin& bin : bins) {
    EXPECT_GT(bin.expected, 1);
    EXPECT_NEAR(bin.heard, bin.expected, 5 * std::sqrt(bin.variance) + 1);
  }
}

/// Counters against a count kept by hand from what was heard.
TEST_F(InventedLink, CountersAgreeWithWhatWasSentAndHeard) {
  std::uint64_t sent = 0, heard_in = 0, heard_out = 0;
  Counters near_before{}, far_before{};
  run(plain_link(-119.5), 100'000, [&](const Exchange* e) {
    const bool first = sent++ == 0;
    if (first) {  // the counters already stand somewhere
      near_before = e->near_counters;
      far_before = e->far_counters;
      return;
    }
    heard_in += e->inbound.heard ? 1 : 0;
    heard_out += e->outbound.heard ? 1 : 0;
    const Counters& near = e->near_counters;
    const Counters& far = e->far_counters;
    ASSERT_EQ(near.tx_frames - near_before.tx_frames, sent - 1);
    ASSERT_EQ(far.tx_frames - far_before.tx_frames, sent - 1);
    ASSERT_EQ(near.rx_frames - near_before.rx_frames, heard_in);
    ASSERT_EQ(far.rx_frames - far_before.rx_frames, heard_out);
    ASSERT_LE(near.tx_retries, near.tx_frames);
    ASSERT_LE(3 * near.tx_failures, near.tx_retries);
  });
  EXPECT_GT(heard_in, 20'000U);
  EXPECT_LT(heard_in, 80'000U);
}

// A message needs both its own frame and the acknowledgement. For independent losses of share p
// each, a try succeeds with s = (1-p)^2, and with at most four tries the expected number of
// transmissions of a message is (1 - (1-s)^4) / s (truncated geometric distribution); the share of
// messages given up is (1-s)^4. The losses here come from collisions, so they are independent.
TEST_F(InventedLink, RetriesFollowTheTruncatedGeometricDistribution) {
  LinkPlan link = plain_link(-80);
  for (const Direction direction : {Direction::inbound, Direction::outbound}) {
    Fault fault;
    fault.cause = Cause::collisions;
    fault.from = kStart;
    fault.size = 0.4;
    fault.direction = direction;
    link.faults.push_back(fault);
  }
  Counters near_first{}, far_first{}, near_last{}, far_last{};
  bool begun = false;
  run(link, 400'000, [&](const Exchange* e) {
    if (!std::exchange(begun, true)) {
      near_first = e->near_counters;
      far_first = e->far_counters;
    }
    near_last = e->near_counters;
    far_last = e->far_counters;
  });
  const double s = 0.6 * 0.6;
  const double given_up = std::pow(1 - s, 4);
  const double tries = (1 - given_up) / s;
  for (const auto& [first, last] : {std::pair{near_first, near_last}, {far_first, far_last}}) {
    const auto frames = static_cast<double>(last.tx_frames - first.tx_frames);
    const auto messages = frames - static_cast<double>(last.tx_retries - first.tx_retries);
    EXPECT_NEAR(frames / messages, tries, 0.02);
    EXPECT_NEAR(static_cast<double>(last.tx_failures - first.tx_failures) / messages, given_up,
                0.005);
  }
}

TEST_F(InventedLink, ARestartOfTheSiteBeginsItsCountersAgain) {
  LinkPlan link = plain_link(-90);
  link.outages = {{Cause::restart, kStart + seconds(1000), kStart + seconds(1060), false, true}};
  std::uint64_t near_before = 0;
  int missing = 0, i = 0;
  run(link, 200, [&](const Exchange* e) {
    const int index = i++;
    if (e == nullptr) {
      ++missing;
      EXPECT_GE(index, 100);
      EXPECT_LT(index, 106);
      return;
    }
    if (index == 99) near_before = e->near_counters.tx_frames;
    if (index == 106) {
      EXPECT_EQ(e->far_counters.tx_frames, 1U);
      EXPECT_EQ(e->uptime_s, 0);
      EXPECT_EQ(e->near_counters.tx_frames, near_before + 1);
    }
  });
  EXPECT_EQ(missing, 6);
}

TEST_F(InventedLink, ARestartOfTheGatewayLeavesTheSiteAlone) {
  LinkPlan link = plain_link(-90);
  link.outages = {{Cause::restart, kStart + seconds(1000), kStart + seconds(1060), true, false}};
  std::uint64_t far_before = 0;
  int i = 0;
  run(link, 200, [&](const Exchange* e) {
    const int index = i++;
    if (index == 99) far_before = e->far_counters.tx_frames;
    if (index == 106) {
      EXPECT_EQ(e->near_counters.tx_frames, 1U);
      EXPECT_EQ(e->far_counters.tx_frames, far_before + 1);
    }
  });
}

TEST_F(InventedLink, PowerControlKeepsTheMarginAndReportsItsPower) {
  LinkPlan link = plain_link(-88);
  link.power_control = true;
  double margin_db = 0, power_dbm = 0;
  int i = 0;
  run(link, 4000, [&](const Exchange* e) {
    if (i++ < 2000) return;
    margin_db += e->inbound.margin_db / 2000;
    power_dbm += e->far_power_dbm / 2000;
  });
  EXPECT_NEAR(margin_db, 12.5, 1.6);
  // -88 dBm at 20 dBm against -113 dBm of noise and -7.5 dB: 32.5 dB, of which 20 are too many.
  EXPECT_NEAR(power_dbm, 20 - (32.5 - margin_db), 1.0);
}

TEST_F(InventedLink, RateAdaptationSlowsDownOnAWeakLink) {
  LinkPlan link = plain_link(-118);
  link.rate_adaptation = true;
  int slow = 0, lost = 0, i = 0;
  run(link, 4000, [&](const Exchange* e) {
    if (i++ < 2000) return;
    slow += e->spreading_factor >= 8 ? 1 : 0;
    lost += e->inbound.heard ? 0 : 1;
    const double required_db = -7.5 - 2.5 * (e->spreading_factor - 7);
    EXPECT_NEAR(e->inbound.margin_db, e->inbound.signal_dbm - e->inbound.noise_dbm - required_db,
                1e-9);
  });
  EXPECT_GT(slow, 1900);
  EXPECT_LT(lost, 100);
}

// Leaves are on from May to October (northern summer), wear never comes back.
TEST_F(InventedLink, SeasonTakesItsShareInSummerOnly) {
  LinkPlan link = plain_link(-100);
  link.channel_spread_db = 0;
  link.leaf_loss_db = 4;
  link.aging_db_per_year = 1.5;
  const auto mean_at = [&](Time from) {
    LinkModel model(link, kSeed, 0, kStart, seconds(10));
    double sum = 0;
    for (int i = 0; i < 20'000; ++i)
      sum += model.step(from + seconds(1) * i, {})->inbound.signal_dbm;
    return sum / 20'000;
  };
  const double spring = mean_at(kStart);
  EXPECT_NEAR(mean_at(kStart + hours(24 * 105)) - spring, -4 - 1.5 * 105 / 365.2425, 0.1);
  EXPECT_NEAR(mean_at(kStart + hours(24 * 275)) - spring, -1.5 * 275 / 365.2425, 0.1);
  EXPECT_NEAR(mean_at(kStart + hours(24 * 365 * 2)) - spring, -3.0, 0.1);
}

// Summers that are listed have a size each; in between nothing is left of them.
TEST_F(InventedLink, SummersCanDiffer) {
  LinkPlan link = plain_link(-100);
  link.channel_spread_db = 0;
  link.foliage = {{kStart + hours(24 * 30), kStart + hours(24 * 200), 4},
                  {kStart + hours(24 * 400), kStart + hours(24 * 560), 6}};
  const auto mean_at = [&](double days) {
    LinkModel model(link, kSeed, 0, kStart, seconds(10));
    double sum = 0;
    for (int i = 0; i < 20'000; ++i)
      sum += model.step(kStart + seconds_to_duration(86400 * days) + seconds(1) * i, {})
                 ->inbound.signal_dbm;
    return sum / 20'000;
  };
  const double bare = mean_at(300);
  EXPECT_NEAR(mean_at(115) - bare, -4, 0.1);
  EXPECT_NEAR(mean_at(29.9) - bare, -2, 0.15) << "half of them are out";
  EXPECT_NEAR(mean_at(480) - bare, -6, 0.1);
  EXPECT_NEAR(mean_at(700) - bare, 0, 0.1);
}

}  // namespace
}  // namespace fadeward::simulate::link_model_test
