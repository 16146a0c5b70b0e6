// A second physics for the trials, on purpose unlike the room `simulate`: normal fading in
// decibels, a hard threshold, hops drawn at random, levels that walk, errors of its own.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <random>
#include <string>
#include <vector>

namespace fadeward::truth {

struct AirFrame {
  double time_s = 0;
  double margin_db = 0;
  bool heard = false;
};

struct AirPlan {
  std::uint64_t seed = 1;
  double days = 1;
  double interval_s = 10;
  double inbound_margin_db = 10;
  double outbound_margin_db = 10;
  double fading_sd_db = 1.8;   ///< of each frame, both directions apart
  double channel_sd_db = 2;    ///< common to both directions
  double threshold_sd_db = 0;  ///< of the margin at which a frame is lost
  double collisions = 0;
  bool counters = true;  ///< tx_frames and far_rx_frames
};

/// Frames of 50 channels; far values ride on the next frame that arrives.
class PlainAir {
 public:
  explicit PlainAir(const AirPlan& plan) : plan_(plan), random_(plan.seed) {
    for (double& offset : channel_db_) offset = plan.channel_sd_db * normal_(random_);
    const double mean = [&] {
      double sum = 0;
      for (const double offset : channel_db_) sum += offset;
      return sum / static_cast<double>(channel_db_.size());
    }();
    for (double& offset : channel_db_) offset -= mean;
  }

  /// Next report; false at the end.
  bool next(std::string& line) {
    while (elapsed_s_ + plan_.interval_s < plan_.days * 86400) {
      elapsed_s_ += plan_.interval_s;
      if (exchange(line)) return true;
    }
    return false;
  }
  /// Every frame sent so far; [0] inbound, [1] outbound.
  std::array<std::vector<AirFrame>, 2> frames;

  static constexpr double kStartS = 1932768000;

 private:
  static constexpr double kRequiredSnrDb = -7.5;

  struct Air {
    double margin_db, noise_dbm;
    bool heard;
  };

  double uniform() { return std::uniform_real_distribution<double>(0, 1)(random_); }

  Air send(double margin_db, double noise_db) {
    Air air{};
    const double level_db = margin_db + plan_.fading_sd_db * normal_(random_);
    air.noise_dbm = -115 + noise_db;
    air.margin_db = level_db - noise_db;
    const double limit_db = plan_.threshold_sd_db * normal_(random_);
    const bool collided = uniform() < plan_.collisions;
    air.heard = air.margin_db > limit_db && !collided;
    return air;
  }

  bool exchange(std::string& line) {
    const double time_s = kStartS + elapsed_s_;
    const double steps = plan_.interval_s / 60;
    shadow_db_ += 0.05 * std::sqrt(steps) * normal_(random_) - 0.0015 * steps * shadow_db_;
    for (double& noise : noise_db_)
      noise += 0.03 * std::sqrt(steps) * normal_(random_) - 0.002 * steps * noise;
    const auto channel = std::uniform_int_distribution<std::size_t>(0, 49)(random_);
    const double common_db = shadow_db_ + channel_db_[channel];
    const Air in = send(plan_.inbound_margin_db + common_db, noise_db_[0]);
    const Air out = send(plan_.outbound_margin_db + common_db, noise_db_[1]);
    frames[0].push_back({time_s, in.margin_db, in.heard});
    frames[1].push_back({time_s - 0.4, out.margin_db, out.heard});
    ++sent_;
    if (out.heard) {
      far_ = values("far_", out);
      ++far_heard_;
    }
    if (!in.heard) return false;
    std::array<char, 256> head{};
    std::snprintf(head.data(), head.size(),
                  "{\"time\":%.3f,\"link\":\"L1\",\"seq\":%llu,\"channel\":%zu", time_s,
                  static_cast<unsigned long long>(sent_), channel);
    line = head.data() + values("", in) + far_;
    if (plan_.counters)
      line += ",\"tx_frames\":" + std::to_string(sent_) +
              ",\"far_rx_frames\":" + std::to_string(far_heard_);
    line += '}';
    return true;
  }

  std::string values(const std::string& prefix, const Air& air) {
    const double signal_dbm = air.margin_db + air.noise_dbm + kRequiredSnrDb;
    const double total_dbm =
        10 * std::log10(std::pow(10, signal_dbm / 10) + std::pow(10, air.noise_dbm / 10));
    const double snr_db = std::min(9.5, signal_dbm - air.noise_dbm + 0.7 * normal_(random_));
    std::array<char, 160> text{};
    std::snprintf(text.data(), text.size(),
                  ",\"%srssi_dbm\":%ld,\"%ssnr_db\":%.2f,\"%snoise_dbm\":%ld", prefix.c_str(),
                  std::lround(total_dbm + 0.5 * normal_(random_)), prefix.c_str(),
                  static_cast<double>(std::lround(snr_db * 4)) / 4, prefix.c_str(),
                  std::lround(air.noise_dbm + 0.5 * normal_(random_)));
    return text.data();
  }

  AirPlan plan_;
  std::mt19937_64 random_;
  std::normal_distribution<double> normal_;
  std::array<double, 50> channel_db_{};
  std::array<double, 2> noise_db_{};
  double shadow_db_ = 0;
  double elapsed_s_ = 3.7;
  std::uint64_t sent_ = 0, far_heard_ = 0;
  std::string far_;
};

}  // namespace fadeward::truth
