// links, and the defaults that stand under each of them.
#include "scalar.hpp"
#include "sections.hpp"

namespace fadeward::config {
namespace {

template <class T>
void finish_period(Reading& reading, const Node& map, T& period) {
  const bool both = map.find("from") != nullptr && map.find("to") != nullptr;
  if (both && period.from != Time{} && period.to != Time{} && period.from >= period.to)
    reading.complain_at(
        map, "to",
        format_rfc3339(period.to) + " is not after from (" + format_rfc3339(period.from) + ")");
}

const Section<UpkeepPeriod>& upkeep_section() {
  using T = UpkeepPeriod;
  static const Section<T> section(
      {
          required(key<T>("from", &T::from, moment())),
          required(key<T>("to", &T::to, moment())),
          key<T>("note", &T::note, text(1024)),
      },
      finish_period<T>);
  return section;
}

const Section<BaselineSettings>& baseline_section() {
  using T = BaselineSettings;
  static const Section<T> section(
      {
          required(key<T>("from", &T::from, moment())),
          required(key<T>("to", &T::to, moment())),
      },
      finish_period<T>);
  return section;
}

bool read_baseline(Reading& reading, const Node& node, BaselineSettings& out) {
  if (node.kind == Node::Kind::text && node.text == "commissioning") {
    out = BaselineSettings{};
    return true;
  }
  if (node.kind != Node::Kind::map) {
    reading.refuse(node, "commissioning (the first 14 days) or a map { from, to } of two dates");
    return false;
  }
  out = BaselineSettings{};
  out.commissioning = false;
  return baseline_section()(reading, node, out);
}

const Section<MatchSettings>& match_section() {
  using T = MatchSettings;
  static const Section<T> section({
      key<T>("port", &T::port, name()),
      key<T>("link", &T::link, text(256)),
  });
  return section;
}

// A limit that every report would overstep cannot be meant.
void check_silent(Reading& reading, const Node& map, LinkSettings& link) {
  const auto& silent = link.alerts.silent;
  const bool said = map.find("expect") != nullptr || find(&map, {"alerts", "silent"}) != nullptr;
  if (!said || !silent || !link.expect || *silent > *link.expect) return;
  const std::string words = "silent (" + format_span(*silent) + ") must be longer than expect (" +
                            format_span(*link.expect) + ")";
  const Node* alerts = map.find("alerts");
  if (alerts == nullptr || alerts->find("silent") == nullptr) {
    reading.complain_at(map, "expect", words);
    return;
  }
  Reading::Step step(reading, "alerts");
  reading.complain_at(*alerts, "silent", words);
}

// What may stand in the defaults as well.
std::vector<Key<LinkSettings>> shared_keys() {
  using T = LinkSettings;
  return {
      key<T>("expect", &T::expect, span(10ms, 24h * 366)),
      key<T>("radio", &T::radio, Reader<RadioSettings>(radio_section())),
      key<T>("budget", &T::budget, Reader<BudgetSettings>(budget_section())),
      key<T>("rules", &T::rules, Reader<RuleSettings>(rule_section())),
      key<T>("alerts", &T::alerts, Reader<AlertSettings>(alert_section())),
      key<T>("baseline", &T::baseline, Reader<BaselineSettings>(read_baseline)),
      key<T>("upkeep", &T::upkeep,
             list_of<UpkeepPeriod>(upkeep_section(),
                                   "a list of at most 200 maps { from, to, note }", 200)),
      key<T>("site", &T::moving, word_of<bool>({{"fixed", false}, {"moving", true}})),
  };
}

std::vector<Key<LinkSettings>> link_keys() {
  using T = LinkSettings;
  std::vector<Key<T>> keys = {
      required(key<T>("name", &T::name, name())),
      key<T>("match", &T::match, Reader<MatchSettings>(match_section())),
  };
  for (auto& each : shared_keys()) keys.push_back(std::move(each));
  keys.push_back(key<T>("via", &T::via, name()));
  return keys;
}

}  // namespace

const Section<LinkSettings>& link_section() {
  static const Section<LinkSettings> section(link_keys(), check_silent);
  return section;
}

const Section<LinkSettings>& defaults_section() {
  static const Section<LinkSettings> section(shared_keys(), check_silent);
  return section;
}

}  // namespace fadeward::config
