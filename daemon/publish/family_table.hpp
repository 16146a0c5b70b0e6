// Where each family takes its samples from, and the walk over them that every writer shares.
#pragma once

#include <array>
#include <bit>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string_view>
#include <variant>

#include "alert_table.hpp"
#include "fadeward/judge/snapshot.hpp"
#include "fadeward/publish/exposition.hpp"
#include "fadeward/publish/families.hpp"
#include "fadeward/publish/number_text.hpp"

namespace fadeward::publish {

namespace source {

using judge::ChannelSnapshot;
using judge::DirectionSnapshot;
using judge::LinkSnapshot;
using judge::PortSnapshot;
using judge::Rolling;

struct LinkUp {};
struct LinkInfo {};
struct LinkGauge {
  std::optional<double> LinkSnapshot::*member;
};
struct LinkDerived {
  std::optional<double> (*value)(const LinkSnapshot&);
};
struct LinkCounter {
  std::uint64_t LinkSnapshot::*member;
};
struct DirectionGauge {
  std::optional<double> DirectionSnapshot::*member;
};
struct DirectionDerived {
  std::optional<double> (*value)(const DirectionSnapshot&);
};
struct DirectionCounter {
  std::uint64_t DirectionSnapshot::*member;
};
struct WindowGauge {
  std::optional<double> Rolling::*member;
};
struct ChannelGauge {
  std::optional<double> (*value)(const ChannelSnapshot&);
};
struct AlertActive {};
struct AlertSeverity {};
struct AlertCause {};
struct PortUp {};
struct PortCounter {
  std::uint64_t PortSnapshot::*member;
};
struct PortDiscarded {};
struct PortRejected {};
struct Pushes {};
struct PushCounter {
  std::uint64_t PushTally::*member;
};
struct PushGauge {
  double (*value)(const PushTally&);
};
struct HttpDropped {};
struct ProgramNumber {
  std::optional<double> (*value)(const ExpositionInput&);
};
struct Build {};

}  // namespace source

using Source =
    std::variant<source::LinkUp, source::LinkInfo, source::LinkGauge, source::LinkDerived,
                 source::LinkCounter, source::DirectionGauge, source::DirectionDerived,
                 source::DirectionCounter, source::WindowGauge, source::ChannelGauge,
                 source::AlertActive, source::AlertSeverity, source::AlertCause, source::PortUp,
                 source::PortCounter, source::PortDiscarded, source::PortRejected, source::Pushes,
                 source::PushCounter, source::PushGauge, source::HttpDropped, source::ProgramNumber,
                 source::Build>;

/// Same length and order as families().
std::span<const Source> sources();

/// Values of the label `window`, in the order of DirectionSnapshot::rolling.
inline constexpr std::array<std::string_view, 3> kWindowNames = {"5m", "1h", "24h"};

/// Which owner an alert series names in its first label.
enum class Owner : std::uint8_t { link, port };

/// Calls the emitter once for each sample of one family, in the order of exposition:
///   link(index, value)            direction(index, direction, value)
///   info(index, port name)        window(index, direction, window, value)
///   channel(index, direction, channel in words, value)
///   alert(owner, index, cell, value)   cause(owner, index, cell, cause)
///   port(index, value)            port_reason(index, reason, value)
///   push(target, reason, value)   push_target(target, value)   reason(reason, value)
///   plain(value)                  build(info)
/// Values are double or std::uint64_t; an emitter leaves out doubles that are not finite.
template <class Emitter>
class SampleWalk {
 public:
  SampleWalk(const ExpositionInput& input, const AlertTable& alerts, Emitter& emit)
      : input_(input),
        links_(input.snapshot.links),
        ports_(input.snapshot.ports),
        alerts_(alerts),
        emit_(emit) {}

  void run(const Source& from) {
    std::visit([this](const auto& each) { samples(each); }, from);
  }

 private:
  using Count = std::uint64_t;

  template <class Each>
  void each_link(Each each) {
    for (std::size_t i = 0; i < links_.size(); ++i) each(i, links_[i]);
  }
  template <class Each>
  void each_direction(bool only_up, Each each) {
    for (std::size_t i = 0; i < links_.size(); ++i) {
      if (only_up && !links_[i].up) continue;
      for (std::size_t d = 0; d < kDirections; ++d) {
        each(i, static_cast<Direction>(d), links_[i].directions[d]);
      }
    }
  }
  template <class Each>
  static void each_cell(std::uint64_t mask, Each each) {
    for (; mask != 0; mask &= mask - 1) each(static_cast<std::size_t>(std::countr_zero(mask)));
  }
  template <class Each>
  void each_alert(std::uint64_t AlertRow::*mask, Each each) {
    for (std::size_t i = 0; i < alerts_.links().size(); ++i) {
      const AlertRow& row = alerts_.links()[i];
      each_cell(row.*mask, [&](std::size_t cell) { each(Owner::link, i, row, cell); });
    }
    for (std::size_t i = 0; i < alerts_.ports().size(); ++i) {
      const AlertRow& row = alerts_.ports()[i];
      each_cell(row.*mask, [&](std::size_t cell) { each(Owner::port, i, row, cell); });
    }
  }

