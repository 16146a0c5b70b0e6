#include "fadeward/judge/event.hpp"

#include "fadeward/base/text.hpp"

namespace fadeward::judge {

namespace {

void key(std::string& out, std::string_view name) {
  out += ",\"";
  out += name;
  out += "\":";
}

void text_or_null(std::string& out, std::string_view name, std::string_view value) {
  key(out, name);
  if (value.empty())
    out += "null";
  else
    append_json_string(out, value);
}

void number_or_null(std::string& out, std::string_view name, std::optional<double> value,
                    int decimals) {
  key(out, name);
  if (value)
    append_rounded(out, *value, decimals);
  else
    out += "null";
}

}  // namespace

std::string_view name_of(Change value) {
  switch (value) {
    case Change::raised: return "raised";
    case Change::changed: return "changed";
    case Change::cleared: return "cleared";
  }
  return "none";
}

void append_json(std::string& out, const Event& event, std::string_view link_name,
                 std::string_view port_name) {
  out += "{\"kind\":\"event\"";
  number_or_null(out, "time", to_unix_seconds(event.time), 3);
  text_or_null(out, "link", link_name);
  if (!port_name.empty()) text_or_null(out, "port", port_name);
  text_or_null(out, "direction", event.direction ? name_of(*event.direction) : "");
  text_or_null(out, "event", name_of(event.change));
  text_or_null(out, "alert", name_of(event.alert));
  text_or_null(out, "severity", name_of(event.severity));
  text_or_null(out, "cause", name_of(event.cause));
  text_or_null(out, "shape", event.shape == Shape::none ? "" : name_of(event.shape));
  number_or_null(out, "onset", event.onset ? std::optional(to_unix_seconds(*event.onset)) : std::nullopt, 3);
  number_or_null(out, "size_db", event.size_db, 2);
  number_or_null(out, "confidence", event.confidence, 3);
  text_or_null(out, "text", event.text);
  out += "}\n";
}

}  // namespace fadeward::judge
