#include "fadeward/report/pattern.hpp"

#include <re2/re2.h>

#include <algorithm>
#include <utility>

namespace fadeward::report {

struct PatternDecoder::Pattern {
  struct Group {
    int index = 0;
    std::vector<Target> targets;  ///< none: nobody knows the name
  };
  std::unique_ptr<re2::RE2> expression;
  std::vector<Group> groups;  ///< named ones, in their order
  int pieces = 1;             ///< to ask for: RE2 is the slower, the more of them
};

struct PatternDecoder::Scratch {
  std::vector<re2::StringPiece> pieces;
};

Result<std::unique_ptr<Decoder>> PatternDecoder::make(FieldMap map,
                                                      const std::vector<std::string>& expressions) {
  if (expressions.empty()) return Error{"pattern: no expression is given"};
  std::unique_ptr<PatternDecoder> decoder(new PatternDecoder(std::move(map)));
  re2::RE2::Options options(re2::RE2::Latin1);
  options.set_log_errors(false);
  for (std::size_t i = 0; i < expressions.size(); ++i) {
    const std::string where = "pattern " + std::to_string(i + 1) + ": ";
    auto pattern = std::make_unique<Pattern>();
    pattern->expression = std::make_unique<re2::RE2>(expressions[i], options);
    if (!pattern->expression->ok()) return Error{where + pattern->expression->error()};
    bool useful = false;
    for (const auto& [index, name] : pattern->expression->CapturingGroupNames()) {
      const auto targets = decoder->builder_.map().find(name);
      useful = useful || !targets.empty();
      pattern->groups.push_back({index, {targets.begin(), targets.end()}});
      if (!targets.empty()) pattern->pieces = std::max(pattern->pieces, index + 1);
    }
    if (!useful)
      return Error{where +
                   "no group (?P<name>...) is named after a canonical key or the `from` of "
                   "a field"};
    const auto pieces = static_cast<std::size_t>(pattern->pieces);
    if (decoder->scratch_->pieces.size() < pieces) decoder->scratch_->pieces.resize(pieces);
    decoder->patterns_.push_back(std::move(pattern));
  }
  return std::unique_ptr<Decoder>(std::move(decoder));
}

PatternDecoder::PatternDecoder(FieldMap map)
    : builder_(std::move(map)), scratch_(std::make_unique<Scratch>()) {}

PatternDecoder::~PatternDecoder() = default;

bool PatternDecoder::take_match(const Pattern& pattern, std::string_view frame) {
  re2::StringPiece* const pieces = scratch_->pieces.data();
  if (!pattern.expression->Match({frame.data(), frame.size()}, 0, frame.size(),
                                 re2::RE2::UNANCHORED, pieces, pattern.pieces))
    return false;
  for (const Pattern::Group& group : pattern.groups) {
    if (group.targets.empty()) {
      builder_.skip();
      continue;
    }
    const re2::StringPiece& piece = pieces[group.index];
    if (!piece.empty()) builder_.take(group.targets, raw_from_text({piece.data(), piece.size()}));
  }
  return true;
}

void PatternDecoder::decode(std::string_view frame, Time, ReportSink& sink) {
  builder_.begin();
  const bool found = std::any_of(patterns_.begin(), patterns_.end(),
                                 [&](const auto& pattern) { return take_match(*pattern, frame); });
  deliver(found ? builder_.result() : Parsed{}, builder_.report(), frame, sink);
}

}  // namespace fadeward::report
