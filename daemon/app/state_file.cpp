#include "fadeward/app/state_file.hpp"

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <filesystem>

namespace fadeward::app {

namespace {

constexpr const char* kName = "/state";
constexpr std::size_t kLargest = 256U << 20;

Error system_error(const std::string& what) { return {what + ": " + std::strerror(errno)}; }

Status write_all(int file, const std::string& bytes) {
  std::size_t done = 0;
  while (done < bytes.size()) {
    const ssize_t wrote = ::write(file, bytes.data() + done, bytes.size() - done);
    if (wrote < 0 && errno == EINTR) continue;
    if (wrote <= 0) return system_error("write");
    done += static_cast<std::size_t>(wrote);
  }
  if (::fsync(file) != 0) return system_error("fsync");
  return success();
}

}  // namespace

StateFile::StateFile(std::string dir, int lock)
    : dir_(std::move(dir)), lock_(lock), thread_([this] { run(); }) {}

Result<std::unique_ptr<StateFile>> StateFile::open(const std::string& dir) {
  std::error_code failed;
  std::filesystem::create_directories(dir, failed);
  if (failed) return Error{dir + ": cannot make the directory: " + failed.message()};
  const std::string lock_path = dir + "/lock";
  int lock = ::open(lock_path.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0640);
  // Flash that fails comes back read-only: what it holds is still worth reading, and the radio
  // links worth watching. That nothing is written shows in the counts of errors.
  if (lock < 0 && errno == EROFS) lock = ::open(lock_path.c_str(), O_RDONLY | O_CLOEXEC);
  if (lock < 0) return system_error(lock_path);
  if (::flock(lock, LOCK_EX | LOCK_NB) != 0) {
    const Error error = errno == EWOULDBLOCK
                            ? Error{dir + ": another fadeward keeps its state here"}
                            : system_error(lock_path);
    ::close(lock);
    return error;
  }
  return std::unique_ptr<StateFile>(new StateFile(dir, lock));
}

StateFile::~StateFile() {
  {
    const std::lock_guard guard(mutex_);
    stop_ = true;
  }
  changed_.notify_all();
  thread_.join();
  ::close(lock_);
}

Result<std::optional<std::string>> StateFile::load() const {
  const std::string path = dir_ + kName;
  const int file = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (file < 0) {
    if (errno == ENOENT) return std::optional<std::string>{};
    return system_error(path);
  }
  std::string bytes;
  char piece[65536];
  for (;;) {
    const ssize_t got = ::read(file, piece, sizeof piece);
    if (got < 0 && errno == EINTR) continue;
    if (got < 0) {
      const Error error = system_error(path);
      ::close(file);
      return error;
    }
    if (got == 0 || bytes.size() > kLargest) break;
    bytes.append(piece, static_cast<std::size_t>(got));
  }
  ::close(file);
  return std::optional(std::move(bytes));
}

std::string StateFile::set_aside() const {
  const std::string aside = dir_ + kName + ".unusable";
  ::rename((dir_ + kName).c_str(), aside.c_str());
  return aside;
}

Status StateFile::write(const std::string& bytes) const {
  const std::string path = dir_ + kName, fresh = path + ".new";
  const int file = ::open(fresh.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0640);
  if (file < 0) return system_error(fresh);
  const Status wrote = write_all(file, bytes);
  ::close(file);
  if (!wrote) return Error{fresh + ": " + wrote.error().message};
  if (::rename(fresh.c_str(), path.c_str()) != 0) return system_error(path);
  const int dir = ::open(dir_.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (dir >= 0) {
    ::fsync(dir);
    ::close(dir);
  }
  return success();
}

void StateFile::run() {
  std::unique_lock guard(mutex_);
  for (;;) {
    changed_.wait(guard, [this] { return stop_ || waiting_; });
    if (!waiting_) return;
    const std::string bytes = std::move(*waiting_);
    waiting_.reset();
    writing_ = true;
    guard.unlock();
    const Status wrote = write(bytes);
    guard.lock();
    writing_ = false;
    last_error_ = wrote ? "" : wrote.error().message;
    if (!wrote) ++errors_;
    changed_.notify_all();
  }
}

void StateFile::save(std::string bytes) {
  {
    const std::lock_guard guard(mutex_);
    waiting_ = std::move(bytes);
  }
  changed_.notify_all();
}

Status StateFile::finish() {
  std::unique_lock guard(mutex_);
  changed_.wait(guard, [this] { return !waiting_ && !writing_; });
  if (!last_error_.empty()) return Error{last_error_};
  return success();
}

std::uint64_t StateFile::errors() const {
  const std::lock_guard guard(mutex_);
  return errors_;
}

}  // namespace fadeward::app
