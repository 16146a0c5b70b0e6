#include "fadeward/publish/history_export.hpp"

#include <algorithm>

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

void append_head(std::string& out, const history::Quantity& quantity) {
  const Family family{quantity.family, quantity.counts ? MetricKind::counter : MetricKind::gauge,
                      "", quantity.meaning};
  const std::string name(openmetrics_name(family));
  out += "# TYPE " + name + (quantity.counts ? " counter\n" : " gauge\n");
  if (const auto unit = unit_of(name); !unit.empty())
    out += "# UNIT " + name + " " + std::string(unit) + "\n";
  out += "# HELP " + name + " ";
  append_help(out, quantity.meaning, true);
  out += '\n';
}

}  // namespace

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
    append_head(out, quantity);
    for (const std::string& link : what.links)
      for (const Direction direction : {Direction::inbound, Direction::outbound}) {
        if (!going) return;
        std::string series(quantity.family);
        series += "{link=\"";
        append_label_value(series, link);
        series += "\",direction=\"" + std::string(name_of(direction)) + "\"} ";
        double sum = 0;
        reader.bins(link, direction, what.from, what.to, [&](const history::Summary& bin) {
          if (bin.empty() || !going) return;
          auto value = quantity.value(bin);
          if (!value) return;
          if (quantity.counts) *value = sum += *value;
          out += series;
          append_rounded(out, *value, 6);
          out += ' ';
          append_rounded(out, to_unix_seconds(bin.start + bin.span), 3);
          out += '\n';
          flush(kPiece);
        });
      }
  }
  out += "# EOF\n";
  flush(0);
}

}  // namespace fadeward::publish
