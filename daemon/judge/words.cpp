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

std::string levels_in_words(std::optional<double> signal_dbm, std::optional<double> signal_change_db,
                            std::optional<double> noise_dbm, std::optional<double> noise_change_db) {
  std::string out;
  if (signal_dbm) out += "signal " + in_dbm(*signal_dbm) + change_in_words(signal_change_db);
  if (noise_dbm) {
    if (!out.empty()) out += ", ";
    out += "noise " + in_dbm(*noise_dbm) + change_in_words(noise_change_db);
  }
  return out;
}

}  // namespace fadeward::judge
