// zlib's own inflate, as the check of what we compress.
#pragma once

#include <zlib.h>

#include <optional>
#include <string>
#include <string_view>

namespace fadeward::publish::testing {

/// Exactly one gzip member; empty if it is not one or if anything is left over.
inline std::optional<std::string> inflated(std::string_view body) {
  z_stream z{};
  if (inflateInit2(&z, 15 + 16) != Z_OK) return {};
  z.next_in = reinterpret_cast<Bytef*>(const_cast<char*>(body.data()));
  z.avail_in = static_cast<uInt>(body.size());
  std::string out;
  std::string piece(65536, ' ');
  int state = Z_OK;
  while (state == Z_OK) {
    z.next_out = reinterpret_cast<Bytef*>(piece.data());
    z.avail_out = static_cast<uInt>(piece.size());
    state = inflate(&z, Z_NO_FLUSH);
    out.append(piece, 0, piece.size() - z.avail_out);
  }
  const bool whole = state == Z_STREAM_END && z.avail_in == 0;
  inflateEnd(&z);
  return whole ? std::optional(out) : std::nullopt;
}

}  // namespace fadeward::publish::testing
