#include "fadeward/estimate/censored_regression.hpp"

#include <Eigen/Dense>
#include <cmath>
#include <numbers>

namespace fadeward::estimate {

namespace {

using Vector = Eigen::VectorXd;
using Matrix = Eigen::MatrixXd;

/// ln Phi(x) and phi(x) / Phi(x), stable far to the left where Phi vanishes.
struct Tail {
  double log;
  double ratio;
};
Tail tail_of(double x) {
  if (x < -25) {
    const double ratio = -x - 1 / x;
    return {-0.5 * x * x - std::log(ratio * std::sqrt(2 * std::numbers::pi)), ratio};
  }
  const double mass = 0.5 * std::erfc(-x / std::numbers::sqrt2);
  return {std::log(mass), std::exp(-0.5 * x * x) / std::sqrt(2 * std::numbers::pi) / mass};
}

struct Likelihood {
  double value = 0;
  Vector gradient;
  Matrix curvature;  ///< minus the matrix of second derivatives
};

/// Parameters: coefficients / deviation, then 1 / deviation.
Likelihood likelihood_at(const Matrix& x, std::span<const Observation> observed, const Vector& at) {
  const Eigen::Index p = x.cols();
  Likelihood out{0, Vector::Zero(p + 1), Matrix::Zero(p + 1, p + 1)};
  const double inverse = at(p);
  Vector row(p + 1);
  for (Eigen::Index i = 0; i < x.rows(); ++i) {
    const auto& [value, censored] = observed[static_cast<std::size_t>(i)];
    row.head(p) = -x.row(i).transpose();
    row(p) = value;
    const double z = row.dot(at);
    if (censored) {
      const auto [log_mass, ratio] = tail_of(z);
      out.value += log_mass;
      out.gradient += ratio * row;
      out.curvature += ratio * (ratio + z) * row * row.transpose();
    } else {
      out.value += std::log(inverse) - 0.5 * (z * z + std::log(2 * std::numbers::pi));
      out.gradient -= z * row;
      out.gradient(p) += 1 / inverse;
      out.curvature += row * row.transpose();
      out.curvature(p, p) += 1 / (inverse * inverse);
    }
  }
  return out;
}

/// Least squares as if the limits were values: near enough to climb from.
std::optional<Vector> start_at(const Matrix& x, std::span<const Observation> observed) {
  Vector y(x.rows());
  for (Eigen::Index i = 0; i < x.rows(); ++i) y(i) = observed[static_cast<std::size_t>(i)].value;
  const Eigen::ColPivHouseholderQR<Matrix> qr(x);
  if (qr.rank() < x.cols()) return {};
  const Vector coefficients = qr.solve(y);
  const double deviation = (y - x * coefficients).norm() / std::sqrt(static_cast<double>(x.rows()));
  // Values that the columns explain without rest have no likelihood of their own.
  if (!(deviation > 1e-12 * y.lpNorm<Eigen::Infinity>()) || !std::isfinite(deviation)) return {};
  Vector at(x.cols() + 1);
  at << coefficients / deviation, 1 / deviation;
  return at;
}

std::optional<Vector> climb(const Matrix& x, std::span<const Observation> observed, Vector at) {
  const Eigen::Index p = x.cols();
  Likelihood here = likelihood_at(x, observed, at);
  for (int round = 0; round < 100; ++round) {
    const Eigen::LDLT<Matrix> factors(here.curvature);
    if (factors.info() != Eigen::Success) return {};
    const Vector step = factors.solve(here.gradient);
    const double gain = step.dot(here.gradient);
    if (!step.allFinite()) return {};
    if (gain < 1e-18 * (1 + std::abs(here.value))) return at;
    double part = 1;
    for (int halving = 0;; ++halving, part /= 2) {
      if (halving == 60) return gain < 1e-9 ? std::optional<Vector>(at) : std::nullopt;
      const Vector there = at + part * step;
      if (!(there(p) > 0)) continue;
      Likelihood next = likelihood_at(x, observed, there);
      if (!(next.value >= here.value)) continue;
      at = there;
      here = std::move(next);
      break;
    }
  }
  return {};
}

}  // namespace

std::optional<CensoredFit> fit_censored(std::span<const double> design, std::size_t columns,
                                        std::span<const Observation> observed) {
  if (columns == 0 || design.size() != columns * observed.size()) return {};
  std::size_t uncensored = 0;
  for (const Observation& one : observed) {
    if (!std::isfinite(one.value)) return {};
    uncensored += one.censored ? 0 : 1;
  }
  if (uncensored <= columns) return {};
  const auto n = static_cast<Eigen::Index>(observed.size()), p = static_cast<Eigen::Index>(columns);
  Matrix x =
      Eigen::Map<const Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>>(
          design.data(), n, p);
  if (!x.allFinite()) return {};
  const Vector length = x.colwise().norm();
  if (!(length.minCoeff() > 0)) return {};
  x = x * length.cwiseInverse().asDiagonal();

  const auto start = start_at(x, observed);
  if (!start) return {};
  const auto summit = climb(x, observed, *start);
  if (!summit) return {};
  const Likelihood there = likelihood_at(x, observed, *summit);
  const double deviation = 1 / (*summit)(p);
  // From (coefficients / deviation, 1 / deviation) to (coefficients, ln deviation).
  Matrix jacobian = Matrix::Zero(p + 1, p + 1);
  jacobian.topLeftCorner(p, p).diagonal().setConstant(deviation);
  jacobian.col(p).head(p) = -summit->head(p) * deviation * deviation;
  jacobian(p, p) = -deviation;
  const Matrix covariance = jacobian * there.curvature.inverse() * jacobian.transpose();

  CensoredFit fit;
  fit.deviation = deviation;
  fit.log_likelihood = there.value;
  fit.log_deviation_error = std::sqrt(covariance(p, p));
  for (Eigen::Index j = 0; j < p; ++j) {
    fit.coefficients.push_back((*summit)(j)*deviation / length(j));
    fit.standard_errors.push_back(std::sqrt(covariance(j, j)) / length(j));
  }
  return fit;
}

}  // namespace fadeward::estimate
