// How the HTTP server is to be protected: the content of a web-config file.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

namespace fadeward {

/// Whether a client shows a certificate and whether it must be signed by the client CA.
enum class ClientAuth : std::uint8_t { none, request, require_any, verify_if_given, require };

enum class TlsVersion : std::uint8_t { tls10, tls11, tls12, tls13 };

struct TlsServerConfig {
  std::string cert_file, key_file;  ///< absolute, or relative to the working directory
  std::string cert, key;            ///< PEM, instead of the files
  ClientAuth client_auth = ClientAuth::none;
  std::string client_ca_file;
  std::string client_ca;                         ///< PEM, instead of the file
  std::vector<std::string> client_allowed_sans;  ///< one of them must be in it; empty: any
  TlsVersion min_version = TlsVersion::tls12;
  TlsVersion max_version = TlsVersion::tls13;
  std::vector<std::string> cipher_suites;  ///< IANA names, of TLS 1.2 and before; empty: OpenSSL's
  bool prefer_server_cipher_suites = true;
  std::vector<std::string> curves;  ///< OpenSSL names; empty: OpenSSL's
};

struct WebConfig {
  std::optional<TlsServerConfig> tls;         ///< empty: plain HTTP
  bool http2 = true;                          ///< read, not used: HTTP/1.1 is what is spoken
  std::map<std::string, std::string> headers; ///< onto every answer
  std::map<std::string, std::string> users;   ///< name -> bcrypt hash; empty: no password is asked
};

}  // namespace fadeward
