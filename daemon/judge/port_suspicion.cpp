#include "fadeward/judge/port_suspicion.hpp"

#include <algorithm>
#include <string>

#include "fadeward/judge/suspicions.hpp"
#include "fadeward/judge/words.hpp"

namespace fadeward::judge {

namespace {

constexpr std::size_t kFewestLinks = 3;
constexpr Duration kTogether = std::chrono::hours{1};
constexpr Cause kNearSide[] = {Cause::near_antenna, Cause::near_transmit, Cause::near_receive, Cause::near_noise,
                               Cause::near_channels};

template <class T>
T middle(std::vector<T> values) {
  const auto at = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), at, values.end());
  return *at;
}

std::string in_words(Cause cause, std::size_t links, std::size_t active, std::optional<double> size_db, Time onset,
                     Time now) {
  std::string out = std::to_string(links) + " of " + std::to_string(active) + " active links of this port show the same change since " +
                    moment_in_words(onset, now);
  if (size_db) out += ", " + in_db(*size_db) + " in the middle";
  out += ": " + std::string(meaning_of(cause)) + ", which they share.";
  return out;
}

}  // namespace

bool is_near_side(Cause cause) { return std::ranges::find(kNearSide, cause) != std::end(kNearSide); }

CauseSet judge_port(const std::vector<NearSide>& said, std::size_t active_links, Time now, AlertBook& book,
                    const AlertBook::Owner& owner) {
  CauseSet told;
  for (const Cause cause : kNearSide) {
    std::vector<Time> onsets;
    for (const NearSide& one : said)
      if (one.cause == cause) onsets.push_back(one.onset);
    std::vector<double> sizes;
    std::size_t links = 0;
    const Time onset = onsets.empty() ? now : middle(onsets);
    for (const NearSide& one : said) {
      if (one.cause != cause || std::chrono::abs(one.onset - onset) > kTogether) continue;
      ++links;
      if (one.size_db) sizes.push_back(*one.size_db);
    }
    const auto size_db = sizes.empty() ? std::optional<double>() : std::optional(middle(sizes));
    const AlertName alert = alert_of(cause);
    const auto direction = direction_of(cause);
    const auto standing = book.cause(alert, direction);
    const bool enough = links >= kFewestLinks && links * 2 >= active_links;
    const bool still = standing == cause && links > 0 && links * 3 >= active_links;
    if (enough || still) {
      told.add(cause);
      Finding found;
      found.severity = Severity::warning;
      found.cause = cause;
      found.shape = Shape::step;
      found.onset = onset;
      found.size_db = size_db;
      found.confidence = 0.95;
      found.text = in_words(cause, links, active_links, size_db, onset, now);
      book.raise(owner, alert, direction, now, std::move(found));
    } else if (standing == cause) {
      book.clear(owner, alert, direction, now, "It is over on the links of this port.");
    }
  }
  return told;
}

}  // namespace fadeward::judge
