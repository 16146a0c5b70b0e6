#include "fadeward/publish/review_page.hpp"

#include <gtest/gtest.h>

#include <boost/json.hpp>
#include <sstream>

#include "fadeward/publish/review_desk.hpp"
#include "fadeward/publish/review_json.hpp"
#include "support/temp_dir.hpp"
#include "support/valley_years.hpp"
#include "unit/publish/fixtures.hpp"

namespace fadeward::publish::review_page_test {
namespace {

using test::date;
using test::ValleyYears;

/// Fourteen months of the invented valley, with names that try to break a document.
class ReviewPages : public ::testing::Test {
 protected:
  static void AFileNeedsNothingElse();
  static void TheServedPageKeepsToThePolicy();
  static void JsonIsJson();
  static void CsvHasALineForEveryDay();
  static void TextTellsWhatTheDateDid();
  static void TheNetworkIsTheSumOfItsLinks();
  static void TheDeskServesAndRefuses();

  static constexpr const char* kEvil = "<script>\"x\" & y</script>";

  static void SetUpTestSuite() {
    dir_ = new test::TempDir;
    ValleyYears truth;
    truth.end = date(2032, 6, 1);
    ASSERT_EQ(test::write_valley_years(*dir_ / "h", truth, {"sluice", kEvil}), "");
    auto opened = history::Reader::open(*dir_ / "h");
    ASSERT_TRUE(opened);
    reviews_ = new std::vector<review::LinkReview>;
    reports_ = new std::vector<NamedPerformance>;
    for (const char* name : {"sluice", kEvil}) {
      review::Question question;
      question.link = name;
      question.split = date(2031, 12, 1);
      reviews_->push_back(review::review_link(*opened, question));
      reports_->push_back({name, review::report_link(*opened, question)});
    }
  }
  static void TearDownTestSuite() {
    delete reports_;
    delete reviews_;
    delete dir_;
  }

