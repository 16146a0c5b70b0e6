#include "fadeward/simulate/world.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <string>
#include <tuple>
#include <vector>

#include "fadeward/base/field.hpp"
#include "strict_json.hpp"

namespace fadeward::simulate::world_test {
namespace {

using strict_json::Value;

constexpr std::uint64_t kSeed = 5;

/// Failures name the seed that holds unless a test says otherwise.
class InventedWorld : public ::testing::Test {
  ::testing::ScopedTrace seed_{__FILE__, __LINE__, "seed " + std::to_string(kSeed)};
};

struct Lines {
  std::vector<std::string> reports;
  std::vector<std::string> truth;
};

std::vector<std::string> split(const std::string& text) {
  std::vector<std::string> lines;
  std::size_t at = 0;
  while (at < text.size()) {
    const std::size_t end = text.find('\n', at);
    EXPECT_NE(end, std::string::npos) << "an unfinished line";
    lines.push_back(text.substr(at, end - at));
    at = end + 1;
  }
  return lines;
}

Lines play(Options options) {
  options.truth = true;
  Result<World> world = World::make(options);
  Lines out;
  EXPECT_TRUE(world) << options.scenario;
  if (!world) return out;
  std::string line, truth;
  Time time{}, before{};
  while (world->next(line, time)) {
    EXPECT_GE(time, before);
    before = time;
    out.reports.push_back(line);
    truth += world->take_truth();
  }
  truth += world->take_truth();
  EXPECT_FALSE(world->next(line, time));
  EXPECT_EQ(world->take_truth(), "");
  out.truth = split(truth);
  return out;
}

Options options_of(std::string scenario, double days, std::uint64_t seed = kSeed) {
  Options options;
  options.scenario = std::move(scenario);
  options.days = days;
  options.seed = seed;
  return options;
}

double median(std::vector<double> values) {
  std::nth_element(values.begin(), values.begin() + static_cast<long>(values.size() / 2),
                   values.end());
  return values.at(values.size() / 2);
}

/// Truth rows of one link and direction.
std::vector<Value> rows(const Lines& played, const std::string& direction,
                        const std::string& link = "L1") {
  std::vector<Value> out;
  for (const std::string& line : played.truth) {
    Value row = strict_json::parse(line);
    if (row["kind"].text == "truth" && row["direction"].text == direction &&
        row["link"].text == link) {
      out.push_back(std::move(row));
    }
  }
  return out;
}

TEST_F(InventedWorld, EveryLineOfEveryScenarioIsAReportOfTheContract) {
  for (const ScenarioInfo& info : scenarios()) {
    const Lines world = play(options_of(std::string(info.name), 0.2));
    ASSERT_FALSE(world.reports.empty()) << info.name;
    double last_time = 0;
    for (const std::string& line : world.reports) {
      const Value report = strict_json::parse(line);
      ASSERT_GE(report.num("time"), last_time) << info.name;
      last_time = report.num("time");
      for (const auto& [key, value] : report.members) {
        if (key == "time" || key == "link") continue;
        const std::optional<Field> field = field_by_name(key);
        ASSERT_TRUE(field) << key;
        ASSERT_GE(value.number, field_info(*field).lowest) << line;
        ASSERT_LE(value.number, field_info(*field).highest) << line;
      }
    }
    for (const std::string& line : world.truth) {
      ASSERT_NO_THROW(strict_json::parse(line)) << line;
    }
    EXPECT_EQ(strict_json::parse(world.truth.at(0))["kind"].text, "world");
  }
}

TEST_F(InventedWorld, SameSeedSameBytesAndOtherSeedsOtherBytes) {
  for (const char* name : {"healthy", "weak", "restarts", "tarn-valley", "rate-adaptation"}) {
    const Lines first = play(options_of(name, 0.3, 11));
    const Lines again = play(options_of(name, 0.3, 11));
    const Lines other = play(options_of(name, 0.3, 12));
    EXPECT_EQ(first.reports, again.reports) << name;
    EXPECT_EQ(first.truth, again.truth) << name;
    EXPECT_NE(first.reports, other.reports) << name;
  }
}

TEST_F(InventedWorld, ALongerWorldBeginsLikeAShorterOne) {
  Options shorter = options_of("path-step", 0.3);
  Options longer = options_of("path-step", 0.6);
  shorter.onset_days = longer.onset_days = 0.1;
  const Lines a = play(shorter), b = play(longer);
  ASSERT_LT(a.reports.size(), b.reports.size());
  EXPECT_TRUE(std::equal(a.reports.begin(), a.reports.end(), b.reports.begin()));
}

TEST_F(InventedWorld, ValuesComeInTheStepsOfTheirReceivers) {
  const Lines world = play(options_of("healthy", 0.5));
  for (const std::string& line : world.reports) {
    const Value report = strict_json::parse(line);
    for (const char* key : {"rssi_dbm", "noise_dbm", "far_rssi_dbm", "far_noise_dbm"}) {
      ASSERT_EQ(report.num(key), std::round(report.num(key))) << line;
    }
    for (const char* key : {"snr_db", "far_snr_db"}) {
      ASSERT_EQ(report.num(key) * 4, std::round(report.num(key) * 4)) << line;
    }
  }
}

TEST_F(InventedWorld, SnrOfAStrongLinkSaysNothingOfItsLevel) {
  Options options = options_of("strong", 0.3);
  std::vector<double> snr_db[2];
  for (int i = 0; i < 2; ++i) {
    options.signal_dbm = i == 0 ? -75 : -60;
    for (const std::string& line : play(options).reports) {
      snr_db[i].push_back(strict_json::parse(line).num("snr_db"));
    }
    EXPECT_LE(*std::max_element(snr_db[i].begin(), snr_db[i].end()), 10.0);
  }
  EXPECT_EQ(median(snr_db[0]), median(snr_db[1]));
}

/// Loss three ways: gaps of `seq`, counters of both ends, truth.
TEST_F(InventedWorld, GapsOfSeqAreTheLossOfTheTruth) {
  for (const std::uint64_t seed : {1U, 2U, 3U}) {
    SCOPED_TRACE(seed);
    const Lines world = play(options_of("weak", 2, seed));
    double frames = 0, lost = 0, frames_out = 0, lost_out = 0;
    for (const Value& row : rows(world, "inbound")) {
      frames += row.num("frames");
      lost += row.num("lost");
      EXPECT_NEAR(row.num("loss_ratio"), row.num("lost") / row.num("frames"), 1e-6);
    }
    for (const Value& row : rows(world, "outbound")) {
      frames_out += row.num("frames");
      lost_out += row.num("lost");
    }
    EXPECT_EQ(frames, frames_out);
    EXPECT_EQ(frames - lost, static_cast<double>(world.reports.size()));

    const Value first = strict_json::parse(world.reports.front());
    const Value last = strict_json::parse(world.reports.back());
    double gaps = 0, before = first.num("seq");
    for (const std::string& line : world.reports) {
      const double seq = strict_json::parse(line).num("seq");
      gaps += std::max(0.0, seq - before - 1);
      before = seq;
    }
    // Frames before the first report and after the last one cannot be seen from here.
    const double hidden = frames - (last.num("seq") - first.num("seq") + 1);
    EXPECT_GE(hidden, 0);
    EXPECT_LE(hidden, 20);
    EXPECT_GE(lost, gaps);
    EXPECT_LE(lost, gaps + hidden);

    const double sent_out = last.num("tx_frames") - first.num("tx_frames");
    const double heard_out = last.num("far_rx_frames") - first.num("far_rx_frames");
    EXPECT_NEAR(lost_out, sent_out - heard_out, hidden + 1);
    EXPECT_GT(lost / frames, 0.15);
    EXPECT_LT(lost / frames, 0.65);
  }
}

TEST_F(InventedWorld, CollisionsTakeTheirShareWhateverTheLevel) {
  Options options = options_of("collisions", 3);
  options.size = 0.05;
  options.onset_days = 0;
  double frames = 0, lost = 0, lost_out = 0;
  const Lines world = play(options);
  for (const Value& row : rows(world, "inbound"))
    frames += row.num("frames"), lost += row.num("lost");
  for (const Value& row : rows(world, "outbound")) lost_out += row.num("lost");
  EXPECT_NEAR(lost / frames, 0.05, 5 * std::sqrt(0.05 * 0.95 / frames) + 0.001);
  EXPECT_LT(lost_out / frames, 0.002);
}

// What the reports say, separated by the textbook formulas, is what the truth says.
TEST_F(InventedWorld, ReportedLevelsAgreeWithTheTruth) {
  Options options = options_of("healthy", 2);
  options.signal_dbm = -108;  // SNR about 5 dB: not saturated
  const Lines world = play(options);
  std::vector<double> near_signal, near_noise, far_signal, far_noise;
  for (const std::string& line : world.reports) {
    const Value r = strict_json::parse(line);
    const auto wanted = [](double rssi_dbm, double noise_dbm) {
      return std::pow(10, rssi_dbm / 10) - std::pow(10, noise_dbm / 10);
    };
    near_signal.push_back(
        wanted(r.num("rssi_dbm"),
               r.num("rssi_dbm") - 10 * std::log10(1 + std::pow(10, r.num("snr_db") / 10))));
    near_noise.push_back(r.num("noise_dbm"));
    far_signal.push_back(wanted(
        r.num("far_rssi_dbm"),
        r.num("far_rssi_dbm") - 10 * std::log10(1 + std::pow(10, r.num("far_snr_db") / 10))));
    far_noise.push_back(r.num("far_noise_dbm"));
  }
  const auto mean = [](const std::vector<double>& values) {
    double sum = 0;
    for (const double value : values) sum += value;
    return sum / static_cast<double>(values.size());
  };
  const auto truth = [&](const char* direction, const char* key) {
    double sum = 0;
    const auto all = rows(world, direction);
    for (const Value& row : all) sum += row.num(key);
    return sum / static_cast<double>(all.size());
  };
  EXPECT_NEAR(10 * std::log10(median(near_signal)), truth("inbound", "signal_dbm"), 0.3);
  EXPECT_NEAR(10 * std::log10(median(far_signal)), truth("outbound", "signal_dbm"), 0.3);
  EXPECT_NEAR(mean(near_noise), truth("inbound", "noise_dbm"), 0.1);
  EXPECT_NEAR(mean(far_noise), truth("outbound", "noise_dbm"), 0.1);
  for (const Value& row : rows(world, "inbound")) {
    EXPECT_NEAR(row.num("margin_db"), row.num("signal_dbm") - row.num("noise_dbm") + 7.5, 0.5);
  }
}

// Reciprocal path: shadowing, daily cycle and rain move both directions alike.
TEST_F(InventedWorld, HourlyLevelsOfBothDirectionsMoveTogether) {
  Options options = options_of("healthy", 30);
  options.interval_s = 30;
  const Lines world = play(options);
  const auto in = rows(world, "inbound"), out = rows(world, "outbound");
  ASSERT_EQ(in.size(), out.size());
  double a = 0, b = 0, aa = 0, bb = 0, ab = 0;
  const double n = static_cast<double>(in.size());
  for (std::size_t i = 0; i < in.size(); ++i) {
    const double x = in[i].num("signal_dbm"), y = out[i].num("signal_dbm");
    a += x / n, b += y / n, aa += x * x / n, bb += y * y / n, ab += x * y / n;
  }
  EXPECT_GT((ab - a * b) / std::sqrt((aa - a * a) * (bb - b * b)), 0.9);
  EXPECT_GT(std::sqrt(aa - a * a), 0.7);
  EXPECT_LT(std::sqrt(aa - a * a), 2.0);
}

struct Signature {
  const char* scenario;
  double signal_in, signal_out, noise_in, noise_out;  // change in dB; 99: at most -1
};

// The table of causes of the contract, turned into numbers. Worlds of
// one seed differ only in their fault, so the change is seen without scatter.
TEST_F(InventedWorld, EachFaultChangesWhatTheContractSaysAndNothingElse) {
  constexpr double kFalls = 99;
  for (const Signature& s : std::vector<Signature>{
           {"path-step", -6, -6, 0, 0},
           {"far-transmit", -6, 0, 0, 0},
           {"near-transmit", 0, -6, 0, 0},
           {"near-receive", -6, 0, -6, 0},
           {"far-receive", 0, -6, 0, -6},
           {"near-antenna", -6, -6, kFalls, 0},
           {"far-antenna", -6, -6, 0, kFalls},
           {"near-noise", 0, 0, 6, 0},
           {"far-noise", 0, 0, 0, 6},
       }) {
    SCOPED_TRACE(s.scenario);
    Options options = options_of("healthy", 1);
    options.signal_dbm = -90;  // strong enough that nothing is lost either way
    options.onset_days = 0.5;
    const Lines healthy = play(options);
    options.scenario = s.scenario;
    const Lines faulty = play(options);
    const std::tuple<const char*, const char*, double> expected[] = {
        {"inbound", "signal_dbm", s.signal_in},
        {"outbound", "signal_dbm", s.signal_out},
        {"inbound", "noise_dbm", s.noise_in},
        {"outbound", "noise_dbm", s.noise_out},
    };
    for (const auto& [direction, key, change] : expected) {
      const auto before = rows(healthy, direction), after = rows(faulty, direction);
      ASSERT_EQ(before.size(), 24U);
      ASSERT_EQ(after.size(), 24U);
      for (std::size_t hour = 0; hour < 24; ++hour) {
        const double difference = after[hour].num(key) - before[hour].num(key);
        if (hour < 12) {
          EXPECT_EQ(difference, 0) << direction << " " << key;
        } else if (change == kFalls) {
          EXPECT_LT(difference, -1) << direction << " " << key;
        } else {
          EXPECT_NEAR(difference, change, 0.002) << direction << " " << key;
        }
      }
    }
    // And the reports show it: mean of the raw values after the onset.
    const auto raw = [](const Lines& r, const char* key) {
      double sum = 0, n = 0;
      for (const std::string& line : r.reports) {
        const Value report = strict_json::parse(line);
        if (report.num("time") < 1932768000 + 43200 + 60) continue;
        sum += report.num(key), n += 1;
      }
      return sum / n;
    };
    if (s.noise_in != kFalls) {
      EXPECT_NEAR(raw(faulty, "noise_dbm") - raw(healthy, "noise_dbm"), s.noise_in, 0.05);
    }
    if (s.noise_out != kFalls) {
      EXPECT_NEAR(raw(faulty, "far_noise_dbm") - raw(healthy, "far_noise_dbm"), s.noise_out, 0.05);
    }
    EXPECT_NEAR(raw(faulty, "rssi_dbm") - raw(healthy, "rssi_dbm"), s.signal_in, 0.15);
    EXPECT_NEAR(raw(faulty, "far_rssi_dbm") - raw(healthy, "far_rssi_dbm"), s.signal_out, 0.15);
  }
}

TEST_F(InventedWorld, NarrowBandJamsSixOfFiftyChannels) {
  Options options = options_of("healthy", 2);
  options.onset_days = 0;
  const Lines healthy = play(options);
  options.scenario = "narrow-band";
  const Lines jammed = play(options);
  const auto by_channel = [](const Lines& r) {
    std::map<int, std::pair<double, double>> sums;
    for (const std::string& line : r.reports) {
      const Value report = strict_json::parse(line);
      auto& [sum, n] = sums[static_cast<int>(report.num("channel"))];
      sum += report.num("noise_dbm"), n += 1;
    }
    std::map<int, double> out;
    for (const auto& [channel, sum] : sums) out[channel] = sum.first / sum.second;
    return out;
  };
  const auto before = by_channel(healthy), after = by_channel(jammed);
  ASSERT_EQ(before.size(), 50U);
  int raised = 0;
  for (const auto& [channel, level] : before) {
    const double change = after.at(channel) - level;
    if (change > 3) {
      ++raised;
      EXPECT_NEAR(change, 6, 0.2);
    } else {
      EXPECT_NEAR(change, 0, 0.05);
    }
  }
  EXPECT_EQ(raised, 6);
}

TEST_F(InventedWorld, SilenceIsSilentAndSaysNull) {
  Options options = options_of("silence", 1);
  options.onset_days = 0.25;
  const Lines world = play(options);
  for (const std::string& line : world.reports) {
    const double hour = (strict_json::parse(line).num("time") - 1932768000) / 3600;
    EXPECT_TRUE(hour < 6 || hour >= 12) << line;
  }
  const auto in = rows(world, "inbound");
  ASSERT_EQ(in.size(), 24U);
  for (std::size_t hour = 0; hour < 24; ++hour) {
    EXPECT_EQ(in[hour]["margin_db"].is_null(), hour >= 6 && hour < 12) << hour;
    EXPECT_EQ(in[hour].num("time"), 1932768000 + 3600.0 * static_cast<double>(hour + 1));
  }
}

TEST_F(InventedWorld, ABlackoutLosesEveryFrameThatIsSent) {
  Options options = options_of("blackout", 1);
  options.onset_days = 0.25;
  const auto in = rows(play(options), "inbound");
  ASSERT_EQ(in.size(), 24U);
  EXPECT_EQ(in[8].num("lost"), in[8].num("frames"));
  EXPECT_GE(in[8].num("frames"), 359);
  EXPECT_LT(in[8].num("margin_db"), -30);
}

TEST_F(InventedWorld, RestartsBeginTheNumbersAgain) {
  const Lines world = play(options_of("restarts", 10));
  std::vector<double> restarts;
  int gateway = 0, site = 0;
  for (const std::string& line : world.truth) {
    const Value row = strict_json::parse(line);
    if (row["kind"].text != "change") continue;
    (row["far_restarts"].number == 1 ? site : gateway) += 1;
  }
  EXPECT_GE(site, 3);
  int seq_back = 0, tx_back = 0;
  double seq = 0, tx = 0;
  for (const std::string& line : world.reports) {
    const Value report = strict_json::parse(line);
    seq_back += report.num("seq") < seq ? 1 : 0;
    tx_back += report.num("tx_frames") < tx ? 1 : 0;
    seq = report.num("seq");
    tx = report.num("tx_frames");
  }
  EXPECT_EQ(seq_back, site);
  EXPECT_EQ(tx_back, gateway);
}

TEST_F(InventedWorld, FrameNumbersWrapWhereAsked) {
  Options options = options_of("healthy", 0.2);
  options.seq_bits = 8;
  double before = -1;
  for (const std::string& line : play(options).reports) {
    const double seq = strict_json::parse(line).num("seq");
    ASSERT_LT(seq, 256);
    if (before >= 0) {
      EXPECT_LE(std::fmod(seq - before + 256, 256), 10);
    }
    before = seq;
  }
}

TEST_F(InventedWorld, TarnValleyTellsItsStory) {
  const Lines world = play(options_of("tarn-valley", 3, 7));
  std::map<std::string, int> reports;
  for (const std::string& line : world.reports) ++reports[strict_json::parse(line)["link"].text];
  ASSERT_EQ(reports.size(), 4U);
  EXPECT_GT(reports["weir"], 25'000);
  std::map<std::string, std::string> seen;
  for (const std::string& line : world.truth) {
    const Value row = strict_json::parse(line);
    if (row["kind"].text == "change") seen[row["cause"].text] = row["link"].text;
  }
  EXPECT_EQ(seen.at("near-noise"), "quarry");
  EXPECT_EQ(seen.at("path"), "ridge");
  EXPECT_EQ(seen.at("far-transmit"), "sluice");
  EXPECT_EQ(seen.at("silent"), "sluice");
  EXPECT_EQ(seen.at("restart"), "weir");
  EXPECT_EQ(seen.at("near-channels"), "quarry");

  const auto margin = [&](const char* link, std::size_t hour) {
    return rows(world, "inbound", link).at(hour).num("margin_db");
  };
  EXPECT_LT(margin("quarry", 2), margin("quarry", 0) - 12);  // hours 1 to 3: noise
  EXPECT_GT(margin("quarry", 3), margin("quarry", 2) + 12);
  EXPECT_LT(margin("ridge", 10), 10);  // hours 3.5 to 27: path
  EXPECT_GT(margin("ridge", 30), 14);
  EXPECT_LT(margin("sluice", 28), 10);  // the transmitter sags
}

TEST_F(InventedWorld, NeighboursShareTheNoiseOfTheGateway) {
  Options options = options_of("healthy", 20);
  options.links = 2;
  options.interval_s = 60;
  const Lines world = play(options);
  const auto correlation = [&](const char* direction) {
    const auto first = rows(world, direction, "L1"), second = rows(world, direction, "L2");
    double a = 0, b = 0, aa = 0, bb = 0, ab = 0;
    // The daily cycle of each link has its own phase: compare the same hour of successive days.
    for (std::size_t i = 24; i < first.size(); ++i) {
      const double x = first[i].num("noise_dbm") - first[i - 24].num("noise_dbm");
      const double y = second[i].num("noise_dbm") - second[i - 24].num("noise_dbm");
      a += x, b += y, aa += x * x, bb += y * y, ab += x * y;
    }
    return ab / std::sqrt(aa * bb);
  };
  EXPECT_GT(correlation("inbound"), 0.9);
  EXPECT_LT(std::abs(correlation("outbound")), 0.5);
}

TEST_F(InventedWorld, OmittedKeysAreAbsent) {
  Options options = options_of("rssi-only", 0.05);
  options.omit = {"channel", "seq"};
  for (const std::string& line : play(options).reports) {
    const Value report = strict_json::parse(line);
    for (const char* key :
         {"snr_db", "noise_dbm", "far_snr_db", "far_noise_dbm", "channel", "seq"}) {
      ASSERT_FALSE(report.has(key)) << key;
    }
    ASSERT_TRUE(report.has("rssi_dbm"));
  }
}

}  // namespace
}  // namespace fadeward::simulate::world_test
