#include "fadeward/estimate/cusum.hpp"

#include <gtest/gtest.h>

#include <limits>
#include <random>

#include "support/standard_csv.hpp"

namespace fadeward::estimate::cusum_test {
namespace {

using test::read_csv;
using test::read_text;
using test::split;

std::optional<double> run_length(bool two_sided, const CusumDesign& design, double shift) {
  return two_sided ? two_sided_cusum_run_length(design, shift) : cusum_run_length(design, shift);
}

/// Half a unit of the last digit printed.
double rounding(const std::string& printed) {
  const auto dot = printed.find('.');
  const auto decimals = dot == std::string::npos ? 0 : printed.size() - dot - 1;
  return 0.5 * std::pow(10.0, -static_cast<double>(decimals));
}

// Lucas and Crosier (Technometrics 24, 1982) table 1 with and without head start, Vance (1986),
// and a manual with ten digits: each to the digits printed.
TEST(CusumRunLength, PublishedTables) {
  std::stringstream text(read_text("standards/cusum_arl_published.csv"));
  int checked = 0;
  for (std::string line; std::getline(text, line);) {
    if (line.starts_with("#") || line.starts_with("source") || line.starts_with("\"")) continue;
    const auto cells = split(line);
    ASSERT_EQ(cells.size(), 8u) << line;
    const bool two_sided = cells[1] == "two-sided" || cells[1] == "two-sided FIR";
    if (cells[2] != "zero-state" || (!two_sided && cells[1] != "one-sided")) continue;
    const CusumDesign design{std::stod(cells[3]), std::stod(cells[4]), std::stod(cells[5])};
    const auto found = run_length(two_sided, design, std::stod(cells[6]));
    ASSERT_TRUE(found) << line;
    const double published = std::stod(cells[7]);
    // The tables of the time were made with approximations good to about one in two thousand.
    EXPECT_NEAR(*found, published, rounding(cells[7]) + 5e-4 * published) << line;
    ++checked;
  }
  EXPECT_EQ(checked, 36);
}

// Brook and Evans (Biometrika 59, 1972): the sum on a grid of states as a Markov chain, solved here
// by iteration; with many states it tends to the integral equation.
TEST(CusumRunLength, MarkovChainOfBrookAndEvans) {
  constexpr double kK = 0.5, kH = 3;
  constexpr int kStates = 400;
  const double width = 2 * kH / (2 * kStates - 1);
  const auto below = [](double x) { return 0.5 * std::erfc(-x / std::sqrt(2.0)); };
  for (const double shift : {0.0, 0.5, 1.5}) {
    std::vector<double> here(kStates, 0.0), next(kStates);
    here[0] = 1;
    double mean = 0;
    for (int step = 0; step < 1500; ++step) {
      double alive = 0;
      for (const double p : here) alive += p;
      mean += alive;
      if (alive < 1e-9) break;
      std::ranges::fill(next, 0.0);
      // Moves are the same by distance: one table of differences for all states.
      static std::vector<double> move(2 * kStates + 1);
      for (int d = -kStates; d <= kStates; ++d)
        move[static_cast<std::size_t>(d + kStates)] = below((d + 0.5) * width + kK - shift);
      for (int i = 0; i < kStates; ++i) {
        const double p = here[static_cast<std::size_t>(i)];
        next[0] += p * move[static_cast<std::size_t>(kStates - i)];
        for (int j = 1; j < kStates; ++j)
          next[static_cast<std::size_t>(j)] +=
              p * (move[static_cast<std::size_t>(j - i + kStates)] -
                   move[static_cast<std::size_t>(j - i - 1 + kStates)]);
      }
      here.swap(next);
    }
    EXPECT_NEAR(*cusum_run_length({kK, kH, 0}, shift), mean, 0.001 * mean) << shift;
  }
}

// 55 + values of an independent solution (forty Gauss-Legendre nodes), printed to four decimals.
TEST(CusumRunLength, IndependentSolution) {
  for (auto& row : read_csv("standards/cusum_arl_computed.csv")) {
    const CusumDesign design{row.at("k"), row.at("h"), 0};
    EXPECT_NEAR(*cusum_run_length(design, row.at("mu")), row.at("arl_one_sided"), 1e-4);
    EXPECT_NEAR(*two_sided_cusum_run_length(design, row.at("mu")), row.at("arl_two_sided"), 1e-4);
  }
}

struct Sample {
  double mean;
  double error;
};

Sample simulated(const CusumDesign& design, double shift, int runs, unsigned seed) {
  std::mt19937_64 random(seed);
  std::normal_distribution<double> value(shift, 1);
  double sum = 0, squares = 0;
  for (int i = 0; i < runs; ++i) {
    Cusum cusum(design.k, design.h, design.head_start);
    int length = 1;
    while (cusum.add(value(random)) == Cusum::Signal::none && length < 1'000'000) ++length;
    sum += length;
    squares += static_cast<double>(length) * length;
  }
  const double mean = sum / runs;
  return {mean, std::sqrt((squares / runs - mean * mean) / runs)};
}

// Lucas and Crosier (1982), table 1, both sums, k 0.5, h 4.
TEST(Cusum, RunsAsLongAsPublished) {
  const struct {
    double head_start, shift, published;
  } cases[] = {{0, 0, 168}, {0, 0.5, 26.6}, {0, 1, 8.38}, {0, 2, 3.34}, {2, 0, 149}, {2, 1, 5.29}};
  for (const auto& [head_start, shift, published] : cases) {
    const Sample found = simulated({0.5, 4, head_start}, shift, 20'000, 21);
    EXPECT_NEAR(found.mean, published, 4 * found.error + 0.005 * published)
        << "head start " << head_start << " shift " << shift << " seed 21";
  }
}

TEST(Cusum, NamesTheSide) {
  Cusum cusum(0.5, 4);
  int steps = 0;
  while (cusum.add(-2) == Cusum::Signal::none) ++steps;
  EXPECT_EQ(steps, 2);  // 1.5, 3.0, then 4.5
  EXPECT_EQ(cusum.add(-2), Cusum::Signal::down);
  cusum.restart();
  EXPECT_EQ(cusum.down(), 0);
  EXPECT_EQ(cusum.add(std::numeric_limits<double>::quiet_NaN()), Cusum::Signal::none);
  EXPECT_EQ(cusum.add(1e300), Cusum::Signal::up);
}

TEST(CusumRunLength, RefusesWhatIsNoDesign) {
  EXPECT_FALSE(cusum_run_length({0.5, 0, 0}, 0));
  EXPECT_FALSE(cusum_run_length({0.5, 41, 0}, 0));
  EXPECT_FALSE(cusum_run_length({-0.5, 4, 0}, 0));
  EXPECT_FALSE(cusum_run_length({0.5, 4, 5}, 0));
  EXPECT_FALSE(cusum_run_length({0.5, 4, 0}, std::numeric_limits<double>::infinity()));
  EXPECT_FALSE(cusum_run_length({1, 30, 0}, 0));  // beyond what double can tell from never
}

}  // namespace
}  // namespace fadeward::estimate::cusum_test
