#include "fadeward/publish/web_guard.hpp"

#include <sys/stat.h>

#include "fadeward/publish/tls_context.hpp"

namespace fadeward::publish {

namespace {
constexpr Duration kBetweenLooks = std::chrono::seconds{1};
}  // namespace

Result<std::unique_ptr<WebGuard>> WebGuard::make(const std::string& path, Load load) {
  auto out = std::unique_ptr<WebGuard>(new WebGuard(path, std::move(load)));
  if (const Status first = out->renew(); !first) return first.error();
  out->seen_ = out->fingerprint();
  return out;
}

/// Size, time and inode of each file: a renewed certificate often comes by a rename.
std::string WebGuard::fingerprint() const {
  std::string out;
  const auto add = [&out](const std::string& file) {
    struct stat one {};
    if (file.empty() || ::stat(file.c_str(), &one) != 0) {
      out += "-;";
      return;
    }
    for (const auto number :
         {static_cast<long long>(one.st_size), static_cast<long long>(one.st_mtim.tv_sec),
          static_cast<long long>(one.st_mtim.tv_nsec), static_cast<long long>(one.st_ino)})
      out += std::to_string(number) + ',';
    out += ';';
  };
  add(path_);
  if (config_.tls)
    for (const std::string* file :
         {&config_.tls->cert_file, &config_.tls->key_file, &config_.tls->client_ca_file})
      add(*file);
  return out;
}

Status WebGuard::renew() {
  auto fresh = load_(path_);
  if (!fresh) return fresh.error();
  const bool first = seen_.empty();
  if (!first && fresh->tls.has_value() != config_.tls.has_value())
    return Error{path_ + ": TLS is switched on or off at a start only"};
  std::shared_ptr<boost::asio::ssl::context> tls;
  if (fresh->tls) {
    auto made = make_tls_context(*fresh->tls);
    if (!made) return Error{path_ + ": tls_server_config: " + made.error().message};
    tls = std::move(made).value();
  }
  config_ = std::move(fresh).value();
  tls_ = std::move(tls);
  headers_.clear();
  for (const auto& [name, value] : config_.headers) headers_ += name + ": " + value + "\r\n";
  desk_.set_users(config_.users);
  return success();
}

WebGuard::Refresh WebGuard::refresh(Duration steady_now, std::string& why) {
  if (steady_now - looked_ < kBetweenLooks) return Refresh::same;
  looked_ = steady_now;
  std::string now = fingerprint();
  if (now == seen_ && trouble_.empty()) return Refresh::same;
  const Status renewed = renew();
  seen_ = renewed ? fingerprint() : std::move(now);  // it may name other files now
  if (renewed) {
    trouble_.clear();
    return Refresh::renewed;
  }
  // Tried again at each look: what is missing may lie in a file that is not known yet.
  if (trouble_ == renewed.error().message) return Refresh::same;
  why = trouble_ = renewed.error().message;
  return Refresh::failed;
}

}  // namespace fadeward::publish
