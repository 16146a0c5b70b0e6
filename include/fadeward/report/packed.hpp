// Binary frames: numbers at fixed places.
#pragma once

#include <span>
#include <string_view>
#include <vector>

#include "fadeward/report/builder.hpp"

namespace fadeward::report {

/// A frame shorter than `packed_min_bytes`, or where that is 0 than its last field needs, is
/// `syntax`; fields beyond the end of a frame that is long enough are absent. Floating-point NaN
/// and infinities are left out and counted. A link is written as a decimal number.
class PackedDecoder final : public Decoder {
 public:
  /// Errors: a field whose name nobody knows.
  static Result<std::unique_ptr<Decoder>> make(FieldMap map, const DecoderSettings& settings);
  void decode(std::string_view frame, Time now, ReportSink& sink) override;

 private:
  struct Place {
    std::size_t at = 0;
    std::size_t size = 0;
    PackedType type = PackedType::u8;
    bool big_endian = false;
    std::vector<Target> targets;
  };
  PackedDecoder(FieldMap map, std::vector<Place> places, std::size_t min_bytes);

  ReportBuilder builder_;
  const std::vector<Place> places_;
  const std::size_t min_bytes_;
};

/// The number of one type at the front of `bytes`, which must hold it.
RawValue read_packed(std::string_view bytes, PackedType type, bool big_endian);

/// Bytes that a number of this type takes.
std::size_t packed_size(PackedType type);

}  // namespace fadeward::report
