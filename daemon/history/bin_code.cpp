#include "fadeward/history/bin_code.hpp"

#include <bit>
#include <cmath>
#include <cstring>
#include <limits>

#include "fadeward/history/bits.hpp"
#include "histogram_parts.hpp"

namespace fadeward::history {

namespace {

enum class Kind : std::uint8_t { bin = 1, hour = 2, summary = 3 };

constexpr std::size_t kHead = 3;
constexpr std::int64_t kStepCdb = 50;
constexpr std::size_t kMostCells = 16384;  // of -4000..4000 dB
constexpr std::int64_t kFarthest = kMostCells;
constexpr std::size_t kMostChannels = 65536;
constexpr double kMeanSteps = 4;  // per decibel, of a channel's mean levels
constexpr double kFarthestDb = 4000;
constexpr std::uint64_t kMostFrames = std::uint64_t{1} << 48;  // of a channel

std::uint16_t checksum(std::string_view bytes) {
  std::uint64_t h = 0x51ed270b + bytes.size();
  const auto mix = [&h](std::uint64_t word) {
    h = (h ^ word) * 0x9fb21c651e98df25U;
    h ^= h >> 31;
  };
  while (bytes.size() >= 8) {
    std::uint64_t word = 0;
    std::memcpy(&word, bytes.data(), 8);
    if constexpr (std::endian::native == std::endian::big) word = __builtin_bswap64(word);
    mix(word);
    bytes.remove_prefix(8);
  }
  for (const char c : bytes) mix(static_cast<unsigned char>(c));
  return static_cast<std::uint16_t>(h >> 40);
}

/// Writes the head of a piece around its bits.
template <class Write>
void put_piece(std::string& out, Kind kind, Write write) {
  const std::size_t begin = out.size();
  out.append(2, '\0');
  out += static_cast<char>(kind);
  {
    BitWriter bits(out);
    write(bits);
  }
  const std::uint16_t sum = checksum(std::string_view(out).substr(begin + 2));
  out[begin] = static_cast<char>(sum & 0xff);
  out[begin + 1] = static_cast<char>(sum >> 8);
}

/// The kind of an undamaged piece.
std::optional<Kind> kind_of(std::string_view bytes) {
  if (bytes.size() < kHead) return {};
  const auto byte = [&](std::size_t i) { return unsigned{static_cast<unsigned char>(bytes[i])}; };
  if (checksum(bytes.substr(2)) != (byte(0) | byte(1) << 8)) return {};
  const unsigned kind = byte(2);
  if (kind < 1 || kind > 3) return {};
  return static_cast<Kind>(kind);
}

// ---- histograms ----------------------------------------------------------------------------

struct RawLevels {
  std::int64_t lowest = 0;  ///< grid index of counts[0]
  std::vector<std::uint64_t> counts;
  std::uint64_t total = 0;
  std::int64_t sum_cdb = 0;
  std::int64_t sum_square_cdb = 0;
  std::uint64_t below = 0;  ///< cells between the histogram's own first one and `lowest`
};

/// Moments of the middles of the cells. In unsigned arithmetic: damaged numbers must not trap.
struct Middles {
  std::uint64_t held = 0, sum = 0, square = 0;
  explicit Middles(const RawLevels& raw) {
    std::int64_t middle = raw.lowest * kStepCdb;
    for (const std::uint64_t count : raw.counts) {
      const std::uint64_t part = count * static_cast<std::uint64_t>(middle);
      held += count;
      sum += part;
      square += part * static_cast<std::uint64_t>(middle);
      middle += kStepCdb;
    }
  }
  /// What the sum of squares would be, were all values off by the same.
  std::uint64_t square_with(std::uint64_t off) const {
    const auto count = static_cast<std::int64_t>(held);
    const std::int64_t mean = count <= 0 ? 0 : static_cast<std::int64_t>(sum) / count;
    return square + 2 * static_cast<std::uint64_t>(mean) * off;
  }
};

int best_order(const std::vector<std::uint64_t>& values) {
  int best = 0, size = std::numeric_limits<int>::max();
  for (int k = 0; k < 8; ++k) {
    int sum = 0;
    for (const std::uint64_t value : values) sum += BitWriter::golomb_size(value, k);
    if (sum >= size) break;
    size = sum;
    best = k;
  }
  return best;
}

void put_levels(BitWriter& bits, const RawLevels& raw, std::int64_t& near) {
  bits.golomb(raw.counts.size(), 5);
  if (raw.counts.empty()) return;
  bits.golomb(zigzag(raw.lowest - near), 3);
  near = raw.lowest;
  const int k = best_order(raw.counts);
  bits.bits(static_cast<unsigned>(k), 3);
  for (const std::uint64_t count : raw.counts) bits.golomb(count, k);
  const Middles middles(raw);
  bits.flag(raw.total == middles.held);
  if (raw.total != middles.held) bits.sized(raw.total - middles.held);
  const std::uint64_t off = static_cast<std::uint64_t>(raw.sum_cdb) - middles.sum;
  const std::uint64_t square =
      static_cast<std::uint64_t>(raw.sum_square_cdb) - middles.square_with(off);
  bits.flag(off == 0 && square == 0);
  if (off == 0 && square == 0) return;
  bits.sized(zigzag(static_cast<std::int64_t>(off)));
  bits.sized(zigzag(static_cast<std::int64_t>(square)));
}

bool get_levels(BitReader& bits, RawLevels& raw, std::int64_t& near) {
  raw.counts.clear();
  raw.total = raw.below = 0;
  raw.sum_cdb = raw.sum_square_cdb = 0;
  const std::uint64_t size = bits.golomb(5);
  if (size == 0) return bits.ok();
  if (size > kMostCells) return false;
  const std::int64_t further = unzigzag(bits.golomb(3));
  if (further < -2 * kFarthest || further > 2 * kFarthest) return false;
  near += further;
  raw.lowest = near;
  if (near < -kFarthest || near > kFarthest) return false;
  const int k = static_cast<int>(bits.bits(3));
  raw.counts.resize(size);
  BitReader own = bits;  // in registers: the counts could be its members, for all that is known
  own.golombs(raw.counts.data(), raw.counts.size(), k);
  bits = own;
  if (!bits.ok()) return false;
  const Middles middles(raw);
  raw.total = middles.held;
  if (!bits.flag()) raw.total += bits.sized();
  std::uint64_t off = 0, square = 0;
  if (!bits.flag()) {
    off = static_cast<std::uint64_t>(unzigzag(bits.sized()));
    square = static_cast<std::uint64_t>(unzigzag(bits.sized()));
  }
  raw.sum_cdb = static_cast<std::int64_t>(middles.sum + off);
  raw.sum_square_cdb = static_cast<std::int64_t>(middles.square_with(off) + square);
  return bits.ok();
}

template <class Counts>
void take_counts(RawLevels& raw, std::int64_t first_cell, const Counts& counts) {
  std::size_t first = 0, end = counts.size();
  while (first < end && counts[first] == 0) ++first;
  while (end > first && counts[end - 1] == 0) --end;
  raw.lowest = first_cell + static_cast<std::int64_t>(first);
  raw.below = first;
  raw.counts.assign(counts.begin() + static_cast<std::ptrdiff_t>(first),
                    counts.begin() + static_cast<std::ptrdiff_t>(end));
}

RawLevels raw_of(const LevelHistogram& histogram) {
  const HistogramParts parts = parts_of(histogram);
  RawLevels raw;
  take_counts(raw, parts.first_cell, parts.counts);
  raw.total = parts.total;
  raw.sum_cdb = parts.sum_cdb;
  raw.sum_square_cdb = parts.sum_square_cdb;
  return raw;
}

RawLevels raw_of(const Levels& levels) {
  RawLevels raw;
  take_counts(raw, levels.first_cell(), levels.cells());
  raw.total = levels.total();
  raw.sum_cdb = levels.sum_cdb();
  raw.sum_square_cdb = levels.sum_square_cdb();
  return raw;
}

bool to_histogram(const RawLevels& raw, LevelHistogram& out) {
  if (raw.counts.empty()) return true;
  HistogramParts parts;
  if (raw.below + raw.counts.size() > parts.counts.size()) return false;
  const std::int64_t first = raw.lowest - static_cast<std::int64_t>(raw.below);
  if (first < INT16_MIN || first > INT16_MAX) return false;
  parts.first_cell = static_cast<std::int16_t>(first);
  for (std::size_t i = 0; i < raw.counts.size(); ++i) {
    if (raw.counts[i] > 0xffff) return false;
    parts.counts[raw.below + i] = static_cast<std::uint16_t>(raw.counts[i]);
  }
  parts.total = static_cast<std::uint32_t>(raw.total);
  parts.sum_cdb = raw.sum_cdb;
  parts.sum_square_cdb = raw.sum_square_cdb;
  out = histogram_of(parts);
  return true;
}

void add_to(Levels& out, const RawLevels& raw) {
  out.add_cells(raw.lowest, raw.counts.data(), raw.counts.size(), raw.total, raw.sum_cdb,
                raw.sum_square_cdb);
}

// ---- rates ---------------------------------------------------------------------------------

/// Powers are mostly in quarters of a decibel, bandwidths in hundreds of hertz.
void put_float(BitWriter& bits, float value, float steps) {
  const float scaled = value * steps;
  const bool plain = std::abs(scaled) < 1e6F && std::round(scaled) / steps == value &&
                     !(value == 0 && std::signbit(value));
  bits.flag(plain);
  if (plain)
    bits.golomb(zigzag(static_cast<std::int64_t>(std::round(scaled))), 5);
  else
    bits.bits(std::bit_cast<std::uint32_t>(value), 32);
}

float get_float(BitReader& bits, float steps) {
  if (!bits.flag()) return std::bit_cast<float>(static_cast<std::uint32_t>(bits.bits(32)));
  return static_cast<float>(unzigzag(bits.golomb(5))) / steps;
}

constexpr float kPowerSteps = 4, kBandwidthSteps = 0.01F;

/// To the bit: what is written as "the same as before" must come back exactly.
bool same_bits(const RateTotal& a, const RateTotal& b) {
  return a.power_known == b.power_known && a.spreading_factor == b.spreading_factor &&
         std::bit_cast<std::uint32_t>(a.power_dbm) == std::bit_cast<std::uint32_t>(b.power_dbm) &&
         std::bit_cast<std::uint32_t>(a.bandwidth_hz) ==
             std::bit_cast<std::uint32_t>(b.bandwidth_hz);
}

void put_rates(BitWriter& bits, const std::vector<RateTotal>& rates, std::uint64_t frames,
               std::vector<RateTotal>& near) {
  bool same = rates.size() == near.size();
  for (std::size_t i = 0; same && i < rates.size(); ++i) same = same_bits(rates[i], near[i]);
  bits.flag(same);
  if (!same) {
    bits.golomb(rates.size(), 1);
    for (const RateTotal& rate : rates) {
      bits.flag(rate.power_known);
      put_float(bits, rate.power_dbm, kPowerSteps);
      put_float(bits, rate.bandwidth_hz, kBandwidthSteps);
      bits.golomb(rate.spreading_factor, 3);
    }
    near = rates;
  }
  const bool one = rates.size() == 1 && rates[0].frames == frames;
  bits.flag(one);
  if (!one)
    for (const RateTotal& rate : rates) bits.golomb(rate.frames, 6);
}

bool get_rates(BitReader& bits, std::vector<RateTotal>& rates, std::uint64_t frames,
               std::vector<RateTotal>& near) {
  if (!bits.flag()) {
    const std::uint64_t size = bits.golomb(1);
    if (size > Summary::kMostRates) return false;
    near.resize(size);
    for (RateTotal& rate : near) {
      rate.power_known = bits.flag();
      rate.power_dbm = get_float(bits, kPowerSteps);
      rate.bandwidth_hz = get_float(bits, kBandwidthSteps);
      rate.spreading_factor = static_cast<std::uint8_t>(bits.golomb(3));
    }
  }
  rates = near;
  if (bits.flag()) {
    if (rates.size() != 1) return false;
    rates[0].frames = frames;
  } else {
    for (RateTotal& rate : rates) rate.frames = bits.golomb(6);
  }
  return bits.ok();
}

// ---- channels ------------------------------------------------------------------------------

/// Mean levels in steps, against the mean of all channels.
void put_channels(BitWriter& bits, const std::vector<ChannelTotal>& channels) {
  bits.golomb(channels.size(), 4);
  if (channels.empty()) return;
  std::vector<std::uint64_t> gaps, frames, signals, noises;
  std::vector<std::int64_t> signal, noise;
  std::int64_t signal_sum = 0, noise_sum = 0, next = 0;
  for (const ChannelTotal& channel : channels) {
    const auto count = static_cast<double>(channel.frames);
    gaps.push_back(static_cast<std::uint64_t>(channel.channel - next));
    next = channel.channel + 1;
    frames.push_back(channel.frames);
    signal.push_back(std::llround(channel.signal_sum_dbm / count * kMeanSteps));
    noise.push_back(std::llround(channel.noise_sum_dbm / count * kMeanSteps));
    signal_sum += signal.back();
    noise_sum += noise.back();
  }
  const auto size = static_cast<std::int64_t>(channels.size());
  const std::int64_t signal_mean = signal_sum / size, noise_mean = noise_sum / size;
  for (std::size_t i = 0; i < channels.size(); ++i) {
    signals.push_back(zigzag(signal[i] - signal_mean));
    noises.push_back(zigzag(noise[i] - noise_mean));
  }
  const bool dense = next == size;
  bits.flag(dense);
  if (!dense)
    for (const std::uint64_t gap : gaps) bits.golomb(gap, 0);
  bits.golomb(zigzag(signal_mean), 8);
  bits.golomb(zigzag(noise_mean), 8);
  for (const auto* values : {&frames, &signals, &noises}) {
    const int k = best_order(*values);
    bits.bits(static_cast<unsigned>(k), 3);
    for (const std::uint64_t value : *values) bits.golomb(value, k);
  }
}

bool get_channels(BitReader& bits, std::vector<ChannelTotal>& channels) {
  channels.clear();
  const std::uint64_t size = bits.golomb(4);
  if (size == 0 || size > kMostChannels) return size == 0 && bits.ok();
  channels.resize(size);
  const bool dense = bits.flag();
  std::uint64_t next = 0;
  for (ChannelTotal& channel : channels) {
    if (!dense) next += bits.golomb(0);
    if (next > 0xffff) return false;
    channel.channel = static_cast<std::uint16_t>(next++);
  }
  const std::int64_t signal_mean = unzigzag(bits.golomb(8)), noise_mean = unzigzag(bits.golomb(8));
  bool sound = true;
  // In stretches: the codes of one kind of number follow each other.
  const auto run = [&](auto take) {
    const int k = static_cast<int>(bits.bits(3));
    std::array<std::uint64_t, 64> values{};
    BitReader own = bits;
    for (std::size_t at = 0; at < size; at += values.size()) {
      const std::size_t count = std::min(values.size(), static_cast<std::size_t>(size) - at);
      own.golombs(values.data(), count, k);
      for (std::size_t i = 0; i < count; ++i) take(channels[at + i], values[i]);
    }
    bits = own;
  };
  run([&](ChannelTotal& channel, std::uint64_t value) {
    channel.frames = value;
    sound = sound && value > 0 && value <= kMostFrames;
  });
  const auto sum = [&](std::int64_t mean, std::uint64_t value, std::uint64_t frames) {
    const double steps = static_cast<double>(mean) + static_cast<double>(unzigzag(value));
    sound = sound && std::abs(steps) <= kFarthestDb * kMeanSteps;
    return steps / kMeanSteps * static_cast<double>(frames);
  };
  run([&](ChannelTotal& channel, std::uint64_t value) {
    channel.signal_sum_dbm = sum(signal_mean, value, channel.frames);
  });
  run([&](ChannelTotal& channel, std::uint64_t value) {
    channel.noise_sum_dbm = sum(noise_mean, value, channel.frames);
  });
  return sound && bits.ok();
}

std::vector<ChannelTotal> channels_of(const Bin& bin) {
  Summary sorted;
  for (const ChannelPart& part : bin.channels)
    sorted.add_channel(
        {part.channel, part.frames, double{part.signal_sum_dbm}, double{part.noise_sum_dbm}});
  return std::move(sorted.channels);
}

// ---- bins ----------------------------------------------------------------------------------

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
  put_piece(out, Kind::bin, [&](BitWriter& bits) {
    Neighbour near;
    put_bin(bits, bin, near);
    put_channels(bits, channels_of(bin));
  });
}

void encode_hour(std::string& out, const HourOfBins& hour) {
  put_piece(out, Kind::hour, [&](BitWriter& bits) {
    Neighbour near;
    for (const auto& bin : hour.bins) bits.flag(bin.has_value());
    for (const auto& bin : hour.bins)
      if (bin) put_bin(bits, *bin, near);
    put_channels(bits, hour.channels);
  });
}

void encode_summary(std::string& out, const Summary& summary) {
  put_piece(out, Kind::summary, [&](BitWriter& bits) {
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
  if (kind_of(bytes) != Kind::bin) return {};
  BitReader bits(bytes.substr(kHead));
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
  if (kind_of(bytes) != Kind::hour) return {};
  BitReader bits(bytes.substr(kHead));
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

// ---- reading piece by piece ------------------------------------------------------------------

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
  BitReader bits(bytes.substr(kHead));
  RawBin& raw = state_->raw;
  Neighbour& near = state_->near;
  near.lowest = {};
  near.rates.clear();
  scratch_.clear();
  scratch_.start = start;

  if (*kind == Kind::summary) {
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
  if (*kind == Kind::hour) {
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
