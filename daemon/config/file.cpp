#include "file.hpp"

#include <cerrno>
#include <cstdio>
#include <cstring>
#include <memory>

#include "fadeward/base/text.hpp"
#include "fadeward/config/parse.hpp"

namespace fadeward::config {
namespace {

Error not_readable(const std::string& path, int error_number) {
  return {printable(path) + ": cannot be read: " + std::strerror(error_number)};
}

}  // namespace

Result<std::string> read_file(const std::string& path) {
  const std::unique_ptr<std::FILE, int (*)(std::FILE*)> file(std::fopen(path.c_str(), "rbe"),
                                                             &std::fclose);
  if (!file) return not_readable(path, errno);
  std::string text(kMaxFileBytes + 1, '\0');
  errno = 0;
  text.resize(std::fread(text.data(), 1, text.size(), file.get()));
  if (std::ferror(file.get()) != 0) return not_readable(path, errno);
  return text;
}

}  // namespace fadeward::config
