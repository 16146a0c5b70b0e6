// Runs a fuzz target on random mutations of its seeds: fuzz_NAME [SEED [SECONDS]].
//
// Bounded by number and by time. When the target aborts, the input stands in the file
// fuzz-input.bin of the working directory.
#include <chrono>
#include <csignal>
#include <cstring>
#include <random>
#include <string>

#include "fuzz/fuzz.hpp"

namespace {

std::string running;  // the input that the target is working on

void keep_input(int signal) {
  if (std::FILE* file = std::fopen("fuzz-input.bin", "wb")) {
    std::fwrite(running.data(), 1, running.size(), file);
    std::fclose(file);
  }
  std::signal(signal, SIG_DFL);
  std::raise(signal);
}

class Mutator {
 public:
  explicit Mutator(std::uint64_t seed) : random_(seed) {}

  std::string next() {
    const auto seeds = fadeward::fuzz::seeds();
    std::string input(seeds[random_() % seeds.size()]);
    if (random_() % 16 == 0) input += seeds[random_() % seeds.size()];
    for (std::size_t i = random_() % 8; i > 0; --i) mutate(input);
    return input;
  }

 private:
  std::size_t at(const std::string& input) { return input.empty() ? 0 : random_() % input.size(); }
  char byte() {
    static constexpr char kFavourites[] = "\0\n\r\x7d\x7e\xff\"\\{}[]:,=0919.-+eE \x80";
    return random_() % 2 ? kFavourites[random_() % (sizeof kFavourites - 1)]
                         : static_cast<char>(random_());
  }
  void mutate(std::string& input) {
    const std::size_t place = at(input);
    switch (random_() % 6) {
      case 0: input.insert(place, 1, byte()); break;
      case 1: input.erase(place, 1 + random_() % 4); break;
      case 2: input.resize(place); break;
      case 3: input.insert(place, random_() % 300, byte()); break;
      case 4: input.insert(place, input.substr(at(input), random_() % 40)); break;
      default:
        if (!input.empty()) input[place] = byte();
    }
  }

  std::mt19937_64 random_;
};

}  // namespace

int main(int argc, char** argv) {
  const std::uint64_t seed = argc > 1 ? std::strtoull(argv[1], nullptr, 10) : 1;
  const double seconds = argc > 2 ? std::strtod(argv[2], nullptr) : 3.0;
  for (const int signal : {SIGABRT, SIGSEGV, SIGFPE, SIGILL}) std::signal(signal, keep_input);
  std::printf("seed %llu\n", static_cast<unsigned long long>(seed));
  std::fflush(stdout);
  const auto run = [](std::string input) {
    running = std::move(input);
    LLVMFuzzerTestOneInput(reinterpret_cast<const std::uint8_t*>(running.data()), running.size());
  };
  run({});
  for (const auto input : fadeward::fuzz::seeds()) run(std::string(input));
  Mutator mutator(seed);
  const auto end = std::chrono::steady_clock::now() + std::chrono::duration<double>(seconds);
  long inputs = 0;
  for (; inputs < 2'000'000 && std::chrono::steady_clock::now() < end; ++inputs)
    run(mutator.next());
  std::printf("%ld inputs\n", inputs);
  return 0;
}
