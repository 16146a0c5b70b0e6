#include "fadeward/judge/port_suspicion.hpp"

#include <algorithm>
#include <array>
#include <iterator>
#include <string>

#include "fadeward/judge/suspicions.hpp"
#include "fadeward/judge/words.hpp"

namespace fadeward::judge {

namespace {

constexpr std::size_t kFewestLinks = 3;
constexpr Duration kTogether = std::chrono::hours{1};
constexpr Cause kNearSide[] = {Cause::near_antenna, Cause::near_transmit, Cause::near_receive,
                               Cause::near_noise, Cause::near_channels};

template <class T>
T middle(std::vector<T> values) {
  const auto at = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), at, values.end());
  return *at;
}

std::string in_words(Cause cause, std::size_t links, std::size_t active,
                     std::optional<double> size_db, Time onset, Time now) {
  std::string out = std::to_string(links) + " of " + std::to_string(active) +
                    " active links of this port show the same change since " +
                    moment_in_words(onset, now);
  if (size_db) out += ", " + in_db(*size_db) + " in the middle";
  out += ": " + std::string(meaning_of(cause)) + ", which they share.";
  return out;
}

/// How many links say the same within an hour of the middle onset.
struct Shared {
  std::size_t links = 0;   ///< heard
  std::size_t silent = 0;  ///< that said so before they fell silent
  Time onset{};
  std::optional<double> size_db;
  bool told = false;
};

enum class Words : std::uint8_t { heard, all };
Shared shared(const std::vector<NearSide>& said, Cause cause, Words which, Time now) {
  Shared out;
  const auto counts = [&](const NearSide& one) {
    return one.cause == cause && (one.heard || which == Words::all);
  };
  std::vector<Time> onsets;
  for (const NearSide& one : said)
    if (counts(one)) onsets.push_back(one.onset);
  out.onset = onsets.empty() ? now : middle(onsets);
  std::vector<double> sizes;
  std::optional<std::uint32_t> counted;
  for (const NearSide& one : said) {
    if (!counts(one) || std::chrono::abs(one.onset - out.onset) > kTogether ||
        counted == one.speaker)
      continue;
    counted = one.speaker;
    ++(one.heard ? out.links : out.silent);
    if (one.size_db) sizes.push_back(*one.size_db);
  }
  if (!sizes.empty()) out.size_db = middle(sizes);
  return out;
}

/// A little less than the three weeks after which a link takes what lasts for its usual level.
constexpr Duration kUntilUsual = std::chrono::hours{24 * 20};

}  // namespace

bool is_near_side(Cause cause) {
  return std::ranges::find(kNearSide, cause) != std::end(kNearSide);
}

CauseSet judge_port(const std::vector<NearSide>& said, std::size_t active_links, Time now,
                    AlertBook& book, const AlertBook::Owner& owner) {
  CauseSet told;
  std::array<Shared, std::size(kNearSide)> all;
  for (std::size_t i = 0; i < all.size(); ++i) {
    const Cause cause = kNearSide[i];
    const bool stands = book.cause(alert_of(cause), direction_of(cause)) == cause;
    if (active_links == 0) {  // absence of data ends nothing
      if (!stands) continue;
      told.add(cause);
      book.mark_stale(alert_of(cause), direction_of(cause), true);
      continue;
    }
    all[i] = shared(said, cause, Words::heard, now);
    Shared& one = all[i];
    one.told = one.links >= kFewestLinks && one.links * 2 >= active_links;
    if (!one.told && stands) {
      const Shared with_silent = shared(said, cause, Words::all, now);
      const std::size_t links = with_silent.links + with_silent.silent;
      one.told = links > 0 && links * 3 >= active_links + with_silent.silent;
    }
    if (one.told) told.add(cause);
  }
  if (active_links == 0) return told;
  for (std::size_t i = 0; i < all.size(); ++i) {
    const AlertName alert = alert_of(kNearSide[i]);
    const auto direction = direction_of(kNearSide[i]);
    const auto shares = [&](Cause other) {
      return alert_of(other) == alert && direction_of(other) == direction;
    };
    if (std::find_if(std::begin(kNearSide), std::end(kNearSide), shares) != kNearSide + i)
      continue;  // judged already
    const auto standing = book.cause(alert, direction);
    const Shared* speaks = nullptr;
    Cause its_cause = Cause::none;
    for (std::size_t j = i; j < all.size(); ++j) {
      if (!all[j].told || !shares(kNearSide[j])) continue;
      const bool more =
          its_cause != standing && (speaks == nullptr || all[j].links > speaks->links);
      if (kNearSide[j] != standing && !more) continue;
      speaks = &all[j];
      its_cause = kNearSide[j];
    }
    if (speaks != nullptr && speaks->links == 0) {  // those that carry it are all silent
      book.mark_stale(alert, direction, true);
    } else if (speaks != nullptr) {
      Finding found;
      found.severity = Severity::warning;
      found.cause = its_cause;
      found.shape = Shape::step;
      found.onset = speaks->onset;
      found.size_db = speaks->size_db;
      found.confidence = 0.95;
      found.text =
          in_words(its_cause, speaks->links, active_links, speaks->size_db, speaks->onset, now);
      book.raise(owner, alert, direction, now, std::move(found));
    } else if (standing && is_near_side(*standing)) {
      const auto since = book.since(alert, direction);
      const bool long_ago = since && now - *since > kUntilUsual;
      book.clear(owner, alert, direction, now,
                 long_ago ? "The links of this port are at their usual levels again, or have taken "
                            "these for the usual after three weeks."
                          : "It is over on the links of this port.");
    }
  }
  return told;
}

}  // namespace fadeward::judge
