#include "fadeward/report/packed.hpp"

#include <algorithm>
#include <bit>
#include <utility>

namespace fadeward::report {

namespace {

std::int64_t sign_extended(std::uint64_t value, std::size_t size) {
  const std::size_t unused = 64 - 8 * size;
  return static_cast<std::int64_t>(value << unused) >> unused;
}

}  // namespace

std::size_t packed_size(PackedType type) {
  switch (type) {
    case PackedType::u8:
    case PackedType::i8: return 1;
    case PackedType::u16:
    case PackedType::i16: return 2;
    case PackedType::u24:
    case PackedType::i24: return 3;
    case PackedType::u32:
    case PackedType::i32:
    case PackedType::f32: return 4;
    case PackedType::u64:
    case PackedType::i64:
    case PackedType::f64: return 8;
  }
  return 1;
}

RawValue read_packed(std::string_view bytes, PackedType type, bool big_endian) {
  const std::size_t size = packed_size(type);
  std::uint64_t value = 0;
  for (std::size_t i = 0; i < size; ++i)
    value = value << 8U | static_cast<unsigned char>(bytes[big_endian ? i : size - 1 - i]);
  switch (type) {
    case PackedType::f32:
      return raw_from_float(std::bit_cast<float>(static_cast<std::uint32_t>(value)));
    case PackedType::f64: return raw_from_float(std::bit_cast<double>(value));
    case PackedType::i8:
    case PackedType::i16:
    case PackedType::i24:
    case PackedType::i32:
    case PackedType::i64: return raw_from_signed(sign_extended(value, size));
    default: return raw_from_unsigned(value);
  }
}

Result<std::unique_ptr<Decoder>> PackedDecoder::make(FieldMap map,
                                                     const DecoderSettings& settings) {
  if (settings.packed.empty()) return Error{"packed: no field is described"};
  std::vector<Place> places;
  std::size_t needed = 0;
  for (const PackedField& field : settings.packed) {
    const auto targets = map.find(field.name);
    if (targets.empty())
      return Error{"packed: '" + field.name +
                   "' is neither a canonical key nor the `from` of a field"};
    const std::size_t size = packed_size(field.type);
    places.push_back(
        {field.at, size, field.type, field.big_endian, {targets.begin(), targets.end()}});
    needed = std::max(needed, field.at + size);
  }
  const std::size_t min_bytes = settings.packed_min_bytes > 0 ? settings.packed_min_bytes : needed;
  return std::unique_ptr<Decoder>(new PackedDecoder(std::move(map), std::move(places), min_bytes));
}

PackedDecoder::PackedDecoder(FieldMap map, std::vector<Place> places, std::size_t min_bytes)
    : builder_(std::move(map)), places_(std::move(places)), min_bytes_(min_bytes) {}

void PackedDecoder::decode(std::string_view frame, Time, ReportSink& sink) {
  builder_.begin();
  Parsed parsed;
  if (frame.size() >= min_bytes_) {
    for (const Place& place : places_)
      if (frame.size() >= place.size && place.at <= frame.size() - place.size)
        builder_.take(place.targets,
                      read_packed(frame.substr(place.at), place.type, place.big_endian));
    parsed = builder_.result();
  }
  deliver(parsed, builder_.report(), frame, sink);
}

}  // namespace fadeward::report
