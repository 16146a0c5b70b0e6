#include "fadeward/budget/improvement.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <string>

#include "fadeward/budget/diffraction.hpp"
#include "fadeward/budget/foliage.hpp"

namespace fadeward::budget::improvement_test {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

LinkSettings chirps(double distance_km) {
  LinkSettings link;
  link.name = "ridge";
  link.radio.modulation = RadioSettings::Modulation::css;
  link.radio.spreading_factor = 9;
  link.radio.bandwidth_hz = 125e3;
  link.budget.frequency_mhz = 915;
  link.budget.distance_km = distance_km;
  link.budget.near = {20, 2.15, 1.2, 0, 10, {}};
  link.budget.far = {20, 2.15, 0, 0, 10, {}};
  return link;
}

Profile hill() {
  Profile profile;
  for (int i = 0; i <= 100; ++i) {
    const double km = 0.1 * i;
    profile.points.push_back({km, 100 + 40 * std::exp(-(km - 3) * (km - 3)), 0});
  }
  return profile;
}

const Improvement* find(const std::vector<Improvement>& list, const std::string& part) {
  const auto found = std::ranges::find_if(
      list, [&](const Improvement& one) { return one.what.find(part) != std::string::npos; });
  return found == list.end() ? nullptr : &*found;
}

// What a decibel of gain, feeder or polarisation brings is a decibel, in both directions; half the
// bandwidth is 10 lg 2 = 3.01 dB less noise, a spreading factor more 2.5 dB (transceiver
// datasheets).
TEST(Improvements, AreWhatTheTermsSay) {
  LinkSettings link = chirps(10);
  link.budget.near.polarisation_db = 1.5;
  link.budget.foliage_m = 40;
  const auto list = improvements(link);
  const auto gains = [&](const std::string& part) {
    const Improvement* one = find(list, part);
    EXPECT_NE(one, nullptr) << part;
    return one ? one->gains_db : std::array<double, kDirections>{};
  };
  const auto both = [](double db) {
    return ElementsAre(::testing::DoubleNear(db, 1e-3), ::testing::DoubleNear(db, 1e-3));
  };
  EXPECT_THAT(gains("near antenna of 5.15 instead of 2.15 dBi"), both(3));
  EXPECT_THAT(gains("far antenna of 5.15"), both(3));
  EXPECT_THAT(gains("near feeder of 0.6 instead of 1.2 dB"), both(0.6));
  EXPECT_THAT(gains("near and far power of 23 instead of 20 dBm"), both(3));
  EXPECT_THAT(gains("same polarisation"), both(1.5));
  EXPECT_THAT(gains("spreading factor 10 instead of 9"), both(2.5));
  EXPECT_THAT(gains("bandwidth of 62.5 instead of 125 kHz"), both(3.0103));
  EXPECT_THAT(gains("40 m of wood cut"), both(woodland_loss_db(*woodland_at(915e6), 40)));
  EXPECT_EQ(find(list, "far feeder"), nullptr);  // there is none to mend
  EXPECT_EQ(find(list, "higher"), nullptr);      // no profile: nobody can say
}

TEST(Improvements, HeightIsWorthWhatDiffractionSays) {
  const LinkSettings link = chirps(10);
  const Profile profile = hill();
  const auto list = improvements(link, &profile);
  const auto loss_db = [&](double near_m, double far_m) {
    return delta_bullington(profile, near_m, far_m, 915e6).loss_db();
  };
  const Improvement* near = find(list, "near antenna 5 m higher (15 m)");
  const Improvement* far = find(list, "far antenna 5 m higher (15 m)");
  ASSERT_TRUE(near && far);
  EXPECT_NEAR(near->gains_db[0], loss_db(10, 10) - loss_db(15, 10), 1e-9);
  EXPECT_NEAR(far->gains_db[1], loss_db(10, 10) - loss_db(10, 15), 1e-9);
  EXPECT_GT(near->gains_db[0], far->gains_db[0]);  // the hill stands nearer to it
}

TEST(Improvements, TheBestForTheWeakerDirectionComesFirst) {
  LinkSettings link = chirps(10);
  link.budget.far.power_dbm = 10;  // inbound is the weaker one
  const auto list = improvements(link);
  ASSERT_FALSE(list.empty());
  EXPECT_TRUE(std::ranges::is_sorted(list, std::ranges::greater{}, &Improvement::weaker_gain_db));
  EXPECT_NEAR(find(list, "far power of 13")->weaker_gain_db, 3, 1e-9);
  const Improvement* near_alone = nullptr;
  for (const Improvement& one : list)
    if (one.what.starts_with("near power of 23 instead of 20 dBm") &&
        one.what.find("far") == std::string::npos)
      near_alone = &one;
  ASSERT_NE(near_alone, nullptr);
  EXPECT_NEAR(near_alone->weaker_gain_db, 0, 1e-9);
  EXPECT_NEAR(near_alone->gains_db[1], 3, 1e-9);
}

TEST(Improvements, PowerEndsWithTheRadio) {
  LinkSettings link = chirps(10);
  link.radio.max_power_dbm = 21;
  EXPECT_NE(find(improvements(link), "power of 21 instead of 20"), nullptr);
  link.radio.max_power_dbm = 20;
  EXPECT_EQ(find(improvements(link), "power of"), nullptr);
}

// 47 CFR 15.247(b)(4): above 6 dBi each dB of gain takes one of power. What is left is reception.
TEST(Improvements, ARuleOfRadiatedPowerTakesTheGainOfTheSender) {
  LinkSettings link = chirps(10);
  link.budget.near = {30, 6, 0, 0, 10, {}};
  link.budget.far = {27, 6, 0, 0, 10, {}};
  link.rules = {"us-15.247-hopping", 50, 0.4, {}, {}};
  const auto list = improvements(link);
  const Improvement* at_limit = find(list, "near antenna of 9 instead of 6 dBi, 3 dB less power");
  ASSERT_NE(at_limit, nullptr);
  EXPECT_NEAR(at_limit->gains_db[0], 3, 1e-9);
  EXPECT_NEAR(at_limit->gains_db[1], 0, 1e-9);
  EXPECT_THAT(at_limit->breaks, IsEmpty());
  const Improvement* below = find(list, "far antenna of 9 instead of 6 dBi");
  ASSERT_NE(below, nullptr);
  EXPECT_EQ(below->what.find("less power"), std::string::npos);
  EXPECT_NEAR(below->gains_db[0], 3, 1e-9);
  const Improvement* power = find(list, "near power of 33 instead of 30 dBm, far 30 instead of 27");
  ASSERT_NE(power, nullptr);
  EXPECT_THAT(power->breaks, ElementsAre("47 CFR 15.247(b)(2)"));
}

// 20 bytes at spreading factor 10 and 125 kHz take 370.688 ms, at 11 741.376 ms (datasheet
// formula): more than the 0.4 s of 47 CFR 15.247(a)(1)(i).
TEST(Improvements, SlowerFramesHaveTheirPrice) {
  LinkSettings link = chirps(10);
  link.radio.spreading_factor = 10;
  link.rules = {"us-15.247-hopping", 50, 0.4, {}, {}};
  const auto list = improvements(link);
  const Improvement* slower = find(list, "spreading factor 11");
  ASSERT_NE(slower, nullptr);
  EXPECT_THAT(slower->price, HasSubstr("0.741 s instead of 0.371 s"));
  EXPECT_THAT(slower->breaks, ElementsAre("47 CFR 15.247(a)(1)(i)"));
  link.radio.spreading_factor = 12;
  EXPECT_EQ(find(improvements(link), "spreading factor"), nullptr);
}

TEST(Improvements, HalfTheBitRateWithoutChirps) {
  LinkSettings link = chirps(10);
  link.radio = {};
  link.radio.modulation = RadioSettings::Modulation::fsk;
  link.radio.bit_rate_bps = 50e3;
  const auto list = improvements(link);
  const Improvement* slower = find(list, "25000 instead of 50000 bit/s");
  ASSERT_NE(slower, nullptr);
  EXPECT_NEAR(slower->gains_db[0], 3.0103, 1e-3);
}

TEST(Improvements, NothingWithoutMarginsOfThePath) {
  EXPECT_THAT(improvements(LinkSettings{}), IsEmpty());
  LinkSettings given = chirps(10);
  given.budget.inbound_signal_dbm = -100;
  EXPECT_THAT(improvements(given), IsEmpty());
}

}  // namespace
}  // namespace fadeward::budget::improvement_test
