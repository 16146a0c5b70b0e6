#include "fadeward/config/web_config.hpp"

#include <algorithm>
#include <array>
#include <filesystem>

#include "fadeward/base/text.hpp"
#include "file.hpp"
#include "scalar.hpp"

namespace fadeward::config {
namespace {

/// Text that may be a secret: a message never shows it.
Reader<std::string> secret(std::string allowed, bool (*fits)(std::string_view)) {
  return
      [allowed = std::move(allowed), fits](Reading& reading, const Node& node, std::string& out) {
        if (node.kind != Node::Kind::text || !fits(node.text)) {
          reading.complain(node.place, "not allowed: " + allowed);
          return false;
        }
        out = node.text;
        return true;
      };
}

bool is_pem(std::string_view text) {
  return text.size() <= kMaxFileBytes && text.find("-----BEGIN ") != std::string_view::npos;
}

/// $2a$, $2b$ or $2y$, two digits of cost, 22 characters of salt and 31 of hash.
bool is_bcrypt(std::string_view text) {
  constexpr std::string_view kAlphabet =
      "./ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789";
  const auto digit = [](char c) { return c >= '0' && c <= '9'; };
  return text.size() == 60 && text.substr(0, 2) == "$2" &&
         std::string_view("aby").find(text[2]) != std::string_view::npos && text[3] == '$' &&
         digit(text[4]) && digit(text[5]) && text[6] == '$' &&
         text.find_first_not_of(kAlphabet, 7) == std::string_view::npos;
}

Reader<std::string> pem() { return secret("PEM text that begins with -----BEGIN", is_pem); }

Reader<std::vector<std::string>> words(std::string allowed) {
  return list_of<std::string>(text(256), std::move(allowed), 100);
}

Reader<std::string> curve() {
  return word_of<std::string>({{"CurveP256", "P-256"},
                               {"CurveP384", "P-384"},
                               {"CurveP521", "P-521"},
                               {"X25519", "X25519"}});
}

Reader<TlsVersion> tls_version() {
  return word_of<TlsVersion>({{"TLS10", TlsVersion::tls10},
                              {"TLS11", TlsVersion::tls11},
                              {"TLS12", TlsVersion::tls12},
                              {"TLS13", TlsVersion::tls13}});
}

bool wants_verified(ClientAuth auth) {
  return auth == ClientAuth::verify_if_given || auth == ClientAuth::require;
}

void check_tls(Reading& reading, const Node& map, TlsServerConfig& tls) {
  const auto one_of_two = [&](const std::string& file, const std::string& inlined,
                              std::string_view key, bool needed) {
    const std::string both = std::string(key) + " and " + std::string(key) + "_file";
    if (!file.empty() && !inlined.empty())
      reading.complain_at(map, key, both + " exclude each other");
    else if (needed && file.empty() && inlined.empty())
      reading.complain(map.place, "one of " + both + " is missing");
  };
  one_of_two(tls.cert_file, tls.cert, "cert", true);
  one_of_two(tls.key_file, tls.key, "key", true);
  one_of_two(tls.client_ca_file, tls.client_ca, "client_ca", wants_verified(tls.client_auth));
  const bool has_ca = !tls.client_ca_file.empty() || !tls.client_ca.empty();
  if (has_ca && !wants_verified(tls.client_auth))
    reading.complain(map.place,
                     "a client CA without client_auth_type VerifyClientCertIfGiven or "
                     "RequireAndVerifyClientCert checks nothing");
  if (!tls.client_allowed_sans.empty() && tls.client_auth != ClientAuth::require)
    reading.complain_at(map, "client_allowed_sans",
                        "needs client_auth_type: RequireAndVerifyClientCert");
  if (tls.max_version < tls.min_version)
    reading.complain_at(map, "max_version", "is lower than min_version");
}

const Section<TlsServerConfig>& tls_section() {
  using T = TlsServerConfig;
  static const Section<T> section(
      {
          key<T>("cert_file", &T::cert_file, file_path()),
          key<T>("key_file", &T::key_file, file_path()),
          key<T>("cert", &T::cert, pem()),
          key<T>("key", &T::key, pem()),
          key<T>("client_auth_type", &T::client_auth,
                 word_of<ClientAuth>({{"NoClientCert", ClientAuth::none},
                                      {"RequestClientCert", ClientAuth::request},
                                      {"RequireAnyClientCert", ClientAuth::require_any},
                                      {"VerifyClientCertIfGiven", ClientAuth::verify_if_given},
                                      {"RequireAndVerifyClientCert", ClientAuth::require}})),
          key<T>("client_ca_file", &T::client_ca_file, file_path()),
          key<T>("client_ca", &T::client_ca, pem()),
          key<T>("client_allowed_sans", &T::client_allowed_sans,
                 words("a list of at most 100 names, addresses or URIs")),
          key<T>("min_version", &T::min_version, tls_version()),
          key<T>("max_version", &T::max_version, tls_version()),
          key<T>("cipher_suites", &T::cipher_suites, words("a list of at most 100 IANA names")),
          key<T>("prefer_server_cipher_suites", &T::prefer_server_cipher_suites, flag()),
          key<T>("curve_preferences", &T::curves,
                 list_of<std::string>(curve(), "a list of curves", 10)),
      },
      check_tls);
  return section;
}

/// Those that the format allows; values must not break out of their line.
bool read_headers(Reading& reading, const Node& node, std::map<std::string, std::string>& out) {
  static constexpr std::array<std::string_view, 5> kKnown = {
      "Content-Security-Policy", "X-Frame-Options", "X-Content-Type-Options", "X-XSS-Protection",
      "Strict-Transport-Security"};
  const std::vector<std::string_view> known(kKnown.begin(), kKnown.end());
  if (node.kind != Node::Kind::map && node.kind != Node::Kind::nothing) {
    reading.refuse(node, "a map with keys out of: " + listed(known));
    return false;
  }
  for_each_entry(reading, node, [&](const Entry& entry) {
    Reading::Step step(reading, entry.key);
    std::string value;
    if (std::ranges::find(known, entry.key) == known.end())
      complain_unknown(reading, entry.place, entry.key, known);
    else if (line(1024)(reading, *entry.value, value))
      out[entry.key] = value;
  });
  return true;
}

bool read_users(Reading& reading, const Node& node, std::map<std::string, std::string>& out) {
  if (node.kind != Node::Kind::map && node.kind != Node::Kind::nothing) {
    reading.complain(node.place, "not allowed: a map of user names and bcrypt hashes");
    return false;
  }
  for_each_entry(reading, node, [&](const Entry& entry) {
    Reading::Step step(reading, entry.key);
    if (entry.key.empty() || entry.key.find(':') != std::string::npos)  // RFC 7617 section 2
      reading.complain(entry.place, "a user name is not empty and has no colon");
    else
      secret("a bcrypt hash (htpasswd -nBC 10 NAME writes one)", is_bcrypt)(reading, *entry.value,
                                                                            out[entry.key]);
  });
  return true;
}

struct ServerPart {
  bool http2 = true;
  std::map<std::string, std::string> headers;
};

const Section<WebConfig>& web_section() {
  using Texts = std::map<std::string, std::string>;
  static const Section<ServerPart> server({
      key<ServerPart>("http2", &ServerPart::http2, flag()),
      key<ServerPart>("headers", &ServerPart::headers, Reader<Texts>(read_headers)),
  });
  static const Section<WebConfig> section({
      key<WebConfig>("tls_server_config", &WebConfig::tls, Reader<TlsServerConfig>(tls_section())),
      {"http_server_config",
       [](Reading& reading, const Node& node, WebConfig& out) {
         ServerPart part;
         const bool good = server(reading, node, part);
         out.http2 = part.http2;
         out.headers = std::move(part.headers);
         return good;
       }},
      key<WebConfig>("basic_auth_users", &WebConfig::users, Reader<Texts>(read_users)),
  });
  return section;
}

}  // namespace

Result<WebConfig> parse_web_config(std::string_view yaml_text, std::string_view file_name) {
  static const Vocabulary none;
  const auto tree = read_document(yaml_text, file_name);
  if (!tree) return tree.error();
  const Node& root = **tree;
  Reading reading(root, file_name, none);
  WebConfig out;
  web_section()(reading, root, out);
  if (!reading.complaints.empty()) return Error{reading.complaints.text(file_name, yaml_text)};
  return out;
}

Result<WebConfig> load_web_config(const std::string& path) {
  std::error_code failed;  // a pipe would hold up the server when it is looked at anew
  if (const auto kind = std::filesystem::status(path, failed).type();
      kind != std::filesystem::file_type::regular && kind != std::filesystem::file_type::not_found)
    return Error{printable(path) + ": not a regular file"};
  const auto text = read_file(path);
  if (!text) return text.error();
  return parse_web_config(*text, path);
}

namespace {

std::string_view words_of(ClientAuth auth) {
  switch (auth) {
    case ClientAuth::none: return "none asked of clients";
    case ClientAuth::request: return "asked of clients, not checked";
    case ClientAuth::require_any: return "needed of clients, not checked";
    case ClientAuth::verify_if_given: return "of clients checked where they show one";
    case ClientAuth::require: return "needed of clients";
  }
  return "";
}

}  // namespace

std::string describe(const WebConfig& config) {
  std::string out = config.tls ? "TLS, certificate " : "no TLS";
  if (config.tls) {
    const TlsServerConfig& tls = *config.tls;
    out += tls.cert_file.empty() ? "in the file itself" : printable(tls.cert_file);
    out += ", certificates ";
    out += words_of(tls.client_auth);
  }
  if (config.users.empty()) return out + ", no passwords";
  out += ", passwords for ";
  bool first = true;
  for (const auto& [user, hash] : config.users) {
    out += (first ? "" : " and ") + printable(user, 60);
    first = false;
  }
  return out;
}

}  // namespace fadeward::config
