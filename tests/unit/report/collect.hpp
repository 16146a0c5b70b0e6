// What a decoder said.
#pragma once

#include <gtest/gtest.h>

#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "fadeward/report/decoder.hpp"

namespace fadeward::report {

/// A report that outlives the call.
struct Kept {
  LinkReport report;
  std::string link;
  double operator[](Field field) const { return report[field]; }
  bool has(Field field) const { return report.has(field); }
  double unix_s() const { return to_unix_seconds(report.time); }
};

struct Collected final : ReportSink {
  std::vector<Kept> reports;
  std::vector<RejectReason> rejects;
  std::uint64_t discarded = 0;
  std::uint64_t unknown = 0;

  void report(LinkReport& report) override {
    reports.push_back({report, std::string(report.link)});
    reports.back().report.link = {};
  }
  void rejected(RejectReason reason, std::string_view) override { rejects.push_back(reason); }
  void values_discarded(std::uint64_t count) override { discarded += count; }
  void unknown_keys(std::uint64_t count) override { unknown += count; }
};

inline constexpr Time kNow{std::chrono::seconds{1'900'000'000}};

inline Collected decode(Decoder& decoder, std::string_view frame) {
  // A copy of exactly this size: a read beyond it is one that the sanitizer sees.
  const std::unique_ptr<char[]> copy(new char[frame.size()]);
  std::copy(frame.begin(), frame.end(), copy.get());
  Collected got;
  decoder.decode({copy.get(), frame.size()}, kNow, got);
  return got;
}

inline std::unique_ptr<Decoder> made(const DecoderSettings& settings) {
  auto decoder = make_decoder(settings);
  EXPECT_TRUE(decoder.ok()) << (decoder.ok() ? "" : decoder.error().message);
  return std::move(decoder).value();
}

inline Collected decode(const DecoderSettings& settings, std::string_view frame) {
  return decode(*made(settings), frame);
}

/// The only report of a frame; fails the test if there is not exactly one.
inline Kept only(const Collected& got) {
  EXPECT_EQ(got.reports.size(), 1u);
  EXPECT_TRUE(got.rejects.empty());
  return got.reports.empty() ? Kept{} : got.reports.front();
}

}  // namespace fadeward::report
