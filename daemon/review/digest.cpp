#include "fadeward/review/digest.hpp"

#include <algorithm>

#include "fadeward/estimate/median.hpp"
#include "fadeward/history/margins.hpp"
#include "fadeward/history/month.hpp"

namespace fadeward::review {

namespace {

using history::ChannelTotal;
using history::Summary;

constexpr std::uint64_t kLeastPerHour = 30;     ///< frames for a cell of the hour map
constexpr std::uint64_t kLeastPerChannel = 20;  ///< frames for an offset
constexpr std::size_t kLeastChannels = 2;
constexpr std::size_t kYearOfQuarters = 366 * 96;

SpanRow row_of(const Summary& sum, Time from, Time to) {
  const history::Margins margins = history::margins_of(sum);
  SpanRow row;
  row.from = from;
  row.to = to;
  row.quarters = sum.quarters;
  row.upkeep_quarters = sum.upkeep_quarters;
  row.frames = sum.frames;
  row.lost = sum.lost;
  row.margin_db = margins.median_db;
  row.margin_low_db = margins.low_db;
  row.margin_high_db = margins.high_db;
  row.signal_dbm = sum.signal.quantile_db(0.5);
  row.noise_dbm = sum.noise.quantile_db(0.5);
  row.loss_ratio = sum.loss_ratio();
  row.retry_ratio = sum.retry_ratio();
  return row;
}

double middle_of(std::vector<double> values) { return estimate::median_of(values); }

struct ChannelMeans {
  std::vector<unsigned> channels;
  std::vector<double> signal_dbm, noise_dbm;
  std::vector<std::uint64_t> frames;

  explicit ChannelMeans(const std::vector<ChannelTotal>& totals) {
    for (const ChannelTotal& one : totals) {
      if (one.frames < kLeastPerChannel) continue;
      channels.push_back(one.channel);
      frames.push_back(one.frames);
      signal_dbm.push_back(one.signal_sum_dbm / static_cast<double>(one.frames));
      noise_dbm.push_back(one.noise_sum_dbm / static_cast<double>(one.frames));
    }
  }
};

std::vector<ChannelRow> channels_of(const std::vector<ChannelTotal>& all,
                                    const std::vector<ChannelTotal>& last) {
  const ChannelMeans whole(all), recent(last);
  std::vector<ChannelRow> out;
  if (whole.channels.size() < kLeastChannels) return out;
  const double signal = middle_of(whole.signal_dbm), noise = middle_of(whole.noise_dbm);
  for (std::size_t i = 0; i < whole.channels.size(); ++i) {
    ChannelRow row;
    row.channel = whole.channels[i];
    row.frames = whole.frames[i];
    row.signal_offset_db = whole.signal_dbm[i] - signal;
    row.noise_offset_db = whole.noise_dbm[i] - noise;
    out.push_back(row);
  }
  if (recent.channels.size() < kLeastChannels) return out;
  const double recent_noise = middle_of(recent.noise_dbm);
  for (std::size_t i = 0; i < recent.channels.size(); ++i) {
    const auto at = std::ranges::lower_bound(out, recent.channels[i], {}, &ChannelRow::channel);
    if (at != out.end() && at->channel == recent.channels[i])
      at->last_noise_offset_db = recent.noise_dbm[i] - recent_noise;
  }
  return out;
}

class Boiler {
 public:
  Boiler(Time from, Time to, const Periods& upkeep, const Progress& progress)
      : from_(from), to_(to), upkeep_(upkeep), progress_(progress) {
    out_.slots.reserve(kYearOfQuarters);
  }

