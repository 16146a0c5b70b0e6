// What a server's answer to a push means for what was pushed.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "fadeward/base/time.hpp"

namespace fadeward::publish {

/// What came of one request.
struct WebAnswer {
  unsigned status = 0;      ///< HTTP status; 0: there was no answer
  std::string body;         ///< its beginning, for messages
  std::string retry_after;  ///< the header as it came
  std::string trouble;      ///< status 0: why, in words without secrets
};

enum class PushOutcome : std::uint8_t {
  accepted,   ///< 2xx
  poison,     ///< 400, 409, 422, 500 "too old sample": something in it can never be taken; the rest
              ///< may be
  too_large,  ///< 413
  later,      ///< no answer, 408, 425, 429, 5xx: the same again after a while
  refused,    ///< any other: nothing of this kind is taken from us now (redirects too)
};

PushOutcome outcome_of(const WebAnswer& answer);

/// Retry-After (RFC 9110 section 10.2.3): seconds, or a date of the kind "Sun, 06 Nov 1994 08:49:37
/// GMT" against `now`. Between zero and an hour whatever the server says; empty where it says
/// nothing that can be read.
std::optional<Duration> retry_after(std::string_view header, Time now);

/// Whether a server refuses samples for their time alone: out of order, too old, or another value
/// at a time that it has already. Known by the words that remote-write receivers use in their 400.
bool blames_time(std::string_view body);

/// For logs: status, or the trouble, and the first line of what the server said, printable.
std::string describe(const WebAnswer& answer);

}  // namespace fadeward::publish
