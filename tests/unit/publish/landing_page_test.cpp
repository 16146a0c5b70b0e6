#include "fadeward/publish/landing_page.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <string>
#include <vector>

#include "unit/publish/fixtures.hpp"

namespace fadeward::publish::landing_page_test {
namespace {

using namespace testing;

/// Tags must nest; enough of HTML for a page that we write ourselves.
std::vector<std::string> unbalanced(const std::string& page) {
  std::vector<std::string> open;
  std::vector<std::string> wrong;
  for (std::size_t at = page.find('<'); at != std::string::npos; at = page.find('<', at + 1)) {
    const bool closes = page[at + 1] == '/';
    const std::size_t begin = at + 1 + (closes ? 1 : 0);
    const std::string name = page.substr(begin, page.find_first_of(" >", begin) - begin);
    if (name == "!DOCTYPE" || name == "meta" || name == "link") continue;
    if (!closes) {
      open.push_back(name);
    } else if (open.empty() || open.back() != name) {
      wrong.push_back(name);
    } else {
      open.pop_back();
    }
  }
  wrong.insert(wrong.end(), open.begin(), open.end());
  return wrong;
}

TEST(LandingPage, ShowsEveryLinkWithWordsForItsState) {
  auto snapshot = two_links();
  auto low = alert_of(AlertName::MarginLow, 0, Severity::critical);
  low.direction = Direction::outbound;
  snapshot.alerts = {alert_of(AlertName::LossHigh, 0, Severity::warning), low};
  const std::string page = landing_page(snapshot, {}, {"1.2.3", "", ""});
  for (const auto part : {"weir", "ridge", "23.3\u00a0dB", "17.1\u00a0dB", "not heard yet",
                          "critical", "MarginLow", "1.2.3", "/metrics", "3 s ago", "mast"}) {
    EXPECT_NE(page.find(part), std::string::npos) << part;
  }
  EXPECT_LT(page.find("MarginLow"), page.find("LossHigh")) << "the worst first";
  EXPECT_TRUE(unbalanced(page).empty()) << unbalanced(page).front();
}

TEST(LandingPage, TheWorstLinkComesFirst) {
  judge::Snapshot snapshot;
  snapshot.time = kNow;
  for (const char* name : {"fine", "thin", "mended", "broken", "gone"}) snapshot.links.push_back(known_link(name));
  for (auto& link : snapshot.links) link.margin_warning_db = 10;
  snapshot.links[1].directions[1].margin_db = 11;   // a decibel left
  snapshot.links[2].upkeep = true;
  snapshot.links[3].directions[0].days_left = 90;
  snapshot.links[3].directions[1].days_left = 23.4;
  snapshot.links[4].up = false;
  snapshot.alerts = {alert_of(AlertName::MarginLow, 3, Severity::critical)};
  snapshot.alerts[0].cause = Cause::far_antenna;
  const std::string page = landing_page(snapshot, {}, {"1", "", ""});
  std::vector<std::size_t> places;
  for (const char* name : {"broken", "gone", "thin", "fine", "mended"}) places.push_back(page.find(">" + std::string(name) + "</a>"));
  EXPECT_TRUE(std::ranges::is_sorted(places));
  EXPECT_EQ(std::ranges::count(places, std::string::npos), 0);
  EXPECT_NE(page.find("antenna or feeder at the site"), std::string::npos);
  EXPECT_NE(page.find("<small>1.0 above 10</small>"), std::string::npos);
  EXPECT_NE(page.find(">23</td>"), std::string::npos) << "days left";
}

// The line of the last day is that of the direction that was weaker, and says from where to where.
TEST(LandingPage, TheLastDayIsThatOfTheWeakerDirection) {
  for (const std::size_t weak : {0U, 1U}) {
    judge::Snapshot snapshot;
    snapshot.time = kNow;
    snapshot.links.push_back(known_link("weir"));
    snapshot.links.push_back(known_link("unheard"));
    auto days = std::make_shared<review::LastDays>();
    review::DayLine line;
    for (std::size_t h = 0; h < 24; ++h) {
      line[weak][h] = 8.0 + static_cast<double>(h) / 10;
      line[1 - weak][h] = 20.0;
    }
    days->emplace("weir", line);
    const std::string page = landing_page(snapshot, {}, {"1", "", ""}, {days, true});
    EXPECT_NE(page.find("<small>8 to 10\u00a0dB</small>"), std::string::npos) << weak;
    EXPECT_EQ(page.find("<svg"), page.rfind("<svg")) << "one line, for the one that was heard";
  }
}

// A phone on a hill: a hundred links with everything to say about each in 60 kB.
TEST(LandingPage, AHundredLinksStaySmall) {
  judge::Snapshot snapshot;
  snapshot.time = kNow;
  auto days = std::make_shared<review::LastDays>();
  for (std::size_t i = 0; i < 100; ++i) {
    snapshot.links.push_back(known_link("reservoir-" + std::to_string(i)));
    judge::LinkSnapshot& link = snapshot.links.back();
    link.margin_warning_db = 12.5;
    link.directions[0].days_left = 117;
    snapshot.alerts.push_back(alert_of(AlertName::FadingSuspected, static_cast<LinkIndex>(i), Severity::warning));
    snapshot.alerts.back().cause = Cause::path;
    snapshot.alerts.back().text = "Since 3 April 14:03 UTC, the signal of both directions is 6.1 dB lower, the noise as usual: obstruction, foliage or weather on the path; an antenna or feeder is not excluded.";
    review::DayLine line;
    for (std::size_t h = 0; h < 24; ++h)
      for (std::size_t d = 0; d < 2; ++d) line[d][h] = 15 + 9 * std::sin(static_cast<double>(h * (i + 1)));
    days->emplace(link.name, line);
  }
  const std::string page = landing_page(snapshot, {}, {"1", "", ""}, {days, true});
  EXPECT_LT(page.size(), 60000u);
  RecordProperty("bytes", static_cast<int>(page.size()));
  std::size_t lines = 0;
  for (std::size_t at = page.find("<svg"); at != std::string::npos; at = page.find("<svg", at + 1)) ++lines;
  EXPECT_EQ(lines, 100u);
  EXPECT_TRUE(unbalanced(page).empty()) << unbalanced(page).front();
  EXPECT_NE(page.find("href=\"/review/reservoir-99\""), std::string::npos);
}

TEST(LandingPage, ForeignTextStaysText) {
  auto snapshot = two_links();
  const std::string evil = "<script>alert('x')</script>\"&\x01\xff";
  snapshot.links[0].name = evil;
  snapshot.ports[0].name = evil;
  snapshot.ports[0].detail = evil;
  snapshot.alerts = {alert_of(AlertName::MarginLow, 0, Severity::critical)};
  snapshot.alerts[0].text = evil;
  const std::string page = landing_page(snapshot, {}, {evil, "", ""});
  EXPECT_EQ(page.find("<script"), std::string::npos);
  EXPECT_EQ(page.find("alert('"), std::string::npos);
  EXPECT_EQ(page.find('\x01'), std::string::npos);
  EXPECT_EQ(page.find('\xff'), std::string::npos);
  EXPECT_NE(page.find("href=\"/links/%3Cscript%3Ealert%28%27x%27%29%3C%2Fscript%3E%22%26%01%FF\""),
            std::string::npos);
  EXPECT_TRUE(unbalanced(page).empty());
}

TEST(LandingPage, NothingInlineThatThePolicyWouldBlock) {
  const std::string page = landing_page(two_links(), {}, {"1", "", ""});
  EXPECT_EQ(page.find("style="), std::string::npos);
  EXPECT_EQ(page.find("<style"), std::string::npos);
  EXPECT_EQ(page.find("<script"), std::string::npos);
  EXPECT_EQ(page.find("onclick"), std::string::npos);
  EXPECT_NE(page.find("lang=\"en\""), std::string::npos);
}

TEST(LandingPage, RenewsItselfOnlyWhereAskedTo) {
  const std::string still = landing_page(two_links(), {}, {"1", "", ""});
  EXPECT_EQ(still.find("http-equiv"), std::string::npos);
  EXPECT_NE(still.find("href=\"/?renew\""), std::string::npos);
  LandingExtras extras;
  extras.renew = true;
  const std::string moving = landing_page(two_links(), {}, {"1", "", ""}, extras);
  EXPECT_NE(moving.find("http-equiv=\"refresh\" content=\"30\""), std::string::npos);
  EXPECT_NE(moving.find(">stop</a>"), std::string::npos);
}

TEST(LandingPage, AnEmptyStartIsAPageToo) {
  const std::string page = landing_page({}, {}, {"1", "", ""});
  EXPECT_NE(page.find("No link is configured"), std::string::npos);
  EXPECT_NE(page.find("not ready"), std::string::npos);
  EXPECT_TRUE(unbalanced(page).empty());
}

/// WCAG 2.1: relative luminance of a colour "#rrggbb".
double luminance(const std::string& colour) {
  const auto channel = [&](std::size_t at) {
    const double c =
        static_cast<double>(std::strtol(colour.substr(at, 2).c_str(), nullptr, 16)) / 255;
    return c <= 0.03928 ? c / 12.92 : std::pow((c + 0.055) / 1.055, 2.4);
  };
  return 0.2126 * channel(1) + 0.7152 * channel(3) + 0.0722 * channel(5);
}

double contrast(const std::string& a, const std::string& b) {
  const double high = std::max(luminance(a), luminance(b));
  const double low = std::min(luminance(a), luminance(b));
  return (high + 0.05) / (low + 0.05);
}

// WCAG 2.1 success criterion 1.4.3: 4.5:1 for text; in light and in dark surroundings.
TEST(LandingStyle, EveryTextCanBeRead) {
  const std::string style(landing_style());
  const auto colour = [&](const std::string& name, std::size_t from) {
    return style.substr(style.find("--" + name + ": ", from) + name.size() + 4, 7);
  };
  EXPECT_NEAR(contrast("#ffffff", "#000000"), 21, 1e-9);   // the definition's own extreme
  for (const std::size_t from : {std::size_t{0}, style.find("prefers-color-scheme")}) {
    for (const auto text : {"text", "quiet", "good", "warning", "critical", "link"}) {
      for (const auto ground : {"ground", "panel"}) {
        EXPECT_GE(contrast(colour(text, from), colour(ground, from)), 4.5)
            << text << " on " << ground;
      }
    }
  }
}

}  // namespace
}  // namespace fadeward::publish::landing_page_test
