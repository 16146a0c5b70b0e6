#include "fadeward/history/held_file.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <map>
#include <string_view>
#include <tuple>
#include <vector>

#include "fadeward/base/archive.hpp"
#include "fadeward/base/checksum.hpp"
#include "fadeward/history/bin_code.hpp"

namespace fadeward::history {

namespace {

constexpr std::string_view kMagic = "fadeward held 1\n";
enum class Piece : std::uint8_t { records, offset };

template <class A>
void archive_bin(A& a, BinRecord& record) {
  std::string bytes;
  if constexpr (!A::kReading) encode_bin(bytes, record.bin);
  a(record.link, record.direction, record.bin.start, bytes);
  if constexpr (A::kReading) {
    auto bin = decode_bin(bytes, record.bin.start);
    if (bin)
      record.bin = std::move(*bin);
    else
      a.fail();
    record.again = true;
  }
}

template <class A>
void archive_event(A& a, EventRecord& e) {
  a(e.time, e.link, e.port, e.direction, e.change, e.alert, e.severity, e.cause, e.shape, e.onset,
    e.size_db, e.confidence, e.text);
}

template <class A>
void archive_mark(A& a, MarkRecord& mark) {
  a(mark.time, mark.kind, mark.port, mark.text);
}

template <class A, class T, class F>
void archive_all(A& a, std::vector<T>& records, F one) {
  auto count = static_cast<std::uint32_t>(records.size());
  a(count);
  if constexpr (A::kReading) {
    for (std::uint32_t i = 0; i < count && a.ok(); ++i) one(a, records.emplace_back());
  } else {
    for (T& record : records) one(a, record);
  }
}

template <class A>
void archive_batch(A& a, Batch& batch) {
  archive_all(a, batch.bins, archive_bin<A>);
  archive_all(a, batch.events, archive_event<A>);
  archive_all(a, batch.marks, archive_mark<A>);
}

/// With its length and checksum.
std::string framed(const std::string& payload) {
  std::string out;
  ArchiveWriter frame(out);
  auto length = static_cast<std::uint32_t>(payload.size());
  std::uint64_t sum = checksum_of(payload);
  frame(length, sum);
  return out + payload;
}

std::string piece_of(std::string boot, const Batch& records) {
  std::string payload;
  ArchiveWriter writer(payload);
  auto kind = Piece::records;
  writer(boot, kind);
  Batch copy = records;
  archive_batch(writer, copy);
  return framed(payload);
}

std::string piece_of(std::string boot, Duration offset) {
  std::string payload;
  ArchiveWriter writer(payload);
  auto kind = Piece::offset;
  writer(boot, kind, offset);
  return framed(payload);
}

/// The first piece, which is cut off.
struct Cut {
  bool there = false;        ///< false: what is left is too short for a piece
  std::string_view payload;  ///< empty: damaged
};

Cut cut_piece(std::string_view& bytes) {
  ArchiveReader frame(bytes);
  std::uint32_t length = 0;
  std::uint64_t sum = 0;
  frame(length, sum);
  constexpr std::size_t kFrame = sizeof length + sizeof sum;
  if (!frame.ok() || bytes.size() - kFrame < length) return {};
  Cut out{true, bytes.substr(kFrame, length)};
  if (checksum_of(out.payload) != sum) out.payload = {};
  bytes.remove_prefix(kFrame + length);
  return out;
}

struct Boot {
  Batch records;
  std::optional<Duration> offset;
};

bool read_piece(std::string_view payload, std::map<std::string, Boot>& boots) {
  ArchiveReader reader(payload);
  std::string name;
  auto kind = Piece::records;
  reader(name, kind);
  Boot found;
  if (kind == Piece::records) {
    archive_batch(reader, found.records);
  } else if (kind == Piece::offset) {
    Duration offset{};
    reader(offset);
    found.offset = offset;
  } else {
    return false;
  }
  if (!reader.ok() || !reader.at_end()) return false;
  Boot& boot = boots[name];
  boot.records.append(found.records);
  if (found.offset) boot.offset = found.offset;
  return true;
}

struct Extent {
  std::size_t whole = 0;    ///< bytes up to the end of the last piece that is not cut short
  std::size_t spoiled = 0;  ///< bytes of damaged pieces, and of what is cut short
};

Extent read_pieces(std::string_view bytes, std::map<std::string, Boot>& boots) {
  std::string_view left = bytes;
  left.remove_prefix(kMagic.size());
  Extent out;
  for (;;) {
    const std::size_t before = left.size();
    const Cut cut = cut_piece(left);
    if (!cut.there) break;
    if (cut.payload.empty() || !read_piece(cut.payload, boots)) out.spoiled += before - left.size();
  }
  out.whole = bytes.size() - left.size();
  out.spoiled += left.size();
  return out;
}

/// Dates stay with their boot whatever it was.
void split_dates(Batch& batch, Batch& dates) {
  const auto split = [](auto& records, auto& to, auto time_of) {
    for (auto& record : records)
      if (believable(time_of(record))) to.push_back(std::move(record));
    std::erase_if(records, [&](const auto& record) { return believable(time_of(record)); });
  };
  split(batch.bins, dates.bins, [](const BinRecord& bin) { return bin.bin.start; });
  split(batch.events, dates.events, [](const EventRecord& event) { return event.time; });
  split(batch.marks, dates.marks, [](const MarkRecord& mark) { return mark.time; });
}

class File {
 public:
  File(const std::string& path, int flags) : file_(::open(path.c_str(), flags | O_CLOEXEC, 0640)) {}
  ~File() {
    if (file_ >= 0) ::close(file_);
  }
  File(const File&) = delete;
  File& operator=(const File&) = delete;
  explicit operator bool() const { return file_ >= 0; }
  int handle() const { return file_; }
  std::uint64_t size() const {
    struct stat file {};
    return ::fstat(file_, &file) == 0 ? static_cast<std::uint64_t>(file.st_size) : 0;
  }
  bool write(std::string_view bytes) const {
    while (!bytes.empty()) {
      const ssize_t wrote = ::write(file_, bytes.data(), bytes.size());
      if (wrote < 0 && errno == EINTR) continue;
      if (wrote <= 0) return false;
      bytes.remove_prefix(static_cast<std::size_t>(wrote));
    }
    return ::fsync(file_) == 0;
  }
  bool read(std::string& out) const {
    char part[65536];
    for (;;) {
      const ssize_t got = ::read(file_, part, sizeof part);
      if (got < 0 && errno == EINTR) continue;
      if (got <= 0) return got == 0;
      out.append(part, static_cast<std::size_t>(got));
    }
  }

