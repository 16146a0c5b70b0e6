#include "fadeward/history/quantity.hpp"

#include <algorithm>
#include <array>

#include "fadeward/history/margins.hpp"

namespace fadeward::history {

namespace {

using Number = std::optional<double>;

Number count(std::uint64_t value) { return static_cast<double>(value); }
Number median(const Levels& levels) { return levels.quantile_db(0.5); }

constexpr std::array kQuantities = std::to_array<Quantity>({
    {"signal_dbm", "dBm", "fadeward_link_signal_dbm",
     "Wanted signal at the receiver of this direction without noise, median of the frames "
     "received.",
     false, [](const Summary& s) { return median(s.signal); }},
    {"noise_dbm", "dBm", "fadeward_link_noise_dbm",
     "Noise at the receiver of this direction, median of the frames received.", false,
     [](const Summary& s) { return median(s.noise); }},
    {"margin_db", "dB", "fadeward_link_margin_db",
     "Fade margin, median of the frames sent, lost ones included.", false,
     [](const Summary& s) { return margins_of(s).median_db; }},
    {"margin_low_db", "dB", "fadeward_link_margin_low_db",
     "Fade margin exceeded by 99 % of the frames sent, lost ones included.", false,
     [](const Summary& s) { return margins_of(s).low_db; }},
    {"margin_deviation_db", "dB", "fadeward_link_margin_deviation_db",
     "Standard deviation of the fade margin of the frames received.", false,
     [](const Summary& s) { return s.margin.deviation_db(); }},
    {"loss_ratio", "ratio", "fadeward_link_loss_ratio", "Frames lost per transmission, 0 to 1.",
     false, [](const Summary& s) { return s.loss_ratio(); }},
    {"retry_ratio", "ratio", "fadeward_link_retry_ratio",
     "Repeats per transmission of the sender of this direction, 0 to 1.", false,
     [](const Summary& s) { return s.retry_ratio(); }},
    {"frames", "frames", "fadeward_link_frames_total",
     "Frames of this direction with a measurement.", true,
     [](const Summary& s) { return count(s.frames); }},
    {"frames_lost", "frames", "fadeward_link_frames_lost_total",
     "Transmissions of this direction known to be lost.", true,
     [](const Summary& s) { return count(s.lost); }},
    {"sent", "frames", "fadeward_link_sent_total",
     "Transmissions of the sender of this direction by its own counter.", true,
     [](const Summary& s) { return count(s.sent); }},
    {"retries", "frames", "fadeward_link_retries_total",
     "Repeats sent by the sender of this direction.", true,
     [](const Summary& s) { return count(s.retries); }},
    {"failures", "frames", "fadeward_link_failures_total",
     "Messages that the sender of this direction gave up.", true,
     [](const Summary& s) { return count(s.failures); }},
});

}  // namespace

std::span<const Quantity> quantities() { return kQuantities; }

const Quantity* find_quantity(std::string_view name) {
  const auto it = std::ranges::find(kQuantities, name, &Quantity::name);
  return it == kQuantities.end() ? nullptr : &*it;
}

}  // namespace fadeward::history
