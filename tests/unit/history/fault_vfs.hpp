// A file layer for SQLite that fails when told to: what a full or broken disk does.
#pragma once

#include <sqlite3.h>

#include <atomic>
#include <cstring>
#include <string>

namespace fadeward::test {

/// Operations (write, truncate, sync, open, delete) are counted; from the `fail_from`-th on each
/// fails, `fail_count` of them. One at a time in a process.
class FaultVfs {
 public:
  explicit FaultVfs(const char* name) : name_(name) {
    current_ = this;
    real_ = sqlite3_vfs_find(nullptr);
    vfs_ = *real_;
    vfs_.zName = name;
    vfs_.pNext = nullptr;
    vfs_.szOsFile = static_cast<int>(sizeof(File)) + real_->szOsFile;
    vfs_.xOpen = open;
    vfs_.xDelete = remove;
    sqlite3_vfs_register(&vfs_, 0);
  }
  ~FaultVfs() {
    sqlite3_vfs_unregister(&vfs_);
    current_ = nullptr;
  }
  FaultVfs(const FaultVfs&) = delete;
  FaultVfs& operator=(const FaultVfs&) = delete;

  const char* name() const { return name_; }
  long operations = 0;
  long fail_from = -1;
  long fail_count = 1;
  std::atomic<bool> broken = false;  ///< every operation fails; may be told from another thread
  int error = SQLITE_FULL;  ///< of writes; other operations fail with an I/O error

 private:
  struct File {
    sqlite3_file base;
    sqlite3_file* real() { return reinterpret_cast<sqlite3_file*>(this + 1); }
  };
  static File* of(sqlite3_file* file) { return reinterpret_cast<File*>(file); }
  static bool fails() {
    FaultVfs& self = *current_;
    const long at = ++self.operations;
    if (self.broken) return true;
    return self.fail_from >= 0 && at >= self.fail_from && at < self.fail_from + self.fail_count;
  }

  static int open(sqlite3_vfs*, const char* path, sqlite3_file* file, int flags, int* out) {
    file->pMethods = nullptr;
    if (fails()) return SQLITE_CANTOPEN;
    File* own = of(file);
    const int code = current_->real_->xOpen(current_->real_, path, own->real(), flags, out);
    if (own->real()->pMethods != nullptr) {
      static const sqlite3_io_methods methods = make();
      file->pMethods = &methods;
    }
    return code;
  }
  static int remove(sqlite3_vfs*, const char* path, int sync) {
    if (fails()) return SQLITE_IOERR_DELETE;
    return current_->real_->xDelete(current_->real_, path, sync);
  }
  static sqlite3_io_methods make() {
    sqlite3_io_methods m{};
    m.iVersion = 2;
    m.xClose = [](sqlite3_file* f) { return of(f)->real()->pMethods->xClose(of(f)->real()); };
    m.xRead = [](sqlite3_file* f, void* to, int n, sqlite3_int64 at) {
      return of(f)->real()->pMethods->xRead(of(f)->real(), to, n, at);
    };
    m.xWrite = [](sqlite3_file* f, const void* from, int n, sqlite3_int64 at) {
      if (!fails()) return of(f)->real()->pMethods->xWrite(of(f)->real(), from, n, at);
      // A disk that runs full may take a part.
      of(f)->real()->pMethods->xWrite(of(f)->real(), from, n / 2, at);
      return current_->error;
    };
    m.xTruncate = [](sqlite3_file* f, sqlite3_int64 size) {
      return fails() ? SQLITE_IOERR_TRUNCATE
                     : of(f)->real()->pMethods->xTruncate(of(f)->real(), size);
    };
    m.xSync = [](sqlite3_file* f, int flags) {
      return fails() ? SQLITE_IOERR_FSYNC : of(f)->real()->pMethods->xSync(of(f)->real(), flags);
    };
    m.xFileSize = [](sqlite3_file* f, sqlite3_int64* size) {
      return of(f)->real()->pMethods->xFileSize(of(f)->real(), size);
    };
    m.xLock = [](sqlite3_file* f, int lock) {
      return of(f)->real()->pMethods->xLock(of(f)->real(), lock);
    };
    m.xUnlock = [](sqlite3_file* f, int lock) {
      return of(f)->real()->pMethods->xUnlock(of(f)->real(), lock);
    };
    m.xCheckReservedLock = [](sqlite3_file* f, int* out) {
      return of(f)->real()->pMethods->xCheckReservedLock(of(f)->real(), out);
    };
    m.xFileControl = [](sqlite3_file* f, int op, void* arg) {
      return of(f)->real()->pMethods->xFileControl(of(f)->real(), op, arg);
    };
    m.xSectorSize = [](sqlite3_file* f) {
      return of(f)->real()->pMethods->xSectorSize(of(f)->real());
    };
    m.xDeviceCharacteristics = [](sqlite3_file* f) {
      return of(f)->real()->pMethods->xDeviceCharacteristics(of(f)->real());
    };
    m.xShmMap = [](sqlite3_file* f, int page, int size, int extend, void volatile** out) {
      return of(f)->real()->pMethods->xShmMap(of(f)->real(), page, size, extend, out);
    };
    m.xShmLock = [](sqlite3_file* f, int at, int n, int flags) {
      return of(f)->real()->pMethods->xShmLock(of(f)->real(), at, n, flags);
    };
    m.xShmBarrier = [](sqlite3_file* f) { of(f)->real()->pMethods->xShmBarrier(of(f)->real()); };
    m.xShmUnmap = [](sqlite3_file* f, int remove) {
      return of(f)->real()->pMethods->xShmUnmap(of(f)->real(), remove);
    };
    return m;
  }

  static inline FaultVfs* current_ = nullptr;
  const char* name_;
  sqlite3_vfs* real_;
  sqlite3_vfs vfs_;
};

}  // namespace fadeward::test
