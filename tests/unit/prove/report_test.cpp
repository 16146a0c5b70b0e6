#include "fadeward/prove/report.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <boost/property_tree/json_parser.hpp>
#include <sstream>

namespace fadeward::prove::report_test {
namespace {

using testing::HasSubstr;
using testing::Not;

Proof example() {
  Proof proof;
  proof.program = "fadeward test";
  proof.link = "ridge <1>";
  proof.port = "serial:/dev/radio";
  proof.octets = 48;
  proof.rate_per_s = 2;
  proof.planned = 600;
  proof.from = *parse_rfc3339("2031-04-01T10:00:00Z");
  proof.to = *parse_rfc3339("2031-04-01T10:05:02Z");
  proof.criteria.max_loss = 0.01;
  Tally& tally = proof.tally;
  tally.probes = 600;
  tally.trips = {600, 594};
  tally.settled = true;
  tally.elapsed_s = 300;
  tally.directions[0] = DirectionTally{596, 594, 1, 0, 2};
  tally.directions[1] = DirectionTally{600, 596, 0, 3, 1};
  tally.latency = Latency{594, 0.2, 0.25, 0.3, 0.41, 1.2};
  proof.margins[0] = {12.34, 0.4, -101.0, -116.0, 60};
  proof.margins_note = "Margins are from a & b.";
  proof.verdict = judge(tally, proof.margins, proof.criteria);
  proof.cautions = {"Mind the mast."};
  return proof;
}

boost::property_tree::ptree parsed(const std::string& json) {
  std::istringstream in(json);
  boost::property_tree::ptree tree;
  boost::property_tree::read_json(in, tree);
  return tree;
}

// 4 of 600: 0.0018 to 0.0170 (Clopper-Pearson, 95 % two-sided; checked against tail sums in
// binomial_test.cpp of estimate). 596 frames of 48 octets in 300 s are 762.9 bit/s.
TEST(Report, JsonIsWhatWasCounted) {
  const std::string json = to_json(example());
  const auto tree = parsed(json);
  EXPECT_EQ(tree.get<std::string>("link"), "ridge <1>");
  EXPECT_EQ(tree.get<std::string>("from"), "2031-04-01T10:00:00Z");
  EXPECT_EQ(tree.get<int>("outbound.lost"), 4);
  EXPECT_EQ(tree.get<int>("outbound.reordered"), 3);
  EXPECT_EQ(tree.get<int>("inbound.duplicated"), 1);
  EXPECT_EQ(tree.get<int>("inbound.corrupted"), 2);
  EXPECT_EQ(tree.get<int>("round_trip.lost"), 6);
  EXPECT_NEAR(tree.get<double>("outbound.loss_ratio"), 4.0 / 600, 1e-9);
  EXPECT_NEAR(tree.get<double>("outbound.loss_ratio_low"), 0.0018, 5e-5);
  EXPECT_NEAR(tree.get<double>("outbound.loss_ratio_high"), 0.0170, 5e-5);
  EXPECT_NEAR(tree.get<double>("outbound.throughput_bps"), 8.0 * 48 * 596 / 300, 0.1);
  EXPECT_NEAR(tree.get<double>("latency_s.p99"), 0.41, 1e-9);
  EXPECT_NEAR(tree.get<double>("inbound.margin_db"), 12.34, 1e-9);
  EXPECT_THAT(json, HasSubstr("\"margin_db\":null"));   // outbound: not told
  EXPECT_EQ(tree.get<std::string>("verdict.outcome"), "undecided");
  EXPECT_EQ(json.find('\n'), json.size() - 1);
}

TEST(Report, WhatIsNotKnownIsNull) {
  Proof proof = example();
  proof.tally = {};
  proof.margins = {};
  proof.link.clear();
  const std::string json = to_json(proof);
  parsed(json);
  EXPECT_THAT(json, HasSubstr("\"link\":null"));
  EXPECT_THAT(json, HasSubstr("\"outbound\":{\"sent\":null,\"delivered\":null,\"lost\":null"));
  EXPECT_THAT(json, HasSubstr("\"latency_s\":null"));
  EXPECT_THAT(to_text(proof), HasSubstr("No far end answered"));
}

TEST(Report, TextHoldsVerdictCountsAndCautions) {
  const std::string text = to_text(example());
  EXPECT_TRUE(text.starts_with("UNDECIDED"));
  EXPECT_THAT(text, HasSubstr("it takes"));
  EXPECT_THAT(text, HasSubstr("Mind the mast."));
  EXPECT_THAT(text, HasSubstr("5 min 02 s"));
  EXPECT_THAT(text, HasSubstr("99 % within 410 ms"));
}

TEST(Report, PageStandsAloneAndEscapes) {
  const std::string page = to_html(example());
  EXPECT_THAT(page, HasSubstr("ridge &lt;1&gt;"));
  EXPECT_THAT(page, Not(HasSubstr("ridge <1>")));
  EXPECT_THAT(page, HasSubstr("a &amp; b"));
  EXPECT_THAT(page, Not(HasSubstr("http")));
  EXPECT_THAT(page, Not(HasSubstr("src=")));
  for (const char* line : {"Tested by", "Accepted by", "signature", "Place", "Weather",
                           "Antenna height", "Mind the mast."})
    EXPECT_THAT(page, HasSubstr(line));
}

TEST(Latency, NearestRank) {
  std::vector<double> seconds;
  for (int i = 100; i >= 1; --i) seconds.push_back(i);
  const auto hundred = latency_of(seconds);
  ASSERT_TRUE(hundred);
  EXPECT_EQ(hundred->median_s, 50);
  EXPECT_EQ(hundred->p90_s, 90);
  EXPECT_EQ(hundred->p99_s, 99);
  EXPECT_EQ(hundred->max_s, 100);
  std::vector<double> one{3};
  EXPECT_EQ(latency_of(one)->p99_s, 3);
  std::vector<double> none;
  EXPECT_FALSE(latency_of(none));
}

}  // namespace
}  // namespace fadeward::prove::report_test
