// What is allowed but hardly meant.
#include <algorithm>

#include "address.hpp"
#include "fadeward/base/text.hpp"
#include "fadeward/config/describe.hpp"
#include "words.hpp"

namespace fadeward::config {
namespace {

using Warnings = std::vector<std::string>;

void warn_service(Warnings& out, const Settings& settings) {
  const auto& http = settings.http;
  if (settings.links.empty()) out.push_back("no links: reports are only counted as unmatched");
  if (settings.ports.empty()) out.push_back("no ports: only replay can be used");
  if (open_to_network(http) && http.web_config.empty())
    out.push_back("http at " + endpoint_text(http.address, http.port) +
                  " is reachable from other machines without TLS or password: set web_config or "
                  "listen on 127.0.0.1");
  const auto clear = [&out](const WebTarget& target) {
    if (!target.user.empty() && target.url.starts_with("http://"))
      out.push_back("push to " + printable(target.url.substr(0, target.url.find('?'))) +
                    ": the password travels in the clear; use https");
  };
  for (const auto& target : settings.push.alertmanagers) clear(target);
  if (settings.push.remote_write) {
    clear(*settings.push.remote_write);
    if (!settings.push.remote_write->out_of_order && settings.push.remote_write->max_sample_age > 1h)
      out.push_back("push.remote_write.max_sample_age: without out_of_order: true samples older than "
                    "1h are not sent");
    if (settings.history.dir.empty())
      out.push_back("push.remote_write without history.dir: what a server misses is lost to it");
  }
}

// A backslash that reached us was not resolved by YAML.
bool has_literal_escape(std::string_view bytes) {
  for (std::size_t at = bytes.find('\\'); at != bytes.npos; at = bytes.find('\\', at + 1))
    if (at + 1 < bytes.size() &&
        std::string_view("rntx0").find(bytes[at + 1]) != std::string_view::npos)
      return true;
  return false;
}

void warn_port(Warnings& out, const Settings& settings, const PortSettings& port) {
  const std::string name = "port " + printable(port.name);
  if (port.poll && has_literal_escape(port.poll->send))
    out.push_back(name + " sends " + quoted(port.poll->send) +
                  " with a backslash: only in double quotes is \\r a carriage return");
  if (port.decoder.kind == DecoderKind::packed &&
      port.framing.kind == FramingSettings::Kind::lines && port.source != SourceKind::udp)
    out.push_back(name +
                  " cuts binary values at line ends: framing cobs or hdlc is meant for them");
  const auto carried = [&](const LinkSettings& link) { return may_carry(port, link); };
  if (!settings.links.empty() &&
      std::none_of(settings.links.begin(), settings.links.end(), carried))
    out.push_back(name + " carries no link");
}

bool has_budget(const BudgetSettings& budget) {
  const bool path =
      budget.frequency_mhz && budget.distance_km && (budget.near.power_dbm || budget.far.power_dbm);
  return path || budget.inbound_signal_dbm || budget.outbound_signal_dbm;
}

bool rate_unknown(const RadioSettings& radio) {
  return radio.modulation == RadioSettings::Modulation::css && !radio.required_snr_db &&
         (!radio.spreading_factor || !radio.bandwidth_hz);
}

void warn_link(Warnings& out, const Settings& settings, const LinkSettings& link) {
  const std::string name = "link " + printable(link.name);
  if (link.match.port.empty() && settings.ports.size() > 1)
    out.push_back(name + " matches any port: with " + std::to_string(settings.ports.size()) +
                  " ports, reports of the same name from two of them are mixed; set match.port");
  if (!has_budget(link.budget)) out.push_back(name + " has no budget: no deficit can be told");
  if (rate_unknown(link.radio))
    out.push_back(name +
                  " uses css without spreading_factor and bandwidth_hz: there is no margin "
                  "unless the reports carry them");
}

// Lists of warnings stay readable for a fleet: of each kind of object the first few.
void add_first(Warnings& out, const Warnings& of_kind, std::string_view thing) {
  constexpr std::size_t kShown = 20;
  out.insert(out.end(), of_kind.begin(),
             of_kind.begin() + static_cast<std::ptrdiff_t>(std::min(kShown, of_kind.size())));
  if (of_kind.size() > kShown)
    out.push_back("and " + counted(of_kind.size() - kShown, "more warning") + " about " +
                  std::string(thing));
}

}  // namespace

std::vector<std::string> warnings(const Settings& settings) {
  Warnings out, ports, links;
  warn_service(out, settings);
  for (const auto& port : settings.ports) warn_port(ports, settings, port);
  for (const auto& link : settings.links) warn_link(links, settings, link);
  add_first(out, ports, "ports");
  add_first(out, links, "links");
  return out;
}

}  // namespace fadeward::config
