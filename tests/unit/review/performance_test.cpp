#include "fadeward/review/performance.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>
#include <string>

namespace fadeward::review::performance_test {
namespace {

using namespace std::chrono_literals;
using State = IntervalState;

/// "3E 1. 10u" as intervals: E severely errored, e errored, . good, u upkeep, x no data.
std::vector<State> sequence(std::string_view words) {
  std::vector<State> out;
  std::size_t count = 0;
  for (const char c : words) {
    if (c >= '0' && c <= '9') {
      count = count * 10 + static_cast<std::size_t>(c - '0');
      continue;
    }
    if (c == ' ') continue;
    const State state = c == 'E'   ? State::severely_errored
                        : c == 'e' ? State::errored
                        : c == 'u' ? State::upkeep
                        : c == 'x' ? State::no_data
                                   : State::good;
    out.insert(out.end(), count, state);
    count = 0;
  }
  return out;
}

Tally whole(std::string_view words) {
  const auto states = sequence(words);
  return tally(states, judge_intervals(states), 0, states.size());
}

// Sequences worked out on paper by the rule of ITU-T G.826 Annex A: the ten intervals that open an
// unavailable period belong to it, and so do those that end it to available time.
TEST(Performance, TenInARow) {
  struct Case {
    const char* words;
    std::uint64_t unavailable, severe;
  };
  for (const Case& one : {Case{"9E 10.", 0, 9}, Case{"10E 10.", 10, 0}, Case{"15E 10.", 15, 0},
                          Case{"10E 9. 1E 10.", 20, 0}, Case{"10E 10. 9E 10.", 10, 9},
                          Case{"2E 1. 2E 10.", 0, 4}, Case{"3E 1. 3E 10.", 0, 6}}) {
    const Tally got = whole(one.words);
    EXPECT_EQ(got.unavailable, one.unavailable) << one.words;
    EXPECT_EQ(got.severely_errored, one.severe) << one.words;
    EXPECT_EQ(got.errored, one.severe) << one.words;
    EXPECT_EQ(got.available + got.unavailable, sequence(one.words).size()) << one.words;
  }
}

// The rule in other words, as searches for ten equal letters in a text, against random sequences.
TEST(Performance, TheRuleInOtherWords) {
  std::mt19937 random(826);
  const std::string bad(10, 'E'), good(10, '.');
  std::size_t outages = 0;
  for (int round = 0; round < 400; ++round) {
    std::string text;
    while (text.size() < 300) text.append(1 + random() % 14, random() % 2 == 0 ? 'E' : '.');
    std::vector<State> states;
    for (const char c : text) states.push_back(c == 'E' ? State::severely_errored : State::good);
    const Judged judged = judge_intervals(states);
    std::vector<UnavailableRun> runs;
    for (std::size_t at = text.find(bad); at != std::string::npos;) {
      const std::size_t end = text.find(good, at);
      runs.push_back({at, std::min(end, text.size()), end == std::string::npos});
      at = end == std::string::npos ? end : text.find(bad, end);
    }
    ASSERT_EQ(judged.runs, runs) << "seed 826, round " << round << ": " << text;
    for (std::size_t i = 0; i < text.size(); ++i) {
      const bool inside = std::ranges::any_of(
          runs, [&](const UnavailableRun& run) { return run.first <= i && i < run.end; });
      ASSERT_EQ(judged.unavailable[i], inside) << "seed 826, round " << round << ", at " << i;
    }
    outages += runs.size();
  }
  EXPECT_GT(outages, 400u);
}

TEST(Performance, ErroredIsNotSevere) {
  const Tally got = whole("5. 20e 3E 5.");
  EXPECT_EQ(got.unavailable, 0u);
  EXPECT_EQ(got.errored, 23u);
  EXPECT_EQ(got.severely_errored, 3u);
  EXPECT_DOUBLE_EQ(*got.errored_ratio(), 23.0 / 33);
  // Ten errored ones that are not severe end an outage.
  EXPECT_EQ(whole("12E 10e 5.").unavailable, 12u);
  EXPECT_EQ(whole("12E 10e 5.").errored, 10u);
}

TEST(Performance, UpkeepAndMissingDataAreLeftOut) {
  const Tally got = whole("5. 6u 6E 3x 6E 10.");
  EXPECT_EQ(got.upkeep, 6u);
  EXPECT_EQ(got.no_data, 3u);
  EXPECT_EQ(got.unavailable, 0u) << "no ten in a row";
  EXPECT_EQ(got.severely_errored, 12u);
  EXPECT_EQ(got.available, 27u);
  // An outage stays one over an upkeep; what is inside of it is not counted.
  const auto states = sequence("10E 4u 5E 10.");
  const Judged judged = judge_intervals(states);
  ASSERT_EQ(judged.runs.size(), 1u);
  EXPECT_EQ(judged.runs[0], (UnavailableRun{0, 19, false}));
  EXPECT_EQ(tally(states, judged, 0, states.size()).unavailable, 15u);
}

TEST(Performance, RunsAreTheOutages) {
  const auto states = sequence("3. 12E 10. 4E 10. 11E 9.");
  const Judged judged = judge_intervals(states);
  ASSERT_EQ(judged.runs.size(), 2u);
  EXPECT_EQ(judged.runs[0], (UnavailableRun{3, 15, false}));
  EXPECT_EQ(judged.runs[1], (UnavailableRun{39, 59, true})) << "nine good ones do not end it";
}

// ITU-T G.827: a path is unavailable if either direction is.
TEST(Performance, BothWays) {
  const auto in = sequence("10E 20."), out = sequence("5. 10E 15.");
  const auto worse = worse_of(in, out);
  const Judged both = both_ways(judge_intervals(in), judge_intervals(out), worse);
  const Tally got = tally(worse, both, 0, worse.size());
  EXPECT_EQ(got.unavailable, 15u);
  EXPECT_EQ(got.severely_errored, 0u);
  ASSERT_EQ(both.runs.size(), 1u);
  EXPECT_EQ(both.runs[0], (UnavailableRun{0, 15, false}));
  // Outages that touch are one.
  const auto first = sequence("10E 20."), next = sequence("10. 10E 10.");
  const auto touching =
      both_ways(judge_intervals(first), judge_intervals(next), worse_of(first, next));
  EXPECT_EQ(touching.runs, (std::vector<UnavailableRun>{{0, 20, false}}));
  // Nine of one direction next to nine of the other are no outage.
  const auto a = sequence("9E 20."), b = sequence("9. 9E 11.");
  const auto ab = worse_of(a, b);
  EXPECT_EQ(
      tally(ab, both_ways(judge_intervals(a), judge_intervals(b), ab), 0, ab.size()).unavailable,
      0u);
}

TEST(Performance, PartsAddUpToTheWhole) {
  const auto states = sequence("3. 12E 10. 4E 5e 10. 2u 11E 9. 1x");
  const Judged judged = judge_intervals(states);
  const Tally all = tally(states, judged, 0, states.size());
  Tally sum;
  for (std::size_t at = 0; at < states.size(); at += 7) {
    const Tally part = tally(states, judged, at, at + 7);
    sum.available += part.available;
    sum.unavailable += part.unavailable;
    sum.errored += part.errored;
    sum.severely_errored += part.severely_errored;
    sum.upkeep += part.upkeep;
    sum.no_data += part.no_data;
  }
  EXPECT_EQ(sum, all);
}

TEST(Performance, ShortestIntervalWithTenFrames) {
  EXPECT_EQ(interval_for(8640, 15min), Duration{15min});  // every 10 s: 90
  EXPECT_EQ(interval_for(960, 15min), Duration{15min});   // just ten
  EXPECT_EQ(interval_for(959, 15min), Duration{30min});
  EXPECT_EQ(interval_for(24, 15min), Duration{12h});  // hourly: 12 in half a day, 8 in 8 h
  EXPECT_EQ(interval_for(8640, 1h), Duration{1h});
  EXPECT_FALSE(interval_for(1, 15min));
  EXPECT_FALSE(interval_for(0, 15min));
}

TEST(Performance, NothingMeasuredIsNotPerfect) {
  EXPECT_FALSE(whole("5x 5u").availability());
  EXPECT_FALSE(whole("").availability());
  EXPECT_FALSE(whole("10E").errored_ratio());
}

}  // namespace
}  // namespace fadeward::review::performance_test
