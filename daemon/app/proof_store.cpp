#include "fadeward/app/proof_store.hpp"

#include <fcntl.h>
#include <simdjson.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cmath>
#include <cstring>
#include <filesystem>
#include <fstream>

#include "fadeward/base/text.hpp"

namespace fadeward::app {

namespace {

constexpr std::size_t kMostProofs = 400;
constexpr std::size_t kLongestLine = 64 * 1024;
constexpr std::array<const char*, kDirections> kMarginKeys = {"inbound_margin_db",
                                                              "outbound_margin_db"};

std::string path_of(const std::string& dir) { return dir + "/proved.jsonl"; }

std::string line_of(const StoredProof& proof) {
  std::string out = "{\"link\":";
  append_json_string(out, proof.link);
  out += ",\"from\":\"" + format_rfc3339(proof.from) + "\",\"to\":\"" + format_rfc3339(proof.to) +
         "\"";
  for (std::size_t d = 0; d < kDirections; ++d) {
    out += std::string(",\"") + kMarginKeys[d] + "\":";
    append_rounded(out, proof.margins_db[d].value_or(NAN), 2);
  }
  out += ",\"note\":";
  append_json_string(out, proof.note);
  return out + "}\n";
}

std::optional<Time> time_at(const simdjson::dom::object& object, const char* key) {
  std::string_view text;
  if (object[key].get(text) != simdjson::SUCCESS) return {};
  return parse_rfc3339(text);
}

std::optional<StoredProof> read_line(simdjson::dom::parser& parser, const std::string& line) {
  simdjson::dom::object object;
  std::string_view link, note;
  if (line.size() > kLongestLine || parser.parse(line).get(object) != simdjson::SUCCESS ||
      object["link"].get(link) != simdjson::SUCCESS)
    return {};
  const auto from = time_at(object, "from"), to = time_at(object, "to");
  if (!from || !to || *to < *from || link.empty()) return {};
  StoredProof proof;
  proof.link = link;
  proof.from = *from;
  proof.to = *to;
  if (object["note"].get(note) == simdjson::SUCCESS) proof.note = note.substr(0, 512);
  for (std::size_t d = 0; d < kDirections; ++d) {
    double margin_db = 0;
    if (object[kMarginKeys[d]].get(margin_db) == simdjson::SUCCESS && std::fabs(margin_db) < 300)
      proof.margins_db[d] = margin_db;
  }
  return proof;
}

}  // namespace

Status store_proof(const std::string& dir, const StoredProof& proof) {
  std::error_code failed;
  std::filesystem::create_directories(dir, failed);
  const std::string path = path_of(dir);
  const auto error = [&] { return Error{path + ": " + std::strerror(errno)}; };
  const int file = ::open(path.c_str(), O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0640);
  if (file < 0) return error();
  const std::string line = line_of(proof);
  // A line that a power cut left without its end must not swallow this one.
  const bool first = ::lseek(file, 0, SEEK_END) == 0;
  const std::string bytes = first ? line : "\n" + line;
  const bool written =
      ::write(file, bytes.data(), bytes.size()) == static_cast<ssize_t>(bytes.size()) &&
      ::fsync(file) == 0;
  const Status outcome = written ? success() : Status(error());
  ::close(file);
  return outcome;
}

Result<std::vector<StoredProof>> load_proofs(const std::string& dir, std::size_t& skipped) {
  skipped = 0;
  std::vector<StoredProof> out;
  const std::string path = path_of(dir);
  std::error_code failed;
  if (!std::filesystem::exists(path, failed)) return out;
  std::ifstream file(path, std::ios::binary);
  if (!file) return Error{path + ": " + std::strerror(errno)};
  simdjson::dom::parser parser;
  for (std::string line; std::getline(file, line);) {
    if (line.empty()) continue;
    if (auto proof = read_line(parser, line))
      out.push_back(std::move(*proof));
    else
      ++skipped;
  }
  if (out.size() > kMostProofs)
    out.erase(out.begin(), out.end() - static_cast<std::ptrdiff_t>(kMostProofs));
  return out;
}

void put_proofs(const std::vector<StoredProof>& proofs, Settings& settings) {
  for (LinkSettings& link : settings.links)
    for (std::size_t d = 0; d < kDirections; ++d) {
      const StoredProof* newest = nullptr;
      for (const StoredProof& proof : proofs)
        if (proof.link == link.name && proof.margins_db[d] &&
            (newest == nullptr || proof.to >= newest->to))
          newest = &proof;
      if (newest != nullptr) link.baseline.proved_margin_db[d] = newest->margins_db[d];
    }
}

std::vector<history::PeriodRecord> periods_of(const std::vector<StoredProof>& proofs) {
  std::vector<history::PeriodRecord> out;
  for (const StoredProof& proof : proofs)
    for (std::size_t d = 0; d < kDirections; ++d)
      out.push_back({history::PeriodKind::baseline, proof.link, static_cast<Direction>(d),
                     proof.from, proof.to, proof.margins_db[d], proof.note});
  return out;
}

}  // namespace fadeward::app
