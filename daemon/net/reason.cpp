#include "fadeward/net/reason.hpp"

#include <netdb.h>

#include <cctype>
#include <cerrno>
#include <cstring>

namespace fadeward::net {

namespace {

std::string lower_first(const char* text) {
  std::string out = text;
  const bool is_word = out.size() > 1 && std::islower(static_cast<unsigned char>(out[1])) != 0;
  if (is_word) out[0] = static_cast<char>(std::tolower(static_cast<unsigned char>(out[0])));
  return out;
}

}  // namespace

std::string reason_for_errno(int error) {
  switch (error) {
    case EBUSY:
    case EWOULDBLOCK: return "in use by another program";
    case EIO: return "the device does not answer";
    case ENOTTY: return "not a serial device";
    case ETIMEDOUT: return "no answer";
    case ECONNRESET:
    case EPIPE: return "connection broken by the peer";
    case EADDRINUSE: return "address already in use";
    case EADDRNOTAVAIL: return "no such address on this machine";
    case EMFILE:
    case ENFILE: return "too many open files";
    default: break;
  }
  const char* text = ::strerrordesc_np(error);
  return text != nullptr ? lower_first(text) : "error " + std::to_string(error);
}

std::string reason_for_lookup(int result, int error) {
  switch (result) {
    case EAI_NONAME:
    case EAI_NODATA: return "name not found";
    case EAI_AGAIN: return "no name server answers";
    case EAI_SYSTEM: return "name lookup: " + reason_for_errno(error);
    default: return lower_first(::gai_strerror(result));
  }
}

}  // namespace fadeward::net
