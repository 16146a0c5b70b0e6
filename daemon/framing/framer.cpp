#include "fadeward/framing/framer.hpp"

#include <utility>

#include "fadeward/framing/cobs.hpp"
#include "fadeward/framing/hdlc.hpp"
#include "fadeward/framing/lines.hpp"

namespace fadeward::framing {

Result<std::unique_ptr<Framer>> make_framer(const FramingSettings& settings) {
  using Kind = FramingSettings::Kind;
  if (settings.max_bytes == 0) return Error{"framing: max_bytes must be at least 1"};
  if (!settings.block_end.empty() && settings.kind != Kind::lines)
    return Error{"framing: block_end belongs to lines only"};
  if (settings.crc != FramingSettings::Crc::none && settings.kind != Kind::cobs)
    return Error{"framing: crc belongs to cobs only (hdlc has its own check, lines have none)"};
  switch (settings.kind) {
    case Kind::cobs:
      return std::unique_ptr<Framer>(new CobsFramer(settings.max_bytes, settings.crc));
    case Kind::hdlc: return std::unique_ptr<Framer>(new HdlcFramer(settings.max_bytes));
    case Kind::lines: break;
  }
  auto lines = LineFramer::make(settings.max_bytes, settings.block_end);
  if (!lines) return lines.error();
  return std::unique_ptr<Framer>(std::move(lines).value());
}

}  // namespace fadeward::framing
