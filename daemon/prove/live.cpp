#include "fadeward/prove/live.hpp"

#include <algorithm>
#include <cmath>

#include "fadeward/base/text.hpp"
#include "fadeward/prove/words.hpp"

namespace fadeward::prove {

namespace {

std::string right(std::string text, std::size_t width) {
  if (text.size() < width) text.insert(0, width - text.size(), ' ');
  return text;
}

std::string decibels(const std::optional<double>& value) {
  if (!value) return right("?", 5);
  std::string out;
  append_fixed(out, std::clamp(*value, -99.9, 99.9), 1);
  return right(out, 5);
}

std::string whole_percent(double share) {
  return right(std::to_string(std::lround(100 * share)), 3) + "%";
}

std::optional<double> weaker(const Aim& aim) {
  const auto& [first, second] = aim.margins_db;
  if (first && second) return std::min(*first, *second);
  return first ? first : second;
}

std::string lost_words(const Tally& tally) {
  const auto& outbound = tally.direction(Direction::outbound);
  const auto& inbound = tally.direction(Direction::inbound);
  if (!outbound || !inbound) return std::to_string(tally.trips.lost()) + " without an answer";
  return "lost out " + std::to_string(outbound->lost()) + " in " + std::to_string(inbound->lost());
}

}  // namespace

std::string progress_line(const Tally& tally, std::uint64_t planned,
                          std::optional<double> latency_s, double left_s) {
  return std::to_string(tally.probes) + " of " + std::to_string(planned) + " sent, " +
         lost_words(tally) + (latency_s ? ", round trip " + seconds_words(*latency_s) : "") + ", " +
         span_words(left_s) + " left";
}

std::string Walk::line(const Aim& aim) {
  const double share =
      aim.sent == 0 ? 0 : static_cast<double>(aim.answered) / static_cast<double>(aim.sent);
  const std::string got = std::to_string(aim.answered) + "/" + std::to_string(aim.sent);
  if (aim.sent > 0 && (!best_share_ || share > *best_share_)) best_share_ = share;
  if (const auto margin = weaker(aim)) {
    const bool better = !best_margin_db_ || *margin >= *best_margin_db_;
    if (better) best_margin_db_ = margin;
    return ("in" + decibels(aim.margins_db[0]) + " out" + decibels(aim.margins_db[1]) + "dB " +
            right(got, 5) + " best" + decibels(best_margin_db_) + (better ? " <<" : ""))
        .substr(0, kColumns);
  }
  if (best_margin_db_)   // no report for a while
    return ("in    ? out    ?dB " + right(got, 5) + " best" + decibels(best_margin_db_))
        .substr(0, kColumns);
  return ("got " + right(got, 5) + " " + whole_percent(share) + " " +
          right(aim.latency_s ? seconds_words(*aim.latency_s) : "no answer", 9) + " best " +
          (best_share_ ? whole_percent(*best_share_) : "?"))
      .substr(0, kColumns);
}

}  // namespace fadeward::prove
