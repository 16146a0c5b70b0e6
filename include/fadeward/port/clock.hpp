// The one place where ports look at the time.
#pragma once

#include "fadeward/base/time.hpp"

namespace fadeward::port {

/// Both clocks of the system. Read once per wake-up and passed on, so that everything that a
/// wake-up brings carries the same moment. Callable from any thread.
Instant read_clocks();

}  // namespace fadeward::port
