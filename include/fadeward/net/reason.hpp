// Error numbers of the system in words for the person at the console.
#pragma once

#include <string>

namespace fadeward::net {

/// "permission denied", "connection refused", ...; no capital, no full stop.
std::string reason_for_errno(int error);

/// The same for the result of getaddrinfo(3); `error` is errno where that result is EAI_SYSTEM.
std::string reason_for_lookup(int result, int error);

}  // namespace fadeward::net
