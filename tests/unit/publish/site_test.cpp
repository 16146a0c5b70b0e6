#include "fadeward/publish/site.hpp"

#include <gtest/gtest.h>

#include <boost/json.hpp>

#include "unit/publish/fixtures.hpp"
#include "unit/publish/inflate.hpp"

namespace fadeward::publish::site_test {
namespace {

using namespace testing;

struct SiteFixture : ::testing::Test {
  SnapshotBox box;
  HttpHooks hooks;
  HttpTally tally;
  std::unique_ptr<Site> site;
  Duration now{};

  SiteFixture() { box.store(std::make_shared<const judge::Snapshot>(two_links())); }

  HttpAnswer ask(std::string_view target, std::string_view method = "GET", HttpRequest with = {},
                 bool enable_reload = false) {
    if (!site) site = std::make_unique<Site>(box, BuildInfo{"1.2.3", "", ""}, hooks, enable_reload);
    with.target = target;
    with.method = method;
    return site->answer(with, tally, now);
  }
};

using SiteTest = SiteFixture;

TEST_F(SiteTest, EveryPathHasItsType) {
  EXPECT_EQ(ask("/metrics").content_type, "text/plain; version=0.0.4; charset=utf-8");
  EXPECT_EQ(ask("/links").content_type, "application/json");
  EXPECT_EQ(ask("/alerts").content_type, "application/json");
  EXPECT_EQ(ask("/").content_type, "text/html; charset=utf-8");
  EXPECT_EQ(ask("/style.css").content_type, "text/css; charset=utf-8");
  for (const auto path : {"/metrics", "/links", "/links/weir", "/alerts", "/", "/-/healthy"}) {
    EXPECT_EQ(ask(path).status, 200U) << path;
    EXPECT_FALSE(ask(path).body.empty()) << path;
  }
}

TEST_F(SiteTest, ReadyOnlyWhenReady) {
  EXPECT_EQ(ask("/-/ready").status, 503U);
  EXPECT_EQ(ask("/-/healthy").status, 200U);
  box.change([](ProgramState& state) { state.ready = true; });
  EXPECT_EQ(ask("/-/ready").status, 200U);
}

TEST_F(SiteTest, UnknownPathsAndMethods) {
  for (const auto path : {"/metric", "/metrics/", "/links/", "/-/", "*", "", "/../etc/passwd"}) {
    EXPECT_EQ(ask(path).status, 404U) << path;
  }
  EXPECT_EQ(ask("/nothing", "DELETE").status, 404U);
  for (const auto method : {"POST", "PUT", "DELETE", "OPTIONS", "get"}) {
    const auto answer = ask("/metrics", method);
    EXPECT_EQ(answer.status, 405U) << method;
    EXPECT_EQ(answer.allow, "GET, HEAD");
  }
  EXPECT_EQ(ask("/metrics?x=y").status, 200U);
  EXPECT_EQ(ask("http://gateway:10868/links").status, 200U);
  EXPECT_EQ(ask("http://gateway:10868").status, 200U);
}

TEST_F(SiteTest, LinkNamesArePercentDecoded) {
  auto snapshot = two_links();
  snapshot.links[0].name = "M\xc3\xbchle/ost 50%";
  box.store(std::make_shared<const judge::Snapshot>(snapshot));
  const auto answer = ask("/links/M%C3%BChle%2fost%2050%25");
  EXPECT_EQ(answer.status, 200U);
  EXPECT_EQ(boost::json::parse(std::string(answer.body)).at("link"), "M\xc3\xbchle/ost 50%");
  for (const auto path : {"/links/none", "/links/%zz", "/links/%2", "/links/%00", "/links/%ff\""}) {
    const auto missing = ask(path);
    EXPECT_EQ(missing.status, 404U) << path;
    EXPECT_EQ(missing.content_type, "application/json");
    EXPECT_TRUE(boost::json::parse(std::string(missing.body)).as_object().contains("error"));
  }
}

TEST_F(SiteTest, CompressedMetricsAreKeptPerSnapshotForAMoment) {
  HttpRequest gzip;
  gzip.accept_encoding = "gzip";
  gzip.accept = "application/openmetrics-text";
  const auto first = ask("/metrics", "GET", gzip);
  EXPECT_TRUE(first.gzip);
  EXPECT_EQ(first.content_type, "application/openmetrics-text; version=1.0.0; charset=utf-8");
  EXPECT_EQ(first.vary, "Accept, Accept-Encoding");
  const Scrape got(inflated(first.body).value());
  EXPECT_TRUE(got.ended);
  EXPECT_EQ(got.at(R"(fadeward_link_up{link="weir"})"), 1);

  now += 500ms;
  EXPECT_EQ(ask("/metrics", "GET", gzip).body.data(), first.body.data());
  now += 600ms;
  EXPECT_NE(ask("/metrics", "GET", gzip).body.data(), first.body.data());

  auto changed = two_links();
  changed.links[0].up = false;
  box.store(std::make_shared<const judge::Snapshot>(changed));
  EXPECT_EQ(Scrape(inflated(ask("/metrics", "GET", gzip).body).value())
                .at(R"(fadeward_link_up{link="weir"})"), 0);
}

TEST_F(SiteTest, WhoAsksTheSameAgainGetsTheSameTextForAMoment) {
  HttpRequest openmetrics;
  openmetrics.accept = "application/openmetrics-text";
  const char* first = ask("/metrics").body.data();
  EXPECT_EQ(ask("/metrics").body.data(), first);
  {
    const auto held = ask("/metrics");
    EXPECT_TRUE(Scrape(ask("/metrics", "GET", openmetrics).body).ended) << "another format is another text";
    EXPECT_FALSE(Scrape(ask("/metrics").body).ended);
    EXPECT_FALSE(Scrape(held.body).ended);
  }
  const std::string before(ask("/metrics").body);
  ++tally.malformed;
  EXPECT_EQ(Scrape(ask("/metrics").body).at(R"(fadeward_http_connections_dropped_total{reason="malformed"})"), 1)
      << "counts are never old";
  auto changed = two_links();
  changed.links[0].reports_total = 1001;
  box.store(std::make_shared<const judge::Snapshot>(changed));
  EXPECT_EQ(Scrape(ask("/metrics").body).at(R"(fadeward_link_reports_total{link="weir"})"), 1001);
  EXPECT_NE(ask("/metrics").body, before);
  const auto old = ask("/metrics");
  now += 1100ms;
  EXPECT_NE(ask("/metrics").body.data(), old.body.data()) << "a second later it is made anew";
}

TEST_F(SiteTest, AnAnswerUnderWayIsNotWrittenOver) {
  const auto first = ask("/metrics");
  const std::string before(first.body);
  box.store(std::make_shared<const judge::Snapshot>());
  const auto second = ask("/metrics");
  EXPECT_EQ(first.body, before);
  EXPECT_NE(second.body, before);
}

TEST_F(SiteTest, SlowReadersCannotTakeAllMemory) {
  auto many = two_links();
  for (int i = 0; i < 1000; ++i) many.links.push_back(known_link("site-" + std::to_string(i)));
  box.store(std::make_shared<const judge::Snapshot>(many));
  std::vector<HttpAnswer> held;
  std::size_t bytes = 0;
  for (int i = 0; i < 40; ++i) {
    ++tally.deadline;   // each another text
    held.push_back(ask("/metrics"));
    bytes += held.back().body.size();
  }
  EXPECT_EQ(held.front().status, 200U);
  EXPECT_EQ(held.back().status, 503U);
  EXPECT_LT(bytes, 200U << 20);
  held.clear();
  EXPECT_EQ(ask("/metrics").status, 200U);
}

TEST_F(SiteTest, ReloadIsOptIn) {
  int calls = 0;
  hooks.reload = [&calls]() -> Status { return ++calls, success(); };
  EXPECT_EQ(ask("/-/reload", "POST").status, 403U);
  const auto wrong = ask("/-/reload", "GET");
  EXPECT_EQ(wrong.status, 405U);
  EXPECT_EQ(wrong.allow, "POST");
  EXPECT_EQ(calls, 0);
}

TEST_F(SiteTest, ReloadReportsWhatCameOfIt) {
  Status next = success();
  hooks.reload = [&next] { return next; };
  EXPECT_EQ(ask("/-/reload", "POST", {}, true).status, 200U);
  next = Error{"file.yaml:3:7: unknown key"};
  const auto failed = ask("/-/reload", "POST");
  EXPECT_EQ(failed.status, 500U);
  EXPECT_NE(failed.body.find("file.yaml:3:7"), std::string_view::npos);
}

TEST_F(SiteTest, AForeignPageCannotReload) {
  int calls = 0;
  hooks.reload = [&calls]() -> Status { return ++calls, success(); };
  HttpRequest with;
  with.host = "gateway:10868";
  for (const auto origin : {"http://elsewhere", "null", "http://xgateway:10868", "gateway:10868"}) {
    with.origin = origin;
    EXPECT_EQ(ask("/-/reload", "POST", with, true).status, 403U) << origin;
  }
  EXPECT_EQ(calls, 0);
  with.origin = "http://gateway:10868";
  EXPECT_EQ(ask("/-/reload", "POST", with).status, 200U);
}

TEST_F(SiteTest, OtherRoomsMayAddPages) {
  hooks.more = [](const HttpRequest& request) -> std::optional<HttpAnswer> {
    if (path_of(request.target) != "/history") return {};
    return HttpAnswer::of(200, "application/json", std::string(request.target));
  };
  EXPECT_EQ(ask("/history?link=weir").body, "/history?link=weir");
  EXPECT_EQ(ask("/historic").status, 404U);
}

}  // namespace
}  // namespace fadeward::publish::site_test
