#include "fadeward/report/canonical.hpp"

#include <re2/re2.h>
#include <simdjson.h>

#include <cmath>
#include <limits>
#include <random>

#include "fadeward/base/time.hpp"
#include "unit/report/collect.hpp"

namespace fadeward::report::canonical_test {
namespace {

using namespace std::string_literals;

Collected decode(std::string_view line) {
  CanonicalDecoder decoder;
  return decode(decoder, line);
}

const std::string kLine =
    R"({"time":1893456000.272,"link":"L1","seq":3607,"rssi_dbm":-97,"snr_db":19.5,)"
    R"("noise_dbm":-117,"channel":31,"far_rssi_dbm":-98,"far_snr_db":18.25,"far_noise_dbm":-116})";

void expect_line(const Kept& report) {
  EXPECT_TRUE(report.report.timed);
  EXPECT_EQ(report.report.time, Time{Duration{1893456000'272000}});
  EXPECT_EQ(report.link, "L1");
  EXPECT_EQ(report[Field::seq], 3607);
  EXPECT_EQ(report[Field::rssi_dbm], -97);
  EXPECT_EQ(report[Field::snr_db], 19.5);
  EXPECT_EQ(report[Field::noise_dbm], -117);
  EXPECT_EQ(report[Field::channel], 31);
  EXPECT_EQ(report[Field::far_rssi_dbm], -98);
  EXPECT_EQ(report[Field::far_snr_db], 18.25);
  EXPECT_EQ(report[Field::far_noise_dbm], -116);
  EXPECT_EQ(std::popcount(report.report.present), 8);
}

TEST(Canonical, OneLine) {
  const Collected got = decode(kLine);
  expect_line(only(got));
  EXPECT_EQ(got.discarded, 0u);
  EXPECT_EQ(got.unknown, 0u);
}

TEST(Canonical, SpacesAnywhere) {
  std::string spaced;
  for (const char c : kLine) {
    if (c == '{' || c == ',' || c == ':' || c == '}') {
      spaced += " \t"s + c + " \r\n";
    } else {
      spaced += c;
    }
  }
  expect_line(only(decode(spaced)));
}

TEST(Canonical, EveryFieldAloneAndTogether) {
  std::string all = "{";
  for (std::size_t i = 0; i < kFields; ++i) {
    const FieldInfo& info = field_info(static_cast<Field>(i));
    const double value = std::ceil(std::max(info.lowest, std::min(7.0, info.highest)));
    const std::string member = '"' + std::string(info.name) + "\":" + std::to_string(value);
    const Kept report = only(decode("{" + member + "}"));
    EXPECT_EQ(report.report.present, std::uint64_t{1} << i) << info.name;
    EXPECT_EQ(report[static_cast<Field>(i)], value) << info.name;
    all += (i > 0 ? "," : "") + member;
  }
  EXPECT_EQ(only(decode(all + "}")).report.present, 0xffffffffu);
}

struct Case {
  const char* line;
  const char* outcome;  ///< report, or the reason of the reject
  unsigned discarded = 0;
  unsigned unknown = 0;
};

const Case kCases[] = {
    // RFC 8259 and nothing else.
    {"", "syntax"},
    {" ", "syntax"},
    {"{", "syntax"},
    {"}", "syntax"},
    {"[]", "syntax"},
    {"1", "syntax"},
    {"null", "syntax"},
    {R"({"seq":1)", "syntax"},
    {R"({"seq":1,})", "syntax"},
    {R"({"seq":1}})", "syntax"},
    {R"({"seq":1} {})", "syntax"},
    {R"({"seq" 1})", "syntax"},
    {R"({seq:1})", "syntax"},
    {R"({"seq":1;"snr_db":2})", "syntax"},
    {R"({,"seq":1})", "syntax"},
    {R"({"seq":1,,"snr_db":1})", "syntax"},
    {R"({"seq":})", "syntax"},
    {R"(x{"seq":1})", "syntax"},
    {R"({"seq":1}x)", "syntax"},
    {R"({"seq":1 2})", "syntax"},
    {R"({'seq':1})", "syntax"},
    {R"({"snr_db":NaN})", "syntax"},
    {R"({"snr_db":Infinity})", "syntax"},
    {R"({"snr_db":-Infinity})", "syntax"},
    {R"({"snr_db":nan})", "syntax"},
    {R"({"snr_db":+1})", "syntax"},
    {R"({"snr_db":01})", "syntax"},
    {R"({"snr_db":-01})", "syntax"},
    {R"({"snr_db":.5})", "syntax"},
    {R"({"snr_db":5.})", "syntax"},
    {R"({"snr_db":-})", "syntax"},
    {R"({"snr_db":--1})", "syntax"},
    {R"({"snr_db":1e})", "syntax"},
    {R"({"snr_db":1e+})", "syntax"},
    {R"({"snr_db":1.e1})", "syntax"},
    {R"({"snr_db":0x10})", "syntax"},
    {R"({"snr_db":1.2.3})", "syntax"},
    {R"({"snr_db":1_0})", "syntax"},
    {R"({"snr_db":00,"seq":1})", "syntax"},
    {R"({"snr_db":-.5,"seq":1})", "syntax"},
    {R"({"snr_db":5.,"seq":1})", "syntax"},
    {R"({"snr_db":1.2.3,"seq":1})", "syntax"},
    {R"({"snr_db":-,"seq":1})", "syntax"},
    {R"({"snr_db":,"seq":1})", "syntax"},
    {R"({"snr_db":1-2,"seq":1})", "syntax"},
    {R"({"snr_db":tru})", "syntax"},
    {R"({"snr_db":nul})", "syntax"},
    {R"({"snr_db":"x})", "syntax"},
    {R"({"time":01,"seq":1})", "syntax"},
    {R"({"time":1.,"seq":1})", "syntax"},
    {R"({"time":189345600012.,"seq":1})", "syntax"},
    // Other forms of good numbers.
    {R"({"snr_db":1e1})", "report"},
    {R"({"snr_db":1E+1})", "report"},
    {R"({"snr_db":-0})", "report"},
    {R"({"snr_db":0.0})", "report"},
    {R"({"snr_db":10e-1})", "report"},
    {R"({"snr_db":1.000000000000000000000000000000000000001})", "report"},
    {R"({"snr_db":1e-999})", "report"},
    // Absence.
    {"{}", "empty"},
    {" { } ", "empty"},
    {R"({"link":"L1"})", "empty"},
    {R"({"time":1})", "empty"},
    {R"({"snr_db":null})", "empty"},
    {R"({"snr_db":null,"seq":1})", "report"},
    {R"({"other":1})", "empty", 0, 1},
    // Impossible values go, the rest stays.
    {R"({"snr_db":1e999})", "implausible", 1},
    {R"({"snr_db":-1e999,"seq":1})", "report", 1},
    {R"({"rssi_dbm":200,"seq":1})", "report", 1},
    {R"({"rssi_dbm":200})", "implausible", 1},
    {R"({"seq":-1,"snr_db":1})", "report", 1},
    {R"({"seq":1.5,"snr_db":1})", "report", 1},
    {R"({"seq":15e-1,"snr_db":1})", "report", 1},
    {R"({"seq":1.0})", "report"},
    {R"({"seq":9007199254740993})", "report"},
    {R"({"seq":9007199254740994})", "implausible", 1},
    {R"({"channel":3.5,"seq":1})", "report", 1},
    {R"({"uptime_s":3.5})", "report"},
    {R"({"rssi_dbm":"-101","seq":1})", "report", 1},
    {R"({"rssi_dbm":true,"seq":1})", "report", 1},
    {R"({"rssi_dbm":{"a":1},"seq":1})", "report", 1},
    {R"({"rssi_dbm":[-1],"seq":1})", "report", 1},
    {R"({"time":"yesterday","seq":1})", "report", 1},
    {R"({"time":-5,"seq":1})", "report", 1},
    {R"({"time":1e30,"seq":1})", "report", 1},
    {R"({"time":true,"seq":1})", "report", 1},
    {R"({"time":999999999999,"seq":1})", "report", 1},
    {R"({"time":null,"seq":1})", "report"},
    // Of a key given twice the last counts, in whatever form.
    {R"({"rssi_dbm":200,"rssi_dbm":-90})", "report", 1},
    {R"({"rssi_dbm":-90,"rssi_dbm":200})", "implausible", 1},
    {R"({"rssi_dbm":-90,"rssi_dbm":null})", "empty"},
    // Unknown keys are skipped, whatever they hold, but must be JSON.
    {R"({"a":1,"b":"x","c":[1,{"d":[]}],"e":{"f":{}},"seq":1})", "report", 0, 4},
    {R"({"a":true,"b":false,"c":null,"d":-1.5e3,"seq":1})", "report", 0, 4},
    {R"({"a":[1,],"seq":1})", "syntax"},
    {R"({"a":{"b"},"seq":1})", "syntax"},
    {R"({"a":[1 2],"seq":1})", "syntax"},
    {R"({"a":{"b":1,},"seq":1})", "syntax"},
    {R"({"a":"\x","seq":1})", "syntax"},
    {R"({"a":"\u12g4","seq":1})", "syntax"},
    {R"({"a":"\ud800","seq":1})", "syntax"},
    {R"({"a":"\udc00","seq":1})", "syntax"},
    {R"({"a":"\ud800\u0041","seq":1})", "syntax"},
    {R"({"a":01,"seq":1})", "syntax"},
    {R"({"rssi":-1,"rssi_dbmm":-1,"Seq":1,"se":1,"":1,"seq":1})", "report", 0, 5},
    // A link is text or a whole number.
    {R"({"link":1.5,"seq":1})", "syntax"},
    {R"({"link":1e2,"seq":1})", "syntax"},
    {R"({"link":true,"seq":1})", "syntax"},
    {R"({"link":{},"seq":1})", "syntax"},
    {R"({"link":[],"seq":1})", "syntax"},
    {R"({"link":07,"seq":1})", "syntax"},
    {R"({"link":null,"seq":1})", "report"},
};

TEST(Canonical, WhatIsTakenAndWhatIsNot) {
  for (const Case& c : kCases) {
    const Collected got = decode(c.line);
    const std::string outcome =
        got.reports.size() == 1 ? "report" : std::string(name_of(got.rejects.at(0)));
    EXPECT_EQ(outcome, c.outcome) << c.line;
    EXPECT_EQ(got.discarded, c.discarded) << c.line;
    if (outcome != "syntax") {
      EXPECT_EQ(got.unknown, c.unknown) << c.line;
    }
  }
}

TEST(Canonical, Links) {
  const std::pair<const char*, std::string> cases[] = {
      {R"("weir")", "weir"},
      {R"("")", ""},
      {R"(7)", "7"},
      {R"(-12)", "-12"},
      {R"(12345678901234567890)", "12345678901234567890"},
      {R"("a \"b\" \\ \/ \b\f\n\r\t")", "a \"b\" \\ / \b\f\n\r\t"},
      {R"("\u0041\u00e9\u20ac\ud83d\ude00\u0000")", "A\xc3\xa9\xe2\x82\xac\xf0\x9f\x98\x80\0"s},
      {"\"\xc3\xa9\xe2\x82\xac\xf0\x9f\x98\x80\"", "\xc3\xa9\xe2\x82\xac\xf0\x9f\x98\x80"},
      {R"("exactly16chars..")", "exactly16chars.."},
      {R"("a name that is longer than sixteen characters")",
       "a name that is longer than sixteen characters"},
  };
  for (const auto& [text, name] : cases)
    EXPECT_EQ(only(decode(R"({"seq":1,"link":)"s + text + "}")).link, name);
}

TEST(Canonical, TextThatIsNotUtf8IsRefused) {
  for (const char* bad :
       {"\xff", "\xc0\x80", "\xed\xa0\x80", "\xf4\x90\x80\x80", "\xe2\x82", "\x80"}) {
    EXPECT_EQ(decode(R"({"seq":1,"link":")"s + bad + "\"}").rejects.size(), 1u);
    EXPECT_EQ(decode(R"({"seq":1,"other":")"s + bad + "\"}").rejects.size(), 1u);
    EXPECT_EQ(decode(R"({"seq":1,")"s + bad + "\":1}").rejects.size(), 1u);
  }
  EXPECT_EQ(decode("{\"seq\":1,\"link\":\"a\nb\"}").rejects.size(), 1u);  // control character
  EXPECT_EQ(decode("{\"seq\":1,\"link\":\"a\0b\"}"s).rejects.size(), 1u);
}

