// The answers of /history against bins made by hand.
#include "fadeward/publish/history_json.hpp"

#include <gtest/gtest.h>

#include <boost/json.hpp>

#include "fadeward/history/store.hpp"
#include "support/temp_dir.hpp"
#include "unit/history/sample_bins.hpp"

namespace fadeward::publish::history_json_test {
namespace {

using namespace std::chrono_literals;
using test::at;
using test::kApril2031;

constexpr const char* kEvil = "say \"hi\" \\ <b>\n";

/// Two hours of one link without its third quarter; all levels of a quarter alike.
class HistoryAnswers : public ::testing::Test {
 protected:
  void SetUp() override {
    const auto store = std::move(history::Store::open(dir_ / "h", {})).value();
    history::Batch batch;
    for (const int quarter : {0, 1, 3, 4, 5, 6, 7}) {
      Bin bin;
      bin.start = at(kApril2031) + kBinSpan * quarter;
      bin.frames = quarter == 0 ? 30 : 10;
      bin.lost = quarter == 5 ? 10 : 0;
      bin.sent = bin.frames + bin.lost;
      bin.loss_source = LossSource::seq;
      bin.margin.add(quarter == 0 ? 10 : 20, static_cast<std::uint16_t>(bin.frames));
      batch.bins.push_back({kEvil, Direction::inbound, bin});
      bin.frames = 1;
      batch.bins.push_back({kEvil, Direction::outbound, bin});
    }
    ASSERT_TRUE(store->write(batch));
  }

  HttpAnswer ask(const std::string& query) const {
    const std::string target = "/history?" + query;
    HttpRequest request;
    request.method = "GET";
    request.target = target;
    return HistoryJson(dir_ / "h").answer(request, {kEvil}, at(kApril2031 + 7200));
  }
  boost::json::value asked(const std::string& query) const {
    const HttpAnswer answer = ask(query);
    EXPECT_EQ(answer.status, 200U) << query << ": " << answer.body;
    return boost::json::parse(answer.body);
  }
  static std::vector<std::pair<std::int64_t, std::optional<double>>> points(
      const boost::json::value& answer) {
    std::vector<std::pair<std::int64_t, std::optional<double>>> out;
    for (const auto& point : answer.at("points").as_array())
      out.emplace_back(
          (point.at(0).as_int64() - kApril2031) / 900,
          point.at(1).is_null() ? std::nullopt : std::optional(point.at(1).to_number<double>()));
    return out;
  }

