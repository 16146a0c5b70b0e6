#include "fadeward/publish/web_guard.hpp"

#include <sys/stat.h>

#include "fadeward/publish/tls_context.hpp"

namespace fadeward::publish {

namespace {
constexpr Duration kBetweenLooks = std::chrono::seconds{1};

/// Size, time and inode: a renewed certificate often comes by a rename.
std::string stamp(const std::string& file) {
  struct stat one {};
  if (file.empty() || ::stat(file.c_str(), &one) != 0) return "-;";
  std::string out;
  for (const auto number :
       {static_cast<long long>(one.st_size), static_cast<long long>(one.st_mtim.tv_sec),
        static_cast<long long>(one.st_mtim.tv_nsec), static_cast<long long>(one.st_ino)})
    out += std::to_string(number) + ',';
  return out + ';';
}

std::string stamps(const WebConfig& config) {
  if (!config.tls) return {};
  return stamp(config.tls->cert_file) + stamp(config.tls->key_file) +
         stamp(config.tls->client_ca_file);
}

}  // namespace

Result<std::unique_ptr<WebGuard>> WebGuard::make(const std::string& path, Load load) {
  auto out = std::unique_ptr<WebGuard>(new WebGuard(path, std::move(load)));
  if (const Status first = out->renew(); !first) return first.error();
  return out;
}

std::string WebGuard::fingerprint() const { return stamp(path_) + stamps(config_); }

/// Each file is looked at before it is read: what changes in between is noticed the next time.
Status WebGuard::renew() {
  std::string seen = stamp(path_);
  auto fresh = load_(path_);
  if (!fresh) return fresh.error();
  const bool first = seen_.empty();
  if (!first && fresh->tls.has_value() != config_.tls.has_value())
    return Error{path_ + ": TLS is switched on or off at a start only"};
  // It may be no more than half written.
  if (!first && fresh->users.empty() && !config_.users.empty())
    return Error{path_ + ": passwords are switched off at a start only"};
  seen += stamps(*fresh);
  std::shared_ptr<boost::asio::ssl::context> tls;
  if (fresh->tls) {
    auto made = make_tls_context(*fresh->tls);
    if (!made) return Error{path_ + ": tls_server_config: " + made.error().message};
    tls = std::move(made).value();
  }
  seen_ = std::move(seen);
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
  if (renewed) {
    trouble_.clear();
    return Refresh::renewed;
  }
  seen_ = std::move(now);
  // Tried again at each look: what is missing may lie in a file that is not known yet.
  if (trouble_ == renewed.error().message) return Refresh::same;
  why = trouble_ = renewed.error().message;
  return Refresh::failed;
}

}  // namespace fadeward::publish
