#include "fadeward/publish/snapshot_json.hpp"

#include <boost/json.hpp>
#include <boost/json/src.hpp>   // the only place: Boost.JSON is the independent reader of our tests
#include <gtest/gtest.h>

#include "unit/publish/fixtures.hpp"

namespace fadeward::publish::snapshot_json_test {
namespace {

using namespace testing;

std::string line_of(const judge::DirectionSnapshot& values, Time time = kNow,
                    std::string_view link = "L1") {
  std::string out;
  append_snapshot_line(out, time, link, Direction::inbound, values);
  return out;
}

/// The example of the contract, section 4, byte for byte.
TEST(SnapshotLine, TheExampleOfTheContract) {
  judge::DirectionSnapshot values;
  values.reports = 351;
  values.window = 3600s;
  values.signal_dbm = -101.2;
  values.noise_dbm = -117.0;
  values.noise_source = NoiseSource::idle;
  values.margin_db = 23.3;
  values.margin_stderr_db = 0.4;
  values.margin_low_db = 14.1;
  values.loss_ratio = 0.0008;
  values.loss_source = LossSource::seq;
  values.trend_db_per_day = -0.02;
  values.deficit_db = 1.2;
  values.interval = {351, 3, -101.4, -117.0};
  const auto expected = boost::json::parse(
      R"({"kind":"snapshot","time":1893459600,"link":"L1","direction":"inbound","reports":351,"window_s":3600,"signal_dbm":-101.2,"noise_dbm":-117.0,"noise_source":"idle","margin_db":23.3,"margin_stderr_db":0.4,"margin_low_db":14.1,"loss_ratio":0.0008,"loss_source":"seq","trend_db_per_day":-0.02,"deficit_db":1.2,"cause":"none","interval":{"reports":351,"lost":3,"signal_median_dbm":-101.4,"noise_median_dbm":-117.0}})");
  const auto got = boost::json::parse(line_of(values));
  ASSERT_EQ(got.as_object().size(), expected.as_object().size());
  auto key = expected.as_object().begin();
  for (const auto& pair : got.as_object()) {   // in the order of the example
    EXPECT_EQ(pair.key(), key->key());
    if (pair.value().is_number()) {
      EXPECT_EQ(pair.value().to_number<double>(), key->value().to_number<double>()) << pair.key();
    } else if (pair.value().is_string()) {
      EXPECT_EQ(pair.value(), key->value()) << pair.key();
    }
    ++key;
  }
  std::string interval_keys;
  for (const auto& pair : got.at("interval").as_object())
    interval_keys += std::string(pair.key()) + " ";
  EXPECT_EQ(interval_keys, "reports lost signal_median_dbm noise_median_dbm ");
}

TEST(SnapshotLine, AReserveIsThereWhereOneIsConfigured) {
  judge::DirectionSnapshot values;
  EXPECT_FALSE(boost::json::parse(line_of(values)).as_object().contains("reserve_db"));
  values.has_reserve = true;
  EXPECT_TRUE(boost::json::parse(line_of(values)).at("reserve_db").is_null());
  values.reserve_db = 31.25;
  EXPECT_EQ(boost::json::parse(line_of(values)).at("reserve_db"), 31.25);
}

TEST(SnapshotLine, WhatIsNotKnownIsNull) {
  const auto got = boost::json::parse(line_of({}));
  for (const auto& pair : got.as_object()) {
    const std::string key(pair.key());
    if (key == "kind" || key == "time" || key == "link" || key == "direction" || key == "interval")
      continue;
    if (key == "reports" || key == "window_s") {
      EXPECT_EQ(pair.value(), 0) << key;
    } else if (key == "cause") {
      EXPECT_EQ(pair.value(), "none");
    } else {
      EXPECT_TRUE(pair.value().is_null()) << key;
    }
  }
  EXPECT_TRUE(got.at("interval").at("signal_median_dbm").is_null());
}

TEST(SnapshotLine, RoundsAndNeverBreaksTheDocument) {
  judge::DirectionSnapshot values;
  values.margin_db = 23.29999999999999;
  values.signal_dbm = -0.001;
  values.noise_dbm = std::nan("");
  values.loss_ratio = 1.0 / 3;
  values.window = 1500ms;
  const std::string line = line_of(values, kNow + 250ms, "a\"\n\xff");
  EXPECT_EQ(line.find('\n'), line.size() - 1);
  const auto got = boost::json::parse(line);
  EXPECT_EQ(got.at("margin_db"), 23.3);
  EXPECT_EQ(got.at("signal_dbm").to_number<double>(), 0);
  EXPECT_EQ(line.find("-0,"), std::string::npos);
  EXPECT_TRUE(got.at("noise_dbm").is_null());
  EXPECT_EQ(got.at("loss_ratio"), 0.333333);
  EXPECT_EQ(got.at("window_s"), 1.5);
  EXPECT_EQ(got.at("time"), 1893459600.25);
  EXPECT_EQ(got.at("link"), "a\"\n\xef\xbf\xbd");
}

TEST(SnapshotLine, TinyRatiosKeepTheirDigits) {
  judge::DirectionSnapshot values;
  values.loss_ratio = 3.25e-7;
  EXPECT_EQ(boost::json::parse(line_of(values)).at("loss_ratio"), 3.25e-7);
}

}  // namespace
}  // namespace fadeward::publish::snapshot_json_test
