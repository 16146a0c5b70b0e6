// Changes that stayed: when, how much, what it likely was, and what undid it.
#include <algorithm>
#include <cmath>

#include "fadeward/review/words.hpp"
#include "story_parts.hpp"

namespace fadeward::review {

namespace {

using namespace std::chrono_literals;

class LastingChanges : StoryPart {
 public:
  using StoryPart::StoryPart;

  void tell() {
    for (std::size_t k = 0; k < review_.lasting.size(); ++k) {
      const LastingChange& one = review_.lasting[k];
      std::string text = when_words(one) + ": " + moved_words(one, k) + ".";
      text += cause_words(one) + wet_words(k) + given_back_words(k);
      add("Lasting change", text);
    }
  }

 private:
  std::string when_words(const LastingChange& one) const {
    if (const Episode* setting = setting_of(review_, one)) return moment_words(setting->from);
    if (const history::PeriodRecord* work = work_of(one)) return date_words(work->from);
    if (one.at_once()) return "About " + date_words(one.middle());
    return date_words(one.from) + " to " + date_words(one.to) + (one.slow() ? ", slowly" : "");
  }

  /// "the margin inbound 3.2 dB lower (...), outbound as before; the noise at the site ...".
  std::string moved_words(const LastingChange& one, std::size_t k) const {
    const auto level = [](const std::optional<estimate::Shift>& shift, double least_db) {
      return shift && is_clear(*shift) && std::abs(shift->difference) >= least_db;
    };
    const auto& margin = one.levels.margin;
    std::string text;
    for (std::size_t d = 0; d < kDirections; ++d)
      if (level(margin[d], 0.3))
        text += (text.empty() ? "the margin " : ", ") + std::string(kWay[d]) + " " +
                shift_words(*margin[d]);
    const bool one_way = level(margin[0], 0.3) != level(margin[1], 0.3) && margin[0] && margin[1];
    if (one_way) text += std::string(", ") + kWay[level(margin[0], 0.3) ? 1 : 0] + " as before";
    if (k > 0 && !text.empty() && same_way(review_.lasting[k - 1], one) &&
        one.from - review_.lasting[k - 1].to < 365 * 24h)
      text += ", on top of the one before";
    constexpr std::array<const char*, kDirections> kEnd = {"at the gateway", "at the site"};
    for (std::size_t d = 0; d < kDirections; ++d)
      if (level(one.levels.noise[d], 0.5))
        text += (text.empty() ? "" : "; ") + std::string("the noise ") + kEnd[d] + " " +
                shift_words(*one.levels.noise[d]);
    return text.empty() ? "the levels moved" : text;
  }

  std::string cause_words(const LastingChange& one) const {
    std::string text;
    if (const Episode* setting = setting_of(review_, one)) {
      text = " At that time: " + setting->text;
      if (!text.ends_with('.')) text += ".";
      return text + " A new setting is no fault.";
    }
    const Cause cause = likely_cause(one);
    const auto& signal = one.levels.signal[0] ? one.levels.signal[0] : one.levels.signal[1];
    const bool lower = signal && signal->difference < 0;
    if (cause == Cause::path)
      text = lower ? " Likely the path: both ways alike and the noise as before, and the leaves of "
                     "the season are not in it: something new stands in the way."
                   : " Likely the path: both ways alike and the noise as before: something no "
                     "longer stands in the way.";
    else if (cause != Cause::none)
      text = " Likely " + std::string(meaning_of(cause)) +
             (for_the_better(one) ? ", for the better." : ".");
    if (const history::PeriodRecord* work = work_of(one))
      text += " It came with the work of that day" +
              (work->note.empty() ? "" : " (" + work->note + ")") + ".";
    return text;
  }

  /// "Likely the antenna" of a mended one must not read as its fault.
  static bool for_the_better(const LastingChange& one) {
    const auto moved = [&](double sign) {
      return std::ranges::any_of(one.levels.margin, [&](const auto& shift) {
        return shift && is_clear(*shift) && shift->difference * sign > 0;
      });
    };
    return moved(1) && !moved(-1);
  }

