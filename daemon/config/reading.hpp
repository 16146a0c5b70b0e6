// Where the reader stands in the document, and what it found wrong so far.
#pragma once

#include <string>
#include <string_view>

#include "complaints.hpp"
#include "fadeward/config/parse.hpp"
#include "node.hpp"

namespace fadeward::config {

class Reading {
 public:
  Reading(const Node& document, std::string_view file_name, const Vocabulary& known);

  /// A reading of the same document without any complaints yet, standing at its root.
  Reading fresh() const { return {root, directory_, vocabulary}; }

  const Node& root;
  const Vocabulary& vocabulary;
  Complaints complaints;

  const std::string& path() const { return path_; }  ///< "links[2].radio"

  /// "13 is not allowed: a whole number from 5 to 12", at the node.
  void refuse(const Node& node, std::string_view allowed);
  void complain(Place place, std::string words);
  /// The same for a key inside the present map: its value's place, or the map's where it is absent.
  void complain_at(const Node& map, std::string_view key, std::string words);

  /// The path as text, taken from the directory of the file unless it is absolute.
  std::string resolve(std::string_view file_path) const;

  /// Extends the path while it lives.
  class Step {
   public:
    Step(Reading& reading, std::string_view key);
    Step(Reading& reading, std::size_t index);
    ~Step() { reading_.path_.resize(length_); }
    Step(const Step&) = delete;
    Step& operator=(const Step&) = delete;

   private:
    Reading& reading_;
    std::size_t length_;
  };

 private:
  std::string path_;
  std::string directory_;  // with its slash; empty: the working directory
};

/// A value as it is shown in messages: 13, "13" (quoted), a list, a map, nothing.
std::string shown(const Node& node);

/// ", did you mean NEAREST?" or nothing, where no known word is near.
std::string suggestion(const Reading& reading, std::string_view word,
                       const std::vector<std::string_view>& known);

/// "a, b, c"
std::string listed(const std::vector<std::string_view>& words);

}  // namespace fadeward::config
