#include "fadeward/publish/history_export.hpp"

#include <algorithm>
#include <map>
#include <tuple>

#include "escape.hpp"
#include "fadeward/base/text.hpp"
#include "fadeward/history/quantity.hpp"
#include "fadeward/publish/families.hpp"

namespace fadeward::publish {

namespace {

constexpr std::size_t kPiece = 1U << 16;

/// Only where the name ends in it (OpenMetrics 1.0, "Unit").
std::string_view unit_of(std::string_view family) {
  for (const std::string_view unit : {"dbm", "db", "ratio"})
    if (family.ends_with("_" + std::string(unit))) return unit;
  return {};
}

void append_head(std::string& out, std::string_view family, MetricKind kind,
                 std::string_view meaning) {
  const std::string name(openmetrics_name({family, kind, "", meaning}));
  out += "# TYPE " + name + (kind == MetricKind::counter ? " counter\n" : " gauge\n");
  if (const auto unit = unit_of(name); !unit.empty())
    out += "# UNIT " + name + " " + std::string(unit) + "\n";
  out += "# HELP " + name + " ";
  append_help(out, meaning, true);
  out += '\n';
}

void append_sample(std::string& out, const std::string& series, double value, Time at) {
  out += series;
  append_rounded(out, value, 6);
  out += ' ';
  append_rounded(out, to_unix_seconds(at), 3);
  out += '\n';
}

// ---- alerts --------------------------------------------------------------------------------

struct AlertLife {
  std::string labels;                             ///< with braces and a blank behind them
  std::vector<std::pair<Time, Severity>> levels;  ///< from that time on; none: not active
};

/// "{" and the labels that every series has, each with a comma.
std::string begin_labels(const HistoryExport& what) {
  std::string out = "{";
  for (const auto& [name, value] : what.labels) {
    out += name + "=\"";
    append_label_value(out, value);
    out += "\",";
  }
  return out;
}

std::string labels_of(const history::EventRecord& event, const std::string& begin) {
  std::string out = begin + (event.link.empty() ? "port=\"" : "link=\"");
  append_label_value(out, event.link.empty() ? event.port : event.link);
  if (event.direction) out += "\",direction=\"" + std::string(name_of(*event.direction));
  return out + "\",alert=\"" + std::string(name_of(event.alert)) + "\"} ";
}

/// Of these links, and of the ports.
std::vector<AlertLife> alert_lives(history::Reader& reader, const HistoryExport& what) {
  std::map<std::string, AlertLife> lives;
  const std::string begin = begin_labels(what);
  for (const history::EventRecord& event : reader.events(Time::min(), what.to)) {
    if (!event.link.empty() && std::ranges::find(what.links, event.link) == what.links.end())
      continue;
    std::string labels = labels_of(event, begin);
    AlertLife& life = lives[labels];
    life.labels = std::move(labels);
    const bool over = event.change == history::EventChange::cleared;
    life.levels.emplace_back(event.time, over ? Severity::none : event.severity);
  }
  std::vector<AlertLife> out;
  for (auto& [labels, life] : lives) out.push_back(std::move(life));
  return out;
}

Time quarter_after(Time at) {
  return std::chrono::ceil<std::chrono::duration<std::int64_t, std::ratio<900>>>(at);
}

/// Calls `visit(time, severity)` at the ends of quarter hours: those at which it was active, the
/// next one where it was shorter than that, and the first one after it with none.
template <class Visit>
void visit_levels(const AlertLife& life, Time from, Time to, Visit visit) {
  std::optional<Time> last;  // with an alert
  for (std::size_t i = 0; i < life.levels.size(); ++i) {
    const auto [since, severity] = life.levels[i];
    const auto* next = i + 1 < life.levels.size() ? &life.levels[i + 1] : nullptr;
    Time at = quarter_after(since);
    if (last && at <= *last) at = *last + kBinSpan;
    if (severity == Severity::none) {
      const bool again = next != nullptr && quarter_after(next->first) <= at;
      if (last && !again && at >= from && at <= to) visit(at, severity);
      continue;
    }
    at = std::max(at, quarter_after(from));
    const bool ends = next != nullptr && next->second == Severity::none;
    const bool brief = ends && (!last || *last < quarter_after(since));
    const Time until = next != nullptr ? next->first : Time::max();
    for (bool first = brief; at <= to && (first || at < until); at += kBinSpan, first = false) {
      visit(at, severity);
      last = at;
    }
  }
}

struct AlertFamily {
  std::string_view name, meaning;
  double (*value)(Severity);
};
constexpr AlertFamily kAlertFamilies[] = {
    {"fadeward_alert_active", "1 while the alert is active, else 0.",
     [](Severity severity) { return severity == Severity::none ? 0.0 : 1.0; }},
    {"fadeward_alert_severity",
     "Severity of the alert: 0 not active, 1 info, 2 warning, 3 critical.",
     [](Severity severity) { return static_cast<double>(severity); }},
};

}  // namespace

bool may_label(std::string_view name) {
  return is_label_name(name) && name != "link" && name != "direction" && name != "port" &&
         name != "alert";
}

void export_history(history::Reader& reader, const HistoryExport& what,
                    const std::function<bool(std::string_view)>& write) {
  std::string out;
  bool going = true;
  const auto flush = [&](std::size_t above) {
    if (going && out.size() > above) {
      going = write(out);
      out.clear();
    }
  };
  for (const history::Quantity& quantity : history::quantities()) {
    append_head(out, quantity.family, quantity.counts ? MetricKind::counter : MetricKind::gauge,
                quantity.meaning);
    for (const std::string& link : what.links)
      for (const Direction direction : {Direction::inbound, Direction::outbound}) {
        if (!going) return;
        std::string series(quantity.family);
        series += begin_labels(what) + "link=\"";
        append_label_value(series, link);
        series += "\",direction=\"" + std::string(name_of(direction)) + "\"} ";
        double sum = 0;
        reader.bins(link, direction, what.from, what.to, [&](const history::Summary& bin) {
          if (bin.empty() || !going) return;
          auto value = quantity.value(bin);
          if (!value) return;
          if (quantity.counts) *value = sum += *value;
          append_sample(out, series, *value, bin.start + bin.span);
          flush(kPiece);
        });
      }
  }
  const auto extent = reader.extent();
  const auto lives = extent ? alert_lives(reader, what) : std::vector<AlertLife>{};
  for (const auto& [family, meaning, value] : kAlertFamilies) {
    append_head(out, family, MetricKind::gauge, meaning);
    for (const AlertLife& life : lives) {
      if (!going) return;
      visit_levels(life, what.from, std::min(what.to, extent->second),
                   [&, value = value](Time at, Severity severity) {
                     append_sample(out, std::string(family) + life.labels, value(severity), at);
                     flush(kPiece);
                   });
    }
  }
  out += "# EOF\n";
  flush(0);
}

}  // namespace fadeward::publish
