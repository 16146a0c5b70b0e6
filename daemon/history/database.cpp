#include "database.hpp"

namespace fadeward::history {

namespace {

/// A path as an SQLite URI.
std::string uri_of(const std::string& path, std::string_view query) {
  std::string out = "file:";
  for (const char c : path) {
    if (c == '?' || c == '#' || c == '%') {
      constexpr std::string_view digits = "0123456789abcdef";
      const auto byte = static_cast<unsigned char>(c);
      out += '%';
      out += digits[byte >> 4];
      out += digits[byte & 15];
    } else {
      out += c;
    }
  }
  out += query;
  return out;
}

}  // namespace

int Database::open(const std::string& path, Mode mode, const std::string& vfs) {
  close();
  int flags = SQLITE_OPEN_NOMUTEX | SQLITE_OPEN_PRIVATECACHE;
  flags |= mode == Mode::write ? SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE : SQLITE_OPEN_READONLY;
  std::string name = path;
  if (mode == Mode::immutable) {
    flags |= SQLITE_OPEN_URI;
    name = uri_of(path, "?immutable=1");
  }
  const int code =
      sqlite3_open_v2(name.c_str(), &held_, flags, vfs.empty() ? nullptr : vfs.c_str());
  if (held_ != nullptr) {
    sqlite3_extended_result_codes(held_, 1);
    sqlite3_busy_timeout(held_, 2000);
  }
  return code;
}

void Database::close() {
  sqlite3_close_v2(held_);
  held_ = nullptr;
}

int Database::run(const char* sql) { return sqlite3_exec(held_, sql, nullptr, nullptr, nullptr); }

Statement Database::prepare(std::string_view sql) {
  sqlite3_stmt* made = nullptr;
  sqlite3_prepare_v3(held_, sql.data(), static_cast<int>(sql.size()), SQLITE_PREPARE_PERSISTENT,
                     &made, nullptr);
  return Statement(made);
}

std::optional<std::int64_t> Database::number(std::string_view sql) {
  Statement statement = prepare(sql);
  if (!statement || statement.step() != SQLITE_ROW || statement.is_null(0)) return {};
  return statement.integer(0);
}

std::optional<std::string> Database::text(std::string_view sql) {
  Statement statement = prepare(sql);
  if (!statement || statement.step() != SQLITE_ROW || statement.is_null(0)) return {};
  return std::string(statement.bytes(0));
}

std::string Database::error() const {
  if (held_ == nullptr) return "not open";
  return sqlite3_errmsg(held_);
}

bool means_damage(int code) {
  const int primary = code & 0xff;
  return primary == SQLITE_CORRUPT || primary == SQLITE_NOTADB;
}

}  // namespace fadeward::history
