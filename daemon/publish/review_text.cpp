#include "fadeward/publish/review_text.hpp"

#include <algorithm>
#include <array>

#include "fadeward/base/text.hpp"
#include "fadeward/review/undated.hpp"
#include "fadeward/review/words.hpp"
#include "review_figures.hpp"

namespace fadeward::publish {

namespace {

using namespace review;

constexpr std::size_t kWidth = 100;

void append_wrapped(std::string& out, std::string_view text, std::size_t indent) {
  std::size_t column = indent;
  bool first = true;
  while (!text.empty()) {
    const std::size_t end = text.find(' ');
    const std::string_view word = text.substr(0, end);
    if (!first && column + 1 + word.size() > kWidth) {
      out += '\n';
      out.append(indent, ' ');
      column = indent;
    } else if (!first) {
      out += ' ';
      ++column;
    }
    out += word;
    column += word.size();
    first = false;
    text = end == std::string_view::npos ? std::string_view() : text.substr(end + 1);
  }
  out += '\n';
}

/// Cells of fixed width, the first to the left, the others to the right.
class Columns {
 public:
  explicit Columns(std::string& out) : out_(out) {}
  void cell(std::string_view text, std::size_t width) {
    const std::size_t pad = text.size() < width ? width - text.size() : 0;
    if (first_) out_ += text;
    out_.append(pad, ' ');
    if (!first_) out_ += text;
    first_ = false;
  }
  void number(const std::optional<double>& value, int decimals, std::size_t width) {
    std::string text;
    if (value) append_fixed(text, *value, decimals);
    cell(value ? text : "-", width);
  }
  void end() {
    while (out_.ends_with(' ')) out_.pop_back();
    out_ += '\n';
    first_ = true;
  }

