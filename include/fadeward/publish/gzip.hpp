// A gzip body made piece by piece, so that the text it stands for is never held as a whole.
#pragma once

#include <memory>
#include <string>
#include <string_view>

namespace fadeward::publish {

/// Appends one gzip member (RFC 1952) to a string. Level 1: a scrape should not wait for the last
/// per cent.
class GzipWriter {
 public:
  /// `out` must outlive the writer.
  explicit GzipWriter(std::string& out);
  ~GzipWriter();
  GzipWriter(const GzipWriter&) = delete;
  GzipWriter& operator=(const GzipWriter&) = delete;

  void add(std::string_view text);

  /// Ends the member; false if zlib could not get memory, and `out` is then useless.
  bool finish();

 private:
  void run(int flush);

  struct Stream;
  std::unique_ptr<Stream> stream_;
  std::string& out_;
  bool good_ = false;
};

}  // namespace fadeward::publish
