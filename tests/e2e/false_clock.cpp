// Preloaded into the program: clocks that run faster than those of the machine, and a wall clock that
// the test sets. FALSE_CLOCK names a file of eight bytes, the wall clock's lead over the steady one
// in nanoseconds; FALSE_CLOCK_SPEED says how many seconds a second has. The steady clock goes on from
// one run to the next, as within one boot of a machine.
#include <dlfcn.h>
#include <fcntl.h>
#include <pthread.h>
#include <sys/mman.h>
#include <sys/timerfd.h>
#include <unistd.h>

#include <cstdint>
#include <cstdlib>
#include <ctime>

namespace {

constexpr std::int64_t kSecond = 1000000000;

template <class Function>
Function next(const char* name) {
  return reinterpret_cast<Function>(::dlsym(RTLD_NEXT, name));
}

std::int64_t speed() {
  static const std::int64_t value = [] {
    const char* const text = std::getenv("FALSE_CLOCK_SPEED");
    const std::int64_t found = text != nullptr ? std::atoll(text) : 1;
    return found > 0 ? found : 1;
  }();
  return value;
}

std::int64_t lead() {
  static const volatile std::int64_t* const value = []() -> const volatile std::int64_t* {
    const char* const path = std::getenv("FALSE_CLOCK");
    const int file = path != nullptr ? ::open(path, O_RDONLY | O_CLOEXEC) : -1;
    if (file < 0) std::abort();
    void* const at = ::mmap(nullptr, sizeof(std::int64_t), PROT_READ, MAP_SHARED, file, 0);
    ::close(file);
    if (at == MAP_FAILED) std::abort();
    return static_cast<const volatile std::int64_t*>(at);
  }();
  return *value;
}

std::int64_t nanoseconds(const timespec& time) { return time.tv_sec * kSecond + time.tv_nsec; }
timespec time_of(std::int64_t nanoseconds) {
  return {nanoseconds / kSecond, nanoseconds % kSecond};
}

std::int64_t real_steady() {
  static const auto real = next<int (*)(clockid_t, timespec*)>("clock_gettime");
  timespec now{};
  real(CLOCK_MONOTONIC, &now);
  return nanoseconds(now);
}

/// A moment of one of our clocks on the machine's steady one.
timespec real_moment(clockid_t clock, const timespec& time) {
  const std::int64_t steady = nanoseconds(time) - (clock == CLOCK_REALTIME ? lead() : 0);
  return time_of(steady / speed());
}

}  // namespace

extern "C" {

int clock_gettime(clockid_t clock, timespec* out) noexcept {
  static const auto real = next<int (*)(clockid_t, timespec*)>("clock_gettime");
  if (clock != CLOCK_REALTIME && clock != CLOCK_MONOTONIC) return real(clock, out);
  *out = time_of(real_steady() * speed() + (clock == CLOCK_REALTIME ? lead() : 0));
  return 0;
}

int timerfd_settime(int file, int flags, const itimerspec* wanted, itimerspec* before) noexcept {
  static const auto real =
      next<int (*)(int, int, const itimerspec*, itimerspec*)>("timerfd_settime");
  itimerspec scaled = *wanted;
  const std::int64_t span = nanoseconds(wanted->it_value);
  if (flags == 0 && span > 0) scaled.it_value = time_of(span / speed() + 1);
  return real(file, flags, &scaled, before);
}

int pthread_cond_clockwait(pthread_cond_t* condition, pthread_mutex_t* mutex, clockid_t clock,
                           const timespec* until) {
  static const auto real =
      next<int (*)(pthread_cond_t*, pthread_mutex_t*, clockid_t, const timespec*)>(
          "pthread_cond_clockwait");
  const timespec moment = real_moment(clock, *until);
  return real(condition, mutex, CLOCK_MONOTONIC, &moment);
}

int pthread_cond_timedwait(pthread_cond_t* condition, pthread_mutex_t* mutex,
                           const timespec* until) {
  return pthread_cond_clockwait(condition, mutex, CLOCK_REALTIME, until);
}

}  // extern "C"
