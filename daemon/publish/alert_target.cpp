#include "alert_target.hpp"

#include <functional>

namespace fadeward::publish {

namespace {

constexpr const char* kRefused = "refused";  ///< the server understood and would not have it
constexpr const char* kExpired =
    "expired";  ///< over and forgotten before the server could be reached

}  // namespace

AlertTarget::AlertTarget(boost::asio::io_context& io, const AlertmanagerTarget& settings,
                         const WebLimits& limits, const PushOutside& outside, PushLedger& ledger)
    : settings_(settings),
      outside_(outside),
      ledger_(ledger),
      client_(io, settings, limits),
      schedule_(static_cast<std::uint32_t>(std::hash<std::string>{}(settings.url))),
      trouble_("push of alerts to " + client_.label(), outside.log) {
  ledger_.open(label(), {kRefused, kExpired});
}

void AlertTarget::turn(const AlertRoll& roll) {
  std::uint64_t expired = 0;
  for (const std::uint64_t version : roll.forgotten()) expired += version > schedule_.told();
  ledger_.drop(label(), kExpired, expired);
  if (client_.busy() || !schedule_.due(outside_.now().steady, roll.version(), roll.empty())) return;
  WebRequest request;
  request.path = "/api/v2/alerts";
  request.content_type = "application/json";
  request.body = roll.body();
  const std::size_t news = roll.changed_since(schedule_.told());
  schedule_.sent(roll.version());
  client_.post(std::move(request), [this, alerts = roll.size(), news](const WebAnswer& answer) {
    answered(answer, alerts, news);
  });
}

void AlertTarget::answered(const WebAnswer& answer, std::size_t alerts, std::size_t news) {
  const Instant now = outside_.now();
  const PushOutcome outcome = schedule_.answered(answer, now.steady, now.wall);
  PushTally& tally = ledger_.tally(label());
  ++tally.requests;
  if (outcome == PushOutcome::accepted) {
    tally.sent += alerts;
    tally.last_success = now.wall;
    trouble_.succeeded();
    return;
  }
  ++tally.failures;
  if (outcome == PushOutcome::poison) ledger_.drop(label(), kRefused, news);
  trouble_.failed(describe(answer));
}

}  // namespace fadeward::publish
