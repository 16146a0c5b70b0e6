// Questions to the history. Any number of readers may work beside the one writer.
#pragma once

#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "fadeward/base/result.hpp"
#include "fadeward/history/record.hpp"
#include "fadeward/history/summary.hpp"

namespace fadeward::history {

/// One thread. Each call sees what is on disk by then; a month that cannot be read is left out and
/// told in `problems`. Times: [from, to).
class Reader {
 public:
  /// An error: there is no such directory. A directory without a history is an empty one.
  static Result<Reader> open(const std::string& dir);
  ~Reader();
  Reader(Reader&&) noexcept;
  Reader& operator=(Reader&&) noexcept;

  /// Names in alphabetical order.
  std::vector<std::string> links();
  /// Beginning of the first and end of the last bin of any link. Empty: none.
  std::optional<std::pair<Time, Time>> extent();

  /// The summary lives during the call.
  using Visitor = std::function<void(const Summary&)>;

  /// What is stored, in order of time: quarter hours, hours once they are older than a year.
  /// Channels are kept by the hour: those of an hour come with its last quarter. Of rolled-up hours
  /// they are kept by the day and come at its end with a summary of `quarters` 0 that spans the
  /// day.
  void bins(std::string_view link, Direction direction, Time from, Time to, const Visitor& visit);

  /// The same merged into spans of `step` (at least a quarter hour) that begin at multiples of it
  /// since the epoch, UTC; spans without data are left out. Where hours are all there is, an hour
  /// belongs to the span that it begins in, and a day's channels to a span that holds all of it.
  void summaries(std::string_view link, Direction direction, Time from, Time to, Duration step,
                 const Visitor& visit);
  /// By calendar month, UTC; `span` is the length of that month.
  void months(std::string_view link, Direction direction, Time from, Time to, const Visitor& visit);

  /// In order of time. `link` empty: of everything; else of this link alone.
  std::vector<EventRecord> events(Time from, Time to, std::string_view link = {});
  std::vector<MarkRecord> marks(Time from, Time to);
  /// Those that touch [from, to), by beginning; one kind, link, direction and beginning once.
  std::vector<PeriodRecord> periods(Time from, Time to, std::string_view link = {});

  /// What could not be read so far, in words, each once.
  const std::vector<std::string>& problems() const;

 private:
  struct State;
  explicit Reader(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

}  // namespace fadeward::history
