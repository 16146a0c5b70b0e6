// Says that a target has trouble, and that it is over.
#pragma once

#include <algorithm>
#include <cstdint>
#include <functional>
#include <string>
#include <utility>
#include <vector>

#include "fadeward/publish/pusher.hpp"

namespace fadeward::publish {

class TroubleLog {
 public:
  TroubleLog(std::string what, std::function<void(PushTone, const std::string&)> log)
      : what_(std::move(what)), log_(std::move(log)) {}

  /// Each reason once, and not more than a few of them.
  void failed(const std::string& why) {
    ++failures_;
    if (told_.size() >= kMostReasons || std::ranges::find(told_, why) != told_.end()) return;
    log_(PushTone::warning, what_ + " failed: " + why);
    told_.push_back(why);
  }
  void succeeded() {
    if (failures_ > 0)
      log_(PushTone::info, what_ + " works again after " + std::to_string(failures_) + " failures");
    told_.clear();
    failures_ = 0;
  }

 private:
  static constexpr std::size_t kMostReasons = 4;

  std::string what_;
  std::function<void(PushTone, const std::string&)> log_;
  std::vector<std::string> told_;
  std::uint64_t failures_ = 0;
};

}  // namespace fadeward::publish
