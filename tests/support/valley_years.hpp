// Five invented years of one link of the Tarn Valley, as quarter hours and events, written into a
// history. Everything about it is made up, and what is true stands here.
#pragma once

#include <array>
#include <cmath>
#include <cstdint>
#include <functional>
#include <memory>
#include <random>
#include <string>
#include <vector>

#include "fadeward/history/store.hpp"

namespace fadeward::test {

inline Time date(int year, unsigned month, unsigned day, int hour = 0) {
  return Time{std::chrono::sys_days{std::chrono::year{year} / static_cast<int>(month) /
                                    static_cast<int>(day)}} +
         std::chrono::hours{hour};
}

/// The truth of the link `sluice`: 4 dB of leaves; a barn of 5 dB; a feeder at the site that takes
/// water up to 6 dB until the mast visit; a pump drive beside the gateway; a dead battery.
struct ValleyYears {
  Time start = date(2031, 4, 1);
  Time end = date(2036, 4, 1);
  double inbound_signal_dbm = -100, outbound_signal_dbm = -101.5;
  double outside_noise_dbm = -117;
  double required_snr_db = -7.5;
  double leaves_db = 4;
  double barn_db = 5;
  Time barn = date(2033, 6, 12, 10);
  double feeder_db = 6;
  Time feeder_from = date(2034, 9, 1), feeder_full = date(2035, 2, 1);
  Time mast_from = date(2035, 3, 10, 9), mast_to = date(2035, 3, 10, 15);
  double drive_db = 8;
  Time drive_from = date(2032, 7, 1), drive_to = date(2032, 7, 21);  // 8 to 17 h each day
  Time dead_from = date(2032, 1, 14, 3), dead_to = date(2032, 1, 14, 12);
  Time reboot_from = date(2033, 1, 5, 12), reboot_to = date(2033, 1, 5, 14);  // of the gateway
  int channels = 10;
  double bad_channel_db = 6;  // channel 7 at the gateway, in the last two years

  /// Leaves come about day 122 of the year and go about day 290, each within two weeks.
  static double foliage(Time at) {
    const auto day = std::chrono::floor<std::chrono::days>(at);
    const std::chrono::year_month_day when{day};
    const double of_year =
        static_cast<double>((day - std::chrono::sys_days{when.year() / 1 / 1}).count());
    return 1 / (1 + std::exp(-(of_year - 122) / 4)) / (1 + std::exp((of_year - 290) / 4));
  }
  double water_db(Time at) const {
    if (at < feeder_from || at >= mast_from) return 0;
    if (at >= feeder_full) return feeder_db;
    return feeder_db * duration_to_seconds(at - feeder_from) /
           duration_to_seconds(feeder_full - feeder_from);
  }
};

/// Makes the quarter hours of one link. Seeded.
class ValleyMaker {
 public:
  ValleyMaker(ValleyYears truth, std::uint32_t seed) : truth_(truth), random_(seed) {}

  const ValleyYears& truth() const { return truth_; }

  /// False: nothing was heard in this quarter hour.
  bool make(Time at, std::array<Bin, kDirections>& bins) {
    step_weather(at);
    if (at >= truth_.dead_from && at < truth_.dead_to) return false;
    if (at >= truth_.reboot_from && at < truth_.reboot_to) return false;
    const double path = truth_.leaves_db * ValleyYears::foliage(at) +
                        (at >= truth_.barn ? truth_.barn_db : 0) + rain_db_ - shadow_db_;
    const double water = truth_.water_db(at);
    const auto hour =
        std::chrono::floor<std::chrono::hours>(at - std::chrono::floor<std::chrono::days>(at))
            .count();
    const bool drive = at >= truth_.drive_from && at < truth_.drive_to && hour >= 8 && hour < 17;
    // The receiver's own noise lies 3 dB below the outside: water takes only part of the noise
    // away.
    const double near_noise = truth_.outside_noise_dbm + noise_db_ + (drive ? truth_.drive_db : 0);
    const double far_noise = 10 * std::log10(std::pow(10, (truth_.outside_noise_dbm - water) / 10) +
                                             std::pow(10, (truth_.outside_noise_dbm - 3) / 10));
    const bool bad = at >= truth_.end - std::chrono::hours{24} * 730;
    fill(bins[0], at, truth_.inbound_signal_dbm - path - water, near_noise, bad);
    fill(bins[1], at, truth_.outbound_signal_dbm - path - water, far_noise, false);
    return true;
  }