  test::TempDir dir_;
};

using Points = std::vector<std::pair<std::int64_t, std::optional<double>>>;

TEST_F(HistoryAnswers, APointForEachStepAndNullForWhatIsNotKnown) {
  const auto answer = asked("quantity=frames&step=15m&from=2031-04-01&to=2031-04-01T02:15:00Z");
  EXPECT_EQ(
      points(answer),
      (Points{{0, 30}, {1, 10}, {2, {}}, {3, 10}, {4, 10}, {5, 10}, {6, 10}, {7, 10}, {8, {}}}));
  EXPECT_EQ(answer.at("direction").as_string(), "inbound");
  EXPECT_EQ(answer.at("unit").as_string(), "frames");
  EXPECT_EQ(points(asked("quantity=frames&direction=outbound&step=1h&from=1932768000")),
            (Points{{0, 3}, {4, 4}}));
}

// A median of the hour's frames, not of its quarters: 30 frames at 10 dB have their middle at the
// 15th, 20 at 20 dB at the 40th; the 25th lies four tenths of the way between.
TEST_F(HistoryAnswers, SpansMergeBeforeTheQuantityIsTaken) {
  EXPECT_EQ(points(asked("quantity=margin_db&step=1h&from=2031-04-01&to=2031-04-01T01:00:00Z")),
            (Points{{0, 14}}));
  const auto loss = points(
      asked("quantity=loss_ratio&step=1h&from=2031-04-01T01:00:00Z&to=2031-04-01T02:00:00Z"));
  ASSERT_EQ(loss.size(), 1U);
  EXPECT_NEAR(*loss[0].second, 10.0 / 50, 1e-6);
}

TEST_F(HistoryAnswers, StepsAreWidenedAndBeginAtTheirMultiples) {
  for (const auto& [step, seconds] :
       {std::pair{"15m", 900}, {"1", 900}, {"901", 1800}, {"1h", 3600}, {"100m", 6300}})
    EXPECT_EQ(
        asked(std::string("quantity=frames&from=2031-04-01&step=") + step).at("step_s").as_int64(),
        seconds)
        << step;
  const auto answer = asked("quantity=frames&step=1h&from=2031-04-01T00:20:00Z");
  EXPECT_EQ(points(answer).front().first, 0) << "the hour that holds 00:20";
  EXPECT_EQ(answer.at("from").as_int64(), kApril2031 + 1200) << "as it was asked";
}

// The shortest of 15m, 1h, 6h, 1d, 1w that makes at most a thousand points.
TEST_F(HistoryAnswers, StepsThatNobodyNamedMakeAThousandPointsAtMost) {
  for (const auto& [span_s, step_s] : {std::pair{900 * 999LL, 900LL},
                                       {900 * 1001LL, 3600LL},
                                       {3600 * 1001LL, 6 * 3600LL},
                                       {6 * 3600 * 1001LL, 86400LL},
                                       {86400 * 1001LL, 7 * 86400LL}}) {
    const auto answer = asked("quantity=frames&from=" + std::to_string(kApril2031) +
                              "&to=" + std::to_string(kApril2031 + span_s));
    EXPECT_EQ(answer.at("step_s").as_int64(), step_s);
    EXPECT_LE(answer.at("points").as_array().size(), 1001U);
  }
  const auto answer = asked("quantity=frames");
  EXPECT_EQ(answer.at("to").as_int64(), kApril2031 + 7200) << "now";
  EXPECT_EQ(answer.at("from").as_int64(), kApril2031 + 7200 - 86400) << "a day before";
}

TEST_F(HistoryAnswers, ElevenThousandPointsAndNoMore) {
  const auto until = [](std::int64_t points) {
    return "quantity=frames&step=15m&from=" + std::to_string(kApril2031) +
           "&to=" + std::to_string(kApril2031 + 900 * points);
  };
  EXPECT_EQ(asked(until(11000)).at("points").as_array().size(), 11000U);
  EXPECT_EQ(ask(until(11001)).status, 400U);
}

TEST_F(HistoryAnswers, NamesAreTextInEveryAnswer) {
  EXPECT_EQ(asked("quantity=frames").at("link").as_string(), kEvil);
  const HttpAnswer refused = ask("quantity=frames&link=%22%5C%0A");
  EXPECT_EQ(refused.status, 400U);
  const auto parsed = boost::json::parse(refused.body);
  EXPECT_NE(parsed.at("error").as_string().find("\"\\\n"), std::string::npos);
  EXPECT_EQ(parsed.at("allowed").as_array().at(0).as_string(), kEvil);
}

TEST_F(HistoryAnswers, WhatIsNotAllowedIsA400ThatSaysWhatIs) {
  for (const auto& [query, word] : {std::pair{"quantity=nothing", "margin_low_db"},
                                    {"", "margin_low_db"},
                                    {"quantity=frames&direction=up", "outbound"},
                                    {"quantity=frames&steps=1h", "step"},
                                    {"quantity=frames&step=0", "15m"},
                                    {"quantity=frames&step=-1h", "15m"},
                                    {"quantity=frames&step=soon", "15m"},
                                    {"quantity=frames&from=tomorrow", "RFC 3339"},
                                    {"quantity=frames&from=2031-04-02&to=2031-04-01", "before"},
                                    {"quantity=frames&from=2031-04-01&to=2031-04-01", "before"},
                                    {"quantity=frames&quantity=sent", "twice"},
                                    {"quantity=%zz", "escape"}}) {
    const HttpAnswer answer = ask(query);
    EXPECT_EQ(answer.status, 400U) << query;
    EXPECT_NE(answer.body.find(word), std::string_view::npos) << query << ": " << answer.body;
    EXPECT_TRUE(boost::json::parse(answer.body).is_object()) << query;
  }
}

TEST_F(HistoryAnswers, APlusIsASpaceButNotInATime) {
  EXPECT_EQ(asked("quantity=frames&from=2031-04-01T01:00:00+01:00").at("from").as_int64(),
            kApril2031);
}

}  // namespace
}  // namespace fadeward::publish::history_json_test
