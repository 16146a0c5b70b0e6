#include "fadeward/prove/report.hpp"
#include "report_figures.hpp"

namespace fadeward::prove {

namespace {

void put_left(std::string& out, std::string_view text, std::size_t width) {
  out += text;
  out.append(text.size() < width ? width - text.size() : 1, ' ');
}

void put_right(std::string& out, std::string_view text, std::size_t width) {
  if (text.size() < width) out.append(width - text.size(), ' ');
  out += text;
}

void end_line(std::string& out) {
  out.erase(out.find_last_not_of(' ') + 1);
  out += '\n';
}

}  // namespace

std::string to_text(const Proof& proof) {
  std::string out = verdict_headline(proof) + "\n";
  for (const Finding& finding : proof.verdict.findings) {
    put_left(out, "  " + std::string(name_of(finding.outcome)), 13);
    put_left(out, finding.criterion, 17);
    out += finding.text + "\n";
  }
  out += "\n";
  for (const auto& [name, value] : heading_facts(proof)) {
    put_left(out, "  " + name, 10);
    out += value + "\n";
  }
  out += "\n";
  put_left(out, "", 20);
  for (const char* head : {"outbound", "inbound", "round trip"}) put_right(out, head, 21);
  out += "\n";
  for (const CountRow& row : count_rows(proof)) {
    put_left(out, "  " + row.what, 20);
    for (const std::string& cell : {row.outbound, row.inbound, row.trip}) put_right(out, cell, 21);
    end_line(out);
  }
  const auto latencies = latency_facts(proof);
  if (!latencies.empty()) {
    out += "\n  round trip took  ";
    bool first = true;
    for (const auto& [name, value] : latencies) {
      out += (first ? "" : ", ") + name + " " + value;
      first = false;
    }
    out += "\n";
  }
  out += "\n";
  if (!proof.margins_note.empty()) out += "  " + proof.margins_note + "\n";
  for (const std::string& remark : remarks(proof)) out += "  " + remark + "\n";
  out += "\nCautions\n";
  for (const std::string_view caution : proof.cautions) {
    out += "  ";
    out += caution;
    out += "\n";
  }
  return out;
}

}  // namespace fadeward::prove
