#include "fadeward/publish/program_state.hpp"

#include <fcntl.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <ctime>
#include <fstream>
#include <string>

namespace fadeward::publish::program_state_test {
namespace {

TEST(ProcessUsage, AgreesWithTheOperatingSystem) {
  const ProcessUsage before = read_process_usage();
  const int fd = open("/dev/null", O_RDONLY | O_CLOEXEC);
  const std::clock_t start = std::clock();
  while (std::clock() - start < CLOCKS_PER_SEC / 50) {
  }
  const ProcessUsage after = read_process_usage();
  close(fd);
  EXPECT_EQ(*after.open_fds, *before.open_fds + 1);
  EXPECT_GE(*after.cpu_seconds - *before.cpu_seconds, 0.015);
  EXPECT_EQ(*after.max_fds, static_cast<double>(sysconf(_SC_OPEN_MAX)));

  std::ifstream status("/proc/self/status");   // proc(5): VmRSS in kB, from another source file
  double resident_kb = 0;
  for (std::string word; status >> word;) {
    if (word == "VmRSS:") status >> resident_kb;
  }
  EXPECT_NEAR(*after.resident_bytes, resident_kb * 1024, 0.3 * resident_kb * 1024);
}

}  // namespace
}  // namespace fadeward::publish::program_state_test
