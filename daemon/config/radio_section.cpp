// radio, budget, rules: what the link is made of.
#include <algorithm>
#include <cmath>
#include <string>
#include <string_view>

#include "scalar.hpp"
#include "sections.hpp"

namespace fadeward::config {
namespace {

constexpr double kLowestDbm = -200;  // below thermal noise in any bandwidth in use
constexpr double kHighestDbm = 60;   // a kilowatt

/// Bits per second of a chirp are spreading_factor * bandwidth / 2^spreading_factor.
double chirp_rate(int spreading_factor, double bandwidth_hz) {
  return spreading_factor * bandwidth_hz / std::ldexp(1.0, spreading_factor);
}

const Section<SlowestRate>& slowest_section() {
  using T = SlowestRate;
  static const Section<T> section({
      key<T>("spreading_factor", &T::spreading_factor, whole(5, 12)),
      key<T>("bandwidth_hz", &T::bandwidth_hz, number(10, 1e9, "Hz")),
      key<T>("bit_rate_bps", &T::bit_rate_bps, number(1, 1e9, "bits per second")),
  });
  return section;
}

/// What is wrong with the slowest rate beside the usual one; empty: nothing.
std::string_view slowest_cannot_be(const RadioSettings& radio) {
  using M = RadioSettings::Modulation;
  const SlowestRate& slowest = radio.slowest;
  if (!slowest.said()) return "needs spreading_factor, bandwidth_hz or bit_rate_bps";
  if (slowest.spreading_factor && radio.modulation == M::fsk)
    return "its spreading_factor belongs to modulation: css";
  const bool chirps =
      radio.modulation == M::css || (radio.modulation == M::unspecified && radio.spreading_factor);
  if (slowest.bit_rate_bps && (chirps || slowest.spreading_factor))
    return "its bit_rate_bps belongs to modulation: fsk; chirps have spreading_factor and "
           "bandwidth_hz";
  if (slowest.bit_rate_bps && radio.bandwidth_hz && !radio.bit_rate_bps)
    return "its bit_rate_bps needs the usual bit_rate_bps beside bandwidth_hz to compare with";
  if (slowest.bit_rate_bps && radio.bit_rate_bps && *slowest.bit_rate_bps > *radio.bit_rate_bps)
    return "is faster than bit_rate_bps";
  const auto factor = slowest.spreading_factor ? slowest.spreading_factor : radio.spreading_factor;
  const auto width = slowest.bandwidth_hz ? slowest.bandwidth_hz : radio.bandwidth_hz;
  if (factor && radio.spreading_factor && width && radio.bandwidth_hz &&
      chirp_rate(*factor, *width) > chirp_rate(*radio.spreading_factor, *radio.bandwidth_hz))
    return "is faster than spreading_factor and bandwidth_hz";
  if (slowest.spreading_factor && radio.spreading_factor && !slowest.bandwidth_hz &&
      *slowest.spreading_factor < *radio.spreading_factor)
    return "is faster than spreading_factor";
  return {};
}

void finish_radio(Reading& reading, const Node& map, RadioSettings& radio) {
  if (map.find("slowest") != nullptr)
    if (const auto wrong = slowest_cannot_be(radio); !wrong.empty())
      reading.complain_at(map, "slowest", std::string(wrong));
  const bool both = map.find("modulation") != nullptr && map.find("spreading_factor") != nullptr;
  if (both && radio.modulation == RadioSettings::Modulation::fsk)
    reading.complain_at(map, "spreading_factor", "belongs to modulation: css");
}

const Section<SiteSettings>& site_section() {
  using T = SiteSettings;
  static const Section<T> section({
      key<T>("power_dbm", &T::power_dbm, number(-60, kHighestDbm, "dBm")),
      key<T>("antenna_dbi", &T::antenna_dbi, number(-30, 60, "dBi")),
      key<T>("feeder_db", &T::feeder_db, number(0, 100, "dB of loss")),
      key<T>("polarisation_db", &T::polarisation_db, number(0, 60, "dB of loss")),
      key<T>("height_m", &T::height_m, number(0, 10'000, "m above ground")),
      key<T>("noise_figure_db", &T::noise_figure_db, number(0, 40, "dB")),
      key<T>("man_made_noise_db", &T::man_made_noise_db, number(0, 60, "dB above thermal noise")),
  });
  return section;
}

// Which sets there are is for the room that holds them to say.
Reader<std::string> rule_set() {
  return [](Reading& reading, const Node& node, std::string& out) {
    const auto& known = reading.vocabulary.rule_sets;
    if (!name()(reading, node, out)) return false;
    if (known.empty() || std::find(known.begin(), known.end(), out) != known.end()) return true;
    reading.refuse(node, "one of " + listed({known.begin(), known.end()}));
    return false;
  };
}

}  // namespace

const Section<RadioSettings>& radio_section() {
  using T = RadioSettings;
  static const Section<T> section(
      {
          key<T>(
              "modulation", &T::modulation,
              word_of<T::Modulation>({{"css", T::Modulation::css}, {"fsk", T::Modulation::fsk}})),
          key<T>("spreading_factor", &T::spreading_factor, whole(5, 12)),
          key<T>("bandwidth_hz", &T::bandwidth_hz, number(10, 1e9, "Hz")),
          key<T>("bit_rate_bps", &T::bit_rate_bps, number(1, 1e9, "bits per second")),
          key<T>("noise_figure_db", &T::noise_figure_db, number(0, 40, "dB")),
          key<T>("required_snr_db", &T::required_snr_db, number(-40, 60, "dB")),
          key<T>("sensitivity_dbm", &T::sensitivity_dbm, number(-180, 0, "dBm")),
          key<T>("snr_ceiling_db", &T::snr_ceiling_db, number(-40, 100, "dB")),
          key<T>("max_power_dbm", &T::max_power_dbm, number(-60, kHighestDbm, "dBm")),
          key<T>("slowest", &T::slowest, Reader<SlowestRate>(slowest_section())),
          key<T>("rssi", &T::rssi,
                 word_of<T::Rssi>({{"total", T::Rssi::total}, {"signal", T::Rssi::wanted}})),
          key<T>("seq", &T::seq,
                 word_of<T::Seq>({{"frames", T::Seq::frames}, {"messages", T::Seq::messages}})),
          key<T>("level_offset_db", &T::level_offset_db, number(-100, 100, "dB")),
          key<T>("far_level_offset_db", &T::far_level_offset_db, number(-100, 100, "dB")),
          key<T>("seq_bits", &T::seq_bits, whole(2, 64, "bits")),
          key<T>("counter_bits", &T::counter_bits, whole(8, 64, "bits")),
      },
      finish_radio);
  return section;
}

const Section<MultipathSettings>& multipath_section() {
  using T = MultipathSettings;
  static const Section<T> section(
      {
          key<T>("log10_k", &T::log10_k,
                 number(-12, 0, "log10 of the geoclimatic factor K, not K itself")),
          key<T>("dn75", &T::dn75, number(0, 1000, "N-units")),
      },
      [](Reading& reading, const Node& map, MultipathSettings& multipath) {
        const char* missing = multipath.log10_k ? "dn75" : "log10_k";
        const char* given = multipath.log10_k ? "log10_k" : "dn75";
        if (multipath.log10_k.has_value() != multipath.dn75.has_value() &&
            map.find(missing) == nullptr)
          reading.complain_at(map, given, "ITU-R P.530-19 needs both log10_k and dn75");
      });
  return section;
}

const Section<BudgetSettings>& budget_section() {
  using T = BudgetSettings;
  static const Section<T> section({
      key<T>("inbound_signal_dbm", &T::inbound_signal_dbm, number(kLowestDbm, kHighestDbm, "dBm")),
      key<T>("outbound_signal_dbm", &T::outbound_signal_dbm,
             number(kLowestDbm, kHighestDbm, "dBm")),
      key<T>("frequency_mhz", &T::frequency_mhz, number(10, 100'000, "MHz")),
      key<T>("distance_km", &T::distance_km, number(0.001, 1000, "km")),
      key<T>("near", &T::near, Reader<SiteSettings>(site_section())),
      key<T>("far", &T::far, Reader<SiteSettings>(site_section())),
      key<T>("profile", &T::profile, file_path()),
      key<T>("foliage_m", &T::foliage_m, number(0, 100'000, "m of path through foliage")),
      key<T>("extra_loss_db", &T::extra_loss_db, number(0, 200, "dB of loss")),
      key<T>("multipath", &T::multipath, Reader<MultipathSettings>(multipath_section())),
      key<T>("availability", &T::availability, open_ratio()),
  });
  return section;
}

const Section<RuleSettings>& rule_section() {
  using T = RuleSettings;
  static const Section<T> section({
      key<T>("set", &T::set, rule_set()),
      key<T>("channels", &T::channels, whole(1, 65'535)),
      key<T>("dwell_s", &T::dwell_s, number(0.0001, 3600, "s")),
      key<T>("duty_ratio", &T::duty_ratio, ratio()),
      key<T>("hop_clock_s", &T::hop_clock_s, number(0.00001, 1, "s")),
  });
  return section;
}

}  // namespace fadeward::config
