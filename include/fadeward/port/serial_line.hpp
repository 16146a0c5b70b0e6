// A serial device as a raw, exclusive, non-blocking descriptor.
//
// Set by us from the first bit to the last: no option of an earlier program survives. All functions
// take what the device gives and never wait for it.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>

#include "fadeward/base/result.hpp"
#include "fadeward/base/settings.hpp"
#include "fadeward/port/descriptor.hpp"

namespace fadeward::port {

/// Opens `path`, as given (a by-id link is followed anew each time), locks it against every other
/// reader and only then sets it up. The error reads "PATH: reason".
Result<Descriptor> open_serial(const std::string& path, const SerialSettings& settings);

/// Raw mode, rate, bits, parity, stop bits, flow control. Bytes pass unchanged both ways, a read
/// returns at the first byte. An error where the device cannot come within 3 % of the rate.
Status set_up_serial(int descriptor, const SerialSettings& settings);

/// What the device says it does now: "57600 baud 8N1".
std::string describe_serial(int descriptor);

/// False once the device is gone, whatever a read returned.
bool serial_alive(int descriptor);

/// Bytes lost by the converter and by the kernel since the device was plugged in, modulo 2^32;
/// empty where the driver does not count (most pseudo-terminals).
std::optional<std::uint32_t> serial_overruns(int descriptor);

/// Bytes written but not yet sent, and how to forget them.
std::size_t serial_unsent(int descriptor);
void discard_serial_unsent(int descriptor);

/// Unlocks and closes without waiting for bytes that a stuck device does not take.
void close_serial(Descriptor descriptor);

/// "PATH: no such device"
std::string serial_absent_text(const std::string& path);

}  // namespace fadeward::port
