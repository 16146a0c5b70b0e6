#include "fadeward/report/decoder.hpp"

#include <utility>

#include "fadeward/report/canonical.hpp"
#include "fadeward/report/csv.hpp"
#include "fadeward/report/json.hpp"
#include "fadeward/report/packed.hpp"
#include "fadeward/report/pairs.hpp"
#include "fadeward/report/pattern.hpp"
#include "fadeward/report/senml.hpp"

namespace fadeward::report {

void Decoder::deliver(const Parsed& parsed, LinkReport& report, std::string_view frame,
                      ReportSink& sink) {
  if (parsed.tally.values_discarded > 0) sink.values_discarded(parsed.tally.values_discarded);
  if (parsed.tally.unknown_keys > 0) sink.unknown_keys(parsed.tally.unknown_keys);
  switch (parsed.outcome) {
    case Outcome::report: sink.report(report); break;
    case Outcome::syntax: sink.rejected(RejectReason::syntax, frame); break;
    case Outcome::empty: sink.rejected(RejectReason::empty, frame); break;
    case Outcome::implausible: sink.rejected(RejectReason::implausible, frame); break;
  }
}

namespace {

using Made = Result<std::unique_ptr<Decoder>>;

Made make_csv(FieldMap map, const DecoderSettings& settings) {
  if (settings.separator.empty() || settings.separator.find('"') != std::string::npos)
    return Error{"csv: separator must be at least one character and no quote"};
  bool known = settings.columns.empty();
  for (const std::string& column : settings.columns) known = known || !map.find(column).empty();
  if (!known) return Error{"csv: no column is a canonical key or the `from` of a field"};
  return std::unique_ptr<Decoder>(
      new CsvDecoder(std::move(map), settings.separator, settings.columns));
}

Made make_pairs(FieldMap map, const DecoderSettings& settings) {
  if (settings.pair_separators.empty() ||
      settings.pair_separators.find_first_of("=\"") != std::string::npos)
    return Error{"pairs: pair_separators must be at least one character, none of them = or \""};
  return std::unique_ptr<Decoder>(new PairsDecoder(std::move(map), settings.pair_separators));
}

}  // namespace

Made make_decoder(const DecoderSettings& settings) {
  if (settings.kind == DecoderKind::json && settings.fields.empty())
    return std::unique_ptr<Decoder>(new CanonicalDecoder);
  auto map = FieldMap::make(settings.fields);
  if (!map) return map.error();
  switch (settings.kind) {
    case DecoderKind::json:
      return std::unique_ptr<Decoder>(new JsonDecoder(std::move(map).value()));
    case DecoderKind::pairs: return make_pairs(std::move(map).value(), settings);
    case DecoderKind::csv: return make_csv(std::move(map).value(), settings);
    case DecoderKind::pattern:
      return PatternDecoder::make(std::move(map).value(), settings.patterns);
    case DecoderKind::senml:
      return std::unique_ptr<Decoder>(new SenmlDecoder(std::move(map).value()));
    case DecoderKind::packed: return PackedDecoder::make(std::move(map).value(), settings);
  }
  return Error{"decoder: unknown kind"};
}

}  // namespace fadeward::report
