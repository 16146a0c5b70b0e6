#include "fadeward/app/duplex_line.hpp"

#include <algorithm>

#include "fadeward/base/text.hpp"
#include "fadeward/config/parse.hpp"

namespace fadeward::app {

namespace {

constexpr std::chrono::milliseconds kRetry{1};

/// The notation of the configuration file, so that both say the same.
std::string as_configuration(const PortWords& words) {
  std::string yaml = "ports: [{ name: port, source: ";
  append_json_string(yaml, words.port);
  if (words.port.starts_with("serial:")) {
    yaml += ", serial: { baud: " + std::to_string(words.baud.value_or(9600));
    for (const auto& [key, word] :
         {std::pair{", parity: ", &words.parity}, {", flow: ", &words.flow}}) {
      if (word->empty()) continue;
      yaml += key;
      append_json_string(yaml, *word);
    }
    yaml += " }";
  }
  return yaml + " }]\nlinks: [{ name: link }]\n";
}

/// Without file, line and column: there is no file.
Error plain_error(const std::string& message) {
  std::string text = message.substr(0, message.find('\n'));
  if (const auto at = text.find("ports[0]."); at != std::string::npos)
    text = "port: " + text.substr(at + 9);
  return Error{text};
}

/// Carries both directions, whatever the octets.
Result<PortSettings> transparent(PortSettings settings) {
  if (settings.source != SourceKind::serial && settings.source != SourceKind::tcp)
    return Error{
        "--port: a test needs a port that carries both directions: serial:PATH or tcp://HOST:PORT"};
  if (settings.source == SourceKind::serial && settings.serial.data_bits != 8)
    return Error{"--port: the test needs 8 data bits"};
  // Its frames hold every octet, those that stop and start a line included.
  if (settings.source == SourceKind::serial &&
      settings.serial.flow == SerialSettings::Flow::xon_xoff)
    return Error{
        "--port: a test needs a line that carries every octet: flow none or rts_cts, not xon_xoff"};
  settings.poll.reset();
  return settings;
}

}  // namespace

Result<PortSettings> port_of(const PortWords& words, const Settings* settings) {
  const bool is_path = words.port.starts_with("serial:");
  if (!is_path && !(words.parity.empty() && words.flow.empty()))
    return Error{"--parity and --flow belong to a port serial:PATH"};
  if (settings != nullptr) {
    const auto named = std::ranges::find(settings->ports, words.port, &PortSettings::name);
    if (named != settings->ports.end()) {
      PortSettings port = *named;
      if (words.baud) port.serial.baud = *words.baud;
      return transparent(std::move(port));
    }
  }
  if (words.baud && !is_path) return Error{"--baud belongs to a port serial:PATH"};
  auto parsed = config::parse(as_configuration(words), "command line");
  if (!parsed) return plain_error(parsed.error().message);
  PortSettings port = parsed->ports.front();
  port.name = words.port;
  // Relative paths are the shell's, not those of a file.
  if (port.source == SourceKind::serial) port.path = words.port.substr(7);
  return transparent(std::move(port));
}

DuplexLine::DuplexLine(boost::asio::io_context& io, const PortSettings& settings, Handlers handlers)
    : handlers_(std::move(handlers)), port_(port::make_port(io, 0, settings, *this)), retry_(io) {}

void DuplexLine::stop() {
  retry_.cancel();
  port_->stop();
  open_ = false;
}

bool DuplexLine::send(std::span<const std::uint8_t> bytes) {
  if (!open_ || waiting_.size() + bytes.size() > kMostWaiting) return false;
  const bool was_idle = idle();
  waiting_.insert(waiting_.end(), bytes.begin(), bytes.end());
  if (was_idle) flush();
  return true;
}

void DuplexLine::flush() {
  const std::size_t taken = port_->send(waiting_);
  waiting_.erase(waiting_.begin(), waiting_.begin() + static_cast<std::ptrdiff_t>(taken));
  if (waiting_.empty()) return;
  retry_.expires_after(kRetry);
  retry_.async_wait([this](const boost::system::error_code& error) {
    if (!error && open_ && !waiting_.empty()) flush();
  });
}

void DuplexLine::on_bytes(std::span<const std::uint8_t> bytes, Instant now) {
  handlers_.bytes(bytes, now);
}

void DuplexLine::on_datagram(std::span<const std::uint8_t> bytes, Instant now) {
  handlers_.bytes(bytes, now);
}

void DuplexLine::on_event(const PortEvent& event, Instant now) {
  const std::string text = printable(event.text);
  switch (event.kind) {
    case PortEvent::Kind::opened:
      open_ = true;
      waiting_.clear();
      return handlers_.opened(text, now);
    case PortEvent::Kind::closed:
    case PortEvent::Kind::ended:
      open_ = false;
      waiting_.clear();
      return handlers_.closed(text, now);
    case PortEvent::Kind::failed: return handlers_.failed(text, now);
    default: return;
  }
}

}  // namespace fadeward::app
