// A link's story is told in parts, each of which adds its lines. What several of them need.
#pragma once

#include <array>
#include <optional>
#include <string>
#include <vector>

#include "fadeward/review/review.hpp"

namespace fadeward::review {

void tell_leaves(const LinkReview& review, std::vector<StoryLine>& story);
void tell_lasting_changes(const LinkReview& review, std::vector<StoryLine>& story);
/// Alerts and spells of weather that neither a lasting change nor the leaves account for, and
/// settings.
void tell_episodes(const LinkReview& review, std::vector<StoryLine>& story);

/// By how much the margin of an undisturbed summer lies above that of the winters, in dB: below 0
/// where leaves take from it. Empty where most summers do not show it.
std::optional<double> effect_of_leaves_db(const DirectionReview& direction);

/// The setting that made this change; null where none did.
const Episode* setting_of(const LinkReview& review, const LastingChange& change);

/// Of one end's antenna or path, up or down, both changes alike.
bool same_way(const LastingChange& a, const LastingChange& b);

constexpr std::array<const char*, kDirections> kWay = {"inbound", "outbound"};

std::string capital(std::string text);

/// "inbound 3.9 dB lower (...), outbound ...", or that neither can be told from the weather.
std::string margin_words(const Comparison& one);
/// The margin of one way at least has moved.
bool margin_moved(const Comparison& one);

/// "inbound 20.1 dB, outbound 18.4 dB": whatever is known of both.
template <class Text>
std::string both_ways_words(Text text) {
  std::string out;
  for (std::size_t d = 0; d < kDirections; ++d) {
    const std::string part = text(d);
    if (part.empty()) continue;
    out += out.empty() ? "" : ", ";
    out += std::string(kWay[d]) + " " + part;
  }
  return out;
}

/// One part in the making.
class StoryPart {
 public:
  StoryPart(const LinkReview& review, std::vector<StoryLine>& story)
      : review_(review), story_(story) {}

 protected:
  void add(std::string topic, std::string text) {
    story_.push_back({std::move(topic), std::move(text)});
  }
  const Digest& digest(std::size_t d) const { return review_.directions[d].digest; }

  const LinkReview& review_;
  std::vector<StoryLine>& story_;
};

}  // namespace fadeward::review
