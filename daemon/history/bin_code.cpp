#include "fadeward/history/bin_code.hpp"

#include <algorithm>

#include "fadeward/history/channel_code.hpp"
#include "fadeward/history/level_code.hpp"
#include "fadeward/history/piece.hpp"
#include "fadeward/history/rate_code.hpp"

namespace fadeward::history {

namespace {

std::vector<ChannelTotal> channels_of(const Bin& bin) {
  Summary sorted;
  for (const ChannelPart& part : bin.channels)
    sorted.add_channel(
        {part.channel, part.frames, double{part.signal_sum_dbm}, double{part.noise_sum_dbm}});
  return std::move(sorted.channels);
}

/// What one bin tells of the next.
struct Neighbour {
  std::array<std::int64_t, 3> lowest{};
  std::vector<RateTotal> rates;
};

struct RawBin {
  std::uint64_t frames = 0, lost = 0, sent = 0, retries = 0, failures = 0;
  NoiseSource noise_source = NoiseSource::none;
  LossSource loss_source = LossSource::none;
  bool upkeep = false;
  std::array<RawLevels, 3> levels;
  std::vector<RateTotal> rates;
};

void put_counts(BitWriter& bits, const RawBin& raw) {
  bits.golomb(raw.frames, 6);
  bits.golomb(raw.lost, 1);
  bits.flag(raw.sent > 0);
  if (raw.sent > 0) {
    bits.golomb(zigzag(static_cast<std::int64_t>(raw.sent - raw.frames - raw.lost)), 3);
    bits.golomb(raw.retries, 2);
    bits.golomb(raw.failures, 0);
  }
  bits.bits(static_cast<unsigned>(raw.noise_source), 2);
  bits.bits(static_cast<unsigned>(raw.loss_source), 2);
}

bool get_counts(BitReader& bits, RawBin& raw) {
  raw.frames = bits.golomb(6);
  raw.lost = bits.golomb(1);
  raw.sent = raw.retries = raw.failures = 0;
  if (bits.flag()) {
    raw.sent = static_cast<std::uint64_t>(unzigzag(bits.golomb(3))) + raw.frames + raw.lost;
    raw.retries = bits.golomb(2);
    raw.failures = bits.golomb(0);
  }
  raw.noise_source = static_cast<NoiseSource>(bits.bits(2));
  raw.loss_source = static_cast<LossSource>(bits.bits(2));
  return bits.ok();
}

/// Counts and sources of a bin, a summary, or what is read of either.
template <class To, class From>
void take_counts(To& to, const From& from) {
  to.frames = from.frames;
  to.lost = from.lost;
  to.sent = from.sent;
  to.retries = from.retries;
  to.failures = from.failures;
  to.noise_source = from.noise_source;
  to.loss_source = from.loss_source;
}

void put_bin(BitWriter& bits, const Bin& bin, Neighbour& near) {
  RawBin raw;
  take_counts(raw, bin);
  // Retries without transmissions make no sense but must not vanish.
  const bool odd = bin.sent == 0 && (bin.retries > 0 || bin.failures > 0);
  bits.flag(odd);
  put_counts(bits, raw);
  if (odd) {
    bits.golomb(bin.retries, 2);
    bits.golomb(bin.failures, 0);
  }
  bits.flag(bin.upkeep);
  const LevelHistogram* histograms[] = {&bin.margin, &bin.signal, &bin.noise};
  for (std::size_t i = 0; i < 3; ++i) {
    const RawLevels levels = raw_of(*histograms[i]);
    put_levels(bits, levels, near.lowest[i]);
    if (!levels.counts.empty()) bits.bits(levels.below, 7);
  }
  for (const RateUse& use : bin.rates)
    raw.rates.push_back(
        {use.power_dbm, use.power_known, use.spreading_factor, use.bandwidth_hz, use.frames});
  while (!raw.rates.empty() && raw.rates.back().frames == 0 && same_bits(raw.rates.back(), {}))
    raw.rates.pop_back();
  put_rates(bits, raw.rates, bin.frames, near.rates);
}

bool get_bin(BitReader& bits, RawBin& raw, Neighbour& near) {
  const bool odd = bits.flag();
  if (!get_counts(bits, raw)) return false;
  if (odd) {
    raw.retries = bits.golomb(2);
    raw.failures = bits.golomb(0);
  }
  raw.upkeep = bits.flag();
  for (std::size_t i = 0; i < 3; ++i) {
    if (!get_levels(bits, raw.levels[i], near.lowest[i])) return false;
    if (!raw.levels[i].counts.empty()) raw.levels[i].below = bits.bits(7);
  }
  return get_rates(bits, raw.rates, raw.frames, near.rates);
}

bool to_bin(const RawBin& raw, Bin& bin) {
  constexpr std::uint64_t kMost = 0xffffffffU;
  if (std::max({raw.frames, raw.lost, raw.sent, raw.retries, raw.failures}) > kMost) return false;
  bin.frames = static_cast<std::uint32_t>(raw.frames);
  bin.lost = static_cast<std::uint32_t>(raw.lost);
  bin.sent = static_cast<std::uint32_t>(raw.sent);
  bin.retries = static_cast<std::uint32_t>(raw.retries);
  bin.failures = static_cast<std::uint32_t>(raw.failures);
  bin.noise_source = raw.noise_source;
  bin.loss_source = raw.loss_source;
  bin.upkeep = raw.upkeep;
  if (!to_histogram(raw.levels[0], bin.margin) || !to_histogram(raw.levels[1], bin.signal) ||
      !to_histogram(raw.levels[2], bin.noise) || raw.rates.size() > bin.rates.size())
    return false;
  for (std::size_t i = 0; i < raw.rates.size(); ++i) {
    const RateTotal& rate = raw.rates[i];
    bin.rates[i] = {rate.power_dbm, rate.power_known, rate.spreading_factor, rate.bandwidth_hz,
                    static_cast<std::uint32_t>(rate.frames)};
  }
  return true;
}

/// Into an empty summary; `upkeep` is the caller's.
void add_to(Summary& out, const RawBin& raw) {
  take_counts(out, raw);
  add_to(out.margin, raw.levels[0]);
  add_to(out.signal, raw.levels[1]);
  add_to(out.noise, raw.levels[2]);
  for (const RateTotal& rate : raw.rates) out.add_rate(rate);
}

}  // namespace

void encode_bin(std::string& out, const Bin& bin) {
  put_piece(out, PieceKind::bin, [&](BitWriter& bits) {
    Neighbour near;
    put_bin(bits, bin, near);
    put_channels(bits, channels_of(bin));
  });
}

void encode_hour(std::string& out, const HourOfBins& hour) {
  put_piece(out, PieceKind::hour, [&](BitWriter& bits) {
    Neighbour near;
    for (const auto& bin : hour.bins) bits.flag(bin.has_value());
    for (const auto& bin : hour.bins)
      if (bin) put_bin(bits, *bin, near);
    put_channels(bits, hour.channels);
  });
}

void encode_summary(std::string& out, const Summary& summary) {
  put_piece(out, PieceKind::summary, [&](BitWriter& bits) {
    RawBin raw;
    take_counts(raw, summary);
    bits.golomb(summary.quarters, 2);
    bits.golomb(summary.upkeep_quarters, 0);
    put_counts(bits, raw);
    Neighbour near;
    const Levels* levels[] = {&summary.margin, &summary.signal, &summary.noise};
    for (std::size_t i = 0; i < 3; ++i) put_levels(bits, raw_of(*levels[i]), near.lowest[i]);
    put_rates(bits, summary.rates, summary.frames, near.rates);
    put_channels(bits, summary.channels);
  });
}

std::optional<Bin> decode_bin(std::string_view bytes, Time start) {
  if (kind_of(bytes) != PieceKind::bin) return {};
  BitReader bits(bits_of(bytes));
  RawBin raw;
  Neighbour near;
  Bin bin;
  bin.start = start;
  std::vector<ChannelTotal> channels;
  if (!get_bin(bits, raw, near) || !to_bin(raw, bin) || !get_channels(bits, channels)) return {};
  for (const ChannelTotal& channel : channels) {
    if (channel.frames > 0xffff) return {};
    bin.channels.push_back({channel.channel, static_cast<std::uint16_t>(channel.frames),
                            static_cast<float>(channel.signal_sum_dbm),
                            static_cast<float>(channel.noise_sum_dbm)});
  }
  return bin;
}

std::optional<HourOfBins> decode_hour(std::string_view bytes, Time start) {
  if (kind_of(bytes) != PieceKind::hour) return {};
  BitReader bits(bits_of(bytes));
  RawBin raw;
  Neighbour near;
  HourOfBins hour;
  for (auto& bin : hour.bins)
    if (bits.flag()) bin.emplace();
  for (std::size_t i = 0; i < hour.bins.size(); ++i) {
    if (!hour.bins[i]) continue;
    hour.bins[i]->start = start + kBinSpan * static_cast<std::int64_t>(i);
    if (!get_bin(bits, raw, near) || !to_bin(raw, *hour.bins[i])) return {};
  }
  if (!get_channels(bits, hour.channels)) return {};
  return hour;
}

struct PieceReader::State {
  RawBin raw;
  Neighbour near;
};

PieceReader::PieceReader() : state_(std::make_unique<State>()) {}
PieceReader::~PieceReader() = default;
PieceReader::PieceReader(PieceReader&&) noexcept = default;
PieceReader& PieceReader::operator=(PieceReader&&) noexcept = default;

bool PieceReader::visit(std::string_view bytes, Time start, Visitor visit) {
  const auto kind = kind_of(bytes);
  if (!kind) return false;
  BitReader bits(bits_of(bytes));
  RawBin& raw = state_->raw;
  Neighbour& near = state_->near;
  near.lowest = {};
  near.rates.clear();
  scratch_.clear();
  scratch_.start = start;

  if (*kind == PieceKind::summary) {
    scratch_.span = std::chrono::hours{1};
    const auto small = [&bits](int k) {
      return static_cast<std::uint32_t>(std::min<std::uint64_t>(bits.golomb(k), 0xffffffffU));
    };
    scratch_.quarters = small(2);
    scratch_.upkeep_quarters = small(0);
    if (!get_counts(bits, raw)) return false;
    for (std::size_t i = 0; i < 3; ++i)
      if (!get_levels(bits, raw.levels[i], near.lowest[i])) return false;
    if (!get_rates(bits, raw.rates, raw.frames, near.rates)) return false;
    add_to(scratch_, raw);
    if (!get_channels(bits, scratch_.channels)) return false;
    visit(scratch_);
    return true;
  }

  std::array<bool, 4> there{true, false, false, false};
  int last = 0;
  if (*kind == PieceKind::hour) {
    last = -1;
    for (int i = 0; i < 4; ++i) {
      there[static_cast<std::size_t>(i)] = bits.flag();
      if (there[static_cast<std::size_t>(i)]) last = i;
    }
  }
  for (int i = 0; i <= last; ++i) {
    if (!there[static_cast<std::size_t>(i)]) continue;
    if (!get_bin(bits, raw, near)) return false;
    scratch_.clear();
    scratch_.start = start + kBinSpan * i;
    scratch_.span = kBinSpan;
    scratch_.quarters = 1;
    scratch_.upkeep_quarters = raw.upkeep ? 1 : 0;
    add_to(scratch_, raw);
    if (i == last && !get_channels(bits, scratch_.channels)) return false;
    visit(scratch_);
  }
  return bits.ok();
}

}  // namespace fadeward::history
