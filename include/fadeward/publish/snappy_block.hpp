// The block format of Snappy (format_description.txt of the reference implementation), written for
// size: a gateway behind a mobile router pays by the byte, and a minute is long enough to choose
// well.
#pragma once

#include <string>
#include <string_view>

namespace fadeward::publish {

/// `text`, shorter than 4 GiB, as one block that every decoder of the format reads. The tags are
/// those that take the fewest bytes for the repetitions that were found: each place is compared
/// with a few earlier ones of the last 64 KiB. Takes about 0.7 MB of memory while it works. Any
/// thread.
std::string snappy_block(std::string_view text);

}  // namespace fadeward::publish
