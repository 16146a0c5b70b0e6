#include "fadeward/simulate/report_line.hpp"

#include <charconv>
#include <cmath>

#include "fadeward/base/field.hpp"

namespace fadeward::simulate {
namespace {

void append_integer(std::string& out, std::int64_t value) {
  char digits[24];
  const auto end = std::to_chars(digits, digits + sizeof digits, value).ptr;
  out.append(digits, end);
}

/// value / 10^decimals with exactly that many decimals.
void append_scaled(std::string& out, std::int64_t value, int decimals) {
  if (value < 0) {
    out += '-';
    value = -value;
  }
  std::int64_t unit = 1;
  for (int i = 0; i < decimals; ++i) unit *= 10;
  append_integer(out, value / unit);
  out += '.';
  for (std::int64_t rest = value % unit; unit > 1; rest %= unit) {
    unit /= 10;
    out += static_cast<char>('0' + rest / unit);
  }
}

void append_quarters(std::string& out, int quarters) {
  static constexpr std::string_view kFraction[] = {"", ".25", ".5", ".75"};
  const int size = quarters < 0 ? -quarters : quarters;
  if (quarters < 0) out += '-';
  append_integer(out, size / 4);
  out += kFraction[size % 4];
}

std::int64_t milliseconds(Time time) {
  return std::chrono::floor<std::chrono::milliseconds>(time.time_since_epoch()).count();
}

/// Appends `,"name":` unless the key is left out.
class Keys {
 public:
  Keys(std::string& out, std::uint64_t omitted) : out_(out), omitted_(omitted) {}
  bool open(Field field) {
    if ((omitted_ >> static_cast<unsigned>(field) & 1U) != 0) return false;
    out_ += ",\"";
    out_ += field_info(field).name;
    out_ += "\":";
    return true;
  }
  void integer(Field field, std::int64_t value) {
    if (open(field)) append_integer(out_, value);
  }

 private:
  std::string& out_;
  std::uint64_t omitted_;
};

}  // namespace

void write_report(std::string& line, std::string_view link_json, const Exchange& exchange,
                  const ReportStyle& style) {
  line.clear();
  line += "{\"time\":";
  append_scaled(line, milliseconds(exchange.time), 3);
  line += ",\"link\":";
  line += link_json;

  Keys keys(line, style.omitted);
  const auto integer = [&](Field field, std::uint64_t value, std::uint64_t mask) {
    keys.integer(field, static_cast<std::int64_t>(value & mask));
  };
  const Counters& near = exchange.near_counters;
  const Counters& far = exchange.far_counters;
  integer(Field::seq, far.tx_frames, style.seq_mask);
  keys.integer(Field::rssi_dbm, exchange.near.rssi_dbm);
  if (keys.open(Field::snr_db)) append_quarters(line, exchange.near.snr_quarter_db);
  keys.integer(Field::noise_dbm, exchange.near.noise_dbm);
  keys.integer(Field::channel, exchange.channel);
  if (exchange.far) {
    keys.integer(Field::far_rssi_dbm, exchange.far->rssi_dbm);
    if (keys.open(Field::far_snr_db)) append_quarters(line, exchange.far->snr_quarter_db);
    keys.integer(Field::far_noise_dbm, exchange.far->noise_dbm);
    if (keys.open(Field::far_time)) append_scaled(line, milliseconds(exchange.far_time), 3);
  }
  keys.integer(Field::spreading_factor, exchange.spreading_factor);
  keys.integer(Field::tx_power_dbm, std::lround(exchange.near_power_dbm));
  keys.integer(Field::far_tx_power_dbm, std::lround(exchange.far_power_dbm));
  integer(Field::tx_frames, near.tx_frames, style.counter_mask);
  integer(Field::far_tx_frames, far.tx_frames, style.counter_mask);
  integer(Field::tx_retries, near.tx_retries, style.counter_mask);
  integer(Field::far_tx_retries, far.tx_retries, style.counter_mask);
  integer(Field::tx_failures, near.tx_failures, style.counter_mask);
  integer(Field::far_tx_failures, far.tx_failures, style.counter_mask);
  integer(Field::rx_frames, near.rx_frames, style.counter_mask);
  integer(Field::far_rx_frames, far.rx_frames, style.counter_mask);
  keys.integer(Field::uptime_s, static_cast<std::int64_t>(exchange.uptime_s));
  if (keys.open(Field::supply_v)) append_scaled(line, std::lround(exchange.supply_v * 100), 2);
  if (keys.open(Field::temperature_c)) {
    append_scaled(line, std::lround(exchange.temperature_c * 10), 1);
  }
  line += '}';
}

}  // namespace fadeward::simulate