  void samples(source::LinkUp) {
    each_link([&](std::size_t i, const auto& link) { emit_.link(i, Count{link.up}); });
  }
  void samples(source::LinkInfo) {
    each_link([&](std::size_t i, const auto& link) {
      if (link.port < ports_.size()) emit_.info(i, ports_[link.port].name);
    });
  }
  void samples(source::LinkGauge from) {
    each_link([&](std::size_t i, const auto& link) {
      if (link.up && link.*from.member) emit_.link(i, *(link.*from.member));
    });
  }
  void samples(source::LinkDerived from) {
    each_link([&](std::size_t i, const auto& link) {
      if (!link.up) return;
      if (const auto value = from.value(link)) emit_.link(i, *value);
    });
  }
  void samples(source::LinkCounter from) {
    each_link([&](std::size_t i, const auto& link) { emit_.link(i, link.*from.member); });
  }
  void samples(source::DirectionGauge from) {
    each_direction(true, [&](std::size_t i, Direction direction, const auto& values) {
      if (values.*from.member) emit_.direction(i, direction, *(values.*from.member));
    });
  }
  void samples(source::DirectionDerived from) {
    each_direction(true, [&](std::size_t i, Direction direction, const auto& values) {
      if (const auto value = from.value(values)) emit_.direction(i, direction, *value);
    });
  }
  void samples(source::DirectionCounter from) {
    each_direction(false, [&](std::size_t i, Direction direction, const auto& values) {
      emit_.direction(i, direction, values.*from.member);
    });
  }
  void samples(source::WindowGauge from) {
    each_direction(true, [&](std::size_t i, Direction direction, const auto& values) {
      for (std::size_t w = 0; w < kWindowNames.size(); ++w) {
        const auto& value = values.rolling[w].*from.member;
        if (value) emit_.window(i, direction, w, *value);
      }
    });
  }
  void samples(source::ChannelGauge from) {
    each_direction(true, [&](std::size_t i, Direction direction, const auto& values) {
      for (const judge::ChannelSnapshot& channel : values.channels) {
        const auto value = from.value(channel);
        if (!value || !std::isfinite(channel.channel)) continue;
        std::array<char, kNumberRoom> name{};
        const char* end = write_number(name.data(), channel.channel);
        emit_.channel(i, direction, std::string_view(name.data(), end), *value);
      }
    });
  }
  void samples(source::AlertActive) {
    each_alert(&AlertRow::exported,
               [&](Owner owner, std::size_t i, const AlertRow& row, std::size_t cell) {
                 emit_.alert(owner, i, cell, Count{row.active >> cell & 1U});
               });
  }
  void samples(source::AlertSeverity) {
    each_alert(&AlertRow::exported,
               [&](Owner owner, std::size_t i, const AlertRow& row, std::size_t cell) {
                 emit_.alert(owner, i, cell, static_cast<Count>(row.severity[cell]));
               });
  }
  void samples(source::AlertCause) {
    each_alert(&AlertRow::active,
               [&](Owner owner, std::size_t i, const AlertRow& row, std::size_t cell) {
                 emit_.cause(owner, i, cell, row.cause[cell]);
               });
  }
  void samples(source::PortUp) {
    for (std::size_t i = 0; i < ports_.size(); ++i) emit_.port(i, Count{ports_[i].up});
  }
  void samples(source::PortCounter from) {
    for (std::size_t i = 0; i < ports_.size(); ++i) emit_.port(i, ports_[i].*from.member);
  }
  void samples(source::PortDiscarded) {
    for (std::size_t i = 0; i < ports_.size(); ++i) {
      for (std::size_t r = 0; r < kDiscardReasons; ++r) {
        emit_.port_reason(i, name_of(static_cast<DiscardReason>(r)), ports_[i].discarded_bytes[r]);
      }
    }
  }
  void samples(source::PortRejected) {
    for (std::size_t i = 0; i < ports_.size(); ++i) {
      for (std::size_t r = 0; r < kRejectReasons; ++r) {
        emit_.port_reason(i, name_of(static_cast<RejectReason>(r)), ports_[i].rejected[r]);
      }
    }
  }
  void samples(source::Pushes) {
    for (const PushDropped& drop : input_.program.push_dropped) {
      emit_.push(drop.target, drop.reason, drop.count);
    }
  }
  void samples(source::PushCounter from) {
    for (const PushTally& push : input_.program.pushes)
      emit_.push_target(push.target, push.*from.member);
  }
  void samples(source::PushGauge from) {
    for (const PushTally& push : input_.program.pushes)
      emit_.push_target(push.target, from.value(push));
  }
  void samples(source::HttpDropped) {
    emit_.reason("limit", input_.http.limit);
    emit_.reason("accept", input_.http.accept);
    emit_.reason("deadline", input_.http.deadline);
    emit_.reason("malformed", input_.http.malformed);
    emit_.reason("handshake", input_.http.handshake);
    emit_.reason("fault", input_.http.fault);
  }
  void samples(source::ProgramNumber from) {
    if (const auto value = from.value(input_)) emit_.plain(*value);
  }
  void samples(source::Build) { emit_.build(input_.build); }

  const ExpositionInput& input_;
  std::span<const judge::LinkSnapshot> links_;
  std::span<const judge::PortSnapshot> ports_;
  const AlertTable& alerts_;
  Emitter& emit_;
};

}  // namespace fadeward::publish