  const history::PeriodRecord* work_of(const LastingChange& one) const {
    if (one.slow()) return nullptr;
    for (const history::PeriodRecord& work : review_.upkeep)
      if (work.to >= one.from - 24h && work.from <= one.to + 24h) return &work;
    return nullptr;
  }

  /// Water in a plug shows itself in the rain: spells of hours that are more often and larger than
  /// before the change.
  std::string wet_words(std::size_t k) const {
    const LastingChange& one = review_.lasting[k];
    const Cause cause = likely_cause(one);
    const auto& signal = one.levels.signal[0];
    if ((cause != Cause::near_antenna && cause != Cause::far_antenna) || !signal ||
        signal->difference > 0)
      return {};
    const Time end = k + 1 < review_.lasting.size() ? review_.lasting[k + 1].from : review_.to;
    if (k > 0 && likely_cause(review_.lasting[k - 1]) == cause &&
        same_way(review_.lasting[k - 1], one))
      return {};  // told with the first
    Time until = end;
    for (std::size_t next = k + 1;
         next < review_.lasting.size() && same_way(one, review_.lasting[next]); ++next)
      until = next + 1 < review_.lasting.size() ? review_.lasting[next + 1].from : review_.to;
    const Spells during = spells(one.from, until), before = spells(review_.from, one.from);
    const double days = duration_to_seconds(until - one.from) / 86400,
                 days_before = duration_to_seconds(one.from - review_.from) / 86400;
    if (during.count < 2 || days_before < 60 ||
        static_cast<double>(during.count) / days <
            3 * static_cast<double>(before.count) / days_before)
      return {};
    return " As long as it stood, there were " + std::to_string(during.count) +
           " spells of hours with up to " + in_db(during.most_db) + " more, against " +
           (before.count == 0 ? "none" : std::to_string(before.count)) +
           " in all the time before: wet weather makes it worse.";
  }

  struct Spells {
    std::size_t count = 0;
    double most_db = 0;
  };
  Spells spells(Time from, Time to) const {
    Spells out;
    for (const Episode& episode : review_.episodes) {
      const bool loss = episode.cause == Cause::path || episode.cause == Cause::near_antenna ||
                        episode.cause == Cause::far_antenna;
      if (!tells_cause(episode) || !loss || episode.shape == Shape::cycle || !episode.to ||
          *episode.to - episode.from > 48h || episode.from < from || episode.from >= to)
        continue;
      ++out.count;
      out.most_db = std::max(out.most_db, episode.size_db.value_or(0));
    }
    return out;
  }

  /// Several changes whose sum is nothing: the last has undone the others.
  std::string given_back_words(std::size_t k) const {
    for (std::size_t d = 0; d < kDirections; ++d) {
      const auto& last = review_.lasting[k].levels.signal[d];
      if (!last || last->difference < 1) continue;
      double sum = last->difference;
      for (std::size_t i = k; i-- > 0;) {
        const auto& one = review_.lasting[i].levels.signal[d];
        if (!one) break;
        sum += one->difference;
        if (std::abs(sum) < std::max(0.7, 0.15 * last->difference))
          return " It gave back what had been lost since " + date_words(review_.lasting[i].from) +
                 ".";
      }
    }
    return {};
  }
};

}  // namespace

bool same_way(const LastingChange& a, const LastingChange& b) {
  const auto cause = likely_cause(a);
  const auto& x = a.levels.signal[0] ? a.levels.signal[0] : a.levels.signal[1];
  const auto& y = b.levels.signal[0] ? b.levels.signal[0] : b.levels.signal[1];
  return cause != Cause::none && cause == likely_cause(b) && x && y &&
         x->difference * y->difference > 0;
}

const Episode* setting_of(const LinkReview& review, const LastingChange& change) {
  if (change.slow()) return nullptr;
  for (const Episode& episode : review.episodes)
    if (episode.alert == AlertName::SettingChanged && episode.from >= change.from - 48h &&
        episode.from <= change.to + 48h)
      return &episode;
  return nullptr;
}

void tell_lasting_changes(const LinkReview& review, std::vector<StoryLine>& story) {
  LastingChanges(review, story).tell();
}

}  // namespace fadeward::review
