// ports: where bytes come from, how they are cut into frames, when the radio is asked.
#include <algorithm>

#include "address.hpp"
#include "decoder_section.hpp"
#include "scalar.hpp"
#include "sections.hpp"
#include "utf8.hpp"

namespace fadeward::config {
namespace {

// ---- source --------------------------------------------------------------------------------

bool take_prefix(std::string_view& text, std::string_view prefix) {
  if (text.substr(0, prefix.size()) != prefix) return false;
  text.remove_prefix(prefix.size());
  return true;
}

bool set_path(Reading& reading, SourceKind kind, std::string_view path, PortSettings& out) {
  const bool legal =
      !path.empty() && path.size() <= 4096 && path.find_first_of("\n\r\t") == path.npos;
  out.source = kind;
  out.path = reading.resolve(path);
  return legal;
}

bool set_endpoint(SourceKind kind, std::string_view text, PortSettings& out) {
  const auto endpoint = parse_endpoint(text);
  out.source = kind;
  if (!endpoint) return false;
  out.host = endpoint->host;
  out.tcp_udp_port = endpoint->port;
  return true;
}

bool set_source(Reading& reading, std::string_view text, PortSettings& out) {
  if (take_prefix(text, "serial:")) return set_path(reading, SourceKind::serial, text, out);
  if (take_prefix(text, "file:")) return set_path(reading, SourceKind::file, text, out);
  if (take_prefix(text, "tcp://")) return set_endpoint(SourceKind::tcp, text, out);
  if (take_prefix(text, "udp://")) return set_endpoint(SourceKind::udp, text, out);
  out.source = SourceKind::stdin_stream;
  return text == "stdin:";
}

bool read_source(Reading& reading, const Node& node, PortSettings& out) {
  if (node.kind == Node::Kind::text && set_source(reading, node.text, out)) return true;
  reading.refuse(node,
                 "one of serial:PATH, tcp://HOST:PORT, udp://HOST:PORT, file:PATH, stdin: "
                 "(IPv6 hosts in brackets, ports from 1 to 65535)");
  return false;
}

// ---- serial, framing, poll -----------------------------------------------------------------

const Section<SerialSettings>& serial_section() {
  using T = SerialSettings;
  static const Section<T> section({
      key<T>("baud", &T::baud, whole_u32(50, 12'000'000, "bits per second")),
      key<T>("parity", &T::parity,
             word_of<T::Parity>(
                 {{"none", T::Parity::none}, {"even", T::Parity::even}, {"odd", T::Parity::odd}})),
      key<T>("data_bits", &T::data_bits, whole(5, 8)),
      key<T>("stop_bits", &T::stop_bits, whole(1, 2)),
      key<T>("flow", &T::flow,
             word_of<T::Flow>({{"none", T::Flow::none},
                               {"rts_cts", T::Flow::rts_cts},
                               {"xon_xoff", T::Flow::xon_xoff}})),
  });
  return section;
}

Reader<FramingSettings::Kind> framing_kind() {
  using Kind = FramingSettings::Kind;
  return word_of<Kind>({{"lines", Kind::lines}, {"cobs", Kind::cobs}, {"hdlc", Kind::hdlc}});
}

void finish_framing(Reading& reading, const Node& map, FramingSettings& framing) {
  if (map.find("block_end") != nullptr && framing.kind != FramingSettings::Kind::lines)
    reading.complain_at(map, "block_end", "belongs to kind: lines");
  if (map.find("crc") != nullptr && framing.kind != FramingSettings::Kind::cobs)
    reading.complain_at(map, "crc", "belongs to kind: cobs (hdlc has its own check)");
}

const Section<FramingSettings>& framing_section() {
  using T = FramingSettings;
  static const Section<T> section(
      {
          key<T>("kind", &T::kind, framing_kind()),
          key<T>("max_bytes", &T::max_bytes, whole_size(16, 1U << 20, "bytes")),
          key<T>("block_end", &T::block_end, expression()),
          key<T>("crc", &T::crc,
                 word_of<T::Crc>({{"none", T::Crc::none},
                                  {"crc16_x25", T::Crc::crc16_x25},
                                  {"crc16_ccitt_false", T::Crc::crc16_ccitt_false},
                                  {"crc32", T::Crc::crc32}})),
      },
      finish_framing);
  return section;
}

// A word for the kind alone, or a map.
bool read_framing(Reading& reading, const Node& node, FramingSettings& out) {
  if (node.kind == Node::Kind::map) return framing_section()(reading, node, out);
  return framing_kind()(reading, node, out.kind);
}

// YAML knows characters, a radio bytes: U+00A5 stands for the byte 0xA5.
std::optional<std::string> bytes_of(std::string_view text) {
  std::string bytes;
  while (!text.empty()) {
    const auto character = front_character(text);
    if (!character || character->code > 0xFF) return {};
    bytes += static_cast<char>(character->code);
    text.remove_prefix(character->bytes);
  }
  if (bytes.empty() || bytes.size() > 1024) return {};
  return bytes;
}

void finish_poll(Reading& reading, const Node& map, PollSettings& poll) {
  if (poll.quiet_before >= poll.every)
    reading.complain_at(map, "quiet_before",
                        "must be shorter than every (" + format_span(poll.every) + ")");
}

const Section<PollSettings>& poll_section() {
  using T = PollSettings;
  static const Section<T> section(
      {
          required(
              key<T>("send", &T::send,
                     scalar<std::string>("text of 1 to 1024 characters up to U+00FF, each one byte",
                                         bytes_of))),
          key<T>("every", &T::every, span(100ms, 24h)),
          key<T>("quiet_before", &T::quiet_before, span(0ms, 1h)),
      },
      finish_poll);
  return section;
}

Reader<std::string> network() {
  return scalar<std::string>("an address or network such as 192.0.2.7 or 192.0.2.0/24",
                             [](std::string_view text) -> std::optional<std::string> {
                               if (!is_network(text)) return {};
                               return std::string(text);
                             });
}

// ---- together ------------------------------------------------------------------------------

void check_udp(Reading& reading, const Node& map, const PortSettings& port) {
  if (map.find("allow") != nullptr && port.source != SourceKind::udp)
    reading.complain_at(map, "allow", "belongs to a udp:// source");
  const bool open = port.source == SourceKind::udp && !port.host.empty() && !is_loopback(port.host);
  if (open && port.allow.empty())
    reading.complain_at(map, "source",
                        "listens beyond this machine: name the senders with allow: [ADDRESS or "
                        "NETWORK, ...]");
}

void finish_port(Reading& reading, const Node& map, PortSettings& port) {
  if (map.find("source") != nullptr) {
    const bool asks = port.source == SourceKind::serial || port.source == SourceKind::tcp;
    if (port.poll && !asks)
      reading.complain_at(map, "poll", "belongs to a serial: or tcp:// source");
    if (map.find("serial") != nullptr && port.source != SourceKind::serial)
      reading.complain_at(map, "serial", "belongs to a serial: source");
    check_udp(reading, map, port);
  }
  check_decoder(reading, map, port);
}

// The decoder's keys stand directly under the port.
bool read_separator(Reading& reading, const Node& node, PortSettings& out) {
  std::string given;
  if (!text(16)(reading, node, given)) return false;
  out.decoder.separator = given;
  out.decoder.pair_separators = given;
  return true;
}

auto decoder_field = [](auto member) {
  return [member](PortSettings & port) -> auto& { return port.decoder.*member; };
};

std::vector<Key<PortSettings>> port_keys() {
  using T = PortSettings;
  using D = DecoderSettings;
  return {
      required(key<T>("name", &T::name, name())),
      required(Key<T>{"source", read_source}),
      key<T>("serial", &T::serial, Reader<SerialSettings>(serial_section())),
      key<T>("framing", &T::framing, Reader<FramingSettings>(read_framing)),
      key<T>("decoder", decoder_field(&D::kind), decoder_word()),
      key<T>("pattern", decoder_field(&D::patterns), one_expression()),
      key<T>("patterns", decoder_field(&D::patterns),
             list_of<std::string>(expression(), "a list of at most 32 expressions", 32)),
      key<T>("columns", decoder_field(&D::columns),
             list_of<std::string>(text(256), "a list of at most 256 column names", 256)),
      {"separator", read_separator},
      key<T>("packed", decoder_field(&D::packed), packed_fields()),
      key<T>("packed_min_bytes", decoder_field(&D::packed_min_bytes),
             whole_size(0, 65536, "bytes")),
      key<T>("fields", decoder_field(&D::fields), field_rules()),
      key<T>("poll", &T::poll, Reader<PollSettings>(poll_section())),
      key<T>("allow", &T::allow,
             list_of<std::string>(network(), "a list of at most 64 addresses or networks", 64)),
      key<T>("silent", &T::silent, span_or_off(1s, 24h * 365)),
  };
}

}  // namespace

const Section<PortSettings>& port_section() {
  static const Section<PortSettings> section(port_keys(), finish_port);
  return section;
}

}  // namespace fadeward::config
