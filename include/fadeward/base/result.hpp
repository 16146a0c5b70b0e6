// What travels between rooms instead of exceptions: a value or an error with its words.
#pragma once

#include <string>
#include <utility>
#include <variant>

namespace fadeward {

/// What went wrong, in words for the person at the console. No newline at the end.
struct Error {
  std::string message;
};

/// A value or an `Error`. Calling `value()` on an error is our own mistake (std::get throws).
template <class T>
class [[nodiscard]] Result {
 public:
  Result(T value) : held_(std::move(value)) {}                 // NOLINT(google-explicit-constructor)
  Result(Error error) : held_(std::move(error)) {}             // NOLINT(google-explicit-constructor)

  explicit operator bool() const { return std::holds_alternative<T>(held_); }
  bool ok() const { return std::holds_alternative<T>(held_); }

  T& value() & { return std::get<T>(held_); }
  const T& value() const& { return std::get<T>(held_); }
  T&& value() && { return std::get<T>(std::move(held_)); }
  T& operator*() & { return value(); }
  const T& operator*() const& { return value(); }
  T* operator->() { return &value(); }
  const T* operator->() const { return &value(); }

  const Error& error() const { return std::get<Error>(held_); }

 private:
  std::variant<T, Error> held_;
};

/// Success without a value, or an `Error`.
using Status = Result<std::monostate>;
inline Status success() { return std::monostate{}; }

}  // namespace fadeward
