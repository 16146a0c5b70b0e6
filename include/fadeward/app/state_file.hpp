// The supervisor's state on disk, written by a thread of its own.
#pragma once

#include <condition_variable>
#include <cstdint>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <thread>

#include "fadeward/base/result.hpp"

namespace fadeward::app {

/// One file in a directory that belongs to one daemon at a time. Writing replaces the file as a
/// whole (new file, fsync, rename), so a power cut leaves the old or the new one.
class StateFile {
 public:
  /// Makes the directory if it is missing and locks it against a second daemon. One that has become
  /// read-only can still be opened; what is saved then counts as errors.
  static Result<std::unique_ptr<StateFile>> open(const std::string& dir);
  ~StateFile();  ///< waits for what is being written
  StateFile(const StateFile&) = delete;
  StateFile& operator=(const StateFile&) = delete;

  /// Empty optional: there is none yet.
  Result<std::optional<std::string>> load() const;
  /// Sets a file that could not be used aside under another name, which is returned.
  std::string set_aside() const;

  /// Returns at once; a newer state replaces one that still waits.
  void save(std::string bytes);
  /// Waits until everything is on disk; the error of the last attempt, if it failed.
  Status finish();
  /// Failed attempts so far; thread-safe.
  std::uint64_t errors() const;

 private:
  explicit StateFile(std::string dir, int lock);
  void run();
  Status write(const std::string& bytes) const;

  const std::string dir_;
  const int lock_;
  mutable std::mutex mutex_;
  std::condition_variable changed_;
  std::optional<std::string> waiting_;
  bool writing_ = false;
  bool stop_ = false;
  std::uint64_t errors_ = 0;
  std::string last_error_;
  std::thread thread_;
};

}  // namespace fadeward::app
