#include "fadeward/budget/foliage.hpp"

#include <array>
#include <cmath>

namespace fadeward::budget {
namespace {

struct TableRow {
  double frequency_hz;
  double specific_db_per_m;
  double ceiling_db;
};

// Recommendation ITU-R P.833-10 Table 1.
constexpr std::array<TableRow, 5> kTable{{{kFoliageLowestHz, 0.04, 9.4},
                                          {466.475e6, 0.12, 18.0},
                                          {949.0e6, 0.17, 26.5},
                                          {1852.2e6, 0.30, 29.0},
                                          {kFoliageHighestHz, 0.34, 34.1}}};

double between(double low, double high, double share) { return low * std::pow(high / low, share); }

}  // namespace

std::optional<Woodland> woodland_at(double frequency_hz) {
  if (!(frequency_hz >= kFoliageLowestHz && frequency_hz <= kFoliageHighestHz)) return std::nullopt;
  std::size_t upper = 1;
  while (kTable[upper].frequency_hz < frequency_hz) ++upper;
  const TableRow& a = kTable[upper - 1];
  const TableRow& b = kTable[upper];
  const double share =
      std::log(frequency_hz / a.frequency_hz) / std::log(b.frequency_hz / a.frequency_hz);
  return Woodland{between(a.specific_db_per_m, b.specific_db_per_m, share),
                  between(a.ceiling_db, b.ceiling_db, share)};
}

double woodland_loss_db(const Woodland& wood, double depth_m, bool in_leaf) {
  const double specific = in_leaf ? wood.specific_db_per_m : wood.specific_db_per_m / kInLeafFactor;
  return -wood.ceiling_db * std::expm1(-depth_m * specific / wood.ceiling_db);
}

}  // namespace fadeward::budget
