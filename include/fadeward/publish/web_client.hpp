// POST to one server, one request at a time, on somebody else's loop.
#pragma once

#include <boost/asio/io_context.hpp>
#include <chrono>
#include <cstddef>
#include <functional>
#include <memory>
#include <string>

#include "fadeward/base/settings.hpp"
#include "fadeward/publish/push_answer.hpp"

namespace fadeward::publish {

/// How long each phase may take, whatever trickles in meanwhile. Tests shorten them.
struct WebLimits {
  Duration resolve = std::chrono::seconds(10);
  Duration connect = std::chrono::seconds(10);  ///< for each address of the host, at most 3 of them
  Duration handshake = std::chrono::seconds(10);
  Duration write = std::chrono::seconds(30);
  Duration read = std::chrono::seconds(30);  ///< from the last byte sent to the last byte read
  Duration keep = std::chrono::seconds(90);  ///< an idle connection; then a new one
  std::size_t header_bytes = 8 * 1024;
  std::size_t body_bytes = 64 * 1024;  ///< of the answer
};

struct WebRequest {
  std::string path;  ///< behind that of the target's address
  std::string content_type;
  std::string content_encoding;  ///< empty: none
  std::string more_headers;      ///< complete lines with their ends
  std::string body;
};

/// Plain or TLS 1.2 and later; the server's name and certificate are checked. The password is read
/// from its file for each request and forgotten. A connection is kept for the next request; one
/// that the server has closed meanwhile is replaced without an error. Redirects are answers like
/// any other: nothing is sent elsewhere. What goes wrong is told in words without secrets.
///
/// Once the header of the answer is here its status counts, whatever happens to its body.
class WebClient {
 public:
  using Done = std::function<void(WebAnswer)>;

  /// `io` outlives the client, or at least runs no more once the client is gone. An address that
  /// cannot be read answers every request with trouble.
  WebClient(boost::asio::io_context& io, WebTarget target, WebLimits limits = {});
  /// Nothing is called any more.
  ~WebClient();
  WebClient(const WebClient&) = delete;
  WebClient& operator=(const WebClient&) = delete;

  /// Calls `done` from the loop, never from within. Not while busy().
  void post(WebRequest request, Done done);
  bool busy() const;
  /// The address without query, as in WebAddress.
  const std::string& label() const;

 private:
  struct State;
  std::shared_ptr<State> state_;
};

}  // namespace fadeward::publish
