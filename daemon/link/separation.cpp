#include "fadeward/link/separation.hpp"

#include <algorithm>
#include <array>

#include "fadeward/base/decibel.hpp"

namespace fadeward::link {

namespace {

double excess_computed_db(double snr_db) { return db_from_ratio(1.0 + ratio_from_db(-snr_db)); }

struct ExcessTable {
  static constexpr int kLowest = -128, kHighest = 128;  // quarters of a decibel
  std::array<double, kHighest - kLowest + 1> values;
  ExcessTable() {
    for (int i = kLowest; i <= kHighest; ++i)
      values[static_cast<std::size_t>(i - kLowest)] = excess_computed_db(i * 0.25);
  }
};

/// What total power exceeds the signal by when it exceeds the noise by so much, for quarter
/// decibels: readings in steps of 0.25, 0.5 or 1 dB are all there.
struct NoisePartTable {
  static constexpr int kHighest = 4 * 80;  // beyond 80 dB the noise adds less than 1e-7 dB
  std::array<double, kHighest + 1> values{};
  NoisePartTable() {
    for (int i = 2; i <= kHighest; ++i)
      values[static_cast<std::size_t>(i)] = -db_from_ratio(1.0 - ratio_from_db(-i * 0.25));
  }
};

// Of the program, not of the functions: without a check on every frame whether they are made.
const ExcessTable kExcess;
const NoisePartTable kNoisePart;

}  // namespace

double signal_of_total(double total_dbm, double noise_dbm) {
  const double above_db = std::max(total_dbm - noise_dbm, 0.5);
  const double quarters = above_db * 4;
  const double top_dbm = noise_dbm + above_db;
  if (quarters >= NoisePartTable::kHighest) return top_dbm - kNoisePart.values.back();
  const int index = static_cast<int>(quarters);
  if (quarters == index) return top_dbm - kNoisePart.values[static_cast<std::size_t>(index)];
  return noise_dbm + db_from_ratio(ratio_from_db(above_db) - 1.0);
}

double excess_over_signal_db(double snr_db) {
  const double quarters = snr_db * 4;
  if (quarters >= ExcessTable::kLowest && quarters <= ExcessTable::kHighest) {
    const int whole = static_cast<int>(quarters);
    if (quarters == whole)
      return kExcess.values[static_cast<std::size_t>(whole - ExcessTable::kLowest)];
  }
  return excess_computed_db(snr_db);
}

std::optional<Separated> separate(const Reading& reading, const ReadingRules& rules) {
  if (!reading.rssi_dbm && !reading.snr_db) return {};
  const bool snr_usable = reading.snr_db && *reading.snr_db < rules.snr_ceiling_db;
  const bool idle = reading.noise_dbm.has_value();
  Separated out;
  if (idle) {
    out.noise_dbm = *reading.noise_dbm + rules.level_offset_db;
    out.source = NoiseSource::idle;
  } else if (rules.recent_noise_dbm) {
    out.noise_dbm = *rules.recent_noise_dbm;
    out.source = NoiseSource::snr;
  } else {
    out.noise_dbm = rules.receiver_noise_dbm;
    out.source = NoiseSource::assumed;
  }
  if (!reading.rssi_dbm) {  // SNR alone: the level is relative to whatever the noise is
    if (!idle) out.noise_dbm = rules.receiver_noise_dbm;
    out.source = idle ? NoiseSource::idle : snr_usable ? NoiseSource::snr : NoiseSource::assumed;
    out.signal_dbm = out.noise_dbm + *reading.snr_db;
    return out;
  }
  const double rssi_dbm = *reading.rssi_dbm + rules.level_offset_db;
  if (!rules.rssi_is_total) {
    out.signal_dbm = rssi_dbm;
  } else if (snr_usable && !(idle && snr_lags_behind(*reading.snr_db, rssi_dbm - out.noise_dbm))) {
    out.signal_dbm = rssi_dbm - excess_over_signal_db(*reading.snr_db);
  } else {
    out.signal_dbm = signal_of_total(rssi_dbm, out.noise_dbm);
    out.signal_is_bound = rssi_dbm - out.noise_dbm < 3.0;
  }
  if (!idle && snr_usable) {
    out.noise_dbm = out.signal_dbm - *reading.snr_db;
    out.source = NoiseSource::snr;
  }
  return out;
}

}  // namespace fadeward::link
