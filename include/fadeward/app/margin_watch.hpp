// Margins of one link while it is being proved: what its other ports report, judged as the daemon
// would.
#pragma once

#include <array>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include <boost/asio/io_context.hpp>

#include "fadeward/app/clock.hpp"
#include "fadeward/app/port_feed.hpp"
#include "fadeward/base/settings.hpp"
#include "fadeward/judge/supervisor.hpp"
#include "fadeward/prove/verdict.hpp"

namespace fadeward::app {

/// Lives on the thread of the io_context.
class MarginWatch {
 public:
  /// Watches the configured ports but `proved`; `settings` must hold `link`.
  static Result<std::unique_ptr<MarginWatch>> make(boost::asio::io_context& io,
                                                   const Settings& settings,
                                                   const std::string& link,
                                                   const PortSettings& proved);
  void start();
  void stop();
  /// Once a second or more often.
  void tick();
  /// Begins anew: margins then belong to what comes from now on.
  void begin_anew();

  prove::MeasuredMargins margins() const;
  /// For aiming, asked each second: of the last ten seconds or so. Begins anew every ten, and until
  /// it has something the value before stands.
  using MarginsDb = std::array<std::optional<double>, kDirections>;
  MarginsDb recent_margins_db();
  /// Where `margins` are from, or why there are none: one sentence.
  std::string note(const prove::MeasuredMargins& margins) const;

 private:
  MarginWatch(const Settings& settings, LinkIndex link);

  Clock clock_;
  const Settings settings_;
  const LinkIndex link_;
  judge::Supervisor supervisor_;
  std::vector<std::unique_ptr<PortFeed>> feeds_;
  Duration ticked_{};
  Duration begun_{};
  MarginsDb recent_db_;
  std::array<Duration, kDirections> recent_at_{};
};

}  // namespace fadeward::app
