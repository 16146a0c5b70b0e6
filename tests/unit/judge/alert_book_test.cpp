#include "fadeward/judge/alert_book.hpp"

#include <gtest/gtest.h>

namespace fadeward::judge::alert_book_test {
namespace {

using namespace std::chrono_literals;
constexpr Time kStart{std::chrono::seconds{1'893'456'000}};

struct Book {
  std::vector<Event> events;
  AlertBook book;
  AlertBook::Owner owner{0, kNoPort, &events};
  void raise(Severity severity, Cause cause, Time now) {
    Finding found;
    found.severity = severity;
    found.cause = cause;
    found.text = "text";
    book.raise(owner, AlertName::MarginLow, Direction::inbound, now, found);
  }
};

TEST(AlertBook, OneEventPerChange) {
  Book b;
  b.raise(Severity::warning, Cause::path, kStart);
  b.raise(Severity::warning, Cause::path, kStart + 1min);
  b.raise(Severity::critical, Cause::path, kStart + 2min);
  b.book.clear(b.owner, AlertName::MarginLow, Direction::outbound, kStart + 3min, "not active");
  b.book.clear(b.owner, AlertName::MarginLow, Direction::inbound, kStart + 4min, "over");
  b.book.clear(b.owner, AlertName::MarginLow, Direction::inbound, kStart + 5min, "over");
  ASSERT_EQ(b.events.size(), 3U);
  EXPECT_EQ(b.events[0].change, Change::raised);
  EXPECT_EQ(b.events[1].change, Change::changed);
  EXPECT_EQ(b.events[1].severity, Severity::critical);
  EXPECT_EQ(b.events[2].change, Change::cleared);
  EXPECT_EQ(b.events[2].severity, Severity::critical);   // what it had been
}

TEST(AlertBook, AFurtherChangeIsAnEventAndToldOnce) {
  Book b;
  const auto raise = [&](Time onset, std::optional<double> size_db, Time now) {
    Finding found;
    found.cause = Cause::far_transmit;
    found.onset = onset;
    found.size_db = size_db;
    b.book.raise(b.owner, AlertName::EquipmentSuspected, Direction::inbound, now, found);
  };
  raise(kStart, 3.0, kStart + 10min);
  raise(kStart, 3.2, kStart + 20min);                 // better known
  raise(kStart + 72h, 6.0, kStart + 72h + 10min);     // further
  raise(kStart, 9.0, kStart + 73h);                   // the first one speaks again
  raise(kStart + 72h, 6.1, kStart + 74h);
  raise(kStart + 100h, std::nullopt, kStart + 101h);  // of no size that could be told
  ASSERT_EQ(b.events.size(), 2U);
  EXPECT_EQ(b.events[1].change, Change::changed);
  EXPECT_EQ(b.events[1].onset, kStart + 72h);
  EXPECT_EQ(b.events[1].size_db, 6.0);
}

TEST(AlertBook, KeepsEndedOnesForAQuarterHour) {
  Book b;
  b.raise(Severity::warning, Cause::path, kStart);
  b.book.clear(b.owner, AlertName::MarginLow, Direction::inbound, kStart + 1min, "over");
  std::vector<AlertState> states;
  b.book.tidy(kStart + 10min);
  b.book.append_states(b.owner, states);
  ASSERT_EQ(states.size(), 1U);
  EXPECT_FALSE(states[0].active);
  EXPECT_EQ(*states[0].ended, kStart + 1min);
  b.book.tidy(kStart + 17min);
  EXPECT_TRUE(b.book.empty());
}

TEST(AlertBook, StaleIsKeptAndTakenBack) {
  Book b;
  b.raise(Severity::warning, Cause::path, kStart);
  b.book.mark_stale(AlertName::MarginLow, Direction::inbound, true);
  std::vector<AlertState> states;
  b.book.append_states(b.owner, states);
  EXPECT_TRUE(states[0].active && states[0].stale);
  b.raise(Severity::warning, Cause::path, kStart + 1h);
  states.clear();
  b.book.append_states(b.owner, states);
  EXPECT_FALSE(states[0].stale);
  EXPECT_EQ(b.events.size(), 1U);
}

}  // namespace
}  // namespace fadeward::judge::alert_book_test
