// Hostile files: bounded time and memory, no crash, always an answer.
#include <gtest/gtest.h>

#include <chrono>
#include <fstream>
#include <random>
#include <sstream>
#include <string>

#include "fadeward/config/describe.hpp"
#include "fadeward/config/parse.hpp"

namespace fadeward::config::limits_test {
namespace {

using Clock = std::chrono::steady_clock;

// Generous: a shared machine and sanitizers slow everything down.
constexpr std::chrono::seconds kLongest{20};

std::string refused(const std::string& yaml) {
  const auto start = Clock::now();
  const auto parsed = parse(yaml, "f.yaml");
  EXPECT_LT(Clock::now() - start, kLongest);
  return parsed.ok() ? "accepted" : parsed.error().message;
}

std::string repeated(const std::string& text, std::size_t times) {
  std::string out;
  for (std::size_t i = 0; i < times; ++i) out += text;
  return out;
}

TEST(Limits, AliasesOfAliases) {
  std::string yaml = "a: &a [x, x, x, x, x, x, x, x, x, x]\n";
  for (char c = 'b'; c < 'z'; ++c)
    yaml += std::string(1, c) + ": &" + c + " [" +
            repeated("*" + std::string(1, char(c - 1)) + ", ", 10) + "]\n";
  EXPECT_NE(refused(yaml).find("more than 200000 values, aliases included"), std::string::npos);
}

TEST(Limits, LongTextThroughAliases) {
  const std::string yaml =
      "a: &a " + std::string(100'000, 'x') + "\nlinks: [" + repeated("*a, ", 1000) + "]\n";
  EXPECT_NE(refused(yaml).find("more than 4 MiB of text, aliases included"), std::string::npos);
}

TEST(Limits, DepthIsCountedThroughAliases) {
  EXPECT_EQ(refused("links: " + repeated("[", 31) + repeated("]", 31)).find("nested deeper"),
            std::string::npos);
  EXPECT_EQ(refused("links: " + repeated("[", 32) + repeated("]", 32)),
            "f.yaml:1:39: nested deeper than 32 levels");
  const std::string inner = "a: &a " + repeated("[", 20) + repeated("]", 20) + "\n";
  EXPECT_EQ(
      refused(inner + "b: " + repeated("[", 10) + "*a" + repeated("]", 10)).find("nested deeper"),
      std::string::npos);
  EXPECT_NE(
      refused(inner + "b: " + repeated("[", 20) + "*a" + repeated("]", 20)).find("nested deeper"),
      std::string::npos);
}

TEST(Limits, FileOfOneMebibyte) {
  const std::string head = "links: [{name: a}]\n";
  EXPECT_TRUE(parse(head + std::string(kMaxFileBytes - head.size(), '#'), "f.yaml").ok());
  EXPECT_EQ(refused(head + std::string(kMaxFileBytes - head.size() + 1, '#')),
            "f.yaml: larger than 1 MiB: no configuration is");
}

TEST(Limits, EndlessRepetitionsOfEverySign) {
  for (const char* sign : {"[", "{", "- ", "? ", ": ", "!", "&a ", "*a ", "\"", "'", "|\n", "[a, ",
                           "{a: 1}, ", "a: b\n", "- name: a\n", "%", "---\n", "a: \n  "}) {
    const auto message = refused(repeated(sign, 100'000 / std::string(sign).size()));
    EXPECT_EQ(message.rfind("f.yaml:", 0), 0U) << sign;
  }
}

TEST(Limits, TenThousandLinksWithAnUnknownPort) {
  std::string yaml = "ports: [{ name: mast, source: \"stdin:\" }]\nlinks:\n";
  for (int i = 0; i < 10'000; ++i)
    yaml += "  - { name: l" + std::to_string(i) + ", match: { port: mats } }\n";
  const auto message = refused(yaml);
  EXPECT_NE(message.find("f.yaml: and 9980 more"), std::string::npos) << message;
}

TEST(Limits, ALongChainOfHops) {
  std::string yaml = "links:\n  - name: l0\n";
  for (int i = 1; i < 9'999; ++i)
    yaml += "  - { name: l" + std::to_string(i) + ", via: l" + std::to_string(i - 1) + " }\n";
  EXPECT_EQ(refused(yaml), "accepted");
  EXPECT_NE(refused(yaml + "  - name: more\n    via: nowhere\n").find("no link named nowhere"),
            std::string::npos);
}

// ---- mutations of a good file ------------------------------------------------------------------

std::string fuller_file() {
  std::ifstream file(std::string(FADEWARD_TEST_DATA) + "/config/good/fuller.yaml");
  std::stringstream text;
  text << file.rdbuf();
  return text.str();
}

class Mutator {
 public:
  explicit Mutator(std::uint64_t seed) : random_(seed) {}

  std::string mutate(std::string text) {
    for (std::size_t times = 1 + below(4); times > 0 && !text.empty(); --times) once(text);
    return text;
  }

 private:
  std::size_t below(std::size_t limit) { return random_() % limit; }

  void once(std::string& text) {
    static const std::string kSigns = "[]{}:,-?*&!|>'\"%@`#\n\t \\0123456789.eE+~";
    const std::size_t at = below(text.size());
    const std::size_t length = std::min(text.size() - at, 1 + below(40));
    switch (below(6)) {
      case 0: text[at] = static_cast<char>(below(256)); break;
      case 1: text[at] = kSigns[below(kSigns.size())]; break;
      case 2: text.insert(at, 1, kSigns[below(kSigns.size())]); break;
      case 3: text.erase(at, length); break;
      case 4: text.insert(below(text.size()), text.substr(at, length)); break;
      default: text.resize(at + 1); break;
    }
  }

  std::mt19937_64 random_;
};

bool is_message(const std::string& text) {
  return text.rfind("f.yaml:", 0) == 0 && text.back() != '\n' &&
         std::count(text.begin(), text.end(), '\n') <= static_cast<std::ptrdiff_t>(kMaxErrors);
}

TEST(Limits, MutationsOfAGoodFile) {
  const std::string original = fuller_file();
  ASSERT_TRUE(parse(original, "f.yaml").ok());
  const std::uint64_t seed = std::random_device{}();
  Mutator mutator(seed);
  const auto start = Clock::now();
  for (int round = 0; round < 3000 && Clock::now() - start < kLongest; ++round) {
    const std::string mutated = mutator.mutate(original);
    const auto parsed = parse(mutated, "f.yaml");
    if (parsed.ok()) {
      EXPECT_FALSE(describe(*parsed).empty());
    } else {
      ASSERT_TRUE(is_message(parsed.error().message))
          << "seed " << seed << " round " << round << ": " << parsed.error().message << '\n'
          << mutated;
    }
  }
}

}  // namespace
}  // namespace fadeward::config::limits_test
