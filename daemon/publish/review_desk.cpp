#include "fadeward/publish/review_desk.hpp"

#include <algorithm>
#include <chrono>
#include <condition_variable>
#include <deque>
#include <map>
#include <mutex>
#include <thread>

#include "escape.hpp"
#include "fadeward/base/thread.hpp"
#include "fadeward/history/reader.hpp"
#include "fadeward/publish/review_page.hpp"

namespace fadeward::publish {

namespace {

using Clock = std::chrono::steady_clock;

constexpr std::chrono::milliseconds kPatience{250};  ///< that other requests can wait
constexpr std::size_t kMostWaiting = 8;
constexpr std::string_view kHtml = "text/html; charset=utf-8";

struct Kept {
  std::shared_ptr<const std::string> page;
  unsigned status = 200;
  Clock::time_point made{};
  bool under_way = false;
  bool configured = false;
  std::uint64_t configuration = 0;  ///< which one it was made by
};

HttpAnswer answer_of(const Kept& kept) {
  HttpAnswer answer;
  answer.status = kept.status;
  answer.content_type = kHtml;
  answer.body = *kept.page;
  answer.keep = kept.page;
  return answer;
}

}  // namespace

struct ReviewDesk::State {
  struct Job {
    std::string link;  ///< empty: the lines of the last day
    review::LinkContext context;
    bool configured = false;
    std::uint64_t configuration = 0;
    Time now{};
  };

  const std::string dir;
  std::mutex mutex;
  std::condition_variable work, done;
  std::deque<Job> jobs;
  std::map<std::string, Kept, std::less<>> pages;
  std::map<std::string, review::Periods, std::less<>> upkeep;
  std::uint64_t configuration = 0;  ///< counted
  std::shared_ptr<const review::LastDays> days;
  Clock::time_point days_made{};
  bool days_under_way = false;
  bool stopping = false;
  std::thread thread;

  explicit State(std::string path) : dir(std::move(path)) {
    thread = start_thread("review", [this] { run(); });
  }

  void run() {
    std::unique_lock lock(mutex);
    for (;;) {
      work.wait(lock, [this] { return stopping || !jobs.empty(); });
      if (stopping) return;
      const Job job = std::move(jobs.front());
      jobs.pop_front();
      lock.unlock();
      try {
        serve(job);
      } catch (const std::exception&) {  // out of memory: the next asks again
        fail(job);
      }
      lock.lock();
      done.notify_all();
    }
  }

  void fail(const Job& job) {
    const std::lock_guard lock(mutex);
    if (job.link.empty())
      days_under_way = false;
    else
      pages.erase(job.link);
  }

  void serve(const Job& job) {
    auto opened = history::Reader::open(dir);
    if (job.link.empty()) {
      auto found = std::make_shared<const review::LastDays>(
          opened ? review::last_days(*opened, job.now) : review::LastDays{});
      const std::lock_guard lock(mutex);
      days = std::move(found);
      days_made = Clock::now();
      days_under_way = false;
      return;
    }
    Kept kept;
    kept.page = std::make_shared<const std::string>(page_of(job, opened, kept.status));
    kept.made = Clock::now();
    kept.configured = job.configured;
    kept.configuration = job.configuration;
    const std::lock_guard lock(mutex);
    pages.insert_or_assign(job.link, std::move(kept));
  }

  static std::string page_of(const Job& job, Result<history::Reader>& opened, unsigned& status) {
    if (opened) {
      review::Question question;
      question.link = job.link;
      question.context = job.context;
      if (job.configured) question.alive = job.now;
      const review::LinkReview found = review::review_link(*opened, question);
      if (!found.empty()) return review_page({&found, 1}, PageKind::served);
    }
    status = job.configured ? 200 : 404;
    return job.configured
               ? plain_page("Review of " + job.link,
                            "Nothing is in the history of this link yet. The first quarter hour "
                            "will be there within half an hour of its first report.")
               : plain_page("No such link",
                            "There is no link of the name " + job.link +
                                ", neither in the configuration nor in the history.");
  }

