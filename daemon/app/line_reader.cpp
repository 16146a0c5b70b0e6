#include "fadeward/app/line_reader.hpp"

#include <fcntl.h>
#include <unistd.h>
#include <zlib.h>

#include <cerrno>
#include <cstring>

namespace fadeward::app {

namespace {
constexpr std::size_t kPiece = 256 << 10;
}

/// Bytes of one file, decompressed where needed.
struct LineReader::Source {
  int file = -1;
  bool owned = false;
  bool gzip = false;
  bool ended = false;
  z_stream stream{};
  std::vector<unsigned char> packed;
  std::size_t packed_begin = 0, packed_end = 0;

  ~Source() {
    if (gzip) inflateEnd(&stream);
    if (owned) ::close(file);
  }

  ssize_t read_raw(void* into, std::size_t size) const {
    for (;;) {
      const ssize_t got = ::read(file, into, size);
      if (got >= 0 || errno != EINTR) return got;
    }
  }

  /// Looks at the first bytes; they stay in `packed` to be handed out.
  Status begin() {
    packed.resize(kPiece);
    while (packed_end < 2) {
      const ssize_t got = read_raw(packed.data() + packed_end, packed.size() - packed_end);
      if (got < 0) return Error{std::strerror(errno)};
      if (got == 0) break;
      packed_end += static_cast<std::size_t>(got);
    }
    if (packed_end < 2 || packed[0] != 0x1f || packed[1] != 0x8b) return success();
    if (inflateInit2(&stream, 15 + 32) != Z_OK) return Error{"out of memory"};
    gzip = true;
    return success();
  }

  Result<std::size_t> read_plain(char* into, std::size_t size) {
    if (packed_begin < packed_end) {
      const std::size_t count = std::min(size, packed_end - packed_begin);
      std::memcpy(into, packed.data() + packed_begin, count);
      packed_begin += count;
      return count;
    }
    const ssize_t got = read_raw(into, size);
    if (got < 0) return Error{std::strerror(errno)};
    return static_cast<std::size_t>(got);
  }

  /// Several gzip members in a row are one text, as gunzip does it.
  Result<std::size_t> read_gzip(char* into, std::size_t size) {
    stream.next_out = reinterpret_cast<Bytef*>(into);
    stream.avail_out = static_cast<uInt>(size);
    while (stream.avail_out == size) {
      if (packed_begin == packed_end) {
        const ssize_t got = read_raw(packed.data(), packed.size());
        if (got < 0) return Error{std::strerror(errno)};
        if (got == 0) {
          if (!ended) return Error{"the compressed file is cut short"};
          return std::size_t{0};
        }
        packed_begin = 0;
        packed_end = static_cast<std::size_t>(got);
      }
      if (ended) {
        if (inflateReset(&stream) != Z_OK)
          return Error{"cannot read on after the end of a gzip member"};
        ended = false;
      }
      stream.next_in = packed.data() + packed_begin;
      stream.avail_in = static_cast<uInt>(packed_end - packed_begin);
      const int state = inflate(&stream, Z_NO_FLUSH);
      packed_begin = packed_end - stream.avail_in;
      if (state == Z_STREAM_END)
        ended = true;
      else if (state != Z_OK && state != Z_BUF_ERROR)
        return Error{"the compressed file is damaged"};
    }
    return size - stream.avail_out;
  }

  Result<std::size_t> read(char* into, std::size_t size) {
    return gzip ? read_gzip(into, size) : read_plain(into, size);
  }
};

LineReader::LineReader(std::unique_ptr<Source> source)
    : source_(std::move(source)), buffer_(kPiece + kLongest + kPadding + 2) {}
LineReader::LineReader(LineReader&&) noexcept = default;
LineReader& LineReader::operator=(LineReader&&) noexcept = default;
LineReader::~LineReader() = default;

Result<LineReader> LineReader::open(const std::string& path) {
  auto source = std::make_unique<Source>();
  source->file = path == "-" ? STDIN_FILENO : ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
  source->owned = path != "-";
  if (source->file < 0) return Error{path + ": " + std::strerror(errno)};
  if (const Status begun = source->begin(); !begun)
    return Error{path + ": " + begun.error().message};
  return LineReader(std::move(source));
}

bool LineReader::refill() {
  if (at_end_) return false;
  if (begin_ > 0) {
    std::memmove(buffer_.data(), buffer_.data() + begin_, end_ - begin_);
    end_ -= begin_;
    searched_ -= begin_;
    begin_ = 0;
  }
  const std::size_t room = buffer_.size() - kPadding - 1 - end_;
  auto got = source_->read(buffer_.data() + end_, room);
  if (!got) error_ = got.error().message;
  if (!got || *got == 0) {
    at_end_ = true;
    return false;
  }
  end_ += *got;
  return true;
}

bool LineReader::next(std::string_view& line) {
  for (;;) {
    char* from = buffer_.data() + searched_;
    auto* stop = static_cast<char*>(std::memchr(from, '\n', end_ - searched_));
    if (stop == nullptr) {
      searched_ = end_;
      if (end_ - begin_ > kLongest) {  // too long: let it go by
        begin_ = end_;
        if (!skipping_) ++too_long_;
        skipping_ = true;
      }
      if (refill()) continue;
      if (begin_ == end_) return false;
      stop = buffer_.data() + end_++;  // the last line has no end; there is room for one
    }
    const std::size_t start = begin_;
    begin_ = searched_ = static_cast<std::size_t>(stop - buffer_.data()) + 1;
    if (end_ < begin_) end_ = begin_;
    if (skipping_) {
      skipping_ = false;
      continue;
    }
    std::size_t size = begin_ - 1 - start;
    if (size > 0 && buffer_[start + size - 1] == '\r') --size;
    if (size == 0) continue;
    if (size > kLongest) {
      ++too_long_;
      continue;
    }
    line = {buffer_.data() + start, size};
    return true;
  }
}

}  // namespace fadeward::app