 private:
  void step_weather(Time at) {
    shadow_db_ = 0.995 * shadow_db_ + 0.08 * normal_(random_);  // 0.8 dB, forgets in two days
    noise_db_ = 0.95 * noise_db_ + 0.12 * normal_(random_);
    if (at >= rain_until_) {
      rain_db_ = 0;
      if (random_() % 400 == 0) {
        rain_db_ = 1 + 3 * static_cast<double>(random_() % 1000) / 1000;
        rain_until_ = at + std::chrono::hours{2 + static_cast<int>(random_() % 8)};
      }
    }
  }

  /// Ninety frames: fifteen levels of a normal distribution, six frames each.
  void fill(Bin& bin, Time at, double signal_dbm, double noise_dbm, bool bad_channel) {
    static constexpr std::array<double, 15> kNormal = {-1.834, -1.282, -0.967, -0.728, -0.524,
                                                       -0.341, -0.168, 0,      0.168,  0.341,
                                                       0.524,  0.728,  0.967,  1.282,  1.834};
    bin = Bin{};
    bin.start = at;
    const bool upkeep = at + kBinSpan > truth_.mast_from && at < truth_.mast_to;
    bin.upkeep = upkeep;
    for (const double x : kNormal) {
      const double signal = signal_dbm + 3.2 * x + 0.3 * normal_(random_) - (upkeep ? 3 : 0);
      const double margin = signal - noise_dbm - truth_.required_snr_db;
      if (margin < 0) {
        bin.lost += 6;
        continue;
      }
      bin.frames += 6;
      bin.signal.add(std::round(signal * 2) / 2, 6);
      bin.noise.add(std::round(noise_dbm * 2) / 2, 6);
      bin.margin.add(margin, 6);
    }
    if (random_() % 8 == 0) ++bin.lost;
    bin.sent = bin.frames + bin.lost;
    bin.retries = bin.lost;
    bin.noise_source = NoiseSource::idle;
    bin.loss_source = LossSource::seq;
    bin.rates[0] = {14, true, 7, 125000, bin.frames};
    for (int c = 0; c < truth_.channels && bin.frames > 0; ++c) {
      ChannelPart part;
      part.channel = static_cast<std::uint16_t>(c);
      part.frames = static_cast<std::uint16_t>(bin.frames / static_cast<unsigned>(truth_.channels));
      const double frames = part.frames;
      part.signal_sum_dbm = static_cast<float>(frames * (signal_dbm + 2 * std::sin(c * 1.7)));
      part.noise_sum_dbm = static_cast<float>(
          frames * (noise_dbm + (bad_channel && c == 7 ? truth_.bad_channel_db : 0)));
      if (part.frames > 0) bin.channels.push_back(part);
    }
  }

