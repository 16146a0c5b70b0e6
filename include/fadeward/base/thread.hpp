// Threads beside the main one.
#pragma once

#include <functional>
#include <thread>

namespace fadeward {

/// Runs `work` on a thread in which all signals are blocked: they are for the main thread. `name`
/// (at most 15 characters) is what tools show. Throws std::system_error where the system has no
/// room for one more.
std::thread start_thread(const char* name, std::function<void()> work);

}  // namespace fadeward
