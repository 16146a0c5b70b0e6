// From one frame to link reports: what every decoder promises, and the factory.
//
// Decoders are pure: no clock, no files; they belong to one thread. Whatever a frame holds, each
// value of it ends in a report, in a count, or is a key that nobody asked for (counted too).
#pragma once

#include <cstdint>
#include <memory>
#include <string_view>

#include "fadeward/base/port_event.hpp"
#include "fadeward/base/report.hpp"
#include "fadeward/base/result.hpp"
#include "fadeward/base/settings.hpp"
#include "fadeward/base/time.hpp"

namespace fadeward::report {

/// Takes what a decoder finds. Counts come before the report that they belong to.
class ReportSink {
 public:
  virtual ~ReportSink() = default;

  /// One report, with at least one value. It and the text it refers to live during the call; the
  /// sink may set `index`, `port` and, where it is not `timed`, `time`.
  virtual void report(LinkReport& report) = 0;

  /// The frame, or (SenML) one link and moment in it, gave no report: syntax (not readable), empty
  /// (nothing about a link in it) or implausible (every value in it was impossible).
  virtual void rejected(RejectReason reason, std::string_view frame) = 0;

  /// Values left out because they were not finite, out of the field's range (base/field.hpp), not
  /// whole where only whole numbers make sense, or of the wrong type. The rest of the report stays.
  virtual void values_discarded(std::uint64_t count) = 0;

  /// Keys, columns or groups that nobody knows.
  virtual void unknown_keys(std::uint64_t count) = 0;
};

/// Counts of one frame.
struct Tally {
  std::uint32_t values_discarded = 0;
  std::uint32_t unknown_keys = 0;
};

enum class Outcome : std::uint8_t { report, syntax, empty, implausible };

/// What became of one frame that can hold one report.
struct Parsed {
  Outcome outcome = Outcome::syntax;
  Tally tally;

  explicit operator bool() const { return outcome == Outcome::report; }
};

/// The outcome of a readable frame: a report without any field is none.
inline Parsed parsed(const LinkReport& report, Tally tally) {
  if (report.present != 0) return {Outcome::report, tally};
  return {tally.values_discarded > 0 ? Outcome::implausible : Outcome::empty, tally};
}

class Decoder {
 public:
  virtual ~Decoder() = default;

  /// Decodes one frame. `now` is its time of arrival: only SenML needs it, for relative times.
  /// Allocates nothing once its buffers have grown to the frames it sees.
  virtual void decode(std::string_view frame, Time now, ReportSink& sink) = 0;

  /// A new stream begins (a port was opened again): forgets a header line.
  virtual void restart() {}

 protected:
  /// Hands the counts, then the report or the reason to the sink.
  static void deliver(const Parsed& parsed, LinkReport& report, std::string_view frame,
                      ReportSink& sink);
};

/// The decoder that `settings` describe. Errors name the setting and what is wrong with it: a key
/// that is neither a field nor "time" or "link", bits out of range, an invalid expression, a
/// packed field or pattern without any use.
Result<std::unique_ptr<Decoder>> make_decoder(const DecoderSettings& settings);

}  // namespace fadeward::report
