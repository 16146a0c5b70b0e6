// The web-config file: what is read, and what is refused without showing a secret.
#include "fadeward/config/web_config.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "fadeward/config/parse.hpp"

namespace fadeward::config::web_config_test {
namespace {

using ::testing::HasSubstr;
using ::testing::Not;

constexpr const char* kHash = "$2a$05$CCCCCCCCCCCCCCCCCCCCC.E5YPO9kmyuRGyh0XouQYb4YMJKvyOeW";

WebConfig good(const std::string& text) {
  auto parsed = parse_web_config(text, "/etc/fadeward/web.yaml");
  EXPECT_TRUE(parsed) << (parsed ? "" : parsed.error().message);
  return parsed ? std::move(parsed).value() : WebConfig{};
}
std::string bad(const std::string& text) {
  const auto parsed = parse_web_config(text, "/etc/fadeward/web.yaml");
  return parsed ? "accepted" : parsed.error().message;
}

// The example of the format's description (exporter-toolkit, docs/web-configuration.md), values
// filled in.
TEST(WebConfig, ReadsEveryKey) {
  const WebConfig config = good(
      "tls_server_config:\n  cert_file: server.crt\n  key_file: /keys/server.key\n"
      "  client_auth_type: RequireAndVerifyClientCert\n  client_ca_file: ca.crt\n"
      "  client_allowed_sans: [ a.example ]\n  min_version: TLS12\n  max_version: TLS13\n"
      "  cipher_suites: [ TLS_ECDHE_RSA_WITH_AES_128_GCM_SHA256 ]\n"
      "  prefer_server_cipher_suites: false\n  curve_preferences: [ CurveP256, X25519 ]\n"
      "http_server_config:\n  http2: false\n  headers:\n    X-Frame-Options: deny\n"
      "basic_auth_users:\n  ann: " +
      std::string(kHash) + "\n");
  ASSERT_TRUE(config.tls);
  EXPECT_EQ(config.tls->cert_file, "/etc/fadeward/server.crt");
  EXPECT_EQ(config.tls->key_file, "/keys/server.key");
  EXPECT_EQ(config.tls->client_auth, ClientAuth::require);
  EXPECT_EQ(config.tls->client_ca_file, "/etc/fadeward/ca.crt");
  EXPECT_EQ(config.tls->client_allowed_sans, std::vector<std::string>{"a.example"});
  EXPECT_EQ(config.tls->curves, (std::vector<std::string>{"P-256", "X25519"}));
  EXPECT_FALSE(config.tls->prefer_server_cipher_suites);
  EXPECT_FALSE(config.http2);
  EXPECT_EQ(config.headers.at("X-Frame-Options"), "deny");
  EXPECT_EQ(config.users.at("ann"), kHash);
  EXPECT_THAT(describe(config), HasSubstr("passwords for ann"));
  EXPECT_THAT(describe(config), Not(HasSubstr("$2a$")));
}

TEST(WebConfig, AnEmptyFileProtectsNothing) {
  const WebConfig config = good("");
  EXPECT_FALSE(config.tls);
  EXPECT_TRUE(config.users.empty());
  EXPECT_EQ(describe(config), "no TLS, no passwords");
}

TEST(WebConfig, RefusesWithPlaceAndReason) {
  const std::pair<const char*, const char*> cases[] = {
      {"tls_server_config: { cert_file: a, key_file: b, bogus: 1 }\n",
       "web.yaml:1:49: tls_server_config.bogus: unknown key"},
      {"tls_server_config: { cert_file: a }\n", "one of key and key_file is missing"},
      {"tls_server_config: { key_file: a }\n", "one of cert and cert_file is missing"},
      {"tls_server_config: { cert_file: a, key_file: b, client_auth_type: Sometimes }\n",
       "Sometimes is not allowed: one of NoClientCert"},
      {"tls_server_config: { cert_file: a, key_file: b, client_auth_type: "
       "RequireAndVerifyClientCert "
       "}\n",
       "one of client_ca and client_ca_file is missing"},
      {"tls_server_config: { cert_file: a, key_file: b, client_ca_file: c }\n", "checks nothing"},
      {"tls_server_config: { cert_file: a, key_file: b, min_version: TLS13, max_version: TLS12 }\n",
       "is lower than min_version"},
      {"http_server_config: { headers: { Server: x } }\n", "unknown key"},
      {"basic_auth_users: { 'a:b': x }\n", "has no colon"},
      {"basic_auth_users: [ ann ]\n", "a map of user names"},
      {"listen: 1\n", "unknown key"},
      {"tls_server_config: [\n", "web.yaml:"},
  };
  for (const auto& [text, words] : cases) EXPECT_THAT(bad(text), HasSubstr(words)) << text;
}

// The reader of files stops there: behind it might stand the passwords.
TEST(WebConfig, RefusesWhatIsCutOff) {
  const std::string text = "#" + std::string(kMaxFileBytes - 1, 'x');
  EXPECT_TRUE(parse_web_config(text, "web.yaml"));
  const auto parsed = parse_web_config(text + "\n", "web.yaml");
  ASSERT_FALSE(parsed);
  EXPECT_NE(parsed.error().message.find("larger"), std::string::npos);
}

TEST(WebConfig, ShowsNoSecret) {
  EXPECT_THAT(bad("basic_auth_users: { ann: hunter2 }\n"),
              ::testing::AllOf(HasSubstr("bcrypt"), Not(HasSubstr("hunter2"))));
  EXPECT_THAT(bad("tls_server_config: { cert_file: a, key: hunter2 }\n"),
              ::testing::AllOf(HasSubstr("PEM"), Not(HasSubstr("hunter2"))));
}

}  // namespace
}  // namespace fadeward::config::web_config_test
