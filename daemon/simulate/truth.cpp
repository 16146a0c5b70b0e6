#include "fadeward/simulate/truth.hpp"

#include <algorithm>
#include <limits>
#include <optional>

#include "fadeward/base/text.hpp"

namespace fadeward::simulate {
namespace {

class Object {
 public:
  Object(std::string& out, std::string_view kind) : out_(out) {
    out_ += "{\"kind\":";
    append_json_string(out_, kind);
  }
  /// Of what happens at a time.
  Object(std::string& out, std::string_view kind, Time at) : Object(out, kind) { time("time", at); }
  ~Object() { out_ += '}'; }
  Object(const Object&) = delete;
  Object& operator=(const Object&) = delete;

  Object& text(std::string_view key, std::string_view value) {
    open(key);
    append_json_string(out_, value);
    return *this;
  }
  Object& json(std::string_view key, std::string_view value) {
    open(key);
    out_ += value;
    return *this;
  }
  Object& number(std::string_view key, std::optional<double> value, int decimals = 3) {
    open(key);
    append_rounded(out_, value.value_or(std::numeric_limits<double>::quiet_NaN()), decimals);
    return *this;
  }
  Object& count(std::string_view key, std::uint64_t value) {
    open(key);
    append_number(out_, value);
    return *this;
  }
  Object& time(std::string_view key, std::optional<Time> value) {
    if (value) return number(key, to_unix_seconds(*value));
    return number(key, std::nullopt);
  }

