// Labels of one sample among those that all share, in order of their names.
#pragma once

#include <map>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "fadeward/publish/write_request.hpp"

namespace fadeward::publish {

class SeriesLabels {
 public:
  /// Refers to `shared`.
  explicit SeriesLabels(const std::map<std::string, std::string>& shared) {
    for (const auto& [name, value] : shared) shared_.emplace_back(name, value);
  }
  /// `own` in order of names; where both have a name, the sample's own counts. The view lives until
  /// the next call.
  std::string_view with(std::span<const WriteLabel> own) {
    merged_.clear();
    std::size_t i = 0;
    for (const WriteLabel& each : own) {
      while (i < shared_.size() && shared_[i].first < each.first) merged_.push_back(shared_[i++]);
      if (i < shared_.size() && shared_[i].first == each.first) ++i;
      merged_.push_back(each);
    }
    while (i < shared_.size()) merged_.push_back(shared_[i++]);
    text_.clear();
    append_labels(text_, merged_);
    return text_;
  }

 private:
  std::vector<WriteLabel> shared_;
  std::vector<WriteLabel> merged_;
  std::string text_;
};

}  // namespace fadeward::publish
