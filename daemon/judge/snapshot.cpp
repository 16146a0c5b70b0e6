#include "fadeward/judge/snapshot.hpp"

namespace fadeward::judge {

AlertScope scope_of(AlertName alert) {
  switch (alert) {
    case AlertName::MarginLow:
    case AlertName::MarginForecastLow:
    case AlertName::BudgetDeficit:
    case AlertName::LossHigh: return AlertScope::direction;
    case AlertName::PortFault: return AlertScope::port;
    default: return AlertScope::link;
  }
}

}  // namespace fadeward::judge
