#include "fadeward/estimate/linear_regression.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

namespace fadeward::estimate {

namespace {

using Design =
    Eigen::Map<const Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>>;

bool has_constant_column(const Eigen::MatrixXd& design) {
  for (Eigen::Index j = 0; j < design.cols(); ++j)
    if (design(0, j) != 0 && (design.col(j).array() == design(0, j)).all()) return true;
  return false;
}

double r_squared_of(const Eigen::MatrixXd& design, const Eigen::VectorXd& y, double residual_sum) {
  const double centre = has_constant_column(design) ? y.mean() : 0;
  const double total = (y.array() - centre).square().sum();
  return total > 0 ? 1 - residual_sum / total : 0;
}

}  // namespace

std::optional<LinearFit> fit_linear(std::span<const double> design, std::size_t columns,
                                    std::span<const double> observed) {
  const std::size_t rows = observed.size();
  if (columns == 0 || rows <= columns || design.size() != rows * columns) return {};
  const auto n = static_cast<Eigen::Index>(rows), p = static_cast<Eigen::Index>(columns);
  const Eigen::MatrixXd x = Design(design.data(), n, p);
  const Eigen::VectorXd y = Eigen::Map<const Eigen::VectorXd>(observed.data(), n);
  if (!x.allFinite() || !y.allFinite()) return {};
  const Eigen::VectorXd length = x.colwise().norm();
  if (!(length.minCoeff() > 0) || !length.allFinite()) return {};

  const Eigen::MatrixXd scaled = x * length.cwiseInverse().asDiagonal();
  const Eigen::ColPivHouseholderQR<Eigen::MatrixXd> qr(scaled);
  if (qr.rank() < p) return {};
  const Eigen::VectorXd solution = qr.solve(y);
  const double residual_sum = (y - scaled * solution).squaredNorm();

  LinearFit fit;
  fit.residual_deviation = std::sqrt(residual_sum / static_cast<double>(rows - columns));
  fit.r_squared = r_squared_of(x, y, residual_sum);
  // Rows of P R^-1: their squared lengths are the diagonal of (X'X)^-1.
  const Eigen::MatrixXd inverse = qr.colsPermutation() * qr.matrixR()
                                                             .topLeftCorner(p, p)
                                                             .triangularView<Eigen::Upper>()
                                                             .solve(Eigen::MatrixXd::Identity(p, p))
                                                             .eval();
  for (Eigen::Index j = 0; j < p; ++j) {
    fit.coefficients.push_back(solution(j) / length(j));
    fit.standard_errors.push_back(fit.residual_deviation * inverse.row(j).norm() / length(j));
  }
  return fit;
}

}  // namespace fadeward::estimate
