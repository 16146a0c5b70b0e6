// Passwords against hashes made elsewhere, and what the desk does when many come.
#include "fadeward/publish/password_desk.hpp"

#include <gtest/gtest.h>

#include <atomic>
#include <chrono>
#include <future>

namespace fadeward::publish::password_desk_test {
namespace {

// The test vectors of the bcrypt of Openwall's crypt_blowfish 1.3 (wrapper.c): cost 5.
struct Vector {
  const char* hash;
  std::string password;
};
const Vector kVectors[] = {
    {"$2a$05$CCCCCCCCCCCCCCCCCCCCC.E5YPO9kmyuRGyh0XouQYb4YMJKvyOeW", "U*U"},
    {"$2a$05$CCCCCCCCCCCCCCCCCCCCC.VGOzA784oUp/Z0DY336zx7pLYAy0lwK", "U*U*"},
    {"$2a$05$XXXXXXXXXXXXXXXXXXXXXOAcXxm9kjPGEMsLznoKqmqw7tc8WCx4a", "U*U*U"},
    {"$2y$05$/OK.fbVrR/bpIqNJ5ianF.CE5elHaaO4EbggVDjb8P19RukzXSM3e", "\xff\xff\xa3"},
};

bool verdict_of(PasswordDesk& desk, const Credentials& who) {
  std::promise<bool> told;
  if (!desk.check(who, [&told](bool right) { told.set_value(right); })) return false;
  return told.get_future().get();
}

TEST(PasswordDesk, AgreesWithPublishedHashes) {
  PasswordDesk desk;
  for (const Vector& vector : kVectors) {
    desk.set_users({{"ann", vector.hash}});
    EXPECT_TRUE(verdict_of(desk, {"ann", vector.password})) << vector.hash;
    EXPECT_FALSE(verdict_of(desk, {"ann", vector.password + "x"})) << vector.hash;
    EXPECT_FALSE(verdict_of(desk, {"bob", vector.password})) << vector.hash;
  }
}

TEST(PasswordDesk, RemembersWhatWasRightUntilTheUsersChange) {
  PasswordDesk desk;
  desk.set_users({{"ann", kVectors[0].hash}});
  EXPECT_FALSE(desk.is_known({"ann", "U*U"}));
  EXPECT_TRUE(verdict_of(desk, {"ann", "U*U"}));
  EXPECT_TRUE(desk.is_known({"ann", "U*U"}));
  EXPECT_FALSE(verdict_of(desk, {"ann", "U*V"}));
  EXPECT_FALSE(desk.is_known({"ann", "U*V"}));
  EXPECT_TRUE(desk.is_known({"ann", "U*U"}));
  desk.set_users({{"ann", kVectors[1].hash}});
  EXPECT_FALSE(desk.is_known({"ann", "U*U"}));
  EXPECT_FALSE(verdict_of(desk, {"ann", "U*U"}));
}

// One is under way and as many wait as may: the next is refused, and all that were taken are told
// or given up.
TEST(PasswordDesk, RefusesWhenTooManyWait) {
  std::atomic<int> told = 0;
  int taken = 0, refused = 0;
  {
    PasswordDesk desk;
    desk.set_users({{"ann", kVectors[0].hash}});
    for (int i = 0; i < 200; ++i)
      ++(desk.check({"ann", std::to_string(i)}, [&told](bool) { ++told; }) ? taken : refused);
    desk.stop();
    EXPECT_FALSE(desk.check({"ann", "U*U"}, [&told](bool) { ++told; }));
  }
  EXPECT_GT(refused, 0);
  EXPECT_GE(taken, static_cast<int>(PasswordDesk::kMostWaiting));
  EXPECT_LE(told.load(), taken);
}

// At cost 17 a check takes seconds (the hash need not be anybody's: it is computed all the same).
TEST(PasswordDesk, StopDoesNotWaitForACheckThatTakesLong) {
  std::atomic<bool> told = false;
  const auto held = std::make_shared<int>();
  PasswordDesk desk;
  desk.set_users({{"ann", "$2a$17$CCCCCCCCCCCCCCCCCCCCC.E5YPO9kmyuRGyh0XouQYb4YMJKvyOeW"}});
  for (int i = 0; i < 3; ++i)
    ASSERT_TRUE(desk.check({"ann", "x"}, [held, &told](bool) { told = true; }));
  std::this_thread::sleep_for(std::chrono::milliseconds{100});
  const auto begin = std::chrono::steady_clock::now();
  desk.stop();
  EXPECT_LT(std::chrono::steady_clock::now() - begin, std::chrono::milliseconds{500});
  EXPECT_EQ(held.use_count(), 1) << "nothing is held back for a thread that goes on";
  EXPECT_FALSE(told);
}

// RFC 7617 section 2: the user Aladdin with the password "open sesame"; section 2.1: "test" with a
// pound sign in UTF-8.
TEST(Credentials, AreReadAsTheStandardSays) {
  const auto example = basic_credentials("Basic QWxhZGRpbjpvcGVuIHNlc2FtZQ==");
  ASSERT_TRUE(example);
  EXPECT_EQ(example->user, "Aladdin");
  EXPECT_EQ(example->password, "open sesame");
  const auto pound = basic_credentials("basic dGVzdDoxMjPCow==");
  ASSERT_TRUE(pound);
  EXPECT_EQ(pound->user, "test");
  EXPECT_EQ(pound->password, "123\xC2\xA3");
  const auto empty = basic_credentials("Basic Og==");  // ":"
  ASSERT_TRUE(empty);
  EXPECT_EQ(empty->user + empty->password, "");
}

TEST(Credentials, OtherThingsAreNone) {
  for (const char* text : {"", "Basic", "Basic ", "Basic !!!!", "Basic QQ", "Basic QUJD",  // "ABC"
                           "Bearer QWxhZGRpbjpvcGVuIHNlc2FtZQ==", "Basic YQBiOmM=",  // a NUL b:c
                           "BasicQWxhZGRpbjpvcGVuIHNlc2FtZQ=="})
    EXPECT_FALSE(basic_credentials(text)) << text;
  EXPECT_FALSE(basic_credentials("Basic " + std::string(8000, 'A')));
}

}  // namespace
}  // namespace fadeward::publish::password_desk_test