  inline static test::TempDir* dir_ = nullptr;
  inline static std::vector<review::LinkReview>* reviews_ = nullptr;
  inline static std::vector<NamedPerformance>* reports_ = nullptr;
};

std::size_t count_of(const std::string& text, std::string_view part) {
  std::size_t out = 0;
  for (std::size_t at = text.find(part); at != std::string::npos; at = text.find(part, at + 1))
    ++out;
  return out;
}

void ReviewPages::AFileNeedsNothingElse() {
  const std::string page = review_page(*reviews_);
  EXPECT_NE(page.find("<style>"), std::string::npos);
  for (const char* part : {"<script", "src=", "href=\"http", "url(", "@import", "nan", "inf\""})
    EXPECT_EQ(page.find(part), std::string::npos) << part;
  EXPECT_EQ(count_of(page, "<svg"), count_of(page, "</svg>"));
  EXPECT_EQ(count_of(page, "<table"), count_of(page, "</table>"));
  EXPECT_EQ(count_of(page, "<tr>"), count_of(page, "</tr>"));
  EXPECT_EQ(count_of(page, "<section"), 2u);
  EXPECT_EQ(count_of(page, "role=\"img\" aria-label=\""), count_of(page, "<svg"))
      << "every drawing says what it is";
  EXPECT_NE(page.find("&lt;script&gt;"), std::string::npos);
}

// The server's policy forbids inline styles and scripts.
void ReviewPages::TheServedPageKeepsToThePolicy() {
  const std::string page = review_page({reviews_->data(), 1}, PageKind::served);
  for (const char* part : {"<style", "style=", "<script"})
    EXPECT_EQ(page.find(part), std::string::npos) << part;
  EXPECT_NE(page.find("/style.css"), std::string::npos);
  EXPECT_LT(page.size(), 400000u);
}

void ReviewPages::JsonIsJson() {
  const auto value = boost::json::parse(review_json(*reviews_));
  const auto& links = value.at("links").as_array();
  ASSERT_EQ(links.size(), 2u);
  EXPECT_EQ(links[1].at("link").as_string(), kEvil);
  const auto& days = links[0].at("directions").as_array()[0].at("days").as_array();
  EXPECT_EQ(days.size(), 427u);  // 1 April 2031 to 31 May 2032
  EXPECT_EQ(days[0].at("day").as_string(), "2031-04-01");
  EXPECT_NEAR(days[0].at("margin_db").to_number<double>(), 24.5, 2.5);
  const auto report = boost::json::parse(report_json(*reports_));
  EXPECT_EQ(report.at("links").as_array()[0].at("performance").at("total").at("both"),
            links[0].at("performance").at("total").at("both"))
      << "the report alone counts as the review does";
}

void ReviewPages::CsvHasALineForEveryDay() {
  const std::string csv = review_csv(*reviews_);
  EXPECT_EQ(count_of(csv, "\n"), 1 + 2 * 2 * 427u);
  EXPECT_NE(csv.find("\"<script>\"\"x\"\" & y</script>\",outbound,2032-05-31,"), std::string::npos);
  std::istringstream lines(report_csv(*reports_));
  std::string line;
  std::getline(lines, line);
  const auto commas = std::ranges::count(line, ',');
  std::size_t rows = 0;
  while (std::getline(lines, line)) {
    EXPECT_EQ(std::ranges::count(line, ','), commas) << line;
    ++rows;
  }
  EXPECT_EQ(rows, 2 * 3 * 14u);
}

void ReviewPages::TextTellsWhatTheDateDid() {
  const std::string text = review_text((*reviews_)[0]);
  for (const char* part : {"Link sluice", "the date asked for", "Leaves", "Months, inbound",
                           "2031-07", "< 0.0001", "Performance", "G.827", "does not compare"})
    EXPECT_NE(text.find(part), std::string::npos) << part;
}

void ReviewPages::TheNetworkIsTheSumOfItsLinks() {
  const review::Tally all = network_seconds(*reports_);
  std::uint64_t seconds = 0;
  for (const NamedPerformance& one : *reports_)
    seconds += one.performance.total[review::kBothWays].available *
               static_cast<std::uint64_t>(*one.performance.interval / std::chrono::seconds{1});
  EXPECT_EQ(all.available, seconds);
  EXPECT_NE(report_text(*reports_).find("all links"), std::string::npos);
  EXPECT_NE(report_page(*reports_).find("all links"), std::string::npos);
}

void ReviewPages::TheDeskServesAndRefuses() {
  ReviewDesk desk(*dir_ / "h");
  judge::Snapshot snapshot;
  snapshot.time = date(2032, 6, 1);
  snapshot.links.push_back(testing::known_link("new one"));
  const auto ask = [&](std::string_view name) {
    HttpAnswer answer = desk.page(name, snapshot);
    for (int i = 0; i < 100 && answer.status == 202; ++i) answer = desk.page(name, snapshot);
    return answer;
  };
  const HttpAnswer found = ask("sluice");
  EXPECT_EQ(found.status, 200u);
  EXPECT_NE(found.body.find("<h1>Link sluice</h1>"), std::string_view::npos);
  EXPECT_EQ(ask("sluice").keep, found.keep) << "made once, handed out for minutes";
  EXPECT_EQ(ask("nobody").status, 404u);
  EXPECT_EQ(ask("%zz").status, 404u);
  const HttpAnswer fresh = ask("new%20one");
  EXPECT_EQ(fresh.status, 200u);
  EXPECT_NE(fresh.body.find("Nothing is in the history"), std::string_view::npos);
  std::shared_ptr<const review::LastDays> days;
  for (int i = 0; i < 1000 && !(days = desk.last_days(snapshot.time)); ++i)
    std::this_thread::sleep_for(std::chrono::milliseconds{10});
  ASSERT_TRUE(days);
  ASSERT_EQ(days->size(), 2u);
  EXPECT_EQ(desk.last_days(snapshot.time), days);
  EXPECT_EQ(ask("nobody else").status, 404u);  // whatever was asked for before it is done
  EXPECT_EQ(desk.last_days(snapshot.time), days) << "read once, handed out for minutes";
  EXPECT_TRUE(days->at("sluice")[0][23]);
}

/// A link with one day of data and what the test adds.
review::LinkReview small_review() {
  review::LinkReview out;
  out.link = "weir";
  out.from = date(2031, 4, 1);
  out.to = date(2031, 4, 2);
  for (auto& one : out.directions) {
    review::SpanRow day;
    day.from = out.from;
    day.to = out.to;
    day.margin_db = 20;
    one.digest.days.push_back(day);
  }
  return out;
}

/// Levels of the headings in their order: "1232...".
std::string headings_of(const std::string& page) {
  std::string out;
  for (std::size_t at = page.find("<h"); at != std::string::npos; at = page.find("<h", at + 1))
    if (page[at + 2] >= '1' && page[at + 2] <= '6' && page[at + 3] == '>') out += page[at + 2];
  return out;
}

// Inbound has days but too few frames an hour for the map; WCAG 2.1, 1.3.1: no level is skipped.
TEST(ReviewPage, EveryPartHasItsHeading) {
  review::LinkReview review = small_review();
  review.directions[1].digest.hours[3][7] = 18.5;
  const std::string page = review_page({&review, 1});
  EXPECT_NE(page.find("<h2>Hour and month</h2>"), std::string::npos);
  const std::string levels = headings_of(page);
  for (std::size_t i = 1; i < levels.size(); ++i) EXPECT_LE(levels[i], levels[i - 1] + 1) << levels;
}

TEST(ReviewPage, EveryRowOfEventsIsNamedByItsTime) {
  review::LinkReview review = small_review();
  review.episodes.resize(1);
  review.episodes[0].from = review.from;
  EXPECT_NE(review_page({&review, 1}).find("<th scope=\"row\">1 April 2031 00:00 UTC</th>"),
            std::string::npos);
}

TEST(ReviewPage, WorkBeyondTheLettersIsListed) {
  review::LinkReview review = small_review();
  review.upkeep.resize(28);
  for (auto& one : review.upkeep) one.from = one.to = review.from;
  review.upkeep[26].note = "the 27th";
  EXPECT_EQ(count_of(review_page({&review, 1}), "<li>"), 28u);
  EXPECT_NE(review_page({&review, 1}).find("the 27th"), std::string::npos);
}

// What an earlier run heard without a clock stands in every form, and does not break the page.
TEST(ReviewPage, WhatHasNoDateIsNamed) {
  review::LinkReview review = small_review();
  review.performance.interval = std::chrono::minutes{2};
  review.performance.undated = {
      {review.from, history::MarkKind::undated, "", "3 quarter hours of <1> link"}};
  EXPECT_NE(review_page({&review, 1}).find("3 quarter hours of &lt;1&gt; link"), std::string::npos);
  EXPECT_NE(review_text(review).find("3 quarter hours of <1> link"), std::string::npos);
  const auto json = boost::json::parse(review_json({&review, 1}));
  const auto& undated = json.at("links").at(0).at("performance").at("undated").as_array();
  ASSERT_EQ(undated.size(), 1U);
  EXPECT_EQ(undated[0].at("text").as_string(), "3 quarter hours of <1> link");
  EXPECT_EQ(undated[0].at("time").as_string(), "2031-04-01T00:00:00Z");
}

// A reload brings the link: the page that knew no such link is not handed out for minutes.
TEST(ReviewDesk, AReloadMakesALinkKnown) {
  ReviewDesk desk("/nowhere/at/all");
  judge::Snapshot snapshot;
  const auto wait_for = [&](unsigned status) {
    for (int i = 0; i < 100 && desk.page("x", snapshot).status != status; ++i)
      std::this_thread::sleep_for(std::chrono::milliseconds{1});
    return desk.page("x", snapshot).status;
  };
  EXPECT_EQ(wait_for(404), 404u);
  snapshot.links.push_back(testing::known_link("x"));
  EXPECT_EQ(wait_for(200), 200u);
}

TEST(ReviewDesk, WithoutADirectoryThereIsNothing) {
  ReviewDesk desk("/nowhere/at/all");
  HttpAnswer answer = desk.page("x", {});
  for (int i = 0; i < 100 && answer.status == 202; ++i) answer = desk.page("x", {});
  EXPECT_EQ(answer.status, 404u);
}

// One test: the years are written once.
TEST_F(ReviewPages, InEveryForm) {
  {
    SCOPED_TRACE("AFileNeedsNothingElse");
    AFileNeedsNothingElse();
  }
  {
    SCOPED_TRACE("TheServedPageKeepsToThePolicy");
    TheServedPageKeepsToThePolicy();
  }
  {
    SCOPED_TRACE("JsonIsJson");
    JsonIsJson();
  }
  {
    SCOPED_TRACE("CsvHasALineForEveryDay");
    CsvHasALineForEveryDay();
  }
  {
    SCOPED_TRACE("TextTellsWhatTheDateDid");
    TextTellsWhatTheDateDid();
  }
  {
    SCOPED_TRACE("TheNetworkIsTheSumOfItsLinks");
    TheNetworkIsTheSumOfItsLinks();
  }
  {
    SCOPED_TRACE("TheDeskServesAndRefuses");
    TheDeskServesAndRefuses();
  }
}

}  // namespace
}  // namespace fadeward::publish::review_page_test
