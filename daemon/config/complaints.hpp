// Everything found wrong in one file, with places.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "node.hpp"

namespace fadeward::config {

class Complaints {
 public:
  /// `path` may be empty (the whole file).
  void add(Place place, std::string_view path, std::string words);
  bool empty() const { return held_.empty(); }
  std::size_t size() const { return held_.size() + not_held_; }

  /// Sorted by place, repetitions left out, at most kMaxErrors lines and a count of the rest.
  /// `yaml_text` turns byte columns into characters.
  std::string text(std::string_view file_name, std::string_view yaml_text) const;

 private:
  struct Complaint {
    Place place;
    std::string words;
  };
  std::vector<Complaint> held_;
  std::size_t not_held_ = 0;  // beyond a number that nobody reads
};

}  // namespace fadeward::config
