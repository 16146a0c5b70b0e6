// What was told at the time: alerts, weather and settings.
#include <algorithm>
#include <cmath>

#include "fadeward/estimate/median.hpp"
#include "fadeward/review/words.hpp"
#include "story_parts.hpp"

namespace fadeward::review {

namespace {

using namespace std::chrono_literals;

constexpr std::size_t kMostEpisodes = 10;
constexpr std::size_t kMostSettings = 5;
constexpr Duration kShort = 24h;  ///< an episode below this is weather unless it is large
constexpr double kLargeDb = 6;

class Episodes : StoryPart {
 public:
  using StoryPart::StoryPart;

  void episodes() {
    std::vector<const Episode*> told, weather, unseen;
    for (const Episode& one : review_.episodes) {
      if (!tells_cause(one)) continue;
      if (passes_for_weather(one)) {
        weather.push_back(&one);
        continue;
      }
      if (covered(one) || is_spring(one)) continue;
      if (is_unseen(one)) {
        unseen.push_back(&one);
        continue;
      }
      const Duration lasted = one.to.value_or(review_.to) - one.from;
      if (lasted >= kShort || one.size_db.value_or(0) >= kLargeDb) told.push_back(&one);
    }
    tell_weather(weather);
    const std::size_t all = told.size();
    std::ranges::stable_sort(told, [](const Episode* a, const Episode* b) {
      return a->size_db.value_or(0) > b->size_db.value_or(0);
    });
    told.resize(std::min(all, kMostEpisodes));
    std::ranges::stable_sort(told, {}, [](const Episode* one) { return one->from; });
    for (const Episode* one : told) {
      std::string text =
          moment_words(one->from) + (one->shape == Shape::drift ? ", slowly" : "") + ": ";
      if (one->size_db) text += in_db(*one->size_db) + ", ";
      text += meaning_of(one->cause);
      text += ending_of(*one);
      if (!one->text.empty()) text += ". Told at the time: " + one->text;
      if (!text.ends_with('.')) text += ".";
      add("Change", text);
    }
    tell_unseen(unseen);
    if (all > told.size())
      add("Change",
          std::to_string(all - told.size()) + " smaller changes are in the table of events.");
  }

  void settings() {
    std::size_t count = 0;
    for (const Episode& one : review_.episodes) {
      const bool told = std::ranges::any_of(review_.lasting, [&](const LastingChange& change) {
        return setting_of(review_, change) == &one;
      });
      if (one.alert != AlertName::SettingChanged || told || ++count > kMostSettings) continue;
      add("Setting",
          moment_words(one.from) + ": " + one.text + (one.text.ends_with('.') ? "" : "."));
    }
    if (count > kMostSettings)
      add("Setting", std::to_string(count - kMostSettings) + " more are in the table of events.");
  }

 private:
  bool covered(const Episode& one) const {
    constexpr Duration kNear = 24h * 21;
    for (const LastingChange& change : review_.lasting)
      if (one.from >= change.from - kNear && one.from <= change.to + kNear) {
        const Cause cause = likely_cause(change);
        const bool path = one.cause == Cause::path &&
                          (cause == Cause::near_antenna || cause == Cause::far_antenna);
        // An antenna that hears again hears more noise, too.
        const auto& noise = change.levels.noise[cause == Cause::near_antenna ? 0 : 1];
        const bool heard_again =
            noise && noise->low > 0 &&
            ((cause == Cause::near_antenna && one.cause == Cause::near_noise) ||
             (cause == Cause::far_antenna && one.cause == Cause::far_noise));
        if (one.cause == cause || path || heard_again) return true;
      }
    for (std::size_t d = 0; d < kDirections; ++d) {
      const Cause cause = d == 0 ? Cause::near_channels : Cause::far_channels;
      for (const NoisyChannels& noisy : review_.directions[d].noisy)
        if (one.cause == cause && one.from >= noisy.from - 31 * 24h && one.from < noisy.to)
          return true;
    }
    return false;
  }

  /// The rise of the leaves, which their own line tells.
  bool is_spring(const Episode& one) const {
    if (one.cause != Cause::path || one.shape != Shape::drift) return false;
    constexpr Duration kEarly = 24h * 24, kLate = 24h * 45;
    for (std::size_t d = 0; d < kDirections; ++d) {
      if (effect_of_leaves_db(review_.directions[d]).value_or(0) >= 0) continue;
      for (const LeafYear& year : review_.directions[d].leaves)
        if (year.out && one.from >= *year.out - kEarly && one.from <= *year.out + kLate)
          return true;
    }
    return false;
  }

