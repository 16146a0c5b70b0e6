#include "fadeward/judge/suspicions.hpp"

#include <algorithm>
#include <cmath>

#include "fadeward/judge/words.hpp"

namespace fadeward::judge {

namespace {

constexpr Duration kShortestBlock = std::chrono::minutes{3};
constexpr Duration kMinute = std::chrono::minutes{1};
constexpr std::int64_t kReportsOfBlock = 18;
constexpr Duration kLongestBlock = std::chrono::hours{24};
constexpr double kStandingCounts = 1.6;
constexpr Duration kWaitForOthers = std::chrono::minutes{10};
constexpr std::uint32_t kContrastBlocks = 4, kContrastOverBlocks = 40;
constexpr double kGrownDb = 1.5;  // more than it wanders by
constexpr double kOutOfReachDb = 18;
constexpr double kClearOfThresholdDb =
    1.5;  // the margin is taken to be so much lower, against collisions

std::array<AlertName, 3> const kSuspected = {
    AlertName::FadingSuspected, AlertName::InterferenceSuspected, AlertName::EquipmentSuspected};

/// Of two changes with the same cause the later one speaks, if it is not small beside the other.
double share_to_beat(Cause cause, Time onset, Cause standing, Time standing_onset) {
  constexpr double kNotSmall = 0.7;
  if (cause != standing || cause == Cause::collisions) return 1;
  return onset > standing_onset ? kNotSmall : 1 / kNotSmall;
}

double below_nothing(double margin_db, double deviation_db) {
  return 0.5 * std::erfc(margin_db / (std::max(deviation_db, 0.5) * std::sqrt(2.0)));
}

}  // namespace

AlertName alert_of(Cause cause) {
  switch (cause) {
    case Cause::near_antenna:
    case Cause::far_antenna:
    case Cause::near_transmit:
    case Cause::far_transmit:
    case Cause::near_receive:
    case Cause::far_receive: return AlertName::EquipmentSuspected;
    case Cause::near_noise:
    case Cause::far_noise:
    case Cause::near_channels:
    case Cause::far_channels:
    case Cause::collisions: return AlertName::InterferenceSuspected;
    default: return AlertName::FadingSuspected;
  }
}

std::optional<Direction> direction_of(Cause cause) {
  switch (cause) {
    case Cause::far_transmit:
    case Cause::near_receive:
    case Cause::near_noise:
    case Cause::near_channels: return Direction::inbound;
    case Cause::near_transmit:
    case Cause::far_receive:
    case Cause::far_noise:
    case Cause::far_channels: return Direction::outbound;
    default: return std::nullopt;
  }
}

link::Block Suspicions::take_block(Time now, link::LinkState& state) {
  link::Block block;
  block.from = block_from_;
  block.to = now;
  for (const Direction d : {Direction::inbound, Direction::outbound})
    block.sides[static_cast<std::size_t>(d)] = state.direction(d).take_block(now);
  block_from_ = now;
  const auto usual = state.expect();
  Duration span = usual ? *usual * kReportsOfBlock : kShortestBlock;
  span = std::clamp(span - span % kMinute, kShortestBlock, kLongestBlock);
  block_until_ = now + span;
  return block;
}

void Suspicions::watch(Time now, link::LinkState& state, bool judged) {
  if (now < block_until_) return;
  const bool first = block_from_ == Time{};
  const Duration planned = block_until_ - block_from_;
  const link::Block block = take_block(now, state);
  if (first) return;
  // Absence of data says nothing, nor does it make anything usual: neither silence nor a stop.
  const bool empty = block.sides[0].frames + block.sides[1].frames == 0;
  const Duration unseen = block.to - block.from - (empty ? Duration{} : planned);
  if (unseen > Duration{}) postpone_acceptance(unseen);
  if (empty) return;
  changes_.add(block, judged);
  if (!judged) return;
  watch_losses(block, state);
  watch_channels(block, state);
  looked_ = true;
}

void Suspicions::watch_losses(const link::Block& block, link::LinkState& state) {
  for (const Direction d : {Direction::inbound, Direction::outbound}) {
    const std::size_t i = static_cast<std::size_t>(d);
    const link::BlockSide& side = block.sides[i];
    if (!side.loss_known) continue;
    const link::FrameWindow& window = state.direction(d).window;
    auto middle = window.margin_quantile_db(0.5, false);
    if (!middle) continue;
    // The window is an hour; what has just become worse explains the losses of now.
    if (side.frames > 0) middle = std::min(*middle, static_cast<double>(side.margin_db));
    // So far up nothing is lost to the level, whatever the spread.
    const double by_level = *middle > kOutOfReachDb
                                ? 0
                                : below_nothing(*middle - kClearOfThresholdDb,
                                                window.margin_deviation_db().value_or(3));
    const auto usual = losses_[i].usual();
    const auto onset = losses_[i].onset();
    losses_[i].add(side.heard, side.lost, by_level, block.to, true);
    if (losses_[i].accepted() && onset)
      accepted_ = losses_in_words(d, losses_[i].ratio(), usual, *onset, block.to);
  }
}

void Suspicions::watch_channels(const link::Block& block, link::LinkState& state) {
  for (const Direction d : {Direction::inbound, Direction::outbound}) {
    Contrast& contrast = contrasts_[static_cast<std::size_t>(d)];
    if (block.sides[static_cast<std::size_t>(d)].frames == 0 ||
        !block.sides[static_cast<std::size_t>(d)].noise_known)
      continue;
    const auto now = state.direction(d).channel_levels.contrast();
    const bool seen = now.channels > 0;
    contrast.seen = seen ? contrast.seen + 1 : 0;
    contrast.unseen = seen ? 0 : contrast.unseen + 1;
    if (seen && contrast.seen == 1 && !contrast.told) contrast.onset = block.from;
    if (seen) {
      contrast.channels = now.channels;
      contrast.known = now.known;
      contrast.rise_db = now.rise_db;
      contrast.lasting = now.lasting;
    }
    if (contrast.seen >= kContrastBlocks && !contrast.told) {
      contrast.told = true;
      contrast.told_at = contrast.steady_since = block.to;
      contrast.steady_db = contrast.rise_db;
    }
    if (contrast.told && seen && contrast.rise_db > contrast.steady_db + kGrownDb) {
      contrast.steady_since = block.to;
      contrast.steady_db = contrast.rise_db;
    }
    if (contrast.told && seen && block.to - contrast.steady_since > kAcceptAfter) {
      accepted_ = channels_in_words(d, contrast.channels, contrast.known, contrast.rise_db,
                                    contrast.lasting, contrast.onset, block.to);
      state.direction(d).channel_levels.accept();
      contrast = {};
    }
    if (contrast.unseen >= kContrastOverBlocks) contrast.told = false;
  }
}

void Suspicions::postpone_acceptance(Duration by) {
  changes_.postpone_acceptance(by);
  for (LossWatch& loss : losses_) loss.postpone_acceptance(by);
  for (Contrast& contrast : contrasts_) contrast.steady_since += by;
}

void Suspicions::settle() {
  changes_.settle();
  for (LossWatch& loss : losses_) loss.settle();
}

void Suspicions::shift(Duration step) {
  changes_.shift(step);
  for (LossWatch& loss : losses_) loss.shift(step);
  for (Contrast& contrast : contrasts_) {
    contrast.onset += step;
    contrast.told_at += step;
    contrast.steady_since += step;
  }
  if (block_from_ != Time{}) block_from_ += step;
  block_until_ += step;
  said_at_ = {};
}

std::vector<Suspicions::Told> Suspicions::told(Time now, Text text) const {
  std::vector<Told> out;
  for (const Suspect& suspect : changes_.suspects()) {
    if (!suspect.told()) continue;
    Told one;
    one.cause = suspect.what.cause;
    one.shape = suspect.shape;
    one.onset = suspect.onset;
    one.size_db = suspect.what.size_db;
    one.confidence = suspect.confidence;
    one.weight = suspect.what.size_db;
    one.direction = suspect.one_way && !direction_of(suspect.what.cause)
                        ? std::optional(suspect.way)
                        : direction_of(suspect.what.cause);
    one.told_at = suspect.told_at;
    if (text != Text::none)
      one.text = change_in_words(suspect, now, text == Text::others_unchanged);
    out.push_back(std::move(one));
  }
  for (const Direction d : {Direction::inbound, Direction::outbound}) {
    const std::size_t i = static_cast<std::size_t>(d);
    // Jammed channels lose frames as well: the more precise word counts.
    if (losses_[i].told() && !contrasts_[i].told) {
      Told one;
      one.cause = Cause::collisions;
      one.direction = d;
      one.shape = Shape::step;
      one.onset = *losses_[i].onset();
      one.confidence = 0.95;
      one.weight = 20 * losses_[i].ratio();
      if (text != Text::none)
        one.text = losses_in_words(d, losses_[i].ratio(), losses_[i].usual(), one.onset, now);
      out.push_back(std::move(one));
    }
    const Contrast& contrast = contrasts_[i];
    if (contrast.told) {
      Told one;
      one.cause = d == Direction::inbound ? Cause::near_channels : Cause::far_channels;
      one.direction = d;
      one.shape = Shape::step;
      one.onset = contrast.onset;
      one.size_db = contrast.rise_db;
      one.confidence = 0.95;
      one.weight = contrast.rise_db;
      one.told_at = contrast.told_at;
      if (text != Text::none)
        one.text = channels_in_words(d, contrast.channels, contrast.known, contrast.rise_db,
                                     contrast.lasting, one.onset, now);
      out.push_back(std::move(one));
    }
  }
  return out;
}

/// One alert for all that share its name and direction.
void Suspicions::tell(Time now, AlertBook& book, const AlertBook::Owner& owner,
                      const Company& company) {
  if (!looked_ && company.told_for_port.empty()) return;
  looked_ = false;
  const bool anything = std::ranges::any_of(changes_.suspects(), &Suspect::told) ||
                        losses_[0].told() || losses_[1].told() || contrasts_[0].told ||
                        contrasts_[1].told;
  if (!anything && !spoke_) {
    rebaselined_ = false;
    accepted_.clear();
    return;
  }
  spoke_ = anything;
  // Sentences are made when something is new, and now and then so that sizes in them stay true.
  constexpr Duration kRefresh = std::chrono::minutes{30};
  std::uint64_t said = company.told_for_port.empty() ? 0 : 1;
  std::vector<Told> all = told(now, Text::none);
  for (const Told& one : all)
    said = said * 31 + static_cast<std::uint64_t>(one.cause) +
           64 * static_cast<std::uint64_t>(one.told_at.time_since_epoch().count() / 60000000);
  const bool waits = std::ranges::any_of(
      all, [&](const Told& one) { return now - one.told_at < kWaitForOthers + kShortestBlock; });
  if (said == said_ && !waits && now - said_at_ < kRefresh && company.told_for_port.empty()) return;
  said_ = said;
  said_at_ = now;
  all = told(now, company.others_unchanged ? Text::others_unchanged : Text::alone);
  std::erase_if(all, [&](const Told& one) {
    if (company.told_for_port.has(one.cause)) return true;
    if (!company.many || !is_near_side(one.cause)) return false;
    // The others get the time to notice it as well.
    return now - one.told_at < kWaitForOthers &&
           book.cause(alert_of(one.cause), direction_of(one.cause)) != one.cause;
  });
  // What was raised keeps its direction, whatever it is taken for later and wherever else it shows.
  const auto direction_of_told = [&](const Told& one) {
    const AlertName name = alert_of(one.cause);
    std::optional<Direction> own = one.cause == Cause::collisions ? std::nullopt : one.direction;
    if (one.cause == Cause::collisions) {
      for (const std::optional<Direction> d :
           {std::optional<Direction>{}, std::optional(Direction::inbound),
            std::optional(Direction::outbound)})
        if (book.cause(name, d) == one.cause) return d;
      const bool in = losses_[0].told(), away = losses_[1].told();
      if (in != away) own = in ? Direction::inbound : Direction::outbound;
    }
    if (std::ranges::count(all, name, [](const Told& each) { return alert_of(each.cause); }) > 1)
      return own;
    if (own && book.active(name, {})) return std::optional<Direction>{};
    for (const Direction d : {Direction::inbound, Direction::outbound})
      if (!own && book.active(name, d)) return std::optional(d);
    return own;
  };
  for (const AlertName name : kSuspected) {
    for (const std::optional<Direction> direction :
         {std::optional<Direction>{}, std::optional(Direction::inbound),
          std::optional(Direction::outbound)}) {
      const Told* gravest = nullptr;
      const auto standing = book.cause(name, direction);
      double heaviest = 0;
      for (const Told& one : all) {
        if (alert_of(one.cause) != name || direction_of_told(one) != direction) continue;
        // What stands gives way only to what is clearly graver.
        const double weight = one.weight * (standing == one.cause ? kStandingCounts : 1);
        if (gravest != nullptr &&
            weight <=
                heaviest * share_to_beat(one.cause, one.onset, gravest->cause, gravest->onset))
          continue;
        gravest = &one;
        heaviest = weight;
      }
      if (gravest != nullptr) {
        Finding found;
        found.severity = Severity::warning;
        found.cause = gravest->cause;
        found.shape = gravest->shape;
        found.onset = gravest->onset;
        found.size_db = gravest->size_db;
        found.confidence = gravest->confidence;
        found.text = gravest->text;
        book.raise(owner, name, direction, now, std::move(found));
      } else if (book.active(name, direction)) {
        std::string text = "It is over: levels and losses are back where they were.";
        if (const auto cause = book.cause(name, direction);
            cause && company.told_for_port.has(*cause))
          text = "It is told for the whole port from now on.";
        for (const Suspect& suspect : changes_.suspects())
          if (suspect.state == Suspect::State::accepted && alert_of(suspect.what.cause) == name)
            text = "It has lasted three weeks and is taken for the usual level from now on: " +
                   change_in_words(suspect, now, false);
        if (name == AlertName::InterferenceSuspected && !accepted_.empty())
          text = "It has lasted three weeks and is taken for the usual from now on: " + accepted_;
        if (rebaselined_)
          text = "The levels of now are the usual ones from now on: the baseline was set anew.";
        book.clear(owner, name, direction, now, text);
      }
    }
  }
  rebaselined_ = false;
  accepted_.clear();
}

void Suspicions::rebaseline() {
  changes_.rebaseline();
  looked_ = rebaselined_ = true;
}

void Suspicions::append_near_side(std::vector<NearSide>& out, bool heard) const {
  const std::uint32_t speaker = out.empty() ? 0 : out.back().speaker + 1;
  for (const Told& one : told(Time{}, Text::none))
    if (is_near_side(one.cause)) out.push_back({one.cause, one.onset, one.size_db, speaker, heard});
}

bool Suspicions::inbound_signal_changed(Time since) const {
  return std::ranges::any_of(changes_.suspects(), [&](const Suspect& s) {
    const bool noise = s.what.cause == Cause::near_noise || s.what.cause == Cause::far_noise;
    return !noise && s.shape != Shape::cycle && s.onset > since;
  });
}

Cause Suspicions::cause_of(Direction direction) const {
  const auto all = told(Time{}, Text::none);
  const Told* gravest = nullptr;
  for (const Told& one : all) {
    if (one.direction && *one.direction != direction) continue;
    if (gravest == nullptr || one.weight > gravest->weight) gravest = &one;
  }
  return gravest == nullptr ? Cause::none : gravest->cause;
}

std::optional<double> Suspicions::size_db_of(Direction direction) const {
  std::optional<double> size;
  for (const Told& one : told(Time{}, Text::none)) {
    if (one.direction && *one.direction != direction) continue;
    if (one.size_db) size = std::max(one.size_db, size);
  }
  return size;
}

}  // namespace fadeward::judge
