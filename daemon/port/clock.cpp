#include "fadeward/port/clock.hpp"

namespace fadeward::port {

Instant read_clocks() {
  using std::chrono::duration_cast;
  using std::chrono::floor;
  return {floor<Duration>(std::chrono::system_clock::now()),
          duration_cast<Duration>(std::chrono::steady_clock::now().time_since_epoch())};
}

}  // namespace fadeward::port