  /// An alert of one end that the days of its time do not bear out: what it says had moved lay as
  /// in the month before. Bursts are too short for the middle of a day.
  bool is_unseen(const Episode& one) const {
    if (!one.to || !one.size_db || *one.to - one.from < 48h || one.shape == Shape::burst ||
        one.shape == Shape::cycle)
      return false;
    const Time day = std::chrono::floor<std::chrono::days>(one.from);
    const auto before = level_of(one.cause, day - 30 * 24h, day),
               during = level_of(one.cause, day + 24h, *one.to);
    return before && during && std::abs(*during - *before) < 0.4 * *one.size_db;
  }

  /// Middle of what the cause would move, weather apart: the difference of the signals, or a noise.
  std::optional<double> level_of(Cause cause, Time from, Time to) const {
    std::vector<double> values;
    if (cause == Cause::near_noise || cause == Cause::far_noise) {
      values = noises_between(digest(cause == Cause::near_noise ? 0 : 1).days, from, to).values;
    } else if (cause == Cause::far_transmit || cause == Cause::near_transmit ||
               cause == Cause::near_receive || cause == Cause::far_receive) {
      const auto in = signals_between(digest(0).days, from, to),
                 out = signals_between(digest(1).days, from, to);
      std::size_t k = 0;
      for (std::size_t i = 0; i < in.size(); ++i) {
        while (k < out.size() && out.days[k] < in.days[i]) ++k;
        if (k < out.size() && out.days[k] == in.days[i])
          values.push_back(in.values[i] - out.values[k]);
      }
    }
    if (values.size() < 2) return {};
    return estimate::median_of(values);
  }

  void tell_unseen(const std::vector<const Episode*>& alerts) {
    if (alerts.empty()) return;
    const bool one = alerts.size() == 1;
    add("Change",
        std::to_string(alerts.size()) + (one ? " alert" : " alerts") +
            " of one end's transmitter, receiver or noise, " + date_words(alerts.front()->from) +
            (one ? "" : " to " + date_words(alerts.back()->from)) + (one ? ", is" : ", are") +
            " not borne out by the days of that time, which lay as in the month before. "
            "Likely false.");
  }

  void tell_weather(const std::vector<const Episode*>& spells) {
    if (spells.empty()) return;
    const auto lasted = [](const Episode* one) { return *one->to - one->from; };
    double most = 0;
    const Episode* longest = spells.front();
    for (const Episode* one : spells) {
      most = std::max(most, one->size_db.value_or(0));
      if (lasted(one) > lasted(longest)) longest = one;
    }
    std::string text = std::to_string(spells.size()) + (spells.size() == 1 ? " spell" : " spells") +
                       " of a weaker or unsteady path that passed by " +
                       (spells.size() == 1 ? "itself" : "themselves");
    if (most > 0) text += ", up to " + in_db(most);
    text += spells.size() == 1 ? ", " : "; the longest ";
    text += span_words(lasted(longest)) + " from " + date_words(longest->from) + ".";
    add("Weather", text);
  }

  /// An alert ends when the level comes back, or when it has become the usual one.
  std::string ending_of(const Episode& one) const {
    if (!one.to) return "; it still stands";
    const auto index = static_cast<std::size_t>(&one - review_.episodes.data());
    const auto step = std::ranges::find(review_.steps, index, &EpisodeShift::episode);
    std::string out =
        "; the alert ended on " + date_words(*one.to) + " after " + span_words(*one.to - one.from);
    if (step == review_.steps.end()) return out;
    const std::string measured =
        "; the days around it show the margin " + margin_words(step->across);
    if (!step->after) return measured + out;
    const auto stayed = [&](std::size_t d) {
      const auto &across = step->across.margin[d], &after = step->after->margin[d];
      return across && after && is_clear(*across) && after->difference / across->difference > 0.5;
    };
    return measured + out +
           (stayed(0) || stayed(1) ? ", but the level has stayed" : ", and the level came back");
  }
};

}  // namespace

void tell_episodes(const LinkReview& review, std::vector<StoryLine>& story) {
  Episodes part(review, story);
  part.episodes();
  part.settings();
}

}  // namespace fadeward::review
