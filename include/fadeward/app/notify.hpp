// Tells the service manager how the daemon is, if one asked to know.
#pragma once

#include <string_view>

#include "fadeward/base/time.hpp"

namespace fadeward::app {

/// Sends one datagram to $NOTIFY_SOCKET ("READY=1", "STOPPING=1", "WATCHDOG=1"), the documented
/// protocol of the service manager. Without the variable, or on any error, it does nothing.
void notify_service_manager(std::string_view message);

/// Half of $WATCHDOG_USEC; zero if no watchdog was asked for.
Duration watchdog_interval();

}  // namespace fadeward::app
