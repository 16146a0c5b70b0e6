#include "fadeward/report/senml.hpp"

#include <algorithm>
#include <utility>

#include "fadeward/report/put.hpp"

namespace fadeward::report {

namespace {

/// A value in the unit that the field's name ends in.
double in_field_unit(Field field, std::string_view unit, double value) {
  struct Conversion {
    std::string_view unit, suffix;
    double scale, offset;
  };
  static constexpr Conversion kConversions[] = {
      {"dBW", "_dbm", 1, 30}, {"K", "_c", 1, -273.15}, {"ms", "_s", 1e-3, 0},
      {"mV", "_v", 1e-3, 0},  {"kHz", "_hz", 1e3, 0},  {"MHz", "_hz", 1e6, 0},
      {"GHz", "_hz", 1e9, 0},
  };
  for (const Conversion& conversion : kConversions)
    if (conversion.unit == unit && field_info(field).name.ends_with(conversion.suffix))
      return value * conversion.scale + conversion.offset;
  return value;
}

RawValue raw_of(const SenmlRecord& record) {
  switch (record.kind) {
    case SenmlRecord::Kind::number: {
      RawValue raw = raw_from_float(record.number);
      if (record.number >= 0 && record.number <= 9007199254740992.0 &&
          record.number == static_cast<double>(static_cast<std::uint64_t>(record.number)))
        raw = raw_from_unsigned(static_cast<std::uint64_t>(record.number));
      return raw;
    }
    case SenmlRecord::Kind::text: return raw_from_text(record.text);
    default: return {};
  }
}

}  // namespace

SenmlDecoder::SenmlDecoder(FieldMap map) : builder_(std::move(map)) {}

/// Sorts the records that feed something by time and link; returns how many feed nothing.
std::uint32_t SenmlDecoder::collect() {
  std::uint32_t unknown = pack_.unknown_labels();
  entries_.clear();
  for (const SenmlRecord& record : pack_.records()) {
    if (record.kind == SenmlRecord::Kind::none) continue;
    const std::size_t cut = record.name.find_last_of(":/.");
    const bool whole = cut == std::string_view::npos;
    const auto targets = builder_.map().find(whole ? record.name : record.name.substr(cut + 1));
    if (targets.empty()) {
      ++unknown;
      continue;
    }
    entries_.push_back(
        {whole ? std::string_view() : record.name.substr(0, cut), record.unix_s, &record, targets});
  }
  std::sort(entries_.begin(), entries_.end(), [](const Entry& a, const Entry& b) {
    if (a.unix_s != b.unix_s) return a.unix_s < b.unix_s;
    if (a.link != b.link) return a.link < b.link;
    return a.record < b.record;
  });
  return unknown;
}

void SenmlDecoder::take(const Entry& entry) {
  const RawValue raw = raw_of(*entry.record);
  for (const Target& target : entry.targets) {
    RawValue one = raw;
    if (raw.numeric && target.kind == Target::Kind::field && target.is_plain())
      one.number = in_field_unit(target.field, entry.record->unit, raw.number);
    builder_.take({&target, 1}, one);
  }
}

void SenmlDecoder::decode(std::string_view frame, Time now, ReportSink& sink) {
  builder_.begin();
  if (!pack_.resolve(frame, to_unix_seconds(now)))
    return deliver({}, builder_.report(), frame, sink);
  if (const std::uint32_t unknown = collect(); unknown > 0) sink.unknown_keys(unknown);
  if (entries_.empty()) return deliver({Outcome::empty, {}}, builder_.report(), frame, sink);
  for (std::size_t first = 0, i = 0; first < entries_.size(); first = i) {
    const Entry& head = entries_[first];
    builder_.begin();
    if (head.record->timed && !put_time(builder_.report(), head.unix_s)) sink.values_discarded(1);
    for (;
         i < entries_.size() && entries_[i].unix_s == head.unix_s && entries_[i].link == head.link;
         ++i)
      take(entries_[i]);
    if (builder_.report().link.empty()) builder_.report().link = head.link;
    deliver(builder_.result(), builder_.report(), frame, sink);
  }
}

}  // namespace fadeward::report
