#include "fadeward/publish/negotiation.hpp"

#include <algorithm>
#include <array>
#include <charconv>

namespace fadeward::publish {

namespace {

bool same_word(std::string_view a, std::string_view b) {
  const auto lower = [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c + 32) : c; };
  return std::equal(a.begin(), a.end(), b.begin(), b.end(),
                    [&](char x, char y) { return lower(x) == lower(y); });
}

std::string_view trimmed(std::string_view text) {
  const auto first = text.find_first_not_of(" \t");
  if (first == std::string_view::npos) return {};
  return text.substr(first, text.find_last_not_of(" \t") - first + 1);
}

/// Cuts the part up to `separator` off the front.
std::string_view take_until(std::string_view& text, char separator) {
  const auto end = text.find(separator);
  const auto part = text.substr(0, end);
  text = end == std::string_view::npos ? std::string_view{} : text.substr(end + 1);
  return trimmed(part);
}

/// One element of a list header: "name; version=...; q=...".
struct Choice {
  std::string_view name;
  std::string_view version;  ///< without quotes; empty: not said
  double q = 1;              ///< 0..1; what cannot be read counts as 0
};

double read_q(std::string_view text) {
  double q = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), q);
  if (error != std::errc{} || end != text.data() + text.size() || !(q >= 0)) return 0;
  return std::min(q, 1.0);
}

Choice read_choice(std::string_view element) {
  Choice choice;
  choice.name = take_until(element, ';');
  while (!element.empty()) {
    std::string_view parameter = take_until(element, ';');
    const std::string_view key = take_until(parameter, '=');
    if (parameter.size() >= 2 && parameter.front() == '"' && parameter.back() == '"') {
      parameter = parameter.substr(1, parameter.size() - 2);
    }
    if (same_word(key, "q")) choice.q = read_q(trimmed(parameter));
    if (same_word(key, "version")) choice.version = trimmed(parameter);
  }
  return choice;
}

/// Empty name: a type that we do not speak.
struct Offer {
  bool known = false;
  Format format = Format::prometheus_text;
};

Offer offer_for(const Choice& choice) {
  if (same_word(choice.name, "application/openmetrics-text")) {
    if (choice.version.empty() || choice.version == "1.0.0") return {true, Format::openmetrics};
    if (choice.version == "0.0.1") return {true, Format::openmetrics_draft};
    return {};
  }
  const bool text = same_word(choice.name, "text/plain") || same_word(choice.name, "text/*") ||
                    same_word(choice.name, "*/*");
  return {text && (choice.version.empty() || choice.version == "0.0.4"), Format::prometheus_text};
}

}  // namespace

std::string_view content_type_of(Format format) {
  static constexpr std::array<std::string_view, 3> types = {
      "text/plain; version=0.0.4; charset=utf-8",
      "application/openmetrics-text; version=1.0.0; charset=utf-8",
      "application/openmetrics-text; version=0.0.1; charset=utf-8",
  };
  return types[static_cast<std::size_t>(format)];
}

Format choose_format(std::string_view accept) {
  Format best = Format::prometheus_text;
  double best_q = 0;
  while (!accept.empty()) {
    const Choice choice = read_choice(take_until(accept, ','));
    const Offer offer = offer_for(choice);
    if (!offer.known || choice.q <= best_q) continue;
    best = offer.format;
    best_q = choice.q;
  }
  return best;
}

bool accepts_gzip(std::string_view accept_encoding) {
  double by_name = -1;
  double by_star = -1;
  while (!accept_encoding.empty()) {
    const Choice choice = read_choice(take_until(accept_encoding, ','));
    if (same_word(choice.name, "gzip") || same_word(choice.name, "x-gzip")) by_name = choice.q;
    if (choice.name == "*") by_star = choice.q;
  }
  return by_name >= 0 ? by_name > 0 : by_star > 0;
}

}  // namespace fadeward::publish
