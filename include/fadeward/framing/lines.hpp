// Lines of text, and blocks of several lines.
#pragma once

#include <cstddef>
#include <cstdint>
#include <cstring>
#include <memory>
#include <span>
#include <string>
#include <string_view>

#include "fadeward/framing/framer.hpp"

namespace re2 {
class RE2;
}

namespace fadeward::framing {

/// A line ends with LF, CR LF or CR, which are no part of the frame; a line that ends with CR is
/// given out at once, and an LF that follows later belongs to it. Empty lines are skipped and not
/// counted. A line above `max_bytes` is discarded as too_long up to its end.
///
/// With `block_end`, lines are joined with '\n' into one frame up to and including the line in
/// which the expression is found (an empty line that matches ends a block without being part of
/// it). A block above `max_bytes` is discarded as too_long up to and including the next line that
/// matches. The expression sees bytes, not characters.
///
/// At the end of the input (`flush`) an unfinished line or block is a frame.
class LineFramer final : public Framer {
 public:
  /// An empty `block_end` makes every line a frame. Errors: max_bytes 0, invalid expression.
  static Result<std::unique_ptr<LineFramer>> make(std::size_t max_bytes,
                                                  const std::string& block_end = {});
  ~LineFramer() override;

  void feed(std::span<const std::uint8_t> bytes, FrameSink& sink) override {
    feed_to({reinterpret_cast<const char*>(bytes.data()), bytes.size()}, sink);
  }
  std::size_t flush(FrameSink& sink) override;
  std::size_t reset() override;

  /// The same as `feed` without a virtual call per line, for any `sink` with the two functions of
  /// FrameSink. Lines that lie whole in `bytes` are handed out in place.
  template <class Sink>
  void feed_to(std::string_view bytes, Sink& sink);

 private:
  struct Outcome {               ///< what became of a line in a block
    std::string_view frame;      ///< a finished block; empty: none
    std::uint64_t too_long = 0;  ///< bytes to report
  };

  LineFramer(std::size_t max_bytes, std::unique_ptr<re2::RE2> block_end);
  Outcome add_to_block(std::string_view line);
  Outcome lose_block(std::uint64_t more_bytes);
  bool hold(std::string_view part);  ///< false: the line is too long

  template <class Sink>
  void end_line(std::string_view line, Sink& sink);
  template <class Sink>
  void hold_tail(std::string_view tail, Sink& sink);
  template <class Sink>
  void end_held_line(std::string_view rest, Sink& sink);

  const std::size_t max_bytes_;
  const std::unique_ptr<re2::RE2> block_end_;
  std::string held_;          ///< beginning of an unfinished line
  std::string block_;         ///< lines of an unfinished block
  bool skip_line_ = false;    ///< inside a line that was too long
  bool skip_block_ = false;   ///< inside a block that was too long
  bool after_cr_ = false;     ///< the last byte was a CR: an LF now belongs to it
  bool clear_block_ = false;  ///< the block was handed out: begin a new one
};

template <class Sink>
void LineFramer::end_line(std::string_view line, Sink& sink) {
  if (!block_end_) [[likely]] {
    if (line.size() > max_bytes_) return sink.discarded(DiscardReason::too_long, line.size());
    if (!line.empty()) sink.frame(line);
    return;
  }
  const Outcome outcome = line.size() > max_bytes_ ? lose_block(line.size()) : add_to_block(line);
  if (outcome.too_long > 0) sink.discarded(DiscardReason::too_long, outcome.too_long);
  if (!outcome.frame.empty()) sink.frame(outcome.frame);
}

template <class Sink>
void LineFramer::hold_tail(std::string_view tail, Sink& sink) {
  if (tail.empty()) return;
  std::uint64_t lost = tail.size();
  if (!skip_line_) {
    if (hold(tail)) return;
    lost += held_.size();
    held_.clear();
    skip_line_ = true;
    if (block_end_) lost = lose_block(lost).too_long;
  }
  sink.discarded(DiscardReason::too_long, lost);
}

template <class Sink>
void LineFramer::end_held_line(std::string_view rest, Sink& sink) {
  hold_tail(rest, sink);
  if (!skip_line_) end_line(held_, sink);
  skip_line_ = false;
  held_.clear();
}

template <class Sink>
void LineFramer::feed_to(std::string_view bytes, Sink& sink) {
  const char* at = bytes.data();
  const char* const end = at + bytes.size();
  if (at == end) return;
  if (after_cr_ && *at == '\n') ++at;
  after_cr_ = false;

  // The next end of each kind, looked for once and kept until passed: a stream with one kind only
  // costs one search per line.
  const auto find = [end](const char* from, char what) {
    const void* found =
        from == end ? nullptr : std::memchr(from, what, static_cast<std::size_t>(end - from));
    return found ? static_cast<const char*>(found) : end;
  };
  const char* lf = find(at, '\n');
  const char* cr = find(at, '\r');
  bool continued = skip_line_ || !held_.empty();
  for (;;) {
    const char* const stop = lf < cr ? lf : cr;
    const std::string_view line{at, static_cast<std::size_t>(stop - at)};
    if (stop == end) return hold_tail(line, sink);
    if (continued) [[unlikely]] {
      end_held_line(line, sink);
      continued = false;
    } else {
      end_line(line, sink);
    }
    at = stop + 1;
    if (stop == cr) {
      if (at == end) {
        after_cr_ = true;
        return;
      }
      if (*at == '\n') ++at;
      cr = find(at, '\r');
    }
    if (lf < at) lf = find(at, '\n');
  }
}

}  // namespace fadeward::framing
