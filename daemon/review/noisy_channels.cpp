#include "fadeward/review/noisy_channels.hpp"

#include <algorithm>
#include <map>

#include "fadeward/estimate/median.hpp"

namespace fadeward::review {

namespace {

constexpr double kNoisyDb = 1.5;
constexpr double kOnceDb = 2;
constexpr double kMostUsualDb = 1;
constexpr std::size_t kMostParts = 12;

struct Run {
  unsigned channel = 0;
  std::size_t first = 0, last = 0;  ///< months
  std::vector<double> excess_db;
};

using Offsets = std::map<unsigned, std::vector<std::pair<std::size_t, double>>>;

std::vector<Run> runs_of(const Offsets& all, const std::vector<ChannelMonth>& months) {
  std::vector<Run> out;
  for (const auto& [channel, offsets] : all) {
    std::vector<double> values;
    for (const auto& [month, offset] : offsets) values.push_back(offset);
    const double usual = std::clamp(estimate::median_of(values), -kMostUsualDb, kMostUsualDb);
    bool open = false;
    for (const auto& [month, offset] : offsets) {
      const bool noisy = offset - usual >= kNoisyDb;
      const bool next = open && month == out.back().last + 1 &&
                        months[month].from == months[out.back().last].to;
      if (noisy && !next) out.push_back({channel, month, month, {}});
      if (noisy) {
        out.back().last = month;
        out.back().excess_db.push_back(offset - usual);
      }
      open = noisy;
    }
  }
  std::erase_if(out, [](const Run& run) { return std::ranges::max(run.excess_db) < kOnceDb; });
  return out;
}

bool close(std::size_t a, std::size_t b) { return a > b ? a - b <= 1 : b - a <= 1; }

}  // namespace

std::vector<NoisyChannels> noisy_channels(const std::vector<ChannelMonth>& months) {
  Offsets all;
  for (std::size_t m = 0; m < months.size(); ++m)
    for (const ChannelMonth::Level& level : months[m].levels)
      all[level.channel].emplace_back(m, level.noise_offset_db);
  std::vector<Run> runs = runs_of(all, months);
  std::ranges::stable_sort(runs, {}, &Run::first);
  std::vector<NoisyChannels> out;
  while (!runs.empty()) {
    const Run lead = runs.front();
    NoisyChannels one;
    std::size_t first = lead.first, last = lead.last;
    std::vector<double> most;
    std::erase_if(runs, [&](const Run& run) {
      if (!close(run.first, lead.first) || !close(run.last, lead.last)) return false;
      one.channels.push_back(run.channel);
      first = std::min(first, run.first);
      last = std::max(last, run.last);
      most.push_back(std::ranges::max(run.excess_db));
      return true;
    });
    std::ranges::sort(one.channels);
    one.from = months[first].from;
    one.to = months[last].to;
    one.most_db = estimate::median_of(most);
    one.standing = last + 1 == months.size();
    out.push_back(std::move(one));
  }
  return out;
}

std::string channel_words(const std::vector<unsigned>& channels) {
  std::string out;
  std::size_t parts = 0;
  for (std::size_t i = 0; i < channels.size();) {
    std::size_t end = i + 1;
    while (end < channels.size() && channels[end] == channels[end - 1] + 1) ++end;
    if (++parts > kMostParts) return out + ", ...";
    out += (out.empty() ? "" : ", ") + std::to_string(channels[i]);
    if (end - i == 2) out += ", " + std::to_string(channels[end - 1]);
    if (end - i > 2) out += " to " + std::to_string(channels[end - 1]);
    i = end;
  }
  return out;
}

}  // namespace fadeward::review
