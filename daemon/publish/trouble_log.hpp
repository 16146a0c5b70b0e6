// Says once that a target has trouble, and once that it is over.
#pragma once

#include <functional>
#include <string>
#include <utility>

#include "fadeward/publish/pusher.hpp"

namespace fadeward::publish {

class TroubleLog {
 public:
  TroubleLog(std::string what, std::function<void(PushTone, const std::string&)> log)
      : what_(std::move(what)), log_(std::move(log)) {}

  void failed(const std::string& why) {
    ++failures_;
    if (why == why_) return;
    if (why_.empty() || failures_ - told_ >= kBetween) {
      log_(PushTone::warning, what_ + " failed: " + why);
      told_ = failures_;
      why_ = why;
    }
  }
  void succeeded() {
    if (!why_.empty())
      log_(PushTone::info, what_ + " works again after " + std::to_string(failures_) + " failures");
    why_.clear();
    failures_ = told_ = 0;
  }

 private:
  static constexpr unsigned long kBetween = 20;   ///< failures, where the reason changes each time

  std::string what_;
  std::function<void(PushTone, const std::string&)> log_;
  std::string why_;
  unsigned long failures_ = 0;
  unsigned long told_ = 0;
};

}  // namespace fadeward::publish
