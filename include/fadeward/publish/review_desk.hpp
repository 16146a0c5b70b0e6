// The pages that need the history: worked out on a thread of their own and kept for some minutes.
#pragma once

#include <functional>
#include <map>
#include <memory>
#include <string>

#include "fadeward/judge/snapshot.hpp"
#include "fadeward/publish/site.hpp"
#include "fadeward/review/last_day.hpp"
#include "fadeward/review/upkeep.hpp"

namespace fadeward::publish {

/// Asked by one thread (of HTTP); reads the history on another. The destructor waits for
/// a page under way.
class ReviewDesk {
 public:
  /// How long a page and the lines of the last day are handed out again.
  static constexpr Duration kKept = std::chrono::minutes{5};
  static constexpr std::size_t kMostPages = 16;

  /// `dir` may not exist yet: then there is no data.
  explicit ReviewDesk(std::string dir);
  ~ReviewDesk();

  /// What the configuration says of work on each link; from any thread. Pages made before it are
  /// not handed out again.
  void configure(std::map<std::string, review::Periods, std::less<>> upkeep);

  /// GET /review/NAME. Waits a moment for the page; where it takes longer: 202 with a page that
  /// asks again. 404 with a sentence for a link that is neither configured nor in the history.
  HttpAnswer page(std::string_view encoded_name, const judge::Snapshot& snapshot);

  /// The newest lines there are; null until the first are ready. Asking has them renewed when they
  /// are old.
  std::shared_ptr<const review::LastDays> last_days(Time now);

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace fadeward::publish
