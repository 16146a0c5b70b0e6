#include "fadeward/estimate/cusum.hpp"

#include <Eigen/Dense>
#include <boost/math/quadrature/gauss.hpp>
#include <numbers>
#include <vector>

namespace fadeward::estimate {

namespace {

constexpr double kLongestInterval = 40;
constexpr double kLongestRun = 1e12;

double density(double x) { return std::exp(-0.5 * x * x) / std::sqrt(2 * std::numbers::pi); }
double below(double x) { return 0.5 * std::erfc(-x / std::numbers::sqrt2); }

struct Node {
  double at;
  double weight;
};

/// The interval is cut into panels of at most four deviations with twenty nodes each.
std::vector<Node> nodes_on(double h) {
  using Rule = boost::math::quadrature::gauss<double, 20>;
  const int panels = static_cast<int>(std::ceil(h / 4));
  const double half = h / panels / 2;
  std::vector<Node> nodes;
  for (int i = 0; i < panels; ++i)
    for (std::size_t j = 0; j < Rule::abscissa().size(); ++j)
      for (const double side : {-1.0, 1.0})
        nodes.push_back(
            {(2 * i + 1 + side * Rule::abscissa()[j]) * half, Rule::weights()[j] * half});
  return nodes;
}

struct RunLengths {
  double from_zero;
  double from_head_start;
};

std::optional<RunLengths> run_lengths(const CusumDesign& design, double shift) {
  const auto& [k, h, head_start] = design;
  if (!(h > 0 && h <= kLongestInterval) || !(k >= 0) || !std::isfinite(k) || !std::isfinite(shift))
    return {};
  if (!(head_start >= 0 && head_start <= h)) return {};
  const auto nodes = nodes_on(h);
  const auto n = static_cast<Eigen::Index>(nodes.size());
  // Unknowns: L at the nodes, then L(0).
  Eigen::MatrixXd system = Eigen::MatrixXd::Identity(n + 1, n + 1);
  const auto coefficient = [&, k = k](double from, Eigen::Index j) {
    if (j == n) return below(k - from - shift);
    const Node& node = nodes[static_cast<std::size_t>(j)];
    return node.weight * density(node.at + k - from - shift);
  };
  for (Eigen::Index i = 0; i <= n; ++i)
    for (Eigen::Index j = 0; j <= n; ++j)
      system(i, j) -= coefficient(i == n ? 0.0 : nodes[static_cast<std::size_t>(i)].at, j);
  const Eigen::VectorXd length = system.partialPivLu().solve(Eigen::VectorXd::Ones(n + 1));
  double from_head_start = 1;
  for (Eigen::Index j = 0; j <= n; ++j) from_head_start += coefficient(head_start, j) * length(j);
  if (!(length(n) >= 1 && length(n) < kLongestRun)) return {};
  return RunLengths{length(n), from_head_start};
}

}  // namespace

std::optional<double> cusum_run_length(const CusumDesign& design, double shift) {
  const auto lengths = run_lengths(design, shift);
  if (!lengths) return {};
  return lengths->from_head_start;
}

std::optional<double> two_sided_cusum_run_length(const CusumDesign& design, double shift) {
  const auto up = run_lengths(design, shift), down = run_lengths(design, -shift);
  // A sum that practically never signals leaves the run length of the other.
  if (!up && !down) return {};
  if (!up) return down->from_head_start;
  if (!down) return up->from_head_start;
  return (up->from_head_start * down->from_zero + up->from_zero * down->from_head_start -
          up->from_zero * down->from_zero) /
         (up->from_zero + down->from_zero);
}

}  // namespace fadeward::estimate
