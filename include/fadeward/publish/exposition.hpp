// /metrics: the snapshot as text for a scraper.
#pragma once

#include <functional>
#include <memory>
#include <string_view>

#include "fadeward/judge/snapshot.hpp"
#include "fadeward/publish/negotiation.hpp"
#include "fadeward/publish/program_state.hpp"
#include "fadeward/publish/text_buffer.hpp"

namespace fadeward::publish {

/// Everything that is exported; refers, owns nothing.
struct ExpositionInput {
  const judge::Snapshot& snapshot;
  const ProgramState& program;
  const ProcessUsage& process;
  const HttpTally& http;
  const BuildInfo& build;
};

/// Writes all families of families.hpp in their order, links in the order of the settings, without
/// timestamps. A value that is not known (or not finite) is absent; a family without a sample too.
/// Gauges of a link vanish while it is not up; its counters, fadeward_link_up and the alert
/// families stay. Doubles in their shortest form that reads back exactly.
///
/// Keeps between calls the escaped names of links and ports, which alert series were ever seen, and
/// the text of those (some 4.5 kB a link), which is made anew only when an alert has changed; once
/// warm it allocates nothing but what `out` needs to grow. One thread at a time.
class Exposition {
 public:
  Exposition();
  ~Exposition();
  Exposition(Exposition&&) noexcept;
  Exposition& operator=(Exposition&&) noexcept;

  /// Called with consecutive pieces of about 32 KiB, or more, valid during the call.
  using Sink = std::function<void(std::string_view)>;

  void write(const ExpositionInput& input, Format format, const Sink& sink);

  /// Appends.
  void write(const ExpositionInput& input, Format format, TextBuffer& out);

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace fadeward::publish
