// SenML packs (RFC 8428) as link reports.
#pragma once

#include <string_view>
#include <vector>

#include "fadeward/report/builder.hpp"
#include "fadeward/report/senml_pack.hpp"

namespace fadeward::report {

/// The last part of a resolved name, behind the last ':', '/' or '.', is a canonical key or the
/// `from` of a rule; what stands before it names the link ("urn:dev:ow:10e2073a01080063:rssi_dbm"),
/// unless a record feeds the key "link". Records of one link and one time become one report; the
/// reports of a pack come in order of time. A pack that says nothing about time is untimed.
///
/// Where a field has no scale or offset of its own, units are heeded: dBW for a field in dBm
/// (RFC 8428 section 12.1), K for one in degrees Celsius, and of RFC 8798 ms, mV, kHz, MHz and GHz.
class SenmlDecoder final : public Decoder {
 public:
  explicit SenmlDecoder(FieldMap map);
  void decode(std::string_view frame, Time now, ReportSink& sink) override;

 private:
  struct Entry {
    std::string_view link;
    double unix_s = 0;
    const SenmlRecord* record = nullptr;
    std::span<const Target> targets;
  };
  std::uint32_t collect();
  void take(const Entry& entry);

  ReportBuilder builder_;
  SenmlPack pack_;
  std::vector<Entry> entries_;
};

}  // namespace fadeward::report
