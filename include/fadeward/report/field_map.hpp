// Which name in a frame means which canonical key, and how its value is turned into the key's unit.
#pragma once

#include <algorithm>
#include <cstdint>
#include <cstring>
#include <functional>
#include <map>
#include <span>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "fadeward/base/field.hpp"
#include "fadeward/base/result.hpp"
#include "fadeward/base/settings.hpp"

namespace fadeward::report {

/// Where one value goes: (bits of raw) * scale + offset.
struct Target {
  enum class Kind : std::uint8_t { field, time, link };
  Kind kind = Kind::field;
  Field field = Field::seq;
  std::uint8_t low_bit = 0;
  std::uint8_t bit_count = 0;  ///< 0: the whole value
  double scale = 1;
  double offset = 0;

  bool is_plain() const { return bit_count == 0 && scale == 1 && offset == 0; }
};

/// Built once from the rules. A key without a rule is found under its canonical name; a rule moves
/// its key to the name in `from`. One name may feed several keys (bits of a status word).
class FieldMap {
 public:
  /// Errors: a key that is neither a field nor "time" nor "link"; bits out of 0..63 or none; a
  /// scale of zero; scale or offset not finite.
  static Result<FieldMap> make(const std::map<std::string, FieldRule>& rules);

  /// What the name feeds; empty if nobody knows it.
  std::span<const Target> find(std::string_view name) const;

  /// Does any name begin with `prefix`? (Worth looking into an object called so.)
  bool any_below(std::string_view prefix) const;

 private:
  struct Hash {
    using is_transparent = void;
    /// Both ends and the length: enough to tell names apart, and quick.
    std::size_t operator()(std::string_view name) const {
      std::uint64_t head = 0, tail = 0;
      std::memcpy(&head, name.data(), std::min<std::size_t>(name.size(), 8));
      if (name.size() > 8) std::memcpy(&tail, name.data() + name.size() - 8, 8);
      return static_cast<std::size_t>(((head ^ name.size()) * 31 + tail) * 0x9e3779b97f4a7c15 >>
                                      24U);
    }
  };
  std::unordered_map<std::string, std::vector<Target>, Hash, std::equal_to<>> targets_;
};

}  // namespace fadeward::report
