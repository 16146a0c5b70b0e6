#include "fadeward/publish/tls_context.hpp"

#include <arpa/inet.h>
#include <openssl/err.h>
#include <openssl/ssl.h>
#include <openssl/x509v3.h>

#include <algorithm>
#include <array>
#include <boost/asio/buffer.hpp>
#include <boost/asio/ssl/context.hpp>
#include <boost/asio/ssl/verify_context.hpp>
#include <string>
#include <string_view>
#include <vector>

#include "fadeward/base/text.hpp"

namespace fadeward::publish {

namespace ssl = boost::asio::ssl;
using boost::system::error_code;

namespace {

struct Free {
  void operator()(GENERAL_NAMES* names) const { GENERAL_NAMES_free(names); }
  void operator()(BIO* bio) const { BIO_free(bio); }
  void operator()(X509* certificate) const { X509_free(certificate); }
};

Error about(const std::string& what, const error_code& error) {
  return {what + ": " + error.message()};
}

int version_of(TlsVersion version) {
  switch (version) {
    case TlsVersion::tls10: return TLS1_VERSION;
    case TlsVersion::tls11: return TLS1_1_VERSION;
    case TlsVersion::tls12: return TLS1_2_VERSION;
    case TlsVersion::tls13: return TLS1_3_VERSION;
  }
  return TLS1_2_VERSION;
}

Status use_certificate(ssl::context& context, const TlsServerConfig& config) {
  error_code error;
  // A key under a passphrase is refused: nobody is there to be asked for it.
  context.set_password_callback(
      [](std::size_t, ssl::context::password_purpose) { return std::string(); }, error);
  const std::string cert_name =
      config.cert_file.empty() ? "cert" : "cert_file " + printable(config.cert_file);
  if (config.cert_file.empty())
    context.use_certificate_chain(boost::asio::buffer(config.cert), error);
  else
    context.use_certificate_chain_file(config.cert_file, error);
  if (error) return about(cert_name, error);
  const std::string key_name =
      config.key_file.empty() ? "key" : "key_file " + printable(config.key_file);
  if (config.key_file.empty())
    context.use_private_key(boost::asio::buffer(config.key), ssl::context::pem, error);
  else
    context.use_private_key_file(config.key_file, ssl::context::pem, error);
  if (error) return about(key_name, error);
  if (SSL_CTX_check_private_key(context.native_handle()) != 1)
    return Error{key_name + " does not belong to " + cert_name};
  return success();
}

/// Names that a client may choose its certificate by.
void announce_authorities(SSL_CTX* context, const TlsServerConfig& config) {
  if (!config.client_ca_file.empty()) {
    SSL_CTX_set_client_CA_list(context, SSL_load_client_CA_file(config.client_ca_file.c_str()));
    return;
  }
  const std::unique_ptr<BIO, Free> bio(
      BIO_new_mem_buf(config.client_ca.data(), static_cast<int>(config.client_ca.size())));
  for (int i = 0; bio && i < 100; ++i) {
    const std::unique_ptr<X509, Free> one(PEM_read_bio_X509(bio.get(), nullptr, nullptr, nullptr));
    if (!one) break;
    SSL_CTX_add_client_CA(context, one.get());
  }
  ERR_clear_error();
}

std::string text_of(const GENERAL_NAME& name) {
  const auto string = [](const ASN1_STRING* text) {
    return std::string(reinterpret_cast<const char*>(ASN1_STRING_get0_data(text)),
                       static_cast<std::size_t>(ASN1_STRING_length(text)));
  };
  switch (name.type) {
    case GEN_DNS: return string(name.d.dNSName);
    case GEN_EMAIL: return string(name.d.rfc822Name);
    case GEN_URI: return string(name.d.uniformResourceIdentifier);
    case GEN_IPADD: {
      const std::string bytes = string(name.d.iPAddress);
      std::array<char, INET6_ADDRSTRLEN> out{};
      const int family = bytes.size() == 4 ? AF_INET : bytes.size() == 16 ? AF_INET6 : -1;
      if (family < 0 || inet_ntop(family, bytes.data(), out.data(), out.size()) == nullptr)
        return {};
      return out.data();
    }
    default: return {};
  }
}

/// Subject alternative names: RFC 5280 section 4.2.1.6.
bool has_one_of(X509* certificate, const std::vector<std::string>& allowed) {
  if (certificate == nullptr) return false;
  const std::unique_ptr<GENERAL_NAMES, Free> names(static_cast<GENERAL_NAMES*>(
      X509_get_ext_d2i(certificate, NID_subject_alt_name, nullptr, nullptr)));
  if (!names) return false;
  for (int i = 0; i < sk_GENERAL_NAME_num(names.get()); ++i) {
    const std::string name = text_of(*sk_GENERAL_NAME_value(names.get(), i));
    if (!name.empty() && std::ranges::find(allowed, name) != allowed.end()) return true;
  }
  return false;
}

Status ask_clients(ssl::context& context, const TlsServerConfig& config) {
  error_code error;
  const ClientAuth auth = config.client_auth;
  if (auth == ClientAuth::none) return success();
  const bool needed = auth == ClientAuth::require || auth == ClientAuth::require_any;
  context.set_verify_mode(ssl::verify_peer |
                          (needed ? ssl::verify_fail_if_no_peer_cert : ssl::verify_none));
  if (auth == ClientAuth::request || auth == ClientAuth::require_any) {
    context.set_verify_callback([](bool, ssl::verify_context&) { return true; });
    return success();
  }
  if (!config.client_ca_file.empty())
    context.load_verify_file(config.client_ca_file, error);
  else
    context.add_certificate_authority(boost::asio::buffer(config.client_ca), error);
  if (error)
    return about(config.client_ca_file.empty()
                     ? "client_ca"
                     : "client_ca_file " + printable(config.client_ca_file),
                 error);
  announce_authorities(context.native_handle(), config);
  if (!config.client_allowed_sans.empty())
    context.set_verify_callback(
        [allowed = config.client_allowed_sans](bool good, ssl::verify_context& verified) {
          X509_STORE_CTX* store = verified.native_handle();
          if (!good || X509_STORE_CTX_get_error_depth(store) > 0) return good;
          return has_one_of(X509_STORE_CTX_get_current_cert(store), allowed);
        });
  return success();
}

Status choose_ciphers(SSL_CTX* context, const TlsServerConfig& config) {
  std::string ciphers;
  for (const std::string& suite : config.cipher_suites) {
    const std::string name = OPENSSL_cipher_name(suite.c_str());
    if (name == "(NONE)") return Error{"cipher_suites: " + printable(suite) + " is not known"};
    ciphers += (ciphers.empty() ? "" : ":") + name;
  }
  if (!ciphers.empty() && SSL_CTX_set_cipher_list(context, ciphers.c_str()) != 1)
    return Error{"cipher_suites: none of them can be used"};
  std::string curves;
  for (const std::string& curve : config.curves) curves += (curves.empty() ? "" : ":") + curve;
  if (!curves.empty() && SSL_CTX_set1_curves_list(context, curves.c_str()) != 1)
    return Error{"curve_preferences cannot be used"};
  return success();
}

}  // namespace

Result<std::shared_ptr<ssl::context>> make_tls_context(const TlsServerConfig& config) {
  auto context = std::make_shared<ssl::context>(ssl::context::tls_server);
  SSL_CTX* handle = context->native_handle();
  SSL_CTX_set_options(
      handle, SSL_OP_NO_COMPRESSION | SSL_OP_NO_RENEGOTIATION | SSL_OP_NO_TICKET |
                  (config.prefer_server_cipher_suites ? SSL_OP_CIPHER_SERVER_PREFERENCE : 0));
  SSL_CTX_set_session_cache_mode(handle, SSL_SESS_CACHE_OFF);
  if (SSL_CTX_set_min_proto_version(handle, version_of(config.min_version)) != 1 ||
      SSL_CTX_set_max_proto_version(handle, version_of(config.max_version)) != 1)
    return Error{"min_version and max_version cannot be used"};
  for (const Status& done : {choose_ciphers(handle, config), use_certificate(*context, config),
                             ask_clients(*context, config)})
    if (!done) return done.error();
  return context;
}

}  // namespace fadeward::publish