  ValleyYears truth_;
  std::mt19937 random_;
  std::normal_distribution<double> normal_;
  double shadow_db_ = 0, noise_db_ = 0, rain_db_ = 0;
  Time rain_until_{};
};

inline history::EventRecord event_of(Time time, history::EventChange change, AlertName alert,
                                     Cause cause, Shape shape, std::optional<Time> onset,
                                     std::optional<double> size_db, std::string text) {
  history::EventRecord out;
  out.time = time;
  out.link = "sluice";
  out.change = change;
  out.alert = alert;
  out.severity = Severity::warning;
  out.cause = cause;
  out.shape = shape;
  out.onset = onset;
  out.size_db = size_db;
  out.confidence = 0.95;
  out.text = std::move(text);
  return out;
}

/// What a daemon would have told of it.
inline std::vector<history::EventRecord> valley_events(const ValleyYears& truth) {
  using enum history::EventChange;
  using std::chrono::days;
  std::vector<history::EventRecord> out;
  const auto pair = [&](Time from, Time told, Time to, AlertName alert, Cause cause, Shape shape,
                        double size_db, const std::string& text) {
    out.push_back(event_of(told, raised, alert, cause, shape, from, size_db, text));
    out.push_back(event_of(to, cleared, alert, cause, shape, from, size_db, text));
  };
  pair(truth.dead_from, truth.dead_from + std::chrono::minutes{15}, truth.dead_to,
       AlertName::LinkSilent, Cause::silent, Shape::none, 0, "No report for 15 min.");
  pair(truth.drive_from + std::chrono::hours{8}, truth.drive_from + std::chrono::hours{9},
       truth.drive_to, AlertName::InterferenceSuspected, Cause::near_noise, Shape::burst,
       truth.drive_db,
       "Since 1 July 08:00 UTC, the noise at the near end is 8.0 dB higher on all channels, the "
       "signal as usual.");
  pair(truth.barn, truth.barn + std::chrono::hours{5}, truth.barn + days{21},
       AlertName::FadingSuspected, Cause::path, Shape::step, truth.barn_db,
       "Since 12 June 10:00 UTC, the signal of both directions is 5.0 dB lower, the noise as "
       "usual.");
  pair(truth.feeder_from + days{20}, truth.feeder_from + days{60}, truth.mast_to,
       AlertName::EquipmentSuspected, Cause::far_antenna, Shape::drift, truth.feeder_db,
       "Slowly, since about 21 September, the signal of both directions is 2.4 dB lower and the "
       "noise at the far end 1.5 dB lower.");
  return out;
}

/// Writes it all, day by day, with the housekeeping that a daemon would have done. `names`: the
/// same years under several names, each with weather of its own. Empty text: done.
inline std::string write_valley_years(const std::string& dir, const ValleyYears& truth,
                                      const std::vector<std::string>& names = {"sluice"},
                                      std::uint32_t seed = 7, bool tidy = true) {
  history::StoreOptions options;
  options.keep = std::chrono::hours{24} * 365 * 20;
  auto opened = history::Store::open(dir, options);
  if (!opened) return opened.error().message;
  auto store = std::move(opened).value();
  std::vector<ValleyMaker> makers;
  while (makers.size() < names.size())
    makers.emplace_back(truth, seed + static_cast<std::uint32_t>(makers.size()));
  auto events = valley_events(truth);
  std::array<Bin, kDirections> bins;
  for (Time day = truth.start; day < truth.end; day += std::chrono::days{1}) {
    history::Batch batch;
    batch.at = day;
    if (day == truth.start) batch.marks.push_back({day, history::MarkKind::started, "", ""});
    for (std::size_t i = 0; i < makers.size(); ++i)
      for (Time at = day; at < day + std::chrono::days{1}; at += kBinSpan) {
        if (!makers[i].make(at, bins)) continue;
        batch.bins.push_back({names[i], Direction::inbound, bins[0]});
        batch.bins.push_back({names[i], Direction::outbound, bins[1]});
      }
    for (const auto& event : events)
      if (event.time >= day && event.time < day + std::chrono::days{1})
        for (const std::string& name : names) {
          batch.events.push_back(event);
          batch.events.back().link = name;
        }
    if (truth.reboot_from >= day && truth.reboot_from < day + std::chrono::days{1})
      batch.marks.push_back({truth.reboot_to, history::MarkKind::started, "", ""});
    if (truth.mast_from >= day && truth.mast_from < day + std::chrono::days{1})
      for (const std::string& name : names)
        batch.periods.push_back({history::PeriodKind::upkeep,
                                 name,
                                 {},
                                 truth.mast_from,
                                 truth.mast_to,
                                 {},
                                 "mast visit: feeder replaced"});
    if (const auto written = store->write(batch); !written) return written.error().message;
    for (int turn = 0; tidy && turn < 200; ++turn) {
      const auto more = store->tidy(day + std::chrono::days{1});
      if (!more) return more.error().message;
      if (!*more) break;
    }
  }
  if (const auto closed = store->close(); !closed) return closed.error().message;
  return {};
}

}  // namespace fadeward::test
