#include "fadeward/publish/password_desk.hpp"

#include <crypt.h>
#include <openssl/crypto.h>
#include <openssl/evp.h>
#include <openssl/hmac.h>
#include <openssl/rand.h>

#include <array>
#include <cstring>
#include <memory>
#include <utility>

#include "fadeward/base/thread.hpp"

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

/// Somebody's, for an unknown user: how long it takes must not tell whether there is one.
std::string costliest(const std::map<std::string, std::string>& users) {
  constexpr std::size_t kCostAt = 4, kDigits = 2;  // $2y$10$...
  std::string out;
  for (const auto& [user, hash] : users)
    if (out.empty() || hash.compare(kCostAt, kDigits, out, kCostAt, kDigits) > 0) out = hash;
  return out;
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

PasswordDesk::State::State() : secret(32, '\0') {
  if (RAND_bytes(reinterpret_cast<unsigned char*>(secret.data()),
                 static_cast<int>(secret.size())) != 1)
    secret.clear();  // then nothing is remembered
}

std::string PasswordDesk::State::digest(const Credentials& who, const std::string& hash) const {
  const std::string text = who.user + '\0' + hash + '\0' + who.password;
  std::array<unsigned char, EVP_MAX_MD_SIZE> out{};
  unsigned size = 0;
  HMAC(EVP_sha256(), secret.data(), static_cast<int>(secret.size()),
       reinterpret_cast<const unsigned char*>(text.data()), text.size(), out.data(), &size);
  return {reinterpret_cast<const char*>(out.data()), size};
}

PasswordDesk::PasswordDesk() = default;
PasswordDesk::~PasswordDesk() { stop(); }

void PasswordDesk::set_users(std::map<std::string, std::string> users) {
  State& state = *state_;
  const std::lock_guard guard(state.mutex);
  state.users = std::move(users);
  // What was found under another hash matches no more: the digest is of the hash too.
  std::erase_if(state.remembered,
                [&state](const auto& one) { return !state.users.contains(one.first); });
}

bool PasswordDesk::has_users() const {
  const std::lock_guard guard(state_->mutex);
  return !state_->users.empty();
}

bool PasswordDesk::is_known(const Credentials& who) const {
  const State& state = *state_;
  const std::lock_guard guard(state_->mutex);
  const auto user = state.users.find(who.user);
  const auto known = state.remembered.find(who.user);
  return user != state.users.end() && known != state.remembered.end() &&
         same(known->second, state.digest(who, user->second));
}

bool PasswordDesk::check(Credentials who, Verdict verdict) {
  {
    const std::lock_guard guard(state_->mutex);
    if (state_->stop || state_->waiting.size() >= kMostWaiting) return false;
    state_->waiting.push_back({std::move(who), std::move(verdict)});
    if (!thread_.joinable()) thread_ = start_thread("passwords", [state = state_] { run(*state); });
  }
  state_->changed.notify_one();
  return true;
}

void PasswordDesk::run(State& state) {
  std::unique_lock guard(state.mutex);
  for (;;) {
    state.changed.wait(guard, [&state] { return state.stop || !state.waiting.empty(); });
    if (state.stop) return;
    Credentials who = std::move(state.waiting.front().who);
    state.verdict = std::move(state.waiting.front().verdict);
    state.waiting.pop_front();
    const auto user = state.users.find(who.user);
    const bool there = user != state.users.end();
    const std::string hash = there ? user->second : costliest(state.users);
    state.checking = true;
    guard.unlock();
    const bool right = matches(who.password, hash) && there;
    guard.lock();
    state.checking = false;
    const auto now = state.users.find(who.user);
    if (right && !state.secret.empty() && now != state.users.end() && now->second == hash &&
        (state.remembered.size() < kMostRemembered || state.remembered.contains(who.user)))
      state.remembered[who.user] = state.digest(who, hash);
    OPENSSL_cleanse(who.password.data(), who.password.size());
    if (state.stop) return;
    Verdict verdict = std::exchange(state.verdict, nullptr);
    guard.unlock();
    verdict(right);
    verdict = nullptr;
    guard.lock();
  }
}

void PasswordDesk::stop() {
  std::deque<Job> left;
  Verdict under_way;
  {
    const std::lock_guard guard(state_->mutex);
    state_->stop = true;
    left = std::move(state_->waiting);
    state_->waiting.clear();
    under_way = std::exchange(state_->verdict, nullptr);
    if (thread_.joinable() && state_->checking) thread_.detach();
  }
  state_->changed.notify_one();
  if (thread_.joinable()) thread_.join();
}

}  // namespace fadeward::publish
