// The little of SQLite that this room uses, with errors as values.
#pragma once

#include <sqlite3.h>

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <utility>

#include "fadeward/base/result.hpp"

namespace fadeward::history {

/// A prepared statement. Views that it takes must live until it is reset, views that it gives until
/// the next step. Not thread-safe.
class Statement {
 public:
  Statement() = default;
  explicit Statement(sqlite3_stmt* held) : held_(held) {}
  ~Statement() { sqlite3_finalize(held_); }
  Statement(Statement&& other) noexcept : held_(std::exchange(other.held_, nullptr)) {}
  Statement& operator=(Statement&& other) noexcept {
    std::swap(held_, other.held_);
    return *this;
  }

  explicit operator bool() const { return held_ != nullptr; }

  void bind(int at, std::int64_t value) { sqlite3_bind_int64(held_, at, value); }
  void bind(int at, double value) { sqlite3_bind_double(held_, at, value); }
  void bind(int at, std::string_view text) {
    // A view of nothing is an empty text, not NULL.
    sqlite3_bind_text(held_, at, text.data() == nullptr ? "" : text.data(),
                      static_cast<int>(text.size()), SQLITE_STATIC);
  }
  void bind_blob(int at, std::string_view bytes) {
    sqlite3_bind_blob(held_, at, bytes.data(), static_cast<int>(bytes.size()), SQLITE_STATIC);
  }
  template <class T>
  void bind(int at, const std::optional<T>& value) {
    if (value)
      bind(at, *value);
    else
      sqlite3_bind_null(held_, at);
  }

  /// SQLITE_ROW, SQLITE_DONE or an error.
  int step() { return sqlite3_step(held_); }
  void reset() { sqlite3_reset(held_); }

  bool is_null(int column) const { return sqlite3_column_type(held_, column) == SQLITE_NULL; }
  std::int64_t integer(int column) const { return sqlite3_column_int64(held_, column); }
  double number(int column) const { return sqlite3_column_double(held_, column); }
  std::string_view bytes(int column) const {
    const void* data = sqlite3_column_blob(held_, column);
    const int size = sqlite3_column_bytes(held_, column);
    if (data == nullptr || size <= 0) return {};
    return {static_cast<const char*>(data), static_cast<std::size_t>(size)};
  }

 private:
  sqlite3_stmt* held_ = nullptr;
};

/// One connection; closes with its end. Statements must be gone before.
class Database {
 public:
  enum class Mode : std::uint8_t { write, read, immutable };

  Database() = default;
  ~Database() { close(); }
  Database(Database&& other) noexcept : held_(std::exchange(other.held_, nullptr)) {}
  Database& operator=(Database&& other) noexcept {
    std::swap(held_, other.held_);
    return *this;
  }

  /// `vfs`: empty for the usual one.
  int open(const std::string& path, Mode mode, const std::string& vfs = {});
  void close();
  bool is_open() const { return held_ != nullptr; }
  sqlite3* handle() const { return held_; }

  /// Runs statements without results; SQLITE_OK or an error.
  int run(const char* sql);
  /// Null if it could not be made; then `error` tells why.
  Statement prepare(std::string_view sql);
  /// The first column of the first row; empty: no row, or an error.
  std::optional<std::int64_t> number(std::string_view sql);
  std::optional<std::string> text(std::string_view sql);

  int code() const { return held_ == nullptr ? SQLITE_CANTOPEN : sqlite3_extended_errcode(held_); }
  /// In words, for the log.
  std::string error() const;

 private:
  sqlite3* held_ = nullptr;
};

/// Whether this error says that the file itself is spoiled.
bool means_damage(int code);

}  // namespace fadeward::history
