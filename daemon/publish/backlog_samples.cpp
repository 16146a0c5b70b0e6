#include "fadeward/publish/backlog_samples.hpp"

#include <algorithm>
#include <cmath>

#include "fadeward/history/quantity.hpp"
#include "fadeward/publish/families.hpp"
#include "series_labels.hpp"

namespace fadeward::publish {

namespace {

const std::vector<const history::Quantity*>& pushed_quantities() {
  static const auto all = [] {
    std::vector<const history::Quantity*> out;
    for (const history::Quantity& each : history::quantities()) {
      const bool live =
          std::ranges::find(families(), each.family, &Family::name) != families().end();
      if (!each.counts && live) out.push_back(&each);
    }
    return out;
  }();
  return all;
}

}  // namespace

std::size_t backlog_quantities() { return pushed_quantities().size(); }

void BacklogSamples::begin(const WriteBacklog& what, std::vector<std::string> links) {
  what_ = what;
  links_ = std::move(links);
  next_ = 0;
  counted_ = 0;
  batch_.clear();
  ends_.clear();
  // What covers more than fits (an hour of years ago) ends at one of these as well.
  constexpr auto kQuarter = WritePlan::kQuarter;
  const Time first{what.from.time_since_epoch() / kQuarter * kQuarter + kQuarter};
  if (what.too_old) return;
  for (Time end = first; end <= what.to; end += kQuarter) {
    ends_.push_back(end);
    batch_.add_moment(to_milliseconds(end));
  }
}

bool BacklogSamples::step(history::Reader& reader,
                          const std::map<std::string, std::string>& labels) {
  if (!reading()) return false;
  const std::string& link = links_[next_ / 2];
  const auto direction = static_cast<Direction>(next_ % 2);
  ++next_;
  struct Found {
    Time end;
    std::vector<std::optional<double>> values;
  };
  std::vector<Found> found;
  // Asked a little wider: a bin is found by its beginning, and counts by its end.
  reader.bins(link, direction, what_.from - std::chrono::hours{1}, what_.to,
              [&](const history::Summary& bin) {
                const Time end = bin.start + bin.span;
                if (bin.empty() || end <= what_.from || end > what_.to) return;
                if (what_.too_old) {  // it may be years: only counted, nothing is held
                  for (const history::Quantity* quantity : pushed_quantities()) {
                    const auto value = quantity->value(bin);
                    counted_ += value && std::isfinite(*value);
                  }
                  return;
                }
                Found& each = found.emplace_back(Found{end, {}});
                for (const history::Quantity* quantity : pushed_quantities())
                  each.values.push_back(quantity->value(bin));
              });
  SeriesLabels all(labels);
  for (std::size_t q = 0; q < pushed_quantities().size(); ++q) {
    const WriteLabel own[] = {{"__name__", pushed_quantities()[q]->family},
                              {"direction", name_of(direction)},
                              {"link", link}};
    bool begun = false;
    for (const Found& each : found) {
      if (!each.values[q] || !std::isfinite(*each.values[q])) continue;
      ++counted_;
      const auto at = std::ranges::find(ends_, each.end);
      if (at == ends_.end()) continue;
      if (!begun) batch_.add_series(all.with(own));
      begun = true;
      batch_.add_sample(static_cast<std::uint32_t>(at - ends_.begin()),
                        rounded_for_transport(*each.values[q]));
    }
  }
  return reading();
}

}  // namespace fadeward::publish
