#include "fadeward/publish/password_desk.hpp"

#include <crypt.h>
#include <openssl/crypto.h>
#include <openssl/evp.h>
#include <openssl/hmac.h>
#include <openssl/rand.h>
#include <pthread.h>
#include <signal.h>

#include <array>
#include <cstring>
#include <memory>
#include <utility>

namespace fadeward::publish {

namespace {

constexpr std::size_t kLongestField = 4096;

std::optional<std::string> from_base64(std::string_view text) {
  if (text.empty() || text.size() % 4 != 0 || text.size() > kLongestField) return {};
  std::string out(text.size() / 4 * 3, '\0');
  const int size = EVP_DecodeBlock(reinterpret_cast<unsigned char*>(out.data()),
                                   reinterpret_cast<const unsigned char*>(text.data()),
                                   static_cast<int>(text.size()));
  if (size < 0) return {};
  out.resize(static_cast<std::size_t>(size));
  for (int i = 0; i < 2 && text.ends_with('='); ++i) {  // decoded as zeros
    text.remove_suffix(1);
    out.pop_back();
  }
  return out;
}

bool same(std::string_view a, std::string_view b) {
  return a.size() == b.size() && CRYPTO_memcmp(a.data(), b.data(), a.size()) == 0;
}

bool matches(const std::string& password, const std::string& hash) {
  const auto data = std::make_unique<crypt_data>();
  const char* made = crypt_r(password.c_str(), hash.c_str(), data.get());
  return made != nullptr && same(made, hash);
}

}  // namespace

std::optional<Credentials> basic_credentials(std::string_view authorization) {
  constexpr std::string_view kScheme = "basic ";
  if (authorization.size() < kScheme.size()) return {};
  for (std::size_t i = 0; i < kScheme.size(); ++i) {
    const char c = authorization[i];
    if ((c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c) != kScheme[i]) return {};
  }
  authorization.remove_prefix(kScheme.size());
  while (authorization.starts_with(' ')) authorization.remove_prefix(1);
  while (authorization.ends_with(' ')) authorization.remove_suffix(1);
  const auto pair = from_base64(authorization);
  // A zero byte would end the password early in crypt().
  if (!pair || pair->find('\0') != std::string::npos) return {};
  const auto colon = pair->find(':');
  if (colon == std::string::npos) return {};
  return Credentials{pair->substr(0, colon), pair->substr(colon + 1)};
}

PasswordDesk::PasswordDesk() : secret_(32, '\0') {
  if (RAND_bytes(reinterpret_cast<unsigned char*>(secret_.data()),
                 static_cast<int>(secret_.size())) != 1)
    secret_.clear();  // then nothing is remembered
}

PasswordDesk::~PasswordDesk() { stop(); }

std::string PasswordDesk::digest(const Credentials& who, const std::string& hash) const {
  const std::string text = who.user + '\0' + hash + '\0' + who.password;
  std::array<unsigned char, EVP_MAX_MD_SIZE> out{};
  unsigned size = 0;
  HMAC(EVP_sha256(), secret_.data(), static_cast<int>(secret_.size()),
       reinterpret_cast<const unsigned char*>(text.data()), text.size(), out.data(), &size);
  return {reinterpret_cast<const char*>(out.data()), size};
}

void PasswordDesk::set_users(std::map<std::string, std::string> users) {
  const std::lock_guard guard(mutex_);
  users_ = std::move(users);
  // What was found under another hash matches no more: the digest is of the hash too.
  std::erase_if(remembered_, [this](const auto& one) { return !users_.contains(one.first); });
}

bool PasswordDesk::has_users() const {
  const std::lock_guard guard(mutex_);
  return !users_.empty();
}

bool PasswordDesk::is_known(const Credentials& who) const {
  const std::lock_guard guard(mutex_);
  const auto user = users_.find(who.user);
  const auto known = remembered_.find(who.user);
  return user != users_.end() && known != remembered_.end() &&
         same(known->second, digest(who, user->second));
}

bool PasswordDesk::check(Credentials who, Verdict verdict) {
  {
    const std::lock_guard guard(mutex_);
    if (stop_ || waiting_.size() >= kMostWaiting) return false;
    waiting_.push_back({std::move(who), std::move(verdict)});
    if (!thread_.joinable()) {
      sigset_t all, before;  // signals are for the main thread
      sigfillset(&all);
      pthread_sigmask(SIG_SETMASK, &all, &before);
      thread_ = std::thread([this] { run(); });
      pthread_sigmask(SIG_SETMASK, &before, nullptr);
      pthread_setname_np(thread_.native_handle(), "passwords");
    }
  }
  changed_.notify_one();
  return true;
}

void PasswordDesk::run() {
  std::unique_lock guard(mutex_);
  for (;;) {
    changed_.wait(guard, [this] { return stop_ || !waiting_.empty(); });
    if (stop_) return;
    Job job = std::move(waiting_.front());
    waiting_.pop_front();
    const auto user = users_.find(job.who.user);
    const bool there = user != users_.end();
    // Somebody's for an unknown user: how long it takes must not tell whether there is one.
    const std::string hash = there            ? user->second
                             : users_.empty() ? std::string()
                                              : users_.begin()->second;
    guard.unlock();
    const bool right = matches(job.who.password, hash) && there;
    guard.lock();
    const auto now = users_.find(job.who.user);
    if (right && !secret_.empty() && now != users_.end() && now->second == hash &&
        (remembered_.size() < kMostRemembered || remembered_.contains(job.who.user)))
      remembered_[job.who.user] = digest(job.who, hash);
    guard.unlock();
    job.verdict(right);
    OPENSSL_cleanse(job.who.password.data(), job.who.password.size());
    job = {};
    guard.lock();
  }
}

void PasswordDesk::stop() {
  {
    const std::lock_guard guard(mutex_);
    stop_ = true;
  }
  changed_.notify_one();
  if (thread_.joinable()) thread_.join();
  waiting_.clear();
}

}  // namespace fadeward::publish
