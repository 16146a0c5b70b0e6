#include "fadeward/publish/negotiation.hpp"

#include <gtest/gtest.h>

namespace fadeward::publish::negotiation_test {
namespace {

using enum Format;

// Accept headers as real scrapers and browsers send them.
TEST(Negotiation, KnownClientsGetWhatTheyPrefer) {
  EXPECT_EQ(choose_format("application/openmetrics-text;version=1.0.0,application/"
                          "openmetrics-text;version=0.0.1;q=0.75,text/plain;version=0.0.4;q=0.5,"
                          "*/*;q=0.1"),
            openmetrics);
  EXPECT_EQ(choose_format("application/openmetrics-text; version=0.0.1,text/plain;version=0.0.4;"
                          "q=0.5,*/*;q=0.1"),
            openmetrics_draft);
  EXPECT_EQ(choose_format("application/vnd.google.protobuf;proto=io.prometheus.client.MetricFamily;"
                          "encoding=delimited;q=0.6,application/openmetrics-text;version=1.0.0;"
                          "escaping=allow-utf-8;q=0.5,application/openmetrics-text;version=0.0.1;"
                          "q=0.4,text/plain;version=1.0.0;escaping=allow-utf-8;q=0.3,text/plain;"
                          "version=0.0.4;q=0.2,*/*;q=0.1"),
            openmetrics);
  EXPECT_EQ(choose_format("text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"),
            prometheus_text);
  EXPECT_EQ(choose_format("*/*"), prometheus_text);
}

// RFC 9110 section 12.4.2: weights order the choices, 0 forbids.
TEST(Negotiation, WeightsDecide) {
  EXPECT_EQ(choose_format("application/openmetrics-text;q=0.3, text/plain;q=0.5"), prometheus_text);
  EXPECT_EQ(choose_format("text/plain;q=0.5, application/openmetrics-text;q=0.8"), openmetrics);
  EXPECT_EQ(choose_format("application/openmetrics-text;q=0"), prometheus_text);
  EXPECT_EQ(choose_format("application/openmetrics-text;q=0.001"), openmetrics);
  EXPECT_EQ(choose_format("application/openmetrics-text, text/plain"), openmetrics);
  EXPECT_EQ(choose_format("text/plain, application/openmetrics-text"), prometheus_text);
}

TEST(Negotiation, OddSpellingsAndNonsense) {
  EXPECT_EQ(choose_format("Application/OpenMetrics-Text ; Version=\"1.0.0\" ; Q=1"), openmetrics);
  EXPECT_EQ(choose_format("application/openmetrics-text;version=9.9.9"), prometheus_text);
  EXPECT_EQ(choose_format("application/openmetrics-text;q=nan"), prometheus_text);
  EXPECT_EQ(choose_format("application/openmetrics-text;q=-1"), prometheus_text);
  EXPECT_EQ(choose_format("application/openmetrics-text;q=0.5x"), prometheus_text);
  EXPECT_EQ(choose_format(""), prometheus_text);
  EXPECT_EQ(choose_format(",,;;=,q=,\";"), prometheus_text);
  EXPECT_EQ(choose_format("application/json"), prometheus_text);
}

TEST(Negotiation, GzipWhereAllowed) {
  EXPECT_TRUE(accepts_gzip("gzip"));
  EXPECT_TRUE(accepts_gzip("deflate, GZIP;q=0.5, br"));
  EXPECT_TRUE(accepts_gzip("*"));
  EXPECT_FALSE(accepts_gzip(""));
  EXPECT_FALSE(accepts_gzip("identity"));
  EXPECT_FALSE(accepts_gzip("gzip;q=0"));
  EXPECT_FALSE(accepts_gzip("gzip;q=0, *;q=1"));
  EXPECT_FALSE(accepts_gzip("gzipped"));
}

TEST(Negotiation, ContentTypesNameVersionAndCharset) {
  EXPECT_EQ(content_type_of(prometheus_text), "text/plain; version=0.0.4; charset=utf-8");
  EXPECT_EQ(content_type_of(openmetrics),
            "application/openmetrics-text; version=1.0.0; charset=utf-8");
}

}  // namespace
}  // namespace fadeward::publish::negotiation_test