  void take(const Summary& bin) {
    // Channels of a day that is kept by the hour come alone, at its end.
    if (bin.quarters == 0) {
      for (const ChannelTotal& one : bin.channels) month_.add_channel(one);
      return;
    }
    const Time day = std::chrono::floor<std::chrono::days>(bin.start);
    if (day != day_) turn_day(day);
    day_sum_.merge(bin);
    const auto hour = std::chrono::floor<std::chrono::hours>(bin.start - day).count();
    hours_[month_index_][static_cast<std::size_t>(hour)].merge(bin.margin);
    out_.slots.push_back(slot_of(bin, upkeep_));
    // Work that was entered after it: the bins know nothing of it.
    if (bin.upkeep_quarters == 0 && out_.slots.back().upkeep) late_in_day_ += bin.quarters;
    out_.noise_source = bin.noise_source;
    out_.loss_source = bin.loss_source;
  }

  Digest finish() {
    end_day();
    end_month();
    for (std::size_t m = 0; m < hours_.size(); ++m)
      for (std::size_t h = 0; h < hours_[m].size(); ++h)
        if (hours_[m][h].total() >= kLeastPerHour) out_.hours[m][h] = hours_[m][h].quantile_db(0.5);
    out_.channels = channels_of(all_.channels, last_channels_);
    return std::move(out_);
  }

 private:
  void turn_day(Time day) {
    end_day();
    const history::Month month = history::month_of(day);
    if (day_ == Time{} || month != history::month_of(day_)) {
      end_month();
      month_index_ = month.month - 1;
      if (progress_ && to_ > from_)
        progress_(duration_to_seconds(day - from_) / duration_to_seconds(to_ - from_));
    }
    day_ = day;
  }

  void end_day() {
    if (day_sum_.empty()) return;
    out_.days.push_back(row_of(day_sum_, day_, day_ + std::chrono::days{1}));
    out_.days.back().upkeep_quarters += late_in_day_;
    month_.merge(day_sum_);
    late_in_month_ += late_in_day_;
    late_in_day_ = 0;
    day_sum_.clear();
  }

  void end_month() {
    if (!month_.empty()) {
      const history::Month month = history::month_of(day_);
      out_.months.push_back(row_of(month_, month.begin(), month.end()));
      out_.months.back().upkeep_quarters += late_in_month_;
      if (!month_.channels.empty()) {
        last_channels_ = month_.channels;
        keep_channels(month);
      }
      for (const ChannelTotal& one : month_.channels) all_.add_channel(one);
    }
    month_.clear();
    late_in_month_ = 0;
  }

  void keep_channels(const history::Month& month) {
    const ChannelMeans means(month_.channels);
    if (means.channels.size() < kLeastChannels) return;
    const double middle = middle_of(means.noise_dbm);
    ChannelMonth kept{month.begin(), month.end(), {}};
    for (std::size_t i = 0; i < means.channels.size(); ++i)
      kept.levels.push_back({means.channels[i], means.noise_dbm[i] - middle});
    out_.channel_months.push_back(std::move(kept));
  }

  Time from_, to_;
  UpkeepTimes upkeep_;
  const Progress& progress_;
  std::uint32_t late_in_day_ = 0, late_in_month_ = 0;  ///< quarters
  Digest out_;
  Time day_{};
  std::size_t month_index_ = 0;
  Summary day_sum_, month_, all_;
  std::vector<ChannelTotal> last_channels_;
  std::array<std::array<history::Levels, 24>, 12> hours_;
};

}  // namespace

Slot slot_of(const Summary& bin, const UpkeepTimes& upkeep) {
  Slot slot;
  slot.from = bin.start;
  slot.span = bin.span;
  slot.frames = static_cast<std::uint32_t>(bin.frames);
  slot.lost = static_cast<std::uint32_t>(bin.lost);
  slot.loss_known = bin.loss_source != LossSource::none;
  slot.upkeep = bin.upkeep_quarters > 0 || upkeep.touch(bin.start, bin.start + bin.span);
  return slot;
}

Digest digest(history::Reader& reader, std::string_view link, Direction direction, Time from,
              Time to, const Periods& upkeep, const Progress& progress) {
  Boiler boiler(from, to, upkeep, progress);
  reader.bins(link, direction, from, to, [&](const Summary& bin) { boiler.take(bin); });
  return boiler.finish();
}

}  // namespace fadeward::review
