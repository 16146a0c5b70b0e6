// Whether a user's password is right, found out beside the thread that asks.
#pragma once

#include <condition_variable>
#include <cstddef>
#include <deque>
#include <functional>
#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>
#include <thread>

namespace fadeward::publish {

/// What a request says about its sender (RFC 7617). Empty: not Basic, or not well formed.
struct Credentials {
  std::string user;
  std::string password;
};
std::optional<Credentials> basic_credentials(std::string_view authorization);

/// A bcrypt check takes some 50 ms by design. One thread does them, one after the other; what has
/// been found right is remembered (as a keyed digest) until its user changes, so that a scraper
/// costs one check. An unknown user takes as long as a wrong password.
class PasswordDesk {
 public:
  static constexpr std::size_t kMostWaiting = 16;
  static constexpr std::size_t kMostRemembered = 100;
  /// Called on the desk's thread; or, if it never came to it, destroyed in stop(). Not called any
  /// more once stop() has returned.
  using Verdict = std::function<void(bool)>;

  PasswordDesk();
  ~PasswordDesk();
  PasswordDesk(const PasswordDesk&) = delete;
  PasswordDesk& operator=(const PasswordDesk&) = delete;

  /// Name -> bcrypt hash. Thread-safe, as all of it.
  void set_users(std::map<std::string, std::string> users);
  bool has_users() const;
  /// At once: it was right before. No statement otherwise.
  bool is_known(const Credentials& who) const;
  /// False: too many wait; `verdict` is not kept.
  bool check(Credentials who, Verdict verdict);
  /// At once: a check that is under way ends by itself, for nobody.
  void stop();

 private:
  struct Job {
    Credentials who;
    Verdict verdict;
  };
  /// Shared with the thread, which may outlive the desk by one check.
  struct State {
    State();
    std::string digest(const Credentials& who, const std::string& hash) const;

    std::mutex mutex;
    std::condition_variable changed;
    std::map<std::string, std::string> users;
    std::map<std::string, std::string> remembered;  ///< user -> digest
    std::deque<Job> waiting;
    Verdict verdict;        ///< of the check under way
    bool checking = false;  ///< nothing but computing is under way
    std::string secret;     ///< of the digests; random, of this run
    bool stop = false;
  };
  static void run(State& state);

  std::shared_ptr<State> state_ = std::make_shared<State>();
  std::thread thread_;  ///< begins with the first check
};

}  // namespace fadeward::publish
