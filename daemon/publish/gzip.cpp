#include "fadeward/publish/gzip.hpp"

#include <zlib.h>

#include <array>

namespace fadeward::publish {

struct GzipWriter::Stream {
  z_stream z{};
  std::array<unsigned char, 16384> piece{};
};

GzipWriter::GzipWriter(std::string& out) : stream_(std::make_unique<Stream>()), out_(out) {
  constexpr int gzip_wrapper = 15 + 16;  // largest window, gzip instead of zlib header: zlib.h
  good_ = deflateInit2(&stream_->z, 1, Z_DEFLATED, gzip_wrapper, 8, Z_DEFAULT_STRATEGY) == Z_OK;
}

GzipWriter::~GzipWriter() { deflateEnd(&stream_->z); }

void GzipWriter::run(int flush) {
  z_stream& z = stream_->z;
  do {
    z.next_out = stream_->piece.data();
    z.avail_out = static_cast<uInt>(stream_->piece.size());
    if (deflate(&z, flush) == Z_STREAM_ERROR) {
      good_ = false;
      return;
    }
    out_.append(reinterpret_cast<const char*>(stream_->piece.data()),
                stream_->piece.size() - z.avail_out);
  } while (z.avail_out == 0);
}

void GzipWriter::add(std::string_view text) {
  constexpr std::size_t largest = 1U << 30;  // avail_in has 32 bits
  while (good_ && !text.empty()) {
    const std::string_view part = text.substr(0, largest);
    // zlib does not write to its input; its interface is older than const.
    stream_->z.next_in = reinterpret_cast<Bytef*>(const_cast<char*>(part.data()));
    stream_->z.avail_in = static_cast<uInt>(part.size());
    run(Z_NO_FLUSH);
    text.remove_prefix(part.size());
  }
}

bool GzipWriter::finish() {
  if (good_) run(Z_FINISH);
  return good_;
}

}  // namespace fadeward::publish
