#include "fadeward/publish/review_json.hpp"

#include <algorithm>
#include <array>

#include "fadeward/base/json_text.hpp"
#include "fadeward/base/text.hpp"
#include "fadeward/review/words.hpp"
#include "review_figures.hpp"

namespace fadeward::publish {

namespace {

using namespace review;

/// Writes key, bracket and one element for each value.
template <class Values, class Write>
void array(std::string& out, std::string_view name, const Values& values, Write write) {
  json::key(out, name);
  out += '[';
  bool first = true;
  for (const auto& value : values) {
    if (!first) out += ',';
    first = false;
    write(value);
  }
  out += ']';
}

void append_row(std::string& out, const SpanRow& row, bool month) {
  out += '{';
  json::text(out, month ? "month" : "day", month ? month_digits(row.from) : date_digits(row.from));
  json::rounded(out, "margin_db", row.margin_db, 2);
  json::rounded(out, "margin_low_db", row.margin_low_db, 2);
  json::rounded(out, "margin_high_db", row.margin_high_db, 2);
  json::rounded(out, "signal_dbm", row.signal_dbm, 2);
  json::rounded(out, "noise_dbm", row.noise_dbm, 2);
  json::ratio(out, "loss_ratio", row.loss_ratio);
  json::ratio(out, "retry_ratio", row.retry_ratio);
  json::count(out, "frames", row.frames);
  json::count(out, "lost", row.lost);
  json::flag(out, "upkeep", row.upkeep_quarters > 0);
  out += '}';
}

void append_shift(std::string& out, std::string_view name,
                  const std::optional<estimate::Shift>& shift) {
  json::key(out, name);
  if (!shift) {
    out += "null";
    return;
  }
  out += '{';
  json::rounded(out, "difference_db", shift->difference, 2);
  json::rounded(out, "low_db", shift->low, 2);
  json::rounded(out, "high_db", shift->high, 2);
  json::ratio(out, "p", shift->p);
  json::rounded(out, "memory_days", shift->memory, 2);
  json::count(out, "days_before", shift->before);
  json::count(out, "days_after", shift->after);
  out += '}';
}

void append_trend(std::string& out, const LongTrend& trend) {
  json::key(out, "trend");
  out += '{';
  json::flag(out, "season_known", trend.season_known);
  json::rounded(out, "db_per_year", trend.db_per_year, 3);
  json::rounded(out, "low_db_per_year", trend.db_per_year ? std::optional(trend.low) : std::nullopt,
                3);
  json::rounded(out, "high_db_per_year",
                trend.db_per_year ? std::optional(trend.high) : std::nullopt, 3);
  json::ratio(out, "p", trend.db_per_year ? std::optional(trend.p) : std::nullopt);
  json::text_or_null(out, "forecast",
                     trend.crossing ? crossing_words(*trend.crossing) : std::string());
  const bool crosses =
      trend.crossing && trend.crossing->outlook == estimate::Crossing::Outlook::crosses;
  json::rounded(out, "days_left", crosses ? std::optional(trend.crossing->days) : std::nullopt, 0);
  out += '}';
}

void append_direction(std::string& out, const DirectionReview& one, std::size_t d) {
  const Digest& digest = one.digest;
  out += '{';
  json::text(out, "direction", kWayNames[d]);
  json::text(out, "noise_source", name_of(digest.noise_source));
  json::text(out, "loss_source", name_of(digest.loss_source));
  append_trend(out, one.trend);
  array(out, "leaves", one.leaves, [&](const LeafYear& year) {
    out += '{';
    json::count(out, "year", static_cast<std::uint64_t>(std::max(0, year.year)));
    append_shift(out, "margin", year.margin);
    json::rounded(out, "winters_differ_db",
                  year.both_sides ? std::optional(year.bare_change_db) : std::nullopt, 2);
    json::text_or_null(out, "half_come", year.out ? date_digits(*year.out) : std::string());
    json::text_or_null(out, "half_gone", year.gone ? date_digits(*year.gone) : std::string());
    out += '}';
  });
  array(out, "months", digest.months, [&](const SpanRow& row) { append_row(out, row, true); });
  array(out, "days", digest.days, [&](const SpanRow& row) { append_row(out, row, false); });
  array(out, "margin_db_by_month_and_hour", digest.hours, [&](const auto& hours) {
    out += '[';
    for (std::size_t h = 0; h < hours.size(); ++h) {
      if (h > 0) out += ',';
      if (hours[h])
        append_rounded(out, *hours[h], 2);
      else
        out += "null";
    }
    out += ']';
  });
  array(out, "noisy_channels", one.noisy, [&](const NoisyChannels& noisy) {
    out += '{';
    array(out, "channels", noisy.channels,
          [&](unsigned channel) { out += std::to_string(channel); });
    json::text(out, "first_month", month_digits(noisy.from));
    json::text(out, "last_month", month_digits(noisy.to - std::chrono::days{1}));
    json::rounded(out, "most_db", noisy.most_db, 2);
    out += '}';
  });
  array(out, "channels", digest.channels, [&](const ChannelRow& row) {
    out += '{';
    json::count(out, "channel", row.channel);
    json::count(out, "frames", row.frames);
    json::rounded(out, "signal_offset_db", row.signal_offset_db, 2);
    json::rounded(out, "noise_offset_db", row.noise_offset_db, 2);
    json::rounded(out, "last_month_noise_offset_db", row.last_noise_offset_db, 2);
    out += '}';
  });
  out += '}';
}

void append_levels(std::string& out, const Comparison& one) {
  for (std::size_t d = 0; d < kDirections; ++d) {
    json::key(out, kWayNames[d]);
    out += '{';
    append_shift(out, "margin", one.margin[d]);
    append_shift(out, "signal", one.signal[d]);
    append_shift(out, "noise", one.noise[d]);
    out += '}';
  }
}

void append_lasting(std::string& out, const LastingChange& one) {
  out += '{';
  json::text(out, "from", date_digits(one.from));
  json::text(out, "to", date_digits(one.to));
  const Cause cause = likely_cause(one);
  json::text_or_null(out, "pattern", cause == Cause::none ? std::string_view() : name_of(cause));
  append_levels(out, one.levels);
  out += '}';
}

void append_comparison(std::string& out, const Comparison& one) {
  out += '{';
  json::text(out, "what", one.what);
  json::moment(out, "before_from", one.before_from);
  json::moment(out, "before_to", one.before_to);
  json::moment(out, "after_from", one.after_from);
  json::moment(out, "after_to", one.after_to);
  json::flag(out, "same_days_of_two_years", one.same_weeks);
  const Cause cause = likely_cause(one);
  json::text_or_null(out, "pattern", cause == Cause::none ? std::string_view() : name_of(cause));
  append_levels(out, one);
  out += '}';
}

void append_episode(std::string& out, const Episode& one) {
  out += '{';
  json::moment(out, "from", one.from);
  json::moment(out, "raised", one.raised);
  json::moment(out, "to", one.to);
  json::text_or_null(out, "port", one.port);
  json::text_or_null(out, "direction",
                     one.direction ? name_of(*one.direction) : std::string_view());
  json::text(out, "alert", name_of(one.alert));
  json::text(out, "severity", name_of(one.severity));
  json::text(out, "cause", name_of(one.cause));
  json::text_or_null(out, "shape",
                     one.shape == Shape::none ? std::string_view() : name_of(one.shape));
  json::rounded(out, "size_db", one.size_db, 2);
  json::text(out, "text", one.text);
  out += '}';
}

void append_tally(std::string& out, std::string_view name, const Tally& tally) {
  json::key(out, name);
  out += '{';
  json::ratio(out, "availability_ratio", tally.availability());
  json::ratio(out, "errored_ratio", tally.errored_ratio());
  json::ratio(out, "severely_errored_ratio", tally.severely_errored_ratio());
  json::count(out, "available", tally.available);
  json::count(out, "unavailable", tally.unavailable);
  json::count(out, "errored", tally.errored);
  json::count(out, "severely_errored", tally.severely_errored);
  json::count(out, "upkeep", tally.upkeep);
  json::count(out, "no_data", tally.no_data);
  out += '}';
}

void append_tallies(std::string& out, const LinkPerformance& all, const Tallies& tallies) {
  for (std::size_t k = 0; k < tallies.size(); ++k) {
    if (k < kDirections && !all.known[k]) {
      json::key(out, kWayNames[k]);
      out += "null";
    } else {
      append_tally(out, kWayNames[k], tallies[k]);
    }
  }
}

void append_performance(std::string& out, const LinkPerformance& all) {
  json::key(out, "performance");
  if (!all.interval) {
    out += "null";
    return;
  }
  out += '{';
  json::seconds(out, "interval_s", all.interval);
  json::moment(out, "from", all.from);
  json::moment(out, "to", all.to);
  json::text(out, "remark", counting_words(all.interval));
  json::key(out, "total");
  out += '{';
  append_tallies(out, all, all.total);
  out += '}';
  array(out, "upkeep_differences", all.upkeep_differences,
        [&](const std::string& one) { append_json_string(out, one); });
  array(out, "undated", all.undated, [&](const history::MarkRecord& mark) {
    out += '{';
    json::moment(out, "time", mark.time);
    json::text(out, "text", mark.text);
    out += '}';
  });
  array(out, "months", all.months, [&](const PerformanceMonth& month) {
    out += '{';
    json::text(out, "month", month_digits(month.from));
    append_tallies(out, all, month.tallies);
    out += '}';
  });
  array(out, "outages", all.outages, [&](const Outage& one) {
    out += '{';
    json::moment(out, "from", one.from);
    json::moment(out, "to", one.to);
    json::seconds(out, "unavailable_s", one.unavailable);
    json::text(out, "direction",
               one.direction ? name_of(*one.direction) : std::string_view("both"));
    json::flag(out, "over", !one.open);
    json::text_or_null(out, "cause",
                       one.cause == Cause::none ? std::string_view() : name_of(one.cause));
    json::text(out, "text", one.text);
    out += '}';
  });
  out += '}';
}

void append_review(std::string& out, const LinkReview& review) {
  out += '{';
  json::text(out, "link", review.link);
  json::moment(out, "from", review.empty() ? std::nullopt : std::optional(review.from));
  json::moment(out, "to", review.empty() ? std::nullopt : std::optional(review.to));
  array(out, "story", review.story, [&](const StoryLine& line) {
    out += '{';
    json::text(out, "topic", line.topic);
    json::text(out, "text", line.text);
    out += '}';
  });
  json::key(out, "directions");
  out += '[';
  for (std::size_t d = 0; d < kDirections; ++d) {
    if (d > 0) out += ',';
    append_direction(out, review.directions[d], d);
  }
  out += ']';
  array(out, "lasting_changes", review.lasting,
        [&](const LastingChange& one) { append_lasting(out, one); });
  std::vector<Comparison> all = review.comparisons;
  for (const EpisodeShift& step : review.steps) all.push_back(step.across);
  if (review.last_weeks) all.push_back(*review.last_weeks);
  array(out, "comparisons", all, [&](const Comparison& one) { append_comparison(out, one); });
  array(out, "events", review.episodes, [&](const Episode& one) { append_episode(out, one); });
  array(out, "upkeep", review.upkeep, [&](const history::PeriodRecord& one) {
    out += '{';
    json::moment(out, "from", one.from);
    json::moment(out, "to", one.to);
    json::text(out, "note", one.note);
    out += '}';
  });
  append_performance(out, review.performance);
  array(out, "problems", review.problems,
        [&](const std::string& one) { append_json_string(out, one); });
  out += '}';
}

}  // namespace

std::string review_json(std::span<const LinkReview> reviews) {
  std::string out = "{";
  array(out, "links", reviews, [&](const LinkReview& one) { append_review(out, one); });
  return out + "}\n";
}

std::string report_json(std::span<const NamedPerformance> links) {
  std::string out = "{";
  append_tally(out, "network_seconds", network_seconds(links));
  array(out, "links", links, [&](const NamedPerformance& one) {
    out += '{';
    json::text(out, "link", one.link);
    append_performance(out, one.performance);
    out += '}';
  });
  return out + "}\n";
}

}  // namespace fadeward::publish
