#include "fadeward/publish/http_server.hpp"

#include <fcntl.h>
#include <gtest/gtest.h>
#include <sys/resource.h>

#include <atomic>
#include <ctime>
#include <fstream>
#include <stdexcept>
#include <thread>
#include <vector>

#include "support/temp_dir.hpp"
#include "unit/publish/fixtures.hpp"
#include "unit/publish/inflate.hpp"
#include "unit/publish/raw_client.hpp"

namespace fadeward::publish::http_server_test {
namespace {

using namespace testing;

struct HttpServerTest : ::testing::Test {
  SnapshotBox box;
  HttpSettings settings;
  HttpHooks hooks;
  HttpLimits limits;
  std::unique_ptr<HttpServer> server;

  HttpServerTest() {
    settings.port = 0;
    box.store(std::make_shared<const judge::Snapshot>(two_links()));
  }
  void serve() {
    server = std::make_unique<HttpServer>(settings, box, BuildInfo{"1.2.3", "", ""}, hooks, limits);
    const Status started = server->start();
    ASSERT_TRUE(started) << started.error().message;
    ASSERT_NE(server->port(), 0);
  }
  RawClient client() { return RawClient(server->port()); }
  double dropped(const std::string& reason) {
    return Scrape(client().get("/metrics").body)
        .at("fadeward_http_connections_dropped_total{reason=\"" + reason + "\"}");
  }
};

TEST_F(HttpServerTest, ServesMetricsWithSafeHeaders) {
  serve();
  const Reply reply = client().get("/metrics");
  EXPECT_EQ(reply.status, 200);
  EXPECT_EQ(reply.field("Content-Type"), "text/plain; version=0.0.4; charset=utf-8");
  EXPECT_EQ(reply.field("X-Content-Type-Options"), "nosniff");
  EXPECT_NE(reply.field("Content-Security-Policy").find("default-src 'none'"), std::string::npos);
  EXPECT_EQ(reply.field("Date").size(), 29U);   // IMF-fixdate has a fixed length
  EXPECT_EQ(Scrape(reply.body).at(R"(fadeward_link_up{link="weir"})"), 1);
}

TEST_F(HttpServerTest, GzipIsTheSameTextSmaller) {
  serve();
  const Reply reply = client().get("/metrics", "Accept-Encoding: gzip\r\n");
  EXPECT_EQ(reply.field("Content-Encoding"), "gzip");
  EXPECT_EQ(reply.field("Vary"), "Accept, Accept-Encoding");
  const Scrape plain(client().get("/metrics").body);
  const Scrape packed(inflated(reply.body).value());
  ASSERT_EQ(packed.samples.size(), plain.samples.size());
  for (const auto& [series, sample] : plain.samples) {
    ASSERT_TRUE(packed.has(series)) << series;
    if (series.rfind("process_", 0) == 0) continue;
    EXPECT_EQ(packed.at(series), sample.value) << series;
  }
}

TEST_F(HttpServerTest, HeadHasTheHeaderOfGetAndNoBody) {
  serve();
  RawClient c = client();
  for (const std::string path : {"/links", "/-/healthy", "/nothing"}) {
    const Reply head = c.get(path, "", "HEAD");
    const Reply get = c.get(path);   // a body after HEAD would stand in the way here
    EXPECT_EQ(head.status, get.status);
    EXPECT_EQ(head.field("Content-Length"), get.field("Content-Length"));
    EXPECT_EQ(get.field("Content-Length"), std::to_string(get.body.size()));
  }
}

TEST_F(HttpServerTest, KeepsAConnectionAndAnswersPipelinedRequestsInOrder) {
  serve();
  RawClient c = client();
  std::string all;
  for (int i = 0; i < 50; ++i) {
    all += i % 2 == 0 ? "GET /-/healthy HTTP/1.1\r\nHost: x\r\n\r\n"
                      : "GET /nothing HTTP/1.1\r\nHost: x\r\n\r\n";
  }
  ASSERT_TRUE(c.send(all));
  for (int i = 0; i < 50; ++i) EXPECT_EQ(c.receive().status, i % 2 == 0 ? 200 : 404) << i;
  EXPECT_EQ(c.get("/-/healthy", "Connection: close\r\n").status, 200);
  EXPECT_TRUE(c.closed());
}

TEST_F(HttpServerTest, OldClientsAreClosedAfterOneAnswer) {
  serve();
  RawClient c = client();
  c.send("GET /-/healthy HTTP/1.0\r\n\r\n");
  EXPECT_EQ(c.receive().status, 200);
  EXPECT_TRUE(c.closed());
}

TEST_F(HttpServerTest, WhatIsNotHttpIsRefusedAndCounted) {
  serve();
  for (const std::string& bytes :
       {std::string("\x16\x03\x01\x02\x00\x01\x00\r\n\r\n", 11), std::string("GET\r\n\r\n"),
        std::string("GET / HTTP/9.9\r\n\r\n"), std::string("GET / HTTP/1.1\r\nno colon\r\n\r\n"),
        std::string("GET / HTTP/1.1\r\n\r\n"),
        std::string("GET / HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n"),
        std::string("POST / HTTP/1.1\r\nContent-Length: -1\r\n\r\n")}) {
    RawClient c = client();
    c.send(bytes);
    EXPECT_EQ(c.receive().status, 400) << bytes;
    EXPECT_TRUE(c.closed());
  }
  EXPECT_EQ(dropped("malformed"), 7);
}

TEST_F(HttpServerTest, HugeHeadersAndBodiesAreRefused) {
  serve();
  RawClient header = client();
  header.send("GET / HTTP/1.1\r\nHost: x\r\nX: " + std::string(20000, 'x'));
  EXPECT_EQ(header.receive().status, 431);
  EXPECT_TRUE(header.closed());
  RawClient body = client();
  body.send("POST / HTTP/1.1\r\nHost: x\r\nContent-Length: 1000000\r\n\r\n" +
            std::string(20000, 'x'));
  EXPECT_EQ(body.receive().status, 413);
  EXPECT_TRUE(body.closed());
  RawClient fits = client();
  EXPECT_EQ(fits.get("/-/healthy", "X: " + std::string(7900, 'x') + "\r\n").status, 200);
}

TEST_F(HttpServerTest, ASlowHeaderEndsAtTheDeadlineHoweverItDrips) {
  limits.request = 300ms;
  serve();
  RawClient c = client();
  const auto start = std::chrono::steady_clock::now();
  bool open = true;
  for (int i = 0; i < 100 && open; ++i) {   // a byte every 20 ms would take 2 s
    open = c.send(i == 0 ? "GET / HTTP/1.1\r\nX: " : "x");
    std::this_thread::sleep_for(20ms);
  }
  EXPECT_FALSE(open);
  EXPECT_LT(std::chrono::steady_clock::now() - start, 1500ms);
  EXPECT_EQ(dropped("deadline"), 1);
}

TEST_F(HttpServerTest, AnIdleConnectionEnds) {
  limits.idle = 100ms;
  serve();
  RawClient c = client();
  EXPECT_EQ(c.get("/-/healthy").status, 200);
  EXPECT_TRUE(c.closed());
}

TEST_F(HttpServerTest, ReloadThroughTheWire) {
  int calls = 0;
  hooks.reload = [&calls]() -> Status { return ++calls, success(); };
  settings.enable_reload = true;
  serve();
  RawClient c = client();
  EXPECT_EQ(c.get("/-/reload", "Content-Length: 0\r\n", "POST").status, 200);
  const Reply get = c.get("/-/reload");
  EXPECT_EQ(get.status, 405);
  EXPECT_EQ(get.field("Allow"), "POST");
  EXPECT_EQ(calls, 1);
}

TEST_F(HttpServerTest, AHandlerThatThrowsCostsOneAnswerOnly) {
  hooks.more = [](const HttpRequest&) -> std::optional<HttpAnswer> {
    throw std::runtime_error("broken");
  };
  serve();
  RawClient c = client();
  EXPECT_EQ(c.get("/broken").status, 500);
  EXPECT_EQ(c.get("/-/healthy").status, 200);
  EXPECT_EQ(dropped("fault"), 1);
}

TEST_F(HttpServerTest, APortInUseIsNamed) {
  serve();
  HttpSettings same = settings;
  same.port = server->port();
  HttpServer second(same, box, {});
  const Status started = second.start();
  ASSERT_FALSE(started);
  EXPECT_NE(started.error().message.find("127.0.0.1:" + std::to_string(same.port)),
            std::string::npos);
  EXPECT_NE(started.error().message.find("in use"), std::string::npos);
  EXPECT_EQ(client().get("/-/healthy").status, 200);   // the first is unharmed
}

TEST_F(HttpServerTest, AnAddressThatIsNotOursIsNamed) {
  for (const std::string address : {"192.0.2.1", "no.such.host.invalid"}) {   // RFC 5737, RFC 6761
    settings.address = address;
    HttpServer wrong(settings, box, {});
    const Status started = wrong.start();
    ASSERT_FALSE(started);
    EXPECT_NE(started.error().message.find(address), std::string::npos) << started.error().message;
  }
}

TEST_F(HttpServerTest, NeverInTheClearWhatWasMeantToBeProtected) {
  settings.web_config = "web.yaml";
  HttpServer without_reader(settings, box, {});
  EXPECT_FALSE(without_reader.start());
  hooks.web_config = [](const std::string& path) {
    return Result<WebConfig>(Error{path + ": is not there"});
  };
  HttpServer refused(settings, box, {}, hooks);
  const Status started = refused.start();
  ASSERT_FALSE(started);
  EXPECT_NE(started.error().message.find("web.yaml: is not there"), std::string::npos);
  EXPECT_EQ(refused.port(), 0);
  WebConfig wrong;
  wrong.tls.emplace();
  wrong.tls->cert_file = "/no/such/cert.pem";
  hooks.web_config = [&](const std::string&) { return Result<WebConfig>(wrong); };
  HttpServer no_certificate(settings, box, {}, hooks);
  const Status second = no_certificate.start();
  ASSERT_FALSE(second);
  EXPECT_NE(second.error().message.find("/no/such/cert.pem"), std::string::npos);
}

// $2b$05$...: bcrypt of "sesame" at cost 5, made by Python's crypt module (libxcrypt).
TEST_F(HttpServerTest, OnlyWhoKnowsThePasswordIsServed) {
  settings.web_config = "web.yaml";
  WebConfig config;
  config.users["ann"] = "$2b$05$0mUwe7MD7Kj4nC4HP68FfusWSAggTiuzrjBwfDFuK1T4LjkGOTPn2";
  config.headers["X-Frame-Options"] = "deny";
  config.headers["X-Content-Type-Options"] = "other";
  hooks.web_config = [&](const std::string&) { return Result<WebConfig>(config); };
  HttpServer guarded(settings, box, {}, hooks);
  ASSERT_TRUE(guarded.start());
  const auto asked = [&](const std::string& authorization) {
    RawClient client(guarded.port());
    client.send("GET /-/healthy HTTP/1.1\r\nHost: x\r\n" + authorization + "\r\n");
    return client.receive();
  };
  const Reply none = asked("");
  EXPECT_EQ(none.status, 401);
  EXPECT_EQ(none.field("WWW-Authenticate").substr(0, 6), "Basic ");
  // RFC 7617: base64 of ann:sesame, ann:wrong, bob:sesame.
  for (int i = 0; i < 3; ++i)
    EXPECT_EQ(asked("Authorization: Basic YW5uOnNlc2FtZQ==\r\n").status, 200) << i;
  EXPECT_EQ(asked("authorization: basic   YW5uOnNlc2FtZQ==\r\n").status, 200);
  EXPECT_EQ(asked("Authorization: Basic YW5uOndyb25n\r\n").status, 401);
  EXPECT_EQ(asked("Authorization: Basic Ym9iOnNlc2FtZQ==\r\n").status, 401);
  EXPECT_EQ(asked("Authorization: Bearer YW5uOnNlc2FtZQ==\r\n").status, 401);
  EXPECT_EQ(asked("Authorization: Basic YW5uOnNlc2FtZQ==\r\n"
                  "Authorization: Basic YW5uOnNlc2FtZQ==\r\n").status, 401);
  EXPECT_EQ(none.field("X-Frame-Options"), "deny");
  EXPECT_EQ(none.field("X-Content-Type-Options"), "other");
  RawClient left_alone(guarded.port());  // gone before its password was looked at
  left_alone.send("GET / HTTP/1.1\r\nHost: x\r\nAuthorization: Basic YW5uOm90aGVy\r\n\r\n");
  left_alone.close();
  guarded.stop();
}

// A connection that is kept must not outlive the password that it came with. Hash: as above; the
// other one is the test vector "U*U" of Openwall's crypt_blowfish.
TEST_F(HttpServerTest, AKeptConnectionMeetsTheUsersOfToday) {
  test::TempDir dir;
  settings.web_config = dir / "web.yaml";
  const auto touch = [&](const std::string& text) { std::ofstream(settings.web_config) << text; };
  touch("1");
  std::atomic<bool> changed = false;
  hooks.web_config = [&](const std::string&) {
    WebConfig config;
    config.users["ann"] = changed ? "$2a$05$CCCCCCCCCCCCCCCCCCCCC.E5YPO9kmyuRGyh0XouQYb4YMJKvyOeW"
                                  : "$2b$05$0mUwe7MD7Kj4nC4HP68FfusWSAggTiuzrjBwfDFuK1T4LjkGOTPn2";
    return Result<WebConfig>(config);
  };
  serve();
  RawClient c = client();
  const auto ask = [&c] {
    c.send("GET /-/healthy HTTP/1.1\r\nHost: x\r\nAuthorization: Basic YW5uOnNlc2FtZQ==\r\n\r\n");
    return c.receive().status;
  };
  EXPECT_EQ(ask(), 200);
  changed = true;
  touch("two");
  std::this_thread::sleep_for(1100ms);  // looked at once a second at most
  EXPECT_EQ(ask(), 401);
}

TEST_F(HttpServerTest, WhoNeverFinishesARequestMakesRoom) {
  limits.connections = 20;
  serve();
  std::vector<RawClient> slow;
  for (int i = 0; i < 30; ++i) {
    slow.push_back(client());
    slow.back().send("GET / HT");
  }
  std::this_thread::sleep_for(50ms);
  for (int i = 0; i < 5; ++i) EXPECT_EQ(client().get("/-/healthy").status, 200) << i;
  EXPECT_TRUE(slow[0].closed());
}

TEST_F(HttpServerTest, TheOldestIdleConnectionMakesRoom) {
  serve();
  std::vector<RawClient> clients;
  for (int i = 0; i < 300; ++i) {
    clients.push_back(client());
    if (i < 200) {
      ASSERT_EQ(clients.back().get("/-/healthy").status, 200) << i;
    }
  }
  EXPECT_EQ(clients.back().get("/-/healthy").status, 200);
  EXPECT_EQ(clients[150].get("/-/healthy").status, 200);
  EXPECT_TRUE(clients[0].closed());
  EXPECT_TRUE(clients[99].closed());
  EXPECT_GE(dropped("limit"), 100);
}

TEST_F(HttpServerTest, WithoutDescriptorsItWaitsAndComesBack) {
#ifdef __SANITIZE_ADDRESS__
  GTEST_SKIP() << "the sanitizer needs a descriptor of its own to look at a virtual table";
#endif
  serve();
  RawClient c(0);   // its descriptor exists already; the server's end of it will not
  rlimit before{};
  ASSERT_EQ(getrlimit(RLIMIT_NOFILE, &before), 0);
  rlimit few = before;
  few.rlim_cur = 256;
  ASSERT_EQ(setrlimit(RLIMIT_NOFILE, &few), 0);
  std::vector<int> fill;
  for (int fd = 0; (fd = fcntl(0, F_DUPFD_CLOEXEC, 0)) >= 0;) fill.push_back(fd);
  ASSERT_TRUE(c.connect(server->port()));
  const std::clock_t cpu = std::clock();
  std::this_thread::sleep_for(500ms);
  EXPECT_LT(std::clock() - cpu, CLOCKS_PER_SEC / 5) << "must not spin";
  for (const int fd : fill) close(fd);
  EXPECT_EQ(c.get("/-/healthy").status, 200);
  EXPECT_GE(dropped("accept"), 1);
  setrlimit(RLIMIT_NOFILE, &before);
}

TEST_F(HttpServerTest, StopIsPromptWithConnectionsInEveryState) {
  serve();
  std::vector<RawClient> clients;
  for (int i = 0; i < 6; ++i) clients.push_back(client());
  EXPECT_EQ(clients[0].get("/-/healthy").status, 200);      // idle
  clients[1].send("GET / HTTP/1.1\r\nX: half");              // reading
  clients[2].send("nonsense\r\n\r\n");                       // draining
  EXPECT_EQ(clients[2].receive().status, 400);
  const auto start = std::chrono::steady_clock::now();
  server->stop();
  server->stop();
  EXPECT_LT(std::chrono::steady_clock::now() - start, 400ms);
  EXPECT_TRUE(clients[0].closed());
  EXPECT_FALSE(RawClient(0).connect(server->port()));
}

TEST_F(HttpServerTest, StopDoesNotWaitForOneWhoNeverReads) {
  auto many = two_links();
  for (int i = 0; i < 1000; ++i) many.links.push_back(known_link("site-" + std::to_string(i)));
  box.store(std::make_shared<const judge::Snapshot>(many));
  serve();
  RawClient c = client();
  c.send("GET /metrics HTTP/1.1\r\nHost: x\r\n\r\n");
  EXPECT_EQ(client().get("/-/healthy").status, 200);   // the other answer is under way by now
  const auto start = std::chrono::steady_clock::now();
  server.reset();
  EXPECT_LT(std::chrono::steady_clock::now() - start, 900ms);
}

TEST_F(HttpServerTest, AnswersUnderWayFinishOnStop) {
  auto many = two_links();
  for (int i = 0; i < 1000; ++i) many.links.push_back(known_link("site-" + std::to_string(i)));
  box.store(std::make_shared<const judge::Snapshot>(many));
  serve();
  RawClient c = client();
  c.send("GET /metrics HTTP/1.1\r\nHost: x\r\n\r\n");
  EXPECT_EQ(client().get("/-/healthy").status, 200);
  std::thread stopper([this] { server->stop(); });
  const Reply reply = c.receive();
  stopper.join();
  EXPECT_EQ(reply.status, 200);
  EXPECT_TRUE(reply.body.ends_with('\n'));
}

TEST_F(HttpServerTest, StoppingWhatNeverRanIsFine) {
  HttpServer idle(settings, box, {});
  idle.stop();
}

}  // namespace
}  // namespace fadeward::publish::http_server_test
