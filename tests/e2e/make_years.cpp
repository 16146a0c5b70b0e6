// make_years DIR [NAME...]: five invented years of links, written into a history. For the tests of
// the review and for looking at its pages.
#include <cstdio>

#include "support/valley_years.hpp"

int main(int argc, char** argv) {
  if (argc < 2) {
    std::fprintf(stderr, "usage: make_years DIR [NAME...]\n");
    return 2;
  }
  std::vector<std::string> names(argv + 2, argv + argc);
  if (names.empty()) names.emplace_back("sluice");
  const std::string failed = fadeward::test::write_valley_years(argv[1], {}, names);
  if (failed.empty()) return 0;
  std::fprintf(stderr, "make_years: %s\n", failed.c_str());
  return 1;
}
