// The Tarn Valley over five years: what its four links go through. Invented, like the valley.
#pragma once

#include "fadeward/simulate/plan.hpp"
#include "fadeward/simulate/random.hpp"
#include "fadeward/simulate/scenario.hpp"

namespace fadeward::simulate {

/// Puts the links and their story into `plan`, which holds one healthy link, and a report a minute
/// unless the options have an interval. Moments count from the start of the plan, leaves by the
/// calendar; a shorter plan sees the beginning. `random` moves most of them by some days and sizes
/// by a tenth, but never the mast visit, which stands in a configuration. In days after the start:
///
///   weir    from 490    a barn is built beside the path: 4 dB within twelve days, for good
///           1190        another radio at the site: 3 dB less power, which it reports
///   ridge   always      trees on the crest grow, 0.9 dB a year, and bear 1.5 dB of leaves
///           291         the site is without power for eleven hours in a storm
///   sluice  summers     4 dB of leaves on the alder carr, out about 2 May, gone about 17 October
///           from 880    the site's feeder takes water: 3 dB within three months, more in the wet;
///                       from 1010 on 3 dB more, until the mast visit of day 1082, 08:00 to 15:00
///   quarry  700 to 930  another transmitter comes into six of the channels heard at the site, 8 dB,
///                       from 760 on into three more
void build_valley_years(Plan& plan, const Options& options, Random& random);

}  // namespace fadeward::simulate
