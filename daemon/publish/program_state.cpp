#include "fadeward/publish/program_state.hpp"

#include <dirent.h>
#include <sys/resource.h>
#include <unistd.h>

#include <cstdio>
#include <memory>

namespace fadeward::publish {

namespace {

double seconds(const timeval& span) {
  return static_cast<double>(span.tv_sec) + static_cast<double>(span.tv_usec) * 1e-6;
}

std::optional<double> cpu_seconds() {
  rusage usage{};
  if (getrusage(RUSAGE_SELF, &usage) != 0) return {};
  return seconds(usage.ru_utime) + seconds(usage.ru_stime);
}

/// Second column of /proc/self/statm, in pages: proc(5).
std::optional<double> resident_bytes() {
  const std::unique_ptr<std::FILE, int (*)(std::FILE*)> file(std::fopen("/proc/self/statm", "re"),
                                                             &std::fclose);
  unsigned long pages = 0;
  if (!file || std::fscanf(file.get(), "%*u %lu", &pages) != 1) return {};
  return static_cast<double>(pages) * static_cast<double>(sysconf(_SC_PAGESIZE));
}

std::optional<double> open_fds() {
  const std::unique_ptr<DIR, int (*)(DIR*)> folder(opendir("/proc/self/fd"), &closedir);
  if (!folder) return {};
  int entries = 0;
  while (readdir(folder.get()) != nullptr) ++entries;
  return entries - 3;  // ".", ".." and the descriptor of this listing
}

std::optional<double> max_fds() {
  rlimit limit{};
  if (getrlimit(RLIMIT_NOFILE, &limit) != 0 || limit.rlim_cur == RLIM_INFINITY) return {};
  return static_cast<double>(limit.rlim_cur);
}

}  // namespace

ProcessUsage read_process_usage() {
  return {cpu_seconds(), resident_bytes(), open_fds(), max_fds()};
}

}  // namespace fadeward::publish
