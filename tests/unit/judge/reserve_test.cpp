#include "fadeward/judge/reserve.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <random>
#include <vector>

#include "fadeward/base/archive.hpp"

namespace fadeward::judge::reserve_test {
namespace {

using namespace std::chrono_literals;
constexpr Time kStart{std::chrono::seconds{1'893'456'000}};

TEST(Reserve, NothingBeforeTheFirstNoteAndThatAloneAfterIt) {
  Reserve reserve;
  EXPECT_FALSE(reserve.median_db(kStart, kStart + 1h));
  reserve.note(kStart, 7.5);
  EXPECT_DOUBLE_EQ(*reserve.median_db(kStart - 1h, kStart), 7.5) << "no time has passed";
  EXPECT_DOUBLE_EQ(*reserve.median_db(kStart + 23h, kStart + 24h), 7.5) << "it holds on";
}

// Against a list with one entry a minute, sorted.
TEST(Reserve, IsTheMedianOverTheMinutes) {
  for (unsigned seed = 1; seed <= 20; ++seed) {
    std::mt19937 random(seed);
    Reserve reserve;
    std::vector<double> minutes;
    double unused = 6;
    for (int minute = 0; minute < 600; ++minute) {
      if (random() % 7 == 0) unused = static_cast<double>(random() % 27) / 2;
      reserve.note(kStart + 1min * minute, unused);
      minutes.push_back(unused);
    }
    for (const int span : {61, 181, 599}) {
      std::vector<double> last(minutes.end() - span, minutes.end());
      std::sort(last.begin(), last.end());
      EXPECT_DOUBLE_EQ(*reserve.median_db(kStart + 1min * (600 - span), kStart + 600min),
                       last[static_cast<std::size_t>(span / 2)])
          << "seed " << seed << ", span " << span;
    }
  }
}

// Against the frames themselves: power goes up and down by 16 dB, the path stays.
TEST(Reserve, IsAddedFrameByFrame) {
  for (unsigned seed = 1; seed <= 10; ++seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> fading(0, 2.8);
    Reserve reserve;
    link::FrameWindow window;
    std::vector<double> margins, raised;
    double unused = 0;
    const Time end = kStart + 1h;
    for (Time at = kStart + 5s; at < end; at += 10s) {
      if (random() % 60 == 0) unused = static_cast<double>(random() % 17);
      const double path = 25 + std::round(100 * fading(random)) / 100;
      reserve.note(at, unused);
      window.add(at, path - unused - 117, -117, path - unused, 1, 0, 0, 16);
      margins.push_back(path - unused);
      raised.push_back(path);
    }
    const auto median = [](std::vector<double> values) {
      std::sort(values.begin(), values.end());
      return values[(values.size() - 1) / 2];
    };
    EXPECT_NEAR(*reserve.gain_db(window, end), median(raised) - median(margins), 0.02)
        << "seed " << seed;
  }
}

TEST(Reserve, IsBoundedAndFollowsTheClockAndARestart) {
  Reserve reserve;
  for (int i = 0; i < 100'000; ++i) reserve.note(kStart + 1s * i, i % 2 * 20);
  std::string bytes;
  ArchiveWriter writer(bytes);
  reserve.archive(writer);
  EXPECT_LE(bytes.size(), 512U * 12 + 4);
  Reserve again;
  ArchiveReader reader(bytes);
  again.archive(reader);
  ASSERT_TRUE(reader.ok() && reader.at_end());
  const Time end = kStart + 100'000s;
  again.note(end, 5);
  again.shift(48h);
  EXPECT_DOUBLE_EQ(*again.median_db(end + 48h, end + 49h), 5);
  again.forget();
  EXPECT_FALSE(again.median_db(end, end + 49h));
}

}  // namespace
}  // namespace fadeward::judge::reserve_test
