#include "fadeward/framing/lines.hpp"

#include <re2/re2.h>

#include <algorithm>
#include <utility>

namespace fadeward::framing {

namespace {

/// Appends without ever reserving more than `limit`.
void append_bounded(std::string& to, std::string_view part, std::size_t limit) {
  const std::size_t size = to.size() + part.size();
  if (size > to.capacity()) to.reserve(std::min(std::max(size, 2 * to.capacity()), limit));
  to.append(part);
}

}  // namespace

Result<std::unique_ptr<LineFramer>> LineFramer::make(std::size_t max_bytes,
                                                     const std::string& block_end) {
  if (max_bytes == 0) return Error{"framing: max_bytes must be at least 1"};
  std::unique_ptr<re2::RE2> expression;
  if (!block_end.empty()) {
    re2::RE2::Options options(re2::RE2::Latin1);
    options.set_log_errors(false);
    expression = std::make_unique<re2::RE2>(block_end, options);
    if (!expression->ok())
      return Error{"framing: block_end '" + block_end + "': " + expression->error()};
  }
  return std::unique_ptr<LineFramer>(new LineFramer(max_bytes, std::move(expression)));
}

LineFramer::LineFramer(std::size_t max_bytes, std::unique_ptr<re2::RE2> block_end)
    : max_bytes_(max_bytes), block_end_(std::move(block_end)) {}

LineFramer::~LineFramer() = default;

bool LineFramer::hold(std::string_view part) {
  if (part.size() > max_bytes_ - held_.size()) return false;
  append_bounded(held_, part, max_bytes_);
  return true;
}

LineFramer::Outcome LineFramer::lose_block(std::uint64_t more_bytes) {
  if (std::exchange(clear_block_, false)) block_.clear();
  const Outcome outcome{{}, block_.size() + more_bytes};
  block_.clear();
  skip_block_ = true;
  return outcome;
}

LineFramer::Outcome LineFramer::add_to_block(std::string_view line) {
  if (std::exchange(clear_block_, false)) block_.clear();
  const bool last = re2::RE2::PartialMatch({line.data(), line.size()}, *block_end_);
  if (skip_block_) {
    skip_block_ = !last;
    return {{}, line.size()};
  }
  if (!line.empty()) {
    const std::size_t joint = block_.empty() ? 0 : 1;
    if (block_.size() + joint + line.size() > max_bytes_) {
      const Outcome lost = lose_block(line.size());
      skip_block_ = !last;
      return lost;
    }
    if (joint != 0) append_bounded(block_, "\n", max_bytes_);
    append_bounded(block_, line, max_bytes_);
  }
  if (!last) return {};
  clear_block_ = true;
  return {block_, 0};
}

std::size_t LineFramer::flush(FrameSink& sink) {
  if (!held_.empty()) end_held_line({}, sink);
  if (block_end_ && !clear_block_ && !block_.empty()) sink.frame(block_);
  reset();
  return 0;
}

std::size_t LineFramer::reset() {
  const std::size_t held = held_.size() + (clear_block_ ? 0 : block_.size());
  held_.clear();
  block_.clear();
  skip_line_ = skip_block_ = after_cr_ = clear_block_ = false;
  return held;
}

}  // namespace fadeward::framing