 private:
  int file_;
};

Error system_error(const std::string& path) { return Error{path + ": " + std::strerror(errno)}; }

/// A new name is on disk once its directory is.
void sync_directory_of(const std::string& path) {
  const File dir(path.substr(0, path.rfind('/')), O_RDONLY | O_DIRECTORY);
  if (dir) ::fsync(dir.handle());
}

Time placed_quarter(Time start, Duration offset) {
  if (believable(start)) return start;
  const Duration at = (start + offset + kBinSpan / 2).time_since_epoch();
  return Time{at - at % kBinSpan};
}

}  // namespace

Batch placed(Batch records, Duration offset) {
  const auto move = [offset](Time& at) {
    if (!believable(at)) at += offset;
  };
  std::map<std::tuple<std::string, Direction, Time>, BinRecord> bins;
  for (BinRecord& record : records.bins) {
    record.bin.start = placed_quarter(record.bin.start, offset);
    const auto key = std::tuple{record.link, record.direction, record.bin.start};
    const auto there = bins.find(key);
    if (there == bins.end())
      bins.emplace(key, std::move(record));
    else
      there->second.bin.merge(record.bin);
  }
  records.bins.clear();
  for (auto& [key, record] : bins) records.bins.push_back(std::move(record));
  for (EventRecord& event : records.events) {
    move(event.time);
    if (event.onset) move(*event.onset);
  }
  for (MarkRecord& mark : records.marks) move(mark.time);
  for (PeriodRecord& period : records.periods) {
    move(period.from);
    move(period.to);
  }
  return records;
}

HeldFile::HeldFile(const std::string& dir, std::string boot)
    : path_(dir + "/held"), boot_(std::move(boot)) {}

Result<Held> HeldFile::load() {
  Held out;
  std::string bytes;
  {
    const File file(path_, O_RDONLY);
    if (!file && errno == ENOENT) return out;
    if (!file || !file.read(bytes)) return system_error(path_);
  }
  // The name of the version is written with the first piece, and may be cut short like one.
  if (kMagic.starts_with(bytes.substr(0, kMagic.size())) && bytes.size() < kMagic.size()) {
    out.spoiled = bytes.size();
    if (::unlink(path_.c_str()) != 0) return system_error(path_);
    return out;
  }
  if (!bytes.starts_with(kMagic)) return Error{path_ + ": not a file of this version"};
  std::map<std::string, Boot> boots;
  const Extent extent = read_pieces(bytes, boots);
  out.spoiled = extent.spoiled;
  // What is appended must follow a whole piece.
  if (extent.whole < bytes.size() &&
      ::truncate(path_.c_str(), static_cast<off_t>(extent.whole)) != 0)
    return system_error(path_);
  for (auto& [name, boot] : boots) {
    split_dates(boot.records, out.dated);
    if (name == boot_ && !boot_.empty()) {
      out.records = std::move(boot.records);
      out.offset = boot.offset;
    } else if (boot.offset && !name.empty()) {
      out.dated.append(placed(std::move(boot.records), *boot.offset));
    } else {
      out.undated.append(boot.records);
    }
  }
  return out;
}

Status HeldFile::append_piece(const std::string& piece) {
  const File file(path_, O_WRONLY | O_CREAT | O_APPEND);
  if (!file) return system_error(path_);
  const std::uint64_t before = file.size();
  const std::string bytes = before == 0 ? std::string(kMagic) + piece : piece;
  if (before + bytes.size() > kMostBytes)
    return Error{path_ + ": more waits for a clock than may be kept"};
  if (!file.write(bytes)) {
    const Error failed = system_error(path_);
    // Half a piece would hide what follows it; should this fail too, the next start cuts it off.
    static_cast<void>(!::ftruncate(file.handle(), static_cast<off_t>(before)));
    return failed;
  }
  if (before == 0) sync_directory_of(path_);
  return success();
}

Status HeldFile::append(const Batch& records) { return append_piece(piece_of(boot_, records)); }

Status HeldFile::append_offset(Duration offset) { return append_piece(piece_of(boot_, offset)); }

Status HeldFile::replace(const Batch& records) {
  const std::string fresh = path_ + ".new";
  {
    const File file(fresh, O_WRONLY | O_CREAT | O_TRUNC);
    if (!file || !file.write(std::string(kMagic) + piece_of(boot_, records)))
      return system_error(fresh);
  }
  if (::rename(fresh.c_str(), path_.c_str()) != 0) return system_error(path_);
  sync_directory_of(path_);
  return success();
}

Status HeldFile::remove() {
  if (::unlink(path_.c_str()) != 0 && errno != ENOENT) return system_error(path_);
  sync_directory_of(path_);
  return success();
}

std::string HeldFile::set_aside() {
  const std::string aside = path_ + ".unusable";
  ::rename(path_.c_str(), aside.c_str());
  return aside;
}

}  // namespace fadeward::history
