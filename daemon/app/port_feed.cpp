#include "fadeward/app/port_feed.hpp"

#include <spdlog/spdlog.h>

#include "fadeward/base/text.hpp"

namespace fadeward::app {

namespace {
constexpr Duration kLogRejectedEvery = std::chrono::minutes{1};
}

Result<std::unique_ptr<PortFeed>> PortFeed::make(boost::asio::io_context& io, PortIndex index,
                                                 const PortSettings& settings, const Clock& clock,
                                                 judge::Supervisor& supervisor) {
  auto feed = std::unique_ptr<PortFeed>(new PortFeed(index, settings, clock, supervisor));
  auto framer = framing::make_framer(settings.framing);
  if (!framer) return Error{"port " + settings.name + ": framing: " + framer.error().message};
  auto decoder = report::make_decoder(settings.decoder);
  if (!decoder) return Error{"port " + settings.name + ": decoder: " + decoder.error().message};
  feed->framer_ = std::move(framer).value();
  feed->decoder_ = std::move(decoder).value();
  feed->port_ = port::make_port(io, index, feed->settings_, *feed);
  return feed;
}

void PortFeed::on_bytes(std::span<const std::uint8_t> bytes, Instant) {
  now_ = clock_.now();
  framer_->feed(bytes, *this);
}

void PortFeed::on_datagram(std::span<const std::uint8_t> bytes, Instant) {
  now_ = clock_.now();
  framer_->feed(bytes, *this);
  framer_->flush(*this);
}

void PortFeed::on_event(const PortEvent& event, Instant) {
  now_ = clock_.now();
  if (event.kind == PortEvent::Kind::opened || event.kind == PortEvent::Kind::closed) {
    framer_->reset();
    decoder_->restart();
    ended_ = false;
  }
  if (event.kind == PortEvent::Kind::ended) {
    framer_->flush(*this);
    ended_ = true;
  }
  PortEvent mine = event;
  mine.port = index_;
  log(mine);
  supervisor_.note(mine, now_);
}

void PortFeed::log(const PortEvent& event) const {
  const std::string text = printable(event.text);
  switch (event.kind) {
    case PortEvent::Kind::opened: spdlog::info("port {}: open ({})", settings_.name, text); return;
    case PortEvent::Kind::closed: spdlog::warn("port {}: closed: {}", settings_.name, text); return;
    case PortEvent::Kind::failed:
      spdlog::warn("port {}: cannot be opened: {}", settings_.name, text);
      return;
    case PortEvent::Kind::ended: spdlog::info("port {}: read to its end", settings_.name); return;
    default: return;
  }
}

void PortFeed::frame(std::string_view bytes) { decoder_->decode(bytes, now_.wall, *this); }

void PortFeed::report(LinkReport& report) {
  report.port = index_;
  supervisor_.take(report, now_);
}

void PortFeed::note(PortEvent::Kind kind, std::uint64_t count) {
  PortEvent event;
  event.port = index_;
  event.kind = kind;
  event.count = count;
  supervisor_.note(event, now_);
}

void PortFeed::discarded(DiscardReason reason, std::uint64_t bytes) {
  PortEvent event;
  event.port = index_;
  event.kind = PortEvent::Kind::discarded;
  event.discard = reason;
  event.count = bytes;
  supervisor_.note(event, now_);
}

void PortFeed::rejected(RejectReason reason, std::string_view frame) {
  PortEvent event;
  event.port = index_;
  event.kind = PortEvent::Kind::rejected;
  event.reject = reason;
  event.count = 1;
  event.text = frame.substr(0, 512);
  supervisor_.note(event, now_);
  ++rejected_unlogged_;
  if (rejected_logged_ != Duration::min() && now_.steady - rejected_logged_ < kLogRejectedEvery)
    return;
  rejected_logged_ = now_.steady;
  spdlog::warn("port {}: {} frame{} not read ({}): {}", settings_.name, rejected_unlogged_,
               rejected_unlogged_ == 1 ? "" : "s", name_of(reason), printable(frame, 120));
  rejected_unlogged_ = 0;
}

void PortFeed::values_discarded(std::uint64_t count) {
  note(PortEvent::Kind::value_discarded, count);
}
void PortFeed::unknown_keys(std::uint64_t count) { note(PortEvent::Kind::unknown_keys, count); }

}  // namespace fadeward::app
