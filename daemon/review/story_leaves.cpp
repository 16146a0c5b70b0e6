// What leaves cost a link and when they come and go.
#include <algorithm>
#include <cmath>
#include <iterator>
#include <map>

#include "fadeward/base/settings.hpp"
#include "fadeward/estimate/median.hpp"
#include "fadeward/review/words.hpp"
#include "story_parts.hpp"

namespace fadeward::review {

namespace {

using namespace std::chrono_literals;

/// Summers that nothing else changed; all of them where there is none.
std::vector<LeafYear> plain_summers(const std::vector<LeafYear>& years) {
  std::vector<LeafYear> plain;
  std::ranges::copy_if(years, std::back_inserter(plain), &LeafYear::alone);
  return plain.empty() ? years : plain;
}

double middle_of(const std::vector<LeafYear>& years) {
  std::vector<double> sizes;
  for (const LeafYear& one : years) sizes.push_back(one.margin.difference);
  return estimate::median_of(sizes);
}

class Leaves : StoryPart {
 public:
  using StoryPart::StoryPart;

  void tell() {
    std::array<std::string, kDirections> none;
    for (std::size_t d = 0; d < kDirections; ++d) {
      const auto& years = review_.directions[d].leaves;
      if (years.empty()) continue;
      const auto effect_db = effect_of_leaves_db(review_.directions[d]);
      if (!effect_db) {
        none[d] = "summer and winter margins do not differ beyond the weather.";
        continue;
      }
      std::string text = capital(kWay[d]) + ": in summer the margin is " +
                         in_db(std::abs(*effect_db)) + (*effect_db < 0 ? " lower" : " higher") +
                         (std::ranges::any_of(plain_summers(years), &LeafYear::both_sides)
                              ? " than in the winters around it"
                              : " than in the one winter beside it (a slow change is in that "
                                "figure)");
      if (years.size() > 1) text += " (" + summers_words(years) + ")" + last_summer_words(years);
      add("Leaves", text + "." + thin_summer_words(d, *effect_db));
    }
    if (const std::string dates = leaf_dates_words(); !dates.empty()) add("Leaves", dates);
    if (!none[0].empty() && none[0] == none[1])
      add("Leaves", "Both ways: " + none[0]);
    else
      for (std::size_t d = 0; d < kDirections; ++d)
        if (!none[d].empty()) add("Leaves", capital(kWay[d]) + ": " + none[d]);
  }

 private:
  static std::string summers_words(const std::vector<LeafYear>& years) {
    std::string text;
    for (const LeafYear& one : years)
      text += (text.empty() ? "" : "; ") + std::to_string(one.year) + ": " +
              in_db(one.margin.difference) +
              (!one.alone()     ? ", other changes in it"
               : one.both_sides ? ""
                                : ", one winter only");
    return text;
  }

  std::string last_summer_words(const std::vector<LeafYear>& years) const {
    const LeafYear &last = years.back(), &before = years[years.size() - 2];
    const bool worse = last.margin.high < before.margin.low;
    const bool better = last.margin.low > before.margin.high;
    if (!last.both_sides || !before.both_sides || !last.alone() || !before.alone() ||
        (!worse && !better))
      return {};
    // Where a change lies between their winters, what was taken out of them is less sure than that.
    using std::chrono::sys_days, std::chrono::year;
    const Time from{sys_days{year{before.year - 1} / 10 / 1}},
        to{sys_days{year{last.year + 1} / 4 / 1}};
    for (const LastingChange& one : review_.lasting)
      if (one.to > from && one.from < to) return {};
    return "; " + std::to_string(last.year) + " cost " +
           in_db(std::abs(last.margin.difference - before.margin.difference)) +
           (worse ? " more" : " less") + " than " + std::to_string(before.year);
  }

  /// Once for both ways: the leaves are the same.
  std::string leaf_dates_words() const {
    std::map<int, std::vector<Time>> out, gone;
    for (std::size_t d = 0; d < kDirections; ++d) {
      if (!effect_of_leaves_db(review_.directions[d])) continue;
      for (const LeafYear& one : review_.directions[d].leaves) {
        if (!one.alone()) continue;
        if (one.out) out[one.year].push_back(*one.out);
        if (one.gone) gone[one.year].push_back(*one.gone);
      }
    }
    std::string text;
    if (!out.empty()) text = "Half of that had come by about " + dates_words(out) + ".";
    if (!gone.empty())
      text += std::string(text.empty() ? "Half" : " Half") + " of it was gone by about " +
              dates_words(gone) + ".";
    return text;
  }

  static std::string dates_words(const std::map<int, std::vector<Time>>& years) {
    std::string text;
    for (const auto& [year, ways] : years)
      text +=
          (text.empty() ? "" : ", ") + date_words(ways.front() + (ways.back() - ways.front()) / 2);
    return text;
  }

  /// Advice where a summer has little left above the threshold.
  std::string thin_summer_words(std::size_t d, double effect_db) const {
    constexpr double kThinDb = 4;
    if (effect_db >= 0) return {};
    std::vector<double> summer;
    const auto& days = digest(d).days;
    for (const SpanRow& row : days) {
      const std::chrono::year_month_day date = std::chrono::floor<std::chrono::days>(row.from);
      const MonthDay day{static_cast<unsigned>(date.month()), static_cast<unsigned>(date.day())};
      if (row.counts() && row.from > days.back().from - 365 * 24h && in_leaf(day))
        summer.push_back(*row.margin_db);
    }
    const double warning_db =
        review_.context.warning_db.value_or(*AlertSettings{}.margin_db.warning);
    if (summer.empty()) return {};
    const double level_db = estimate::median_of(summer);
    if (level_db - warning_db > kThinDb) return {};
    return " The last summer's middle was " + in_db(level_db) + " with a warning at " +
           in_db(warning_db) + ": trim the trees or raise the antenna before the next spring.";
  }

  bool in_leaf(const MonthDay& day) const {
    const auto place = [](const MonthDay& one) { return one.month * 100 + one.day; };
    const unsigned from = place(review_.season.from), to = place(review_.season.to);
    return from <= to ? place(day) >= from && place(day) < to
                      : place(day) >= from || place(day) < to;
  }
};

}  // namespace

std::optional<double> effect_of_leaves_db(const DirectionReview& direction) {
  constexpr double kLeastDb = 0.5;
  const auto plain = plain_summers(direction.leaves);
  const auto clear = std::ranges::count_if(
      plain, [](const LeafYear& one) { return is_clear(one.margin) && one.margin.p < 0.01; });
  if (plain.empty() || clear * 2 <= static_cast<std::ptrdiff_t>(plain.size())) return {};
  const double middle_db = middle_of(plain);
  if (std::abs(middle_db) < kLeastDb) return {};
  return middle_db;
}

void tell_leaves(const LinkReview& review, std::vector<StoryLine>& story) {
  Leaves(review, story).tell();
}

}  // namespace fadeward::review
