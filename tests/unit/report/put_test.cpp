#include "fadeward/report/put.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>

namespace fadeward::report::put_test {
namespace {

TEST(Put, KeepsWhatTheFieldTableAllows) {
  for (std::size_t i = 0; i < kFields; ++i) {
    const auto field = static_cast<Field>(i);
    const FieldInfo& info = field_info(field);
    LinkReport report;
    EXPECT_TRUE(put(report, field, info.lowest)) << info.name;
    EXPECT_TRUE(put(report, field, info.highest)) << info.name;
    EXPECT_EQ(report[field], info.highest);
    const double inf = std::numeric_limits<double>::infinity();
    for (const double bad : {std::nextafter(info.lowest, -inf), std::nextafter(info.highest, inf),
                             inf, -inf, std::numeric_limits<double>::quiet_NaN()}) {
      report.set(field, info.lowest);
      EXPECT_FALSE(put(report, field, bad)) << info.name << ' ' << bad;
      EXPECT_FALSE(report.has(field));
    }
  }
}

TEST(Put, CountsAndNumbersOfThingsAreWhole) {
  for (std::size_t i = 0; i < kFields; ++i) {
    const auto field = static_cast<Field>(i);
    const std::string_view name = field_info(field).name;
    const bool counts = name == "seq" || name == "channel" || name == "spreading_factor" ||
                        name == "rx_foreign" || name.ends_with("_frames") ||
                        name.ends_with("_retries") || name.ends_with("_failures") ||
                        name.ends_with("_errors");
    LinkReport report;
    const double middle = std::floor((field_info(field).lowest + field_info(field).highest) / 2);
    const double broken = middle > 1e15 ? 1000.5 : middle + 0.5;
    EXPECT_EQ(put(report, field, broken), !counts) << name;
  }
}

TEST(Put, TimeKeepsToTheCenturiesThatMatter) {
  LinkReport report;
  EXPECT_TRUE(put_time(report, 1893456000.25));
  EXPECT_TRUE(report.timed);
  EXPECT_EQ(report.time.time_since_epoch().count(), 1893456000'250000);
  for (const double bad : {-1.0, 1e300, std::nan("")}) {
    EXPECT_FALSE(put_time(report, bad));
    EXPECT_FALSE(report.timed);
  }
  EXPECT_TRUE(put_time_text(report, "1985-04-12T23:20:50.52Z"));  // RFC 3339 section 5.8
  EXPECT_EQ(to_unix_seconds(report.time), 482196050.52);
  EXPECT_FALSE(put_time_text(report, "1937-01-01T12:00:27.87+00:20"));  // before 1970
  EXPECT_FALSE(put_time_text(report, "9999-01-01T00:00:00Z"));
  EXPECT_FALSE(put_time_text(report, "soon"));
  EXPECT_FALSE(report.timed);
}

TEST(Put, NoNegativeZero) {
  LinkReport report;
  EXPECT_TRUE(put(report, Field::snr_db, -0.0));
  EXPECT_FALSE(std::signbit(report[Field::snr_db]));
}

}  // namespace
}  // namespace fadeward::report::put_test
