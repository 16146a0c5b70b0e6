#include "fadeward/review/context.hpp"

#include <algorithm>

#include "fadeward/budget/link_budget.hpp"

namespace fadeward::review {

Periods configured_upkeep(const LinkSettings& link) {
  Periods out;
  for (const UpkeepPeriod& one : link.upkeep)
    out.push_back(
        {history::PeriodKind::upkeep, link.name, {}, one.from, one.to, {}, one.note});
  return out;
}

LinkContext context_of(const Settings& settings, std::string_view link) {
  LinkContext out;
  const auto at = std::ranges::find(settings.links, link, &LinkSettings::name);
  if (at == settings.links.end()) return out;
  out.warning_db = at->alerts.margin_db.warning;
  out.critical_db = at->alerts.margin_db.critical;
  out.upkeep = configured_upkeep(*at);
  const budget::LinkBudget budget = budget::compute(*at, nullptr);
  for (const Direction d : {Direction::inbound, Direction::outbound})
    out.budget_margin_db[static_cast<std::size_t>(d)] = budget.direction(d).margin_db.value;
  return out;
}

}  // namespace fadeward::review