TEST(Canonical, AKeyMayBeWrittenWithEscapes) {
  EXPECT_EQ(only(decode(R"({"\u0073eq":5})"))[Field::seq], 5);
  EXPECT_EQ(only(decode(R"({"li\u006ek":"x","seq":5})")).link, "x");
}

// Instants of RFC 3339 section 5.8 in Unix seconds.
TEST(Canonical, Times) {
  const std::pair<const char*, double> cases[] = {
      {"1893456000", 1893456000.0},
      {"1893456000.5", 1893456000.5},
      {"1893456000.123456", 1893456000.123456},
      {"1893456000.123456789", 1893456000.123457},
      {"1.893456e9", 1893456000.0},
      {"0", 0.0},
      {R"("1985-04-12T23:20:50.52Z")", 482196050.52},
      {R"("1996-12-19T16:39:57-08:00")", 851042397.0},
      {R"("1996\u002d12-19T16:39:57-08:00")", 851042397.0},
  };
  for (const auto& [text, unix_s] : cases) {
    const Kept report = only(decode(R"({"seq":1,"time":)"s + text + "}"));
    EXPECT_TRUE(report.report.timed) << text;
    EXPECT_EQ(report.report.time, from_unix_seconds(unix_s)) << text;
    const Kept first = only(decode(R"({"time":)"s + text + R"(,"seq":1})"));
    EXPECT_EQ(first.report.time, from_unix_seconds(unix_s)) << text;
    const Kept far = only(decode(R"({"far_time":)"s + text + "}"));
    EXPECT_NEAR(far[Field::far_time], unix_s, 1e-6) << text;
  }
  EXPECT_FALSE(only(decode(R"({"seq":1})")).report.timed);
  EXPECT_FALSE(only(decode(R"({"time":5,"seq":1,"time":"never"})")).report.timed);
}