 private:
  void open(std::string_view key) {
    out_ += ",\"";
    out_ += key;
    out_ += "\":";
  }
  std::string& out_;
};

std::string quoted(std::string_view text) {
  std::string out;
  append_json_string(out, text);
  return out;
}

std::string quoted_or_null(std::optional<Direction> direction) {
  return direction ? quoted(name_of(*direction)) : "null";
}

std::string link_object(const LinkPlan& link) {
  std::string out;
  {
    Object object(out, "link");
    object.text("name", link.name)
        .number("inbound_signal_dbm", link.inbound_signal_dbm)
        .number("outbound_signal_dbm", link.outbound_signal_dbm)
        .number("near_noise_dbm",
                dbm_of(power_of(link.near_outside_noise_dbm) + power_of(link.receiver_noise_dbm)))
        .number("far_noise_dbm",
                dbm_of(power_of(link.far_outside_noise_dbm) + power_of(link.receiver_noise_dbm)))
        .number("required_snr_db", required_snr_db(link.spreading_factor))
        .count("channels", static_cast<std::uint64_t>(link.channels))
        .number("channel_spread_db", link.channel_spread_db)
        .number("fading_k_db", link.fading_k_db)
        .number("shadow_sd_db", link.shadow_sd_db)
        .number("daily_db", link.daily_db)
        .number("rain_factor", link.rain_factor)
        .number("leaf_loss_db", link.leaf_loss_db)
        .number("aging_db_per_year", link.aging_db_per_year);
  }
  return out;
}

void tell_fault(Object change, const LinkPlan& link, const Fault& fault) {
  const bool share = fault.cause == Cause::collisions;
  change.text("link", link.name)
      .text("cause", name_of(fault.cause))
      .json("direction", quoted_or_null(direction_of(fault)))
      .text("shape", name_of(fault.shape))
      .number("size_db", share ? std::nullopt : std::optional(fault.size));
  if (share) change.number("size_ratio", fault.size, 6);
  change.time("until", fault.until);
  if (fault.ramp > Duration::zero()) change.time("full_at", fault.from + fault.ramp);
  if (fault.per_rain_db != 0) change.number("per_rain_db", fault.per_rain_db);
  if (fault.channels.empty()) return;
  std::string list;
  for (const std::uint16_t channel : fault.channels) {
    list += (list.empty() ? "[" : ",") + std::to_string(channel);
  }
  change.json("channels", list + "]");
}

void tell_outage(Object change, const LinkPlan& link, const Outage& outage) {
  change.text("link", link.name)
      .text("cause", name_of(outage.cause))
      .json("direction", "null")
      .text("shape", outage.cause == Cause::silent ? "burst" : "step")
      .json("size_db", "null")
      .time("until", outage.until)
      .json("near_restarts", outage.near_restarts ? "true" : "false")
      .json("far_restarts", outage.far_restarts ? "true" : "false");
}

/// Value below which `share` of the values lie; an even middle is halved. Reorders.
double quantile(std::vector<float>& values, double share) {
  const double at = share * static_cast<double>(values.size() - 1);
  const auto low = static_cast<std::ptrdiff_t>(at);
  std::nth_element(values.begin(), values.begin() + low, values.end());
  const double first = static_cast<double>(values[static_cast<std::size_t>(low)]);
  const double part = at - static_cast<double>(low);
  if (part == 0.0) return first;
  const double second =
      static_cast<double>(*std::min_element(values.begin() + low + 1, values.end()));
  return first + (second - first) * part;
}

std::optional<double> quantile_if_any(std::vector<float>& values, double share) {
  if (values.empty()) return std::nullopt;
  return quantile(values, share);
}

}  // namespace

std::string world_line(const Plan& plan) {
  std::string links;
  for (const LinkPlan& link : plan.links) links += (links.empty() ? "[" : ",") + link_object(link);
  std::string out;
  {
    Object object(out, "world");
    object.text("scenario", plan.scenario)
        .count("seed", plan.seed)
        .time("from", plan.start)
        .time("to", plan.start + plan.length)
        .number("interval_s", duration_to_seconds(plan.interval))
        .json("links", links + "]");
  }
  return out;
}

std::vector<std::pair<Time, std::string>> story_lines(const Plan& plan) {
  std::vector<std::pair<Time, std::string>> lines;
  const auto line = [&lines](std::string_view kind, Time at) {
    return Object(lines.emplace_back(at, "").second, kind, at);
  };
  for (const LinkPlan& link : plan.links) {
    for (const Fault& fault : link.faults) tell_fault(line("change", fault.from), link, fault);
    for (const Outage& one : link.outages) tell_outage(line("change", one.from), link, one);
    for (const PowerStep& step : link.power_steps) {
      line("setting", step.from)
          .text("link", link.name)
          .number("near_power_change_db", step.near_db)
          .number("far_power_change_db", step.far_db);
    }
    for (const Foliage& one : link.foliage) {
      line("leaves", one.out)
          .time("until", one.fallen)
          .text("link", link.name)
          .number("loss_db", one.loss_db);
    }
    for (const Visit& one : link.visits) {
      line("upkeep", one.from)
          .time("until", one.until)
          .text("link", link.name)
          .text("note", one.note);
    }
  }
  for (const Shower& shower : plan.showers) {
    line("weather", shower.from).time("until", shower.to).number("peak_db", shower.peak_db);
  }
  std::stable_sort(lines.begin(), lines.end(),
                   [](const auto& a, const auto& b) { return a.first < b.first; });
  return lines;
}

void TruthHour::add(const Frame& frame) {
  margin_db_.push_back(static_cast<float>(frame.margin_db));
  signal_dbm_.push_back(static_cast<float>(frame.signal_dbm));
  noise_dbm_.push_back(static_cast<float>(frame.noise_dbm));
  lost_ += frame.heard ? 0 : 1;
}

void TruthHour::close(std::string& out, Time end, const std::string& link_json,
                      Direction direction) {
  const std::size_t frames = margin_db_.size();
  std::optional<double> loss_ratio;
  if (frames > 0) loss_ratio = static_cast<double>(lost_) / static_cast<double>(frames);
  Object(out, "truth", end)
      .json("link", link_json)
      .text("direction", name_of(direction))
      .number("margin_db", quantile_if_any(margin_db_, 0.5))
      .number("margin_low_db", quantile_if_any(margin_db_, 0.01))
      .number("signal_dbm", quantile_if_any(signal_dbm_, 0.5))
      .number("noise_dbm", quantile_if_any(noise_dbm_, 0.5))
      .count("frames", frames)
      .count("lost", lost_)
      .number("loss_ratio", loss_ratio, 6);
  out += '\n';
  margin_db_.clear();
  signal_dbm_.clear();
  noise_dbm_.clear();
  lost_ = 0;
}

}  // namespace fadeward::simulate
