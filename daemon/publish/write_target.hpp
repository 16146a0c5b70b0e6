// One remote-write receiver: its connection, its plan, its batches and its counts.
#pragma once

#include <boost/asio/io_context.hpp>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <string>

#include "fadeward/history/reader.hpp"
#include "fadeward/publish/backlog_samples.hpp"
#include "fadeward/publish/live_samples.hpp"
#include "fadeward/publish/push_backoff.hpp"
#include "fadeward/publish/pusher.hpp"
#include "fadeward/publish/web_client.hpp"
#include "fadeward/publish/write_plan.hpp"
#include "fadeward/publish/write_queue.hpp"
#include "push_ledger.hpp"
#include "trouble_log.hpp"

namespace fadeward::publish {

/// One thread. What it is given outlives it.
class WriteTarget {
 public:
  WriteTarget(boost::asio::io_context& io, const RemoteWriteSettings& settings,
              const WebLimits& limits, const PushOutside& outside, SnapshotBox& box,
              PushLedger& ledger);
  ~WriteTarget();

  /// For what is taken from now on; what the receiver has under other labels ends there.
  void label_with(const std::map<std::string, std::string>& external_labels);
  /// Sends if it is time, one request at most.
  void turn();
  /// The last request: all series end. Calls `done` when it is over or there is nothing to end.
  void end(std::function<void()> done);
  /// The cursor to the disk, if it has moved.
  void save();

  const RemoteWriteSettings& settings() const { return settings_; }
  const std::string& label() const { return client_.label(); }

 private:
  enum class Load : std::uint8_t { live, backlog, end };

  WriteCursor load_cursor() const;
  std::string cursor_path() const;
  void take_live(const Published& published);
  void abandon_live();
  void load_backlog(const judge::Snapshot& snapshot);
  void read_backlog();
  void backlog_read();
  bool try_later(const std::string& why);
  void post(Load load);
  void post_end();
  void answered(Load load, const WebAnswer& answer);
  void refused(Load load, const WebAnswer& answer);
  void finished(Load load);
  void show_behind();
  void again();

  WriteQueue& queue(Load load) { return load == Load::backlog ? backlog_queue_ : live_queue_; }
  const WriteBatch& batch(Load load) const {
    return load == Load::backlog ? backlog_.batch() : live_batch_;
  }

  const RemoteWriteSettings settings_;
  const PushOutside& outside_;
  SnapshotBox& box_;
  PushLedger& ledger_;
  boost::asio::io_context& io_;
  WebClient client_;
  TroubleLog trouble_;
  TroubleLog disk_trouble_;
  TroubleLog history_trouble_;
  WritePlan plan_;
  PushBackoff backoff_;
  std::map<std::string, std::string> labels_;
  LiveSamples live_;
  WriteBatch live_batch_;
  WriteQueue live_queue_;  ///< also of the end
  Time live_time_{};
  BacklogSamples backlog_;
  WriteQueue backlog_queue_;
  std::optional<history::Reader> reader_;  ///< open while there is a backlog
  std::optional<Duration> unread_since_;   ///< since when it cannot be read
  Duration read_again_ = Duration::min();  ///< not before
  WriteRequestBuilder request_;
  bool trusted_ = false;       ///< the clock, at the last turn
  bool failing_ = false;       ///< the last request did not reach it
  bool backlog_next_ = false;  ///< whose turn it is where both wait
  std::size_t old_ = 0;        ///< too old, and not yet told in the log
  Duration not_before_ = Duration::min();
  std::function<void()> ended_;  ///< set: nothing but the end is sent any more
  std::string saved_;            ///< what stands on disk
  Time saved_at_{};
  std::shared_ptr<char> alive_ = std::make_shared<char>();  ///< for what waits in the loop
};

}  // namespace fadeward::publish
