#include "fadeward/judge/words.hpp"

#include <cmath>
#include <cstdio>

namespace fadeward::judge {

namespace {

std::string one_decimal(double value, const char* unit) {
  char text[48];
  const double rounded = std::round(value * 10) / 10;
  std::snprintf(text, sizeof text, "%.1f %s", rounded == 0 ? 0.0 : rounded, unit);
  return text;
}

std::string change_in_words(std::optional<double> change_db) {
  if (!change_db) return "";
  if (std::abs(*change_db) < 1.0) return " (as usual)";
  return " (" + in_db(std::abs(*change_db)) + (*change_db < 0 ? " below usual)" : " above usual)");
}

}  // namespace

std::string in_db(double value_db) { return one_decimal(value_db, "dB"); }
std::string in_dbm(double level_dbm) { return one_decimal(level_dbm, "dBm"); }
std::string in_percent(double ratio) { return one_decimal(ratio * 100, "%"); }

std::string in_words(Duration span) {
  const std::int64_t minutes = span.count() / 60000000;
  if (minutes < 1) return std::to_string(span.count() / 1000000) + " s";
  if (minutes < 60) return std::to_string(minutes) + " min";
  const std::int64_t hours = minutes / 60;
  if (hours >= 48) return std::to_string(hours / 24) + " days";
  const std::string whole = std::to_string(hours) + " h";
  return minutes % 60 == 0 ? whole : whole + " " + std::to_string(minutes % 60) + " min";
}

std::string_view meaning_of(Cause cause) {
  switch (cause) {
    case Cause::none: return "nothing found";
    case Cause::path: return "obstruction, foliage or weather on the path";
    case Cause::near_antenna: return "antenna or feeder at the near end";
    case Cause::far_antenna: return "antenna or feeder at the far end";
    case Cause::far_transmit: return "transmitter of the far end, or the receive chain here";
    case Cause::near_transmit: return "transmitter of the near end, or the receive chain there";
    case Cause::near_receive: return "receive chain of the near end";
    case Cause::far_receive: return "receive chain of the far end";
    case Cause::near_noise: return "noise or interference at the near end";
    case Cause::far_noise: return "noise or interference at the far end";
    case Cause::near_channels: return "interference on some hop channels at the near end";
    case Cause::far_channels: return "interference on some hop channels at the far end";
    case Cause::collisions: return "frames lost that level and noise do not explain: collisions";
    case Cause::port: return "bytes lost between radio and program";
    case Cause::restart: return "a radio restarted";
    case Cause::silent: return "no reports";
  }
  return "";
}

std::string moment_in_words(Time at, Time now) {
  static constexpr const char* kMonths[] = {"January",   "February", "March",    "April",
                                            "May",       "June",     "July",     "August",
                                            "September", "October",  "November", "December"};
  const auto day = std::chrono::floor<std::chrono::days>(at);
  const std::chrono::year_month_day date{day};
  const std::int64_t minute = std::chrono::duration_cast<std::chrono::minutes>(at - day).count();
  char text[64];
  if (std::chrono::floor<std::chrono::days>(now) == day)
    std::snprintf(text, sizeof text, "%02d:%02d UTC", static_cast<int>(minute / 60),
                  static_cast<int>(minute % 60));
  else
    std::snprintf(text, sizeof text, "%u %s %02d:%02d UTC", static_cast<unsigned>(date.day()),
                  kMonths[(static_cast<unsigned>(date.month()) + 11) % 12],
                  static_cast<int>(minute / 60), static_cast<int>(minute % 60));
  return text;
}

namespace {

/// "the signal of both directions is 6.1 dB lower", as the cause has it.
std::string what_changed(const Suspect& suspect) {
  const Explanation& what = suspect.what;
  const std::string size = in_db(what.size_db);
  const std::string both = suspect.one_way ? "the " + std::string(name_of(suspect.way)) +
                                                 " signal (the other is not reported)"
                                           : std::string("the signal of both directions");
  switch (what.cause) {
    case Cause::path: return both + " is " + size + " lower, the noise as usual";
    case Cause::near_antenna:
      return both + " is " + size + " lower and the noise at the near end " + in_db(what.noise_db) +
             " lower";
    case Cause::far_antenna:
      return both + " is " + size + " lower and the noise at the far end " + in_db(what.noise_db) +
             " lower";
    case Cause::far_transmit:
      return "only the inbound signal is " + size + " lower, the noise as usual";
    case Cause::near_transmit:
      return "only the outbound signal is " + size + " lower, the noise as usual";
    case Cause::near_receive:
      return "at the near end signal and noise are " + size + " lower together";
    case Cause::far_receive:
      return "at the far end signal and noise are " + size + " lower together";
    case Cause::near_noise:
      return "the noise at the near end is " + size +
             " higher on all channels, the signal as usual";
    case Cause::far_noise:
      return "the noise at the far end is " + size + " higher on all channels, the signal as usual";
    default: return "the levels have changed by " + size;
  }
}

std::string_view advice(Cause cause) {
  switch (cause) {
    case Cause::path:
      return "obstruction, foliage or weather on the path; an antenna or feeder is not excluded";
    case Cause::near_antenna: return "look at antenna, feeder and plugs of the near end";
    case Cause::far_antenna: return "look at antenna, feeder and plugs of the far end";
    case Cause::far_transmit:
      return "transmitter or supply of the far end, or a lossy receive path here";
    case Cause::near_transmit:
      return "transmitter or supply of the near end, or a lossy receive path there";
    case Cause::near_receive: return "receiver of the near end";
    case Cause::far_receive: return "receiver of the far end";
    case Cause::near_noise: return "a new source of noise or another transmitter near the gateway";
    case Cause::far_noise: return "a new source of noise or another transmitter near the site";
    default: return meaning_of(cause);
  }
}

}  // namespace

std::string change_in_words(const Suspect& suspect, Time now, bool others_unchanged) {
  if (suspect.shape == Shape::cycle)
    return std::string(suspect.what.cause == Cause::path ? "The signal" : "The noise") +
           " swings by " + in_db(suspect.what.size_db) +
           " either way every day, more than it used to: " +
           std::string(advice(suspect.what.cause)) + ".";
  std::string out = suspect.shape == Shape::drift ? "Slowly, since about " : "Since ";
  out += moment_in_words(suspect.onset, now) + ", ";
  out += what_changed(suspect);
  const bool far_end = others_unchanged && suspect.what.cause == Cause::far_transmit;
  out += ": " +
         std::string(far_end ? "transmitter or supply of the far end, since the other links of the "
                               "port are unchanged"
                             : advice(suspect.what.cause)) +
         ".";
  return out;
}

std::string losses_in_words(Direction direction, double ratio, std::optional<double> usual,
                            Time since, Time now) {
  return "Since " + moment_in_words(since, now) + ", " +
         (direction == Direction::inbound ? "inbound" : "outbound") + " loses " +
         in_percent(ratio) + " of frames" +
         (usual ? ", usually " + in_percent(*usual) : std::string()) +
         ", and the level does not explain it: other traffic in the band meets these frames.";
}

std::string channels_in_words(Direction direction, std::uint32_t channels, std::uint32_t known,
                              double rise_db, bool lasting, Time since, Time now) {
  std::string out = lasting ? "" : "Since " + moment_in_words(since, now) + ", ";
  out += std::to_string(channels) + " of " + std::to_string(known) + " hop channels are " +
         in_db(rise_db) + " noisier at the " + (direction == Direction::inbound ? "near" : "far") +
         " end than ";
  out += lasting ? "the others, as long as they have been watched" : "they were";
  out += ": a transmitter on these frequencies; leave them out if the radio allows it.";
  return out;
}

std::string levels_in_words(std::optional<double> signal_dbm,
                            std::optional<double> signal_change_db, std::optional<double> noise_dbm,
                            std::optional<double> noise_change_db) {
  std::string out;
  if (signal_dbm) out += "signal " + in_dbm(*signal_dbm) + change_in_words(signal_change_db);
  if (noise_dbm) {
    if (!out.empty()) out += ", ";
    out += "noise " + in_dbm(*noise_dbm) + change_in_words(noise_change_db);
  }
  return out;
}

}  // namespace fadeward::judge
