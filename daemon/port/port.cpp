#include "fadeward/port/port.hpp"

#include "source.hpp"

namespace fadeward::port {

namespace {

std::shared_ptr<Source> make_source(boost::asio::io_context& io, PortIndex index,
                                    const PortSettings& settings, Sink& sink) {
  switch (settings.source) {
    case SourceKind::serial: return make_serial_source(io, index, settings, sink);
    case SourceKind::tcp: return make_tcp_source(io, index, settings, sink);
    case SourceKind::udp: return make_udp_source(io, index, settings, sink);
    case SourceKind::file:
    case SourceKind::stdin_stream: break;
  }
  return make_input_source(io, index, settings, sink);
}

/// Owns the life of a source; handlers on their way may keep its memory a little longer.
class Handle final : public Port {
 public:
  explicit Handle(std::shared_ptr<Source> source) : source_(std::move(source)) {}
  ~Handle() override { source_->stop(); }
  Handle(const Handle&) = delete;
  Handle& operator=(const Handle&) = delete;

  void start() override { source_->start(); }
  // A callback may end the port that calls it: the source must outlive its own call.
  void stop() override { source_->stop(); }
  std::size_t send(std::span<const std::uint8_t> bytes) override { return source_->send(bytes); }
  PortCounts counts() const override { return source_->counts(); }

 private:
  std::shared_ptr<Source> source_;
};

}  // namespace

std::unique_ptr<Port> make_port(boost::asio::io_context& io, PortIndex index,
                                const PortSettings& settings, Sink& sink) {
  return std::make_unique<Handle>(make_source(io, index, settings, sink));
}

}  // namespace fadeward::port
