// The HTTP server: a thread of its own that answers from the newest snapshot.
#pragma once

#include <chrono>
#include <cstddef>
#include <cstdint>
#include <memory>

#include "fadeward/base/result.hpp"
#include "fadeward/base/settings.hpp"
#include "fadeward/publish/site.hpp"

namespace fadeward::publish {

/// What one client may cost. The defaults are for the daemon; tests shorten them.
struct HttpLimits {
  std::uint32_t header_bytes = 8 * 1024;
  std::uint32_t body_bytes = 4 * 1024;
  std::size_t connections = 200;  ///< beyond: the oldest idle one goes, then the slowest to ask
  Duration request = std::chrono::seconds(10);    ///< from its first byte to its last
  Duration idle = std::chrono::seconds(60);       ///< between two requests
  Duration answer = std::chrono::seconds(30);     ///< for the client to take the whole answer
  Duration accept_retry = std::chrono::milliseconds(200);   ///< after a failed accept
  Duration stop = std::chrono::milliseconds(500);           ///< for answers under way in stop()
};

/// GET and HEAD as in site.hpp; HTTP/1.0 and 1.1 with keep-alive and pipelining. What breaks HTTP
/// or a limit is answered where possible (400, 413, 431), closed and counted.
class HttpServer {
 public:
  /// `box` must outlive the server. Nothing is opened yet.
  HttpServer(HttpSettings settings, const SnapshotBox& box, BuildInfo build, HttpHooks hooks = {},
             HttpLimits limits = {});

  /// Stops.
  ~HttpServer();
  HttpServer(const HttpServer&) = delete;
  HttpServer& operator=(const HttpServer&) = delete;

  /// Binds, listens and starts the thread (all signals blocked in it). The error names address and
  /// port and what is wrong with them. With `web_config` set it is read by HttpHooks::web_config; a
  /// file that cannot be used is an error: what was meant to be protected is not served in the
  /// clear.
  Status start();

  /// The port that is listened on; 0 before start().
  std::uint16_t port() const;
  /// It speaks TLS. False before start().
  bool is_secure() const;

  /// Closes the listener and idle connections, lets answers under way finish for a moment, joins
  /// the thread. Safe to call again, and before start(). Not from a hook.
  void stop();

 private:
  class Core;
  std::unique_ptr<Core> core_;
};

}  // namespace fadeward::publish
