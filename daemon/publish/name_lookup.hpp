// Host names to addresses without ever holding up the loop or its end.
#pragma once

#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/address.hpp>
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "fadeward/base/result.hpp"

namespace fadeward::publish {

/// getaddrinfo(3) can take half a minute and cannot be called off: it runs on a thread of its own
/// that nobody waits for. While one hangs no second one is begun, so a dead name server costs one
/// thread for each target, not one for each attempt.
class NameLookup {
 public:
  using Addresses = std::vector<boost::asio::ip::address>;   ///< at least one, at most 8
  using Done = std::function<void(Result<Addresses>)>;

  NameLookup() = default;
  NameLookup(const NameLookup&) = delete;
  NameLookup& operator=(const NameLookup&) = delete;
  ~NameLookup() { cancel(); }

  /// Calls `done` on the loop, unless cancelled before; never from within this call.
  void start(boost::asio::io_context& io, const std::string& host, Done done);
  /// `done` will not be called. From the loop's thread, or once the loop has ended.
  void cancel();

 private:
  struct Query;
  std::shared_ptr<Query> query_;
};

}  // namespace fadeward::publish
