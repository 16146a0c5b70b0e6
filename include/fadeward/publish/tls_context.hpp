// The TLS side of the HTTP server: OpenSSL's settings from a web configuration.
#pragma once

#include <memory>

#include "fadeward/base/result.hpp"
#include "fadeward/base/web_config.hpp"

namespace boost::asio::ssl {
class context;
}

namespace fadeward::publish {

/// Reads the files that it names. The error says which of them and why, never what is in them.
/// Sessions are not resumed: each connection shows its certificates anew.
Result<std::shared_ptr<boost::asio::ssl::context>> make_tls_context(const TlsServerConfig& config);

}  // namespace fadeward::publish
