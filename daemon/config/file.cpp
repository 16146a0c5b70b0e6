#include "file.hpp"

#include <cerrno>
#include <cstdio>
#include <cstring>
#include <memory>

#include "complaints.hpp"
#include "fadeward/base/text.hpp"
#include "fadeward/config/parse.hpp"

namespace fadeward::config {
namespace {

constexpr std::string_view kByteOrderMark = "\xEF\xBB\xBF";

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

Result<NodePtr> read_document(std::string_view& yaml_text, std::string_view file_name) {
  if (yaml_text.size() > kMaxFileBytes)
    return Error{printable(file_name) + ": larger than 1 MiB: no configuration is"};
  if (yaml_text.starts_with(kByteOrderMark)) yaml_text.remove_prefix(kByteOrderMark.size());
  auto tree = read_tree(yaml_text);
  if (const auto* error = std::get_if<SyntaxError>(&tree)) {
    Complaints complaints;
    complaints.add(error->place, {}, error->words);
    return Error{complaints.text(file_name, yaml_text)};
  }
  return std::get<NodePtr>(std::move(tree));
}

}  // namespace fadeward::config
