// One Alertmanager: its connection, its schedule and its counts.
#pragma once

#include <string>

#include "fadeward/publish/alert_roll.hpp"
#include "fadeward/publish/alert_schedule.hpp"
#include "fadeward/publish/pusher.hpp"
#include "fadeward/publish/web_client.hpp"
#include "push_ledger.hpp"
#include "trouble_log.hpp"

namespace fadeward::publish {

/// One thread. What it is given outlives it.
class AlertTarget {
 public:
  AlertTarget(boost::asio::io_context& io, const AlertmanagerTarget& settings,
              const WebLimits& limits, const PushOutside& outside, PushLedger& ledger);

  /// Sends if it is time. `roll` has looked at the newest snapshot.
  void turn(const AlertRoll& roll);

  const AlertmanagerTarget& settings() const { return settings_; }
  const std::string& label() const { return client_.label(); }

 private:
  void answered(const WebAnswer& answer, std::size_t alerts, std::size_t news);

  const AlertmanagerTarget settings_;
  const PushOutside& outside_;
  PushLedger& ledger_;
  WebClient client_;
  AlertSchedule schedule_;
  TroubleLog trouble_;
};

}  // namespace fadeward::publish
