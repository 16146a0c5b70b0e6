#include "fadeward/publish/pusher.hpp"

#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/steady_timer.hpp>
#include <exception>
#include <thread>
#include <utility>
#include <vector>

#include "alert_target.hpp"
#include "push_ledger.hpp"
#include "write_target.hpp"

#include "fadeward/base/thread.hpp"

namespace fadeward::publish {

namespace asio = boost::asio;

namespace {

constexpr Duration kTurn = std::chrono::seconds{1};

}  // namespace

/// Everything but the constructor, configure(), start() and stop() runs on its own thread.
class Pusher::Core {
 public:
  Core(SnapshotBox& box, PushOutside outside, WebLimits limits)
      : box_(box), outside_(std::move(outside)), limits_(limits) {}
  ~Core() { stop(Duration{0}); }

  void configure(PushSettings settings, std::map<std::string, std::string> external_labels);
  void start();
  void stop(Duration at_most);

 private:
  void apply(const PushSettings& settings, std::map<std::string, std::string> external_labels);
  void run();
  void turn();
  void schedule();
  void end(Duration at_most);

  SnapshotBox& box_;
  const PushOutside outside_;
  const WebLimits limits_;
  std::map<std::string, std::string> external_labels_;
  PushLedger ledger_;
  AlertRoll roll_;
  std::uint64_t seen_ = 0;
  bool stopping_ = false;
  bool ended_ = false;
  asio::io_context io_{1};
  asio::steady_timer timer_{io_};
  // Declared after the loop, destroyed before it.
  std::vector<std::unique_ptr<AlertTarget>> alert_targets_;
  std::unique_ptr<WriteTarget> write_target_;
  std::thread thread_;
};

void Pusher::Core::configure(PushSettings settings,
                             std::map<std::string, std::string> external_labels) {
  if (!thread_.joinable()) return apply(settings, std::move(external_labels));
  asio::post(io_, [this, settings = std::move(settings), labels = std::move(external_labels)] {
    if (!stopping_) apply(settings, labels);
  });
}

void Pusher::Core::apply(const PushSettings& settings,
                         std::map<std::string, std::string> external_labels) {
  external_labels_ = std::move(external_labels);
  auto before = std::move(alert_targets_);
  alert_targets_.clear();
  std::vector<std::string> targets;
  for (const AlertmanagerTarget& each : settings.alertmanagers) {
    for (auto& old : before)
      if (old && old->settings() == each) alert_targets_.push_back(std::move(old));
    if (alert_targets_.size() == targets.size())
      alert_targets_.push_back(
          std::make_unique<AlertTarget>(io_, each, limits_, outside_, ledger_));
    targets.push_back(alert_targets_.back()->label());
  }
  if (!settings.remote_write) {
    write_target_.reset();
  } else {
    if (!write_target_ || write_target_->settings() != *settings.remote_write) {
      write_target_.reset();  // its cursor is written before the next one reads it
      write_target_ = std::make_unique<WriteTarget>(io_, *settings.remote_write, limits_, outside_,
                                                    box_, ledger_);
    }
    write_target_->label_with(external_labels_);
    targets.push_back(write_target_->label());
  }
  ledger_.keep_only(targets);
  ledger_.publish(box_);
}

void Pusher::Core::turn() {
  const Published published = box_.load();
  // A snapshot at the epoch is the one before the first.
  if (published.snapshot->time == Time{}) return;
  if (!alert_targets_.empty()) {
    roll_.look(*published.snapshot, external_labels_, outside_.now().steady);
    for (const auto& target : alert_targets_) target->turn(roll_);
  }
  if (write_target_) write_target_->turn();
  ledger_.publish(box_);
}

void Pusher::Core::schedule() {
  timer_.expires_after(outside_.real(kTurn));
  timer_.async_wait([this](const boost::system::error_code& cancelled) {
    if (cancelled || stopping_) return;
    turn();
    schedule();
  });
}

/// A fault in one handler is our own mistake; the others go on.
void Pusher::Core::run() {
  for (;;) {
    try {
      io_.run();
      return;
    } catch (const std::exception& fault) {
      outside_.log(PushTone::warning, std::string("fault while pushing: ") + fault.what());
      if (!stopping_) schedule();
    }
  }
}

void Pusher::Core::start() {
  if (thread_.joinable() || ended_) return;
  asio::post(io_, [this] {
    turn();
    schedule();
  });
  thread_ = start_thread("push", [this] { run(); });
}

void Pusher::Core::end(Duration at_most) {
  stopping_ = true;
  alert_targets_.clear();
  timer_.expires_after(at_most);
  timer_.async_wait([this](const boost::system::error_code&) {
    write_target_.reset();
    io_.stop();
  });
  if (!write_target_) return void(timer_.cancel());
  write_target_->end([this] { timer_.cancel(); });
}

void Pusher::Core::stop(Duration at_most) {
  if (!thread_.joinable()) return;
  asio::post(io_, [this, at_most] { end(at_most); });
  thread_.join();
  ended_ = true;
}

Pusher::Pusher(SnapshotBox& box, PushOutside outside, WebLimits limits)
    : core_(std::make_unique<Core>(box, std::move(outside), limits)) {}
Pusher::~Pusher() = default;

void Pusher::configure(PushSettings settings, std::map<std::string, std::string> external_labels) {
  core_->configure(std::move(settings), std::move(external_labels));
}
void Pusher::start() { core_->start(); }
void Pusher::stop(Duration at_most) { core_->stop(at_most); }

}  // namespace fadeward::publish
