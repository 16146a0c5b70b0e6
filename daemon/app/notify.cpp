#include "fadeward/app/notify.hpp"

#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include <algorithm>
#include <charconv>
#include <cstddef>
#include <cstdlib>
#include <cstring>

namespace fadeward::app {

void notify_service_manager(std::string_view message) {
  const char* path = std::getenv("NOTIFY_SOCKET");
  if (path == nullptr || (path[0] != '/' && path[0] != '@')) return;
  sockaddr_un address{};
  address.sun_family = AF_UNIX;
  const std::size_t size = std::strlen(path);
  if (size >= sizeof address.sun_path) return;
  std::memcpy(address.sun_path, path, size);
  if (path[0] == '@') address.sun_path[0] = '\0';  // abstract name
  const int socket_fd = ::socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0);
  if (socket_fd < 0) return;
  const auto length = static_cast<socklen_t>(offsetof(sockaddr_un, sun_path) + size);
  ::sendto(socket_fd, message.data(), message.size(), MSG_NOSIGNAL | MSG_DONTWAIT,
           reinterpret_cast<const sockaddr*>(&address), length);
  ::close(socket_fd);
}

Duration watchdog_interval() {
  const char* text = std::getenv("WATCHDOG_USEC");
  if (text == nullptr) return {};
  std::int64_t micros = 0;
  const char* end = text + std::strlen(text);
  if (std::from_chars(text, end, micros).ptr != end || micros <= 0) return {};
  return Duration{std::max<std::int64_t>(micros / 2, 100000)};
}

}  // namespace fadeward::app