  /// With the lock held. The oldest page goes.
  void make_room() {
    while (pages.size() >= kMostPages) {
      const auto oldest = std::ranges::min_element(pages, [](const auto& a, const auto& b) {
        return std::pair(a.second.under_way, a.second.made) <
               std::pair(b.second.under_way, b.second.made);
      });
      if (oldest->second.under_way) return;
      pages.erase(oldest);
    }
  }
};

ReviewDesk::ReviewDesk(std::string dir) : state_(std::make_unique<State>(std::move(dir))) {}

ReviewDesk::~ReviewDesk() {
  {
    const std::lock_guard lock(state_->mutex);
    state_->stopping = true;
  }
  state_->work.notify_all();
  state_->thread.join();
}

void ReviewDesk::configure(std::map<std::string, review::Periods, std::less<>> upkeep) {
  const std::lock_guard lock(state_->mutex);
  state_->upkeep = std::move(upkeep);
  ++state_->configuration;
}

HttpAnswer ReviewDesk::page(std::string_view encoded_name, const judge::Snapshot& snapshot) {
  const auto name = percent_decode(encoded_name);
  if (!name || name->empty())
    return HttpAnswer::of(404, kHtml,
                          plain_page("No such link", "The address names no link: /review/NAME."));
  std::unique_lock lock(state_->mutex);
  const auto link = std::ranges::find(snapshot.links, *name, &judge::LinkSnapshot::name);
  const bool configured = link != snapshot.links.end();
  const auto old = [&](const Kept& kept) {
    return Clock::now() - kept.made > kKept || kept.configured != configured ||
           kept.configuration != state_->configuration;
  };
  auto at = state_->pages.find(*name);
  if (at == state_->pages.end() || (!at->second.under_way && old(at->second))) {
    if (state_->jobs.size() >= kMostWaiting) {
      if (at != state_->pages.end()) return answer_of(at->second);
      return HttpAnswer::of(
          503, kHtml,
          plain_page("Busy", "Other reviews are being worked out. This page asks again by itself.",
                     true));
    }
    State::Job job;
    job.link = *name;
    job.now = snapshot.time;
    job.configured = configured;
    job.configuration = state_->configuration;
    if (const auto known = state_->upkeep.find(*name); configured && known != state_->upkeep.end())
      job.context.upkeep = known->second;
    if (job.configured) {
      job.context.warning_db = link->margin_warning_db;
      job.context.critical_db = link->margin_critical_db;
      for (std::size_t d = 0; d < kDirections; ++d)
        job.context.budget_margin_db[d] = link->directions[d].budget_margin_db;
    }
    if (at == state_->pages.end()) {
      state_->make_room();
      at = state_->pages.emplace(*name, Kept{}).first;
    }
    at->second.under_way = true;
    state_->jobs.push_back(std::move(job));
    state_->work.notify_one();
  }
  const auto ready = [&] {
    const auto found = state_->pages.find(*name);
    return found == state_->pages.end() || !found->second.under_way;
  };
  state_->done.wait_for(lock, kPatience, ready);
  const auto found = state_->pages.find(*name);
  if (found != state_->pages.end() && found->second.page)
    return answer_of(found->second);  // may be the one before
  return HttpAnswer::of(
      202, kHtml,
      plain_page("Review of " + *name,
                 "The review is being worked out. This page asks again by itself.", true));
}

std::shared_ptr<const review::LastDays> ReviewDesk::last_days(Time now) {
  std::unique_lock lock(state_->mutex);
  const bool old = !state_->days || Clock::now() - state_->days_made > kKept;
  if (old && !state_->days_under_way && state_->jobs.size() < kMostWaiting) {
    state_->days_under_way = true;
    State::Job job;
    job.now = now;
    state_->jobs.push_back(std::move(job));
    state_->work.notify_one();
  }
  // The first page after a start is worth a moment; later ones show what is at hand.
  if (!state_->days)
    state_->done.wait_for(lock, kPatience, [&] { return !state_->days_under_way; });
  return state_->days;
}

}  // namespace fadeward::publish
