// Host names to addresses, without ever holding up the loop or its end.
#pragma once

#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/address.hpp>
#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "fadeward/base/result.hpp"

namespace fadeward::net {

/// getaddrinfo(3) can take half a minute and cannot be called off, so it runs on a thread of its
/// own that nobody waits for. While it still runs, no second one is begun: a dead name server costs
/// one thread per port, not one per attempt.
class Lookup {
 public:
  using Addresses = std::vector<boost::asio::ip::address>;  ///< at least one, at most 8
  using Done = std::function<void(Result<Addresses>)>;

  Lookup() = default;
  Lookup(const Lookup&) = delete;
  Lookup& operator=(const Lookup&) = delete;
  ~Lookup() { cancel(); }

  /// Calls `done` from the loop, unless cancelled before; never from within this call.
  void start(boost::asio::io_context& io, const std::string& host, Done done);

  /// `done` of the last start will not be called, and what it holds is let go. Safe at any time.
  void cancel();

 private:
  struct Query;
  std::shared_ptr<Query> query_;
};

/// "host:port", an IPv6 address in brackets.
std::string endpoint_name(const std::string& host, std::uint16_t port);

}  // namespace fadeward::net
