#include "fadeward/app/line_reader.hpp"

#include <gtest/gtest.h>
#include <zlib.h>

#include <random>
#include <string>
#include <vector>

#include "support/temp_dir.hpp"

namespace fadeward::app::line_reader_test {
namespace {

class LineReaderTest : public testing::Test {
 protected:
  std::string write(const std::string& name, const std::string& bytes) {
    return dir_.file(name, bytes);
  }
  static std::vector<std::string> read(const std::string& path, std::string* error = nullptr,
                                       std::uint64_t* too_long = nullptr) {
    auto reader = LineReader::open(path);
    EXPECT_TRUE(reader) << path;
    std::vector<std::string> lines;
    std::string_view line;
    while (reader->next(line)) {
      // The promise: 64 bytes behind each line can be read.
      volatile char last = *(line.data() + line.size() + LineReader::kPadding - 1);
      static_cast<void>(last);
      lines.emplace_back(line);
    }
    if (error != nullptr) *error = reader->error();
    if (too_long != nullptr) *too_long = reader->too_long();
    return lines;
  }
  static std::string gzipped(const std::string& text) {
    z_stream stream{};
    EXPECT_EQ(deflateInit2(&stream, 6, Z_DEFLATED, 15 + 16, 8, Z_DEFAULT_STRATEGY), Z_OK);
    std::string out(deflateBound(&stream, text.size()) + 64, '\0');
    stream.next_in = reinterpret_cast<Bytef*>(const_cast<char*>(text.data()));
    stream.avail_in = static_cast<uInt>(text.size());
    stream.next_out = reinterpret_cast<Bytef*>(out.data());
    stream.avail_out = static_cast<uInt>(out.size());
    EXPECT_EQ(deflate(&stream, Z_FINISH), Z_STREAM_END);
    out.resize(stream.total_out);
    deflateEnd(&stream);
    return out;
  }
  test::TempDir dir_;
};

TEST_F(LineReaderTest, LinesOfAnyLengthAndEnd) {
  for (unsigned seed = 1; seed <= 4; ++seed) {
    std::mt19937 random(seed);
    std::string text;
    std::vector<std::string> want;
    for (int i = 0; i < 3000; ++i) {
      std::string line(random() % (i % 100 == 0 ? LineReader::kLongest : 300), 'x');
      if (!line.empty()) want.push_back(line);
      text += line + (random() % 2 == 0 ? "\n" : "\r\n");
    }
    text += "last";
    want.emplace_back("last");
    EXPECT_EQ(read(write("plain", text)), want) << "seed " << seed;
    EXPECT_EQ(read(write("packed", gzipped(text))), want) << "seed " << seed;
    // Two gzip members in a row are one text.
    const auto half = text.find('\n', text.size() / 2) + 1;
    EXPECT_EQ(read(write("two", gzipped(text.substr(0, half)) + gzipped(text.substr(half)))), want);
  }
}

TEST_F(LineReaderTest, WhatIsTooLongIsSkippedAndCounted) {
  std::uint64_t too_long = 0;
  const std::string text = "one\n" + std::string(LineReader::kLongest + 1, 'y') + "\ntwo\n" +
                           std::string(3 << 20, 'z') + "\nthree\n";
  EXPECT_EQ(read(write("long", text), nullptr, &too_long), (std::vector<std::string>{"one", "two", "three"}));
  EXPECT_EQ(too_long, 2U);
}

TEST_F(LineReaderTest, EmptyFilesAndMissingOnes) {
  EXPECT_TRUE(read(write("empty", "")).empty());
  EXPECT_TRUE(read(write("blank", "\n\r\n\n")).empty());
  EXPECT_EQ(read(write("one", "a")), std::vector<std::string>{"a"});
  const auto missing = LineReader::open(dir_ / "missing");
  ASSERT_FALSE(missing);
  EXPECT_NE(missing.error().message.find("No such file"), std::string::npos);
}

TEST_F(LineReaderTest, ACutOrDamagedGzipIsSaid) {
  std::string text;
  for (int i = 0; i < 20000; ++i) text += std::to_string(i * 7919) + "\n";
  const std::string packed = gzipped(text);
  std::string error;
  const auto lines = read(write("cut", packed.substr(0, packed.size() / 2)), &error);
  EXPECT_GT(lines.size(), 100U);
  EXPECT_NE(error.find("cut short"), std::string::npos);
  std::string damaged = packed;
  for (std::size_t i = 1000; i < 1100; ++i) damaged[i] = '\xff';
  read(write("damaged", damaged), &error);
  EXPECT_FALSE(error.empty());
}

}  // namespace
}  // namespace fadeward::app::line_reader_test