TEST(Canonical, MicrosecondsAreExact) {
  std::mt19937_64 random(17);
  for (int i = 0; i < 20000; ++i) {
    const auto micros = static_cast<std::int64_t>(random() % 4'000'000'000'000'000);
    char text[64];
    std::snprintf(text, sizeof text, R"({"time":%lld.%06lld,"seq":1})",
                  static_cast<long long>(micros / 1'000'000),
                  static_cast<long long>(micros % 1'000'000));
    ASSERT_EQ(only(decode(text)).report.time.time_since_epoch().count(), micros) << text;
  }
}

TEST(Canonical, NumbersAreTheNearestDoubles) {
  std::mt19937_64 random(23);
  CanonicalParser parser;
  LinkReport report;
  for (int i = 0; i < 200000; ++i) {
    std::string text = random() % 2 ? "-" : "";
    const std::size_t digits = 1 + random() % 3, decimals = random() % 20;
    text += static_cast<char>('1' + random() % 9);
    for (std::size_t k = 1; k < digits; ++k) text += static_cast<char>('0' + random() % 10);
    if (decimals > 0) text += '.';
    for (std::size_t k = 0; k < decimals; ++k) text += static_cast<char>('0' + random() % 10);
    const bool last = random() % 2;
    const Parsed parsed =
        parser.parse(R"({"supply_v":)" + text + (last ? "}" : R"(,"seq":1})"), report);
    ASSERT_TRUE(parsed) << text;
    ASSERT_EQ(report[Field::supply_v], std::strtod(text.c_str(), nullptr)) << text;
  }
}

TEST(Canonical, LimitsOfSizeAndDepth) {
  const std::string head = R"({"seq":1,"a":)";
  EXPECT_EQ(decode(head + '"' + std::string(65536 - head.size() - 3, 'x') + "\"}").reports.size(),
            1u);
  EXPECT_EQ(decode(head + '"' + std::string(65536 - head.size() - 2, 'x') + "\"}").rejects.size(),
            1u);
  const auto nested = [&](std::size_t depth) {
    return head + std::string(depth, '[') + std::string(depth, ']') + "}";
  };
  EXPECT_EQ(decode(nested(63)).reports.size(), 1u);
  EXPECT_EQ(decode(nested(64)).rejects.size(), 1u);
  EXPECT_EQ(decode(head + std::string(60000, '[')).rejects.size(), 1u);
}

TEST(Canonical, CutAtEveryLengthIsRefused) {
  for (std::size_t size = 0; size < kLine.size(); ++size)
    EXPECT_EQ(decode(std::string_view(kLine).substr(0, size)).rejects.size(), 1u) << size;
}

// What lies behind a padded line must not matter, even if it goes on like the line would.
TEST(Canonical, PaddingIsNotRead) {
  const std::string text = kLine + "," + kLine + std::string(kJsonPadding, ' ');
  CanonicalParser parser;
  LinkReport report;
  for (int round = 0; round < 2; ++round) {  // the second time with all keys expected
    for (std::size_t size = 0; size < kLine.size(); ++size)
      EXPECT_EQ(parser.parse_padded({text.data(), size}, report).outcome, Outcome::syntax) << size;
    EXPECT_EQ(parser.parse_padded({text.data(), kLine.size()}, report).outcome, Outcome::report);
  }
}

TEST(Canonical, ALineDoesNotInheritFromTheOneBefore) {
  CanonicalParser parser;
  LinkReport report;
  ASSERT_TRUE(parser.parse(kLine, report));
  ASSERT_TRUE(parser.parse(R"({"snr_db":3})", report));
  EXPECT_EQ(report.present, std::uint64_t{1} << static_cast<unsigned>(Field::snr_db));
  EXPECT_FALSE(report.timed);
  EXPECT_TRUE(report.link.empty());
}

// ---- differential test -------------------------------------------------------------------------

/// Random canonical reports and things near them.
class Author {
 public:
  explicit Author(std::uint64_t seed) : random_(seed) {}

  std::string line() {
    std::string out = space() + "{" + space();
    const std::size_t members = pick(12);
    for (std::size_t i = 0; i < members; ++i)
      out += (i > 0 ? "," + space() : "") + key() + space() + ":" + space() + value(0) + space();
    return out + "}" + space();
  }

  /// A few bytes changed, cut out or put in.
  std::string spoilt(std::string text) {
    static constexpr char kBytes[] = "{}[]:,\"\\0123456789.-+eEutfn \t\r\n\x01\x7f\xc3\xa9\xff";
    for (std::size_t i = pick(3) + 1; i > 0 && !text.empty(); --i) {
      const std::size_t at = pick(text.size());
      const char byte = kBytes[pick(sizeof kBytes - 1)];
      switch (pick(4)) {
        case 0: text[at] = byte; break;
        case 1: text.erase(at, 1); break;
        case 2: text.insert(at, 1, byte); break;
        default: text.resize(at); break;
      }
    }
    return text;
  }

  std::size_t pick(std::size_t below) { return random_() % below; }

 private:
  std::string space() {
    static constexpr const char* kSpaces[] = {"", "", "", "", " ", "\t", "\r\n", "  "};
    return kSpaces[pick(8)];
  }
  std::string key() {
    switch (pick(10)) {
      case 0: return text();
      case 1: return "\"time\"";
      case 2: return "\"link\"";
      case 3: return "\"r\\u0073si_dbm\"";
      default: return '"' + std::string(field_info(static_cast<Field>(pick(kFields))).name) + '"';
    }
  }
  std::string text() {
    static constexpr const char* kPieces[] = {
        "a",        "weir",         "L1", " ", "\\n", "\\\"", "\\\\", "\\u00e9", "\\ud83d\\ude00",
        "\xc3\xa9", "\xe2\x82\xac", "/",  "{", ","};
    std::string out = "\"";
    for (std::size_t i = pick(5); i > 0; --i) out += kPieces[pick(std::size(kPieces))];
    return out + "\"";
  }
  std::string digits(std::size_t most) {
    std::string out;
    for (std::size_t i = pick(most) + 1; i > 0; --i) out += static_cast<char>('0' + pick(10));
    return out;
  }
  std::string number() {
    std::string out = pick(2) ? "-" : "";
    out += pick(6) == 0 ? "0" : std::string(1, static_cast<char>('1' + pick(9)));
    if (out.back() != '0' && pick(3) != 0) out += digits(pick(5) == 0 ? 12 : 3);
    if (pick(3) == 0) out += "." + digits(pick(5) == 0 ? 20 : 4);
    if (pick(12) == 0) out += std::string(pick(2) ? "e" : "E") + (pick(2) ? "-" : "") + digits(1);
    return out;
  }
  std::string value(int depth) {
    switch (pick(14)) {
      case 0: return "null";
      case 1: return pick(2) ? "true" : "false";
      case 2: return text();
      case 3: return "\"2031-03-01T12:00:00.25Z\"";
      case 4: {
        if (depth > 3) return "[]";
        std::string out = "[";
        for (std::size_t i = pick(4); i > 0; --i) out += value(depth + 1) + (i > 1 ? "," : "");
        return out + "]";
      }
      case 5: {
        if (depth > 3) return "{}";
        std::string out = "{";
        for (std::size_t i = pick(4); i > 0; --i)
          out += key() + ":" + value(depth + 1) + (i > 1 ? "," : "");
        return out + "}";
      }
      default: return number();
    }
  }

  std::mt19937_64 random_;
};

/// What simdjson makes of a line, turned into a report by the contract's words.
struct Oracle {
  bool readable = false;
  bool number_error = false;
  std::uint64_t present = 0;
  double values[kFields] = {};
  bool timed = false;
  Time time{};
  std::string link;
  std::uint64_t discarded = 0, unknown = 0;

  simdjson::dom::parser parser;

  void read(std::string_view line) {
    readable = number_error = timed = false;
    present = discarded = unknown = 0;
    link.clear();
    const simdjson::padded_string padded(line);
    simdjson::dom::element document;
    const auto error = parser.parse(padded).get(document);
    number_error = error == simdjson::NUMBER_ERROR;
    if (error || !document.is_object()) return;
    readable = true;
    for (const auto& [key, value] : simdjson::dom::object(document)) {
      if (key == "link") {
        take_link(value);
      } else if (key == "time") {
        take_time(value);
      } else if (const auto field = field_by_name(key)) {
        take_field(*field, value);
      } else {
        ++unknown;
      }
    }
  }

  void take_link(simdjson::dom::element value) {
    if (value.is_string()) {
      link = std::string_view(value);
    } else if (value.is_null()) {
      link.clear();
    } else if (value.is_int64()) {
      link = std::to_string(std::int64_t(value));
    } else if (value.is_uint64()) {
      link = std::to_string(std::uint64_t(value));
    } else {
      readable = false;
    }
  }

  void take_time(simdjson::dom::element value) {
    timed = false;
    if (value.is_null()) return;
    double unix_s = -1;
    if (value.is_string()) {
      if (const auto parsed = parse_rfc3339(std::string_view(value)))
        unix_s = to_unix_seconds(*parsed);
    } else if (value.is_number()) {
      unix_s = double(value);
    }
    const FieldInfo& info = field_info(Field::far_time);
    timed = unix_s >= info.lowest && unix_s <= info.highest;
    if (timed) {
      time = from_unix_seconds(unix_s);
    } else {
      ++discarded;
    }
  }

  void take_field(Field field, simdjson::dom::element value) {
    const FieldInfo& info = field_info(field);
    const std::uint64_t bit = std::uint64_t{1} << static_cast<unsigned>(field);
    present &= ~bit;
    if (value.is_null()) return;
    double number = std::numeric_limits<double>::quiet_NaN();
    if (value.is_number()) number = double(value);
    if (value.is_string() && field == Field::far_time)
      if (const auto parsed = parse_rfc3339(std::string_view(value)))
        number = to_unix_seconds(*parsed);
    const bool whole = (info.kind == FieldKind::counter && field != Field::uptime_s) ||
                       field == Field::channel || field == Field::spreading_factor;
    if (!(number >= info.lowest && number <= info.highest) ||
        (whole && number != std::floor(number))) {
      ++discarded;
      return;
    }
    present |= bit;
    values[static_cast<unsigned>(field)] = number;
  }
};

/// simdjson refuses numbers that no double or 64-bit integer can hold; RFC 8259 allows them.
bool has_huge_number(const std::string& line) {
  static const re2::RE2 kHuge("[0-9]{19}|[0-9][eE][+-]?[0-9]{2}");
  return re2::RE2::PartialMatch(line, kHuge);
}

void compare(CanonicalParser& parser, Oracle& oracle, const std::string& line, bool padded) {
  LinkReport report;
  const Parsed parsed =
      padded ? parser.parse_padded(
                   std::string_view(line + std::string(64, '7')).substr(0, line.size()), report)
             : parser.parse(line, report);
  // The padded text above lives until the end of its statement: the link is compared below only
  // where it is in the parser's own buffer.
  oracle.read(line);
  if (oracle.number_error && has_huge_number(line)) return;
  const bool readable = parsed.outcome != Outcome::syntax;
  ASSERT_EQ(readable, oracle.readable) << line;
  if (!readable) return;
  ASSERT_EQ(report.present, oracle.present) << line;
  ASSERT_EQ(report.timed, oracle.timed) << line;
  if (report.timed) {
    ASSERT_LE(std::abs((report.time - oracle.time).count()), 2) << line;
  }
  ASSERT_EQ(parsed.tally.unknown_keys, oracle.unknown) << line;
  ASSERT_EQ(parsed.tally.values_discarded, oracle.discarded) << line;
  if (!padded && report.link != "-0") {
    ASSERT_EQ(report.link, oracle.link) << line;
  }
  for (std::size_t i = 0; i < kFields; ++i) {
    if (report.has(static_cast<Field>(i))) {
      ASSERT_EQ(report.values[i], oracle.values[i]) << line;
    }
  }
}

class CanonicalDifferential : public testing::TestWithParam<std::uint64_t> {};

TEST_P(CanonicalDifferential, EqualsSimdjson) {
  SCOPED_TRACE("seed " + std::to_string(GetParam()));
  Author author(GetParam());
  CanonicalParser parser;
  Oracle oracle;
  std::string line = author.line();
  for (int i = 0; i < 15000; ++i) {
    if (author.pick(3) > 0) line = author.line();  // else much like the one before
    const std::string text = author.pick(2) ? line : author.spoilt(line);
    compare(parser, oracle, text, author.pick(2));
    if (HasFatalFailure()) return;
  }
}

INSTANTIATE_TEST_SUITE_P(Seeds, CanonicalDifferential, testing::Range<std::uint64_t>(1, 9));

}  // namespace
}  // namespace fadeward::report::canonical_test
