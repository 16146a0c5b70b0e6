#include "fadeward/base/archive.hpp"

#include <gtest/gtest.h>

#include <random>

namespace fadeward::archive_test {
namespace {

struct Inner {
  double value = 0;
  std::optional<std::int32_t> maybe;
  template <class A>
  void archive(A& a) {
    a(value, maybe);
  }
};

struct Outer {
  bool flag = false;
  std::string text;
  Time at{};
  Duration span{};
  std::vector<Inner> list;
  Ring<std::uint16_t> ring;
  std::array<std::uint8_t, 3> bytes{};
  template <class A>
  void archive(A& a) {
    a(flag, text, at, span, list, ring, bytes);
  }
};

Outer sample() {
  Outer out;
  out.flag = true;
  out.text = std::string("a\0b", 3);
  out.at = Time{Duration{-5}};
  out.span = Duration{7};
  out.list = {{1.5, 7}, {-2.5, {}}};
  for (std::uint16_t i = 0; i < 40; ++i) {
    out.ring.push(i);
    if (i % 3 == 0) out.ring.pop();
  }
  out.bytes = {1, 2, 3};
  return out;
}

TEST(Archive, ReadsWhatItWrote) {
  Outer out = sample(), back;
  std::string bytes;
  ArchiveWriter writer(bytes);
  writer(out);
  ArchiveReader reader(bytes);
  reader(back);
  ASSERT_TRUE(reader.ok());
  EXPECT_TRUE(reader.at_end());
  EXPECT_EQ(back.flag, out.flag);
  EXPECT_EQ(back.text, out.text);
  EXPECT_EQ(back.at, out.at);
  EXPECT_EQ(back.span, out.span);
  ASSERT_EQ(back.list.size(), 2U);
  EXPECT_EQ(back.list[0].maybe, 7);
  EXPECT_FALSE(back.list[1].maybe);
  ASSERT_EQ(back.ring.size(), out.ring.size());
  for (std::size_t i = 0; i < out.ring.size(); ++i) EXPECT_EQ(back.ring[i], out.ring[i]);
  EXPECT_EQ(back.bytes, out.bytes);
}

TEST(Archive, EveryCutIsNoticed) {
  Outer out = sample();
  std::string bytes;
  ArchiveWriter writer(bytes);
  writer(out);
  for (std::size_t length = 0; length < bytes.size(); ++length) {
    Outer back;
    ArchiveReader reader(std::string_view(bytes).substr(0, length));
    reader(back);
    EXPECT_FALSE(reader.ok()) << length;
  }
}

// Damaged counts must not end in wild allocations or reads beyond the end.
TEST(Archive, DamageDoesNoHarm) {
  Outer out = sample();
  std::string bytes;
  ArchiveWriter writer(bytes);
  writer(out);
  for (unsigned seed = 1; seed <= 2000; ++seed) {
    std::mt19937 random(seed);
    std::string damaged = bytes;
    for (int i = 0; i < 3; ++i) damaged[random() % damaged.size()] = static_cast<char>(random());
    Outer back;
    ArchiveReader reader(damaged);
    reader(back);
    EXPECT_LE(back.list.size(), bytes.size());
    EXPECT_LE(back.text.size(), bytes.size());
  }
}

}  // namespace
}  // namespace fadeward::archive_test