 private:
  std::string& out_;
  bool first_ = true;
};

void append_months(std::string& out, const LinkReview& review, std::size_t d) {
  const auto& months = review.directions[d].digest.months;
  if (months.empty()) return;
  out += "\nMonths, " + std::string(kWayNames[d]) + "\n";
  Columns columns(out);
  columns.cell("month", 8);
  for (const char* head : {"margin dB", "1 % dB", "99 % dB", "signal dBm", "noise dBm", "loss %",
                           "retries %", "available %", "frames"})
    columns.cell(head, 12);
  columns.end();
  for (const SpanRow& row : months) {
    columns.cell(month_digits(row.from), 8);
    columns.number(row.margin_db, 1, 12);
    columns.number(row.margin_low_db, 1, 12);
    columns.number(row.margin_high_db, 1, 12);
    columns.number(row.signal_dbm, 1, 12);
    columns.number(row.noise_dbm, 1, 12);
    columns.number(percent(row.loss_ratio), 2, 12);
    columns.number(percent(row.retry_ratio), 2, 12);
    columns.number(percent(month_availability(review.performance, row.from, d)), 3, 12);
    columns.cell(std::to_string(row.frames), 12);
    columns.end();
  }
}

void append_leaves(std::string& out, const LinkReview& review) {
  for (std::size_t d = 0; d < kDirections; ++d) {
    const auto& years = review.directions[d].leaves;
    if (years.empty()) continue;
    out +=
        "\nSummer (25 May to 25 September) against the winters around it (25 November to 25 "
        "March), " +
        std::string(kWayNames[d]) + "\n";
    Columns columns(out);
    columns.cell("year", 8);
    for (const char* head : {"change dB", "95 % low", "95 % high", "p"}) columns.cell(head, 12);
    columns.cell("winters differ dB", 20);
    for (const char* head : {"half come", "half gone"}) columns.cell(head, 12);
    columns.end();
    for (const LeafYear& one : years) {
      columns.cell(std::to_string(one.year), 8);
      columns.number(one.margin.difference, 1, 12);
      columns.number(one.margin.low, 1, 12);
      columns.number(one.margin.high, 1, 12);
      if (one.margin.p < 0.0001)
        columns.cell("< 0.0001", 12);
      else
        columns.number(one.margin.p, 4, 12);
      columns.number(one.both_sides ? std::optional(one.bare_change_db) : std::nullopt, 1, 20);
      for (const auto& day : {one.out, one.gone})
        columns.cell(day ? date_digits(*day) : std::string("-"), 12);
      columns.end();
    }
  }
}

std::string owner_of(const std::string& port, const std::optional<Direction>& direction) {
  if (!port.empty()) return "port " + port;
  return direction ? std::string(name_of(*direction)) : std::string("link");
}

void append_episodes(std::string& out, const LinkReview& review) {
  if (review.episodes.empty()) return;
  constexpr std::size_t kMost = 60;
  out += "\nEvents\n";
  const std::size_t skipped = review.episodes.size() > kMost ? review.episodes.size() - kMost : 0;
  if (skipped > 0)
    out += "(the last " + std::to_string(kMost) + " of " + std::to_string(review.episodes.size()) +
           "; --format json has all)\n";
  for (std::size_t i = skipped; i < review.episodes.size(); ++i) {
    const Episode& one = review.episodes[i];
    std::string line = moment_words(one.from) + "  " + std::string(name_of(one.alert)) + ", " +
                       owner_of(one.port, one.direction);
    if (one.cause != Cause::none) line += ", " + std::string(name_of(one.cause));
    line += one.to ? ", " + span_words(*one.to - one.from) : std::string(", still standing");
    append_wrapped(out, line, 2);
    if (one.text.empty()) continue;
    out += "  ";
    append_wrapped(out, printable(one.text, 400), 2);
  }
}

void append_tallies(std::string& out, const LinkPerformance& all) {
  Columns columns(out);
  columns.cell("month", 12);
  for (const char* head :
       {"way", "available %", "unavailable", "errored", "severe", "upkeep", "no data"})
    columns.cell(head, 12);
  columns.end();
  const auto line = [&](std::string_view name, const Tallies& tallies) {
    for (std::size_t k = 0; k < tallies.size(); ++k) {
      if (k < kDirections && !all.known[k]) continue;
      const Tally& one = tallies[k];
      columns.cell(name, 12);
      columns.cell(kWayNames[k], 12);
      columns.number(percent(one.availability()), 4, 12);
      for (const std::uint64_t count :
           {one.unavailable, one.errored, one.severely_errored, one.upkeep, one.no_data})
        columns.cell(std::to_string(count), 12);
      columns.end();
    }
  };
  for (const PerformanceMonth& month : all.months) line(month_digits(month.from), month.tallies);
  line("in all", all.total);
}

void append_outages(std::string& out, const LinkPerformance& all) {
  if (all.outages.empty()) {
    out += "No outage.\n";
    return;
  }
  for (const Outage& one : all.outages) {
    std::string line =
        "Outage " + moment_words(one.from) + ", " + span_words(one.unavailable) + " unavailable" +
        (one.direction ? ", " + std::string(name_of(*one.direction)) + " only" : "") +
        (one.open ? ", not over" : "") + ": " + std::string(meaning_of(one.cause)) + ".";
    if (!one.text.empty()) line += " " + printable(one.text, 300);
    append_wrapped(out, line, 2);
  }
}

void append_performance(std::string& out, const LinkPerformance& all) {
  for (const std::string& one : all.upkeep_differences) append_wrapped(out, printable(one, 400), 0);
  for (const auto& one : all.undated)
    append_wrapped(out, "Undated: " + printable(review::undated_words(one), 400), 0);
  if (!all.interval) {
    out += "Fewer than ten frames in seven days: no availability can be told.\n";
    return;
  }
  append_tallies(out, all);
  out += "\n";
  append_outages(out, all);
  for (std::size_t d = 0; d < kDirections; ++d)
    if (all.known[d] && !all.loss_known[d])
      out += "Losses " + std::string(kWayNames[d]) +
             " are not known: errors cannot be counted there.\n";
}

void append_csv_number(std::string& out, const std::optional<double>& value, int decimals) {
  out += ',';
  if (value) append_rounded(out, *value, decimals);
}

void append_csv_name(std::string& out, std::string_view name) {
  if (name.find_first_of(",\"\r\n") == std::string_view::npos) {
    out += name;
    return;
  }
  out += '"';
  for (const char c : name) {
    if (c == '"') out += '"';
    out += c;
  }
  out += '"';
}

Tally in_seconds(const Tally& tally, Duration interval) {
  const auto times = static_cast<std::uint64_t>(interval / std::chrono::seconds{1});
  return {tally.available * times,        tally.unavailable * times, tally.errored * times,
          tally.severely_errored * times, tally.upkeep * times,      tally.no_data * times};
}

}  // namespace

std::string counting_words(std::optional<Duration> interval) {
  std::string out;
  if (interval)
    out += "Counted on intervals of " + span_words(*interval) +
           ", the shortest kept that holds ten expected frames. ";
  out +=
      "Errored: a frame was lost. Severely errored: 30 % of the frames or more were lost, or "
      "nothing was heard. "
      "Unavailable: from the first of ten severely errored intervals in a row until the first of "
      "ten that are not; errors count in available time only. "
      "Both ways: unavailable if either way is. Upkeep, and times when the program did not run or "
      "the port was closed, are left out and shown. "
      "In the manner of ITU-T G.826 and G.827; it does not compare with figures on seconds.";
  return out;
}

std::string review_text(const LinkReview& review) {
  std::string out = "Link " + printable(review.link) + "\n\n";
  std::size_t width = 0;
  for (const StoryLine& line : review.story) width = std::max(width, line.topic.size() + 2);
  std::string_view last;
  for (const StoryLine& line : review.story) {
    const std::string_view topic =
        line.topic == last ? std::string_view() : std::string_view(line.topic);
    last = line.topic;
    out += topic;
    out.append(width - topic.size(), ' ');
    append_wrapped(out, printable(line.text, 4000), width);
  }
  for (const std::string& problem : review.problems)
    append_wrapped(out, "Not read: " + printable(problem), 2);
  if (review.empty()) return out;
  for (std::size_t d = 0; d < kDirections; ++d) append_months(out, review, d);
  append_leaves(out, review);
  append_episodes(out, review);
  out += "\nPerformance\n";
  append_wrapped(out, counting_words(review.performance.interval), 0);
  out += "\n";
  append_performance(out, review.performance);
  return out;
}

std::string review_csv(std::span<const LinkReview> reviews) {
  std::string out =
      "link,direction,day,margin_db,margin_low_db,margin_high_db,signal_dbm,noise_dbm,loss_ratio,"
      "retry_ratio,frames,lost,upkeep\n";
  for (const LinkReview& review : reviews)
    for (std::size_t d = 0; d < kDirections; ++d)
      for (const SpanRow& row : review.directions[d].digest.days) {
        append_csv_name(out, review.link);
        out += ',';
        out += kWayNames[d];
        out += ',' + date_digits(row.from);
        for (const auto& level :
             {row.margin_db, row.margin_low_db, row.margin_high_db, row.signal_dbm, row.noise_dbm})
          append_csv_number(out, level, 2);
        append_csv_number(out, row.loss_ratio, 6);
        append_csv_number(out, row.retry_ratio, 6);
        out += ',' + std::to_string(row.frames) + ',' + std::to_string(row.lost) +
               (row.upkeep_quarters > 0 ? ",1\n" : ",0\n");
      }
  return out;
}

Tally network_seconds(std::span<const NamedPerformance> links) {
  Tally out;
  for (const NamedPerformance& one : links) {
    if (!one.performance.interval) continue;
    const Tally part = in_seconds(one.performance.total[kBothWays], *one.performance.interval);
    out.available += part.available;
    out.unavailable += part.unavailable;
    out.errored += part.errored;
    out.severely_errored += part.severely_errored;
    out.upkeep += part.upkeep;
    out.no_data += part.no_data;
  }
  return out;
}

std::string report_text(std::span<const NamedPerformance> links) {
  std::string out = "Performance report\n\n";
  if (links.empty()) return out + "There is no link in this history.\n";
  Columns columns(out);
  columns.cell("link", 20);
  for (const char* head :
       {"interval", "available %", "in %", "out %", "outages", "errored %", "severe %"})
    columns.cell(head, 12);
  columns.end();
  for (const NamedPerformance& one : links) {
    const LinkPerformance& all = one.performance;
    columns.cell(printable(one.link, 40), 20);
    columns.cell(all.interval ? span_words(*all.interval) : "-", 12);
    columns.number(percent(all.total[kBothWays].availability()), 4, 12);
    for (std::size_t d = 0; d < kDirections; ++d)
      columns.number(percent(all.total[d].availability()), 4, 12);
    columns.cell(std::to_string(all.outages.size()), 12);
    columns.number(percent(all.total[kBothWays].errored_ratio()), 3, 12);
    columns.number(percent(all.total[kBothWays].severely_errored_ratio()), 4, 12);
    columns.end();
  }
  const Tally network = network_seconds(links);
  columns.cell("all links", 20);
  columns.cell("", 12);
  columns.number(percent(network.availability()), 4, 12);
  columns.end();
  out += "\n";
  append_wrapped(out, counting_words({}), 0);
  for (const NamedPerformance& one : links) {
    out += "\nLink " + printable(one.link);
    if (one.performance.from != Time{})
      out += ", " + moment_words(one.performance.from) + " to " + moment_words(one.performance.to);
    if (one.performance.interval) out += ", intervals of " + span_words(*one.performance.interval);
    out += "\n";
    append_performance(out, one.performance);
  }
  return out;
}

std::string report_csv(std::span<const NamedPerformance> links) {
  std::string out =
      "link,direction,month,interval_s,availability_ratio,available,unavailable,errored,severely_"
      "errored,upkeep,no_data\n";
  for (const NamedPerformance& one : links) {
    if (!one.performance.interval) continue;
    for (const PerformanceMonth& month : one.performance.months)
      for (std::size_t k = 0; k < month.tallies.size(); ++k) {
        if (k < kDirections && !one.performance.known[k]) continue;
        const Tally& tally = month.tallies[k];
        append_csv_name(out, one.link);
        out += ',';
        out += kWayNames[k];
        out += ',' + month_digits(month.from) + ',' +
               std::to_string(*one.performance.interval / std::chrono::seconds{1});
        append_csv_number(out, tally.availability(), 6);
        for (const std::uint64_t count : {tally.available, tally.unavailable, tally.errored,
                                          tally.severely_errored, tally.upkeep, tally.no_data})
          out += ',' + std::to_string(count);
        out += '\n';
      }
  }
  return out;
}

}  // namespace fadeward::publish
