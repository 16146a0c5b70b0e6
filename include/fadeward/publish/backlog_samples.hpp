// Quarter hours from the history as a batch of samples.
#pragma once

#include <functional>
#include <map>
#include <string>
#include <vector>

#include "fadeward/history/reader.hpp"
#include "fadeward/publish/write_batch.hpp"
#include "fadeward/publish/write_plan.hpp"

namespace fadeward::publish {

/// The gauges among history::quantities() that /metrics has too: a counter needs no backlog, since
/// its next live value holds everything. A sample has the time of the end of its quarter hour, as
/// in the export.
std::size_t backlog_quantities();

/// Reads in steps, so that nothing else on the thread waits long. Holds the batch while it is sent.
class BacklogSamples {
 public:
  /// `links` in the order of the settings.
  void begin(const WriteBacklog& what, std::vector<std::string> links);
  /// One link and direction. False: everything is read.
  bool step(history::Reader& reader, const std::map<std::string, std::string>& labels);

  bool reading() const { return next_ < 2 * links_.size(); }
  const WriteBacklog& what() const { return what_; }
  /// Empty where the samples are too old and only counted.
  const WriteBatch& batch() const { return batch_; }
  std::size_t counted() const { return counted_; }

 private:
  WriteBacklog what_;
  std::vector<std::string> links_;
  std::size_t next_ = 0;
  std::vector<Time> ends_;
  WriteBatch batch_;
  std::size_t counted_ = 0;
};

}  // namespace fadeward::publish
