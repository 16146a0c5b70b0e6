#include "fadeward/base/thread.hpp"

#include <pthread.h>
#include <signal.h>

#include <utility>

namespace fadeward {

namespace {

/// All signals blocked while it lives: a thread that is begun meanwhile inherits that.
class Quiet {
 public:
  Quiet() {
    sigset_t all;
    sigfillset(&all);
    pthread_sigmask(SIG_SETMASK, &all, &before_);
  }
  ~Quiet() { pthread_sigmask(SIG_SETMASK, &before_, nullptr); }
  Quiet(const Quiet&) = delete;
  Quiet& operator=(const Quiet&) = delete;

 private:
  sigset_t before_{};
};

}  // namespace

std::thread start_thread(const char* name, std::function<void()> work) {
  const Quiet quiet;
  std::thread out(std::move(work));
  pthread_setname_np(out.native_handle(), name);
  return out;
}

}  // namespace fadeward
