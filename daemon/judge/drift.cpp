#include "fadeward/judge/drift.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace fadeward::judge {

namespace {

constexpr std::size_t kDay = HourBook::kDay;

/// One span against the slow level before it, as a whole and its two halves.
struct Compared {
  Changes whole, older, younger;
  double freedom = 1000;  ///< of the standard deviations
  bool brief = false;     ///< halves of a part of a day

  explicit Compared(const Changes& like) {
    for (Changes* each : {&whole, &older, &younger}) {
      each->one_way = like.one_way;
      each->way = like.way;
    }
  }
  void put(std::size_t i, double sigma_db, double whole_db, double older_db, double younger_db) {
    for (Changes* each : {&whole, &older, &younger}) {
      each->known[i] = true;
      each->sigma_db[i] = sigma_db;
    }
    whole.by_db[i] = whole_db;
    older.by_db[i] = older_db;
    younger.by_db[i] = younger_db;
  }
};

/// Log-likelihood ratio where the standard deviation is itself an estimate with so many degrees of
/// freedom.
double proved(double gain, double freedom) {
  return 0.5 * (freedom + 1) * std::log1p(2 * gain / freedom);
}

Compared compare(const HourBook& hours, const Changes& like, std::size_t span) {
  // What grows is furthest in the younger half: weighing it more finds a ramp an eighth sooner.
  constexpr double kYoung = 0.7, kOld = 1 - kYoung;
  const double uneven = std::sqrt(2 * (kYoung * kYoung + kOld * kOld));
  constexpr double kLeastDb[kStreams] = {0.15, 0.12, 0.15, 0.15};
  constexpr double kFewestLearned = 12;
  Compared out(like);
  const std::size_t half = span / 2, reference_back = span + kDay;
  const HourBook::Hour& reference = hours.back(reference_back);
  out.brief = span < 2 * kDay;
  const std::size_t days = half / kDay;  // whole ones, of either half
  const double seen_days =
      out.brief ? static_cast<double>(span) / kDay : 2.0 * static_cast<double>(days);
  for (std::size_t i = 0; i < kStreams; ++i) {
    const double learned = hours.learned_hours(i, reference_back);
    if (!reference.has_day(i) || learned < kFewestLearned) continue;
    const auto young = out.brief ? hours.level_db(i, 0, half) : hours.mean_of_days_db(i, 0, days);
    const auto old =
        out.brief ? hours.level_db(i, half, half) : hours.mean_of_days_db(i, half, days);
    if (!young || !old) continue;
    const estimate::DaySpread& spread = hours.spread(i);
    const double sigma = std::hypot(uneven * spread.sigma_db(seen_days),
                                    spread.sigma_db(std::max(1.0, learned / kDay)));
    out.freedom = std::min(out.freedom, spread.freedom());
    const double level = reference.level_cdb[i] / 100.0;
    out.put(i, std::max(kLeastDb[i], sigma), kYoung * *young + kOld * *old - level, *old - level,
            *young - level);
  }
  return out;
}

double enough_gain(Cause cause) {
  constexpr double kGain = 6.1, kNoiseGain = 7.5, kPathGain = 4.8;
  return of_path(cause) ? kPathGain : of_noise(cause) ? kNoiseGain : kGain;
}

double least_size_db(Cause cause) {
  return of_path(cause) || of_antenna(cause) ? 1.2 : of_noise(cause) ? 1.0 : 0.8;
}

std::optional<Explanation> drift_in(const Compared& compared) {
  constexpr double kBrief = 0.9;  // more is asked of less than two days
  const auto found = explain(compared.whole);
  if (!found || !fits(*found)) return {};
  const double enough = enough_gain(found->cause) + (compared.brief ? kBrief : 0);
  if (proved(found->gain, compared.freedom) < enough) return {};
  if (found->size_db < least_size_db(found->cause)) return {};
  // It was there in the older half already, and has not gone since.
  if (size_of(found->cause, compared.younger) < 0.7 * found->size_db ||
      size_of(found->cause, compared.older) < (compared.brief ? 0.4 : 0.25) * found->size_db)
    return {};
  return found;
}

/// The difference of the two signals is so quiet that six hours show a fading transmitter; compared
/// with the day that ended twelve hours ago.
std::optional<Drift> drift_of_hours(const HourBook& hours, const Changes& like) {
  constexpr std::size_t kSpan = 6, kApart = 12;
  constexpr double kSigmaDb[kStreams] = {1.2, 0.22, 0.7, 0.7};  // at least; rural paths
  constexpr double kDays = 1.8;  // deviations of a day's level make one of six hours
  constexpr double kGain = 12.5, kLeastSizeDb = 1.2;
  if (hours.size() < kApart + kDay) return {};
  Compared compared(like);
  for (std::size_t i = 0; i < kStreams; ++i) {
    const auto level = hours.level_db(i, kApart, kDay), all = hours.level_db(i, 0, kSpan);
    const auto young = hours.level_db(i, 0, kSpan / 2),
               old = hours.level_db(i, kSpan / 2, kSpan / 2);
    if (!level || !all || !young || !old) continue;
    compared.put(i, std::max(kSigmaDb[i], kDays * hours.spread(i).sigma_db(1)), *all - *level,
                 *old - *level, *young - *level);
  }
  const auto found = explain(compared.whole);
  if (!found || found->gain < kGain || found->size_db < kLeastSizeDb || !fits(*found)) return {};
  const bool transmitter =
      found->cause == Cause::near_transmit || found->cause == Cause::far_transmit;
  if (!transmitter || !own_proof(found->cause, compared.whole)) return {};
  if (size_of(found->cause, compared.older) < 0.6 * found->size_db ||
      size_of(found->cause, compared.younger) < 0.7 * found->size_db)
    return {};
  return Drift{*found, compared.whole, kApart};
}

}  // namespace

std::optional<Drift> find_drift(const HourBook& hours, const Changes& like, bool stepped) {
  constexpr std::array<std::size_t, 5> kSpans = {24, 48, 72, 96, 192};  // hours
  std::optional<Drift> best;
  for (const std::size_t span : kSpans) {
    if (hours.size() <= span + kDay) break;
    if (span == kDay && stepped) continue;
    const Compared compared = compare(hours, like, span);
    const auto found = drift_in(compared);
    if (found && (!best || found->gain > best->what.gain))
      best = Drift{*found, compared.whole, span};
  }
  if (best || stepped) return best;
  return drift_of_hours(hours, like);
}

}  // namespace fadeward::judge
