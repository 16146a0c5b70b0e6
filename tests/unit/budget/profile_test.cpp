#include "fadeward/budget/profile.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <random>

#include "support/standard_csv.hpp"

namespace fadeward::budget::profile_test {
namespace {

using ::testing::Contains;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

const std::string kHeader = "distance_km,height_m\n";

std::string error_of(const std::string& text) {
  const auto parsed = parse_profile(text);
  return parsed ? "no error" : parsed.error().message;
}

TEST(Profile, ReadsPointsAndClutter) {
  const auto parsed = parse_profile(
      "\xEF\xBB\xBF# survey\r\ndistance_km,height_m,clutter_m\r\n0,12.5,\r\n\r\n0.1, 13 ,8\r\n"
      "0.2,1.4e1,0");
  ASSERT_TRUE(parsed) << parsed.error().message;
  ASSERT_EQ(parsed->points.size(), 3u);
  EXPECT_DOUBLE_EQ(parsed->points[0].height_m, 12.5);
  EXPECT_DOUBLE_EQ(parsed->points[0].clutter_m, 0);
  EXPECT_DOUBLE_EQ(parsed->points[1].clutter_m, 8);
  EXPECT_DOUBLE_EQ(parsed->points[2].height_m, 14);
  EXPECT_DOUBLE_EQ(parsed->length_km(), 0.2);
  EXPECT_THAT(parsed->suspicions, IsEmpty());
}

TEST(Profile, MeanHeightGoesByDistanceNotByPoints) {
  EXPECT_DOUBLE_EQ(Profile{}.mean_height_m(), 0);
  // By hand: 2 km at 150 m in the middle of a ramp and 8 km at 200 m.
  const Profile profile{{{0, 100}, {2, 200}, {10, 200}}, {}};
  EXPECT_DOUBLE_EQ(profile.mean_height_m(), (2 * 150 + 8 * 200) / 10.0);
}

// Terrain profiles of the official P.526 examples: real terrain raises no suspicion.
TEST(Profile, RealTerrainIsNotSuspect) {
  const std::size_t points[] = {1663, 2648, 349, 812};
  for (int number = 1; number <= 4; ++number) {
    std::string text = test::read_text("standards/p526_path" + std::to_string(number) + ".csv");
    text.replace(text.find("d_km,h_m"), 8, "distance_km,height_m");
    const auto parsed = parse_profile(text);
    ASSERT_TRUE(parsed) << parsed.error().message;
    EXPECT_EQ(parsed->points.size(), points[number - 1]);
    EXPECT_THAT(parsed->suspicions, IsEmpty()) << number;
  }
}

TEST(Profile, NamesTheLineOfAnError) {
  EXPECT_THAT(error_of(kHeader + "0,1\n0.1,x\n"), HasSubstr("line 3: \"x\" is not a number"));
  EXPECT_THAT(error_of(kHeader + "0,1\n0.1,nan\n"), HasSubstr("line 3"));
  EXPECT_THAT(error_of(kHeader + "0,1\n0.1,1,4\n"), HasSubstr("line 3: 3 columns"));
  EXPECT_THAT(error_of(kHeader + "0,1\n0.2,1\n0.1,1\n"),
              HasSubstr("line 4: distance 0.1 km comes"));
  EXPECT_THAT(error_of(kHeader + "-1,1\n"), HasSubstr("line 2: distance -1 km"));
  EXPECT_THAT(error_of(kHeader + "0,-9999\n"), HasSubstr("missing data"));
  EXPECT_THAT(error_of(kHeader + "0,12000\n"), HasSubstr("feet"));
  EXPECT_THAT(error_of(kHeader + "0,1\n14200,1\n"), HasSubstr("metres"));
  EXPECT_THAT(error_of(kHeader + "0,1\n1,1\n"), HasSubstr("at least 3"));
  EXPECT_THAT(error_of(""), HasSubstr("no header"));
}

TEST(Profile, NamesForeignUnitsInTheHeader) {
  EXPECT_THAT(error_of("distance_mi,height_ft\n0,1\n"), HasSubstr("feet, miles"));
  EXPECT_THAT(error_of("distance_m,height_m\n0,1\n"), HasSubstr("metres of distance"));
  EXPECT_THAT(error_of("distance_km;height_m\n0;1\n"), HasSubstr("commas"));
  EXPECT_THAT(error_of("0,1\n"), HasSubstr("line 1"));
}

TEST(Profile, NamesSuspicions) {
  const auto doubled = parse_profile(kHeader + "0,1\n0.1,5\n0.1,9\n0.1,2\n0.2,1\n");
  ASSERT_TRUE(doubled);
  ASSERT_EQ(doubled->points.size(), 3u);
  EXPECT_DOUBLE_EQ(doubled->points[1].height_m, 9);
  EXPECT_THAT(doubled->suspicions, Contains(HasSubstr("line 4: distance 0.1 km is given twice")));

  std::string gap = kHeader;
  for (int i = 0; i < 40; ++i)
    if (i < 10 || i > 25) gap += std::to_string(i * 0.1) + ",20\n";
  EXPECT_THAT(parse_profile(gap)->suspicions, Contains(HasSubstr("between 0.9 and 2.6 km")));

  EXPECT_THAT(parse_profile(kHeader + "0,1\n0.1,-3\n0.2,1\n")->suspicions,
              Contains(HasSubstr("below the sea")));
  const auto late = parse_profile(kHeader + "5,1\n5.1,1\n5.2,1\n");
  EXPECT_THAT(late->suspicions, Contains(HasSubstr("begins at 5 km")));
  EXPECT_NEAR(late->length_km(), 0.2, 1e-12);

  std::string steep = kHeader;
  for (int i = 0; i < 30; ++i) steep += std::to_string(i * 0.01) + (i % 2 ? ",900\n" : ",700\n");
  EXPECT_THAT(parse_profile(steep)->suspicions, Contains(HasSubstr("feet")));
}

TEST(Profile, LengthPointsAtMixedUnits) {
  Profile profile;
  profile.points = {{0, 0, 0}, {5, 0, 0}, {10, 0, 0}};
  EXPECT_EQ(compare_length(profile, 10.2), "");
  EXPECT_THAT(compare_length(profile, 16.09), HasSubstr("profile in miles"));
  EXPECT_THAT(compare_length(profile, 6.21), HasSubstr("distance_km in miles"));
  EXPECT_THAT(compare_length(profile, 0.01), HasSubstr("profile in metres"));
  EXPECT_THAT(compare_length(profile, 25), HasSubstr("10 km long"));
}

// Whatever a file holds, the answer is a usable profile or an error that names something.
TEST(Profile, AnyTextIsAnsweredInOrder) {
  const unsigned seed = std::random_device{}();
  SCOPED_TRACE("seed " + std::to_string(seed));
  std::mt19937 random(seed);
  const std::string alphabet = "0123456789,,,..-+e \n\n\r#\xff;nai";
  int accepted = 0;
  for (int round = 0; round < 3000; ++round) {
    std::string text = "distance_km,height_m\n";
    double km = 0;
    for (int line = 0; line < 12; ++line)
      text += std::to_string(km += 0.01 * static_cast<double>(random() % 50)) + "," +
              std::to_string(random() % 900) + "\n";
    for (unsigned hit = random() % 4; hit > 0; --hit)
      text[random() % text.size()] = alphabet[random() % alphabet.size()];
    const auto parsed = parse_profile(text);
    if (!parsed) {
      EXPECT_FALSE(parsed.error().message.empty());
      continue;
    }
    ++accepted;
    ASSERT_GE(parsed->points.size(), 3u);
    EXPECT_EQ(parsed->points.front().distance_km, 0);
    for (std::size_t i = 1; i < parsed->points.size(); ++i)
      ASSERT_GT(parsed->points[i].distance_km, parsed->points[i - 1].distance_km) << text;
  }
  EXPECT_GT(accepted, 300);
}

TEST(Profile, RefusesWhatIsTooLarge) {
  EXPECT_THAT(error_of(std::string(kMaxProfileBytes + 1, '\n')), HasSubstr("16 MiB"));
}

}  // namespace
}  // namespace fadeward::budget::profile_test
