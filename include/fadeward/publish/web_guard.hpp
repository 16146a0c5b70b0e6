// What protects the HTTP server while it runs: TLS, passwords and headers of the web-config file,
// read again when the file, a certificate or a key changes.
#pragma once

#include <functional>
#include <memory>
#include <string>

#include "fadeward/base/result.hpp"
#include "fadeward/base/time.hpp"
#include "fadeward/base/web_config.hpp"
#include "fadeward/publish/password_desk.hpp"

namespace boost::asio::ssl {
class context;
}

namespace fadeward::publish {

/// One thread, but for the desk.
class WebGuard {
 public:
  using Load = std::function<Result<WebConfig>(const std::string& path)>;

  /// Reads the file and what it names.
  static Result<std::unique_ptr<WebGuard>> make(const std::string& path, Load load);

  enum class Refresh { same, renewed, failed };
  /// Looks at the files, at most once a second by `steady_now`. What cannot be used leaves in force
  /// what was there and is said once; so does a file that would turn TLS on or off, or passwords
  /// off. `why` is filled where it failed.
  Refresh refresh(Duration steady_now, std::string& why);

  /// Of connections from now on. Null: plain HTTP.
  const std::shared_ptr<boost::asio::ssl::context>& tls() const { return tls_; }
  /// "Name: value\r\n" for each header of the file.
  const std::string& headers() const { return headers_; }
  /// Whether that header is among them.
  bool sets_header(const std::string& name) const { return config_.headers.contains(name); }
  PasswordDesk& desk() { return desk_; }

 private:
  WebGuard(std::string path, Load load) : path_(std::move(path)), load_(std::move(load)) {}
  std::string fingerprint() const;
  Status renew();

  std::string path_;
  Load load_;
  WebConfig config_;
  std::string seen_;     ///< fingerprint of the files when they were last looked at
  std::string trouble_;  ///< of the last attempt to read them anew
  Duration looked_{};
  std::shared_ptr<boost::asio::ssl::context> tls_;
  std::string headers_;
  PasswordDesk desk_;
};

}  // namespace fadeward::publish
