// Reads the tables of tests/data: '#' lines tell the source, then a header, then rows.
#pragma once

#include <gtest/gtest.h>

#include <cmath>
#include <cstdlib>
#include <fstream>
#include <map>
#include <sstream>
#include <string>
#include <vector>

namespace fadeward::test {

inline std::vector<std::string> split(const std::string& line) {
  std::vector<std::string> cells;
  std::stringstream stream(line);
  for (std::string cell; std::getline(stream, cell, ',');) cells.push_back(cell);
  return cells;
}

inline std::string read_text(const std::string& name) {
  std::ifstream file(std::string(FADEWARD_TEST_DATA) + "/" + name);
  EXPECT_TRUE(file.good()) << name;
  std::stringstream text;
  text << file.rdbuf();
  return text.str();
}

/// Rows by column name; cells that are no number are left out.
inline std::vector<std::map<std::string, double>> read_csv(const std::string& name) {
  std::stringstream text(read_text(name));
  std::vector<std::string> header;
  std::vector<std::map<std::string, double>> rows;
  for (std::string line; std::getline(text, line);) {
    if (line.empty() || line[0] == '#') continue;
    const auto cells = split(line);
    if (header.empty()) {
      header = cells;
      continue;
    }
    auto& row = rows.emplace_back();
    for (std::size_t i = 0; i < cells.size() && i < header.size(); ++i) {
      char* end = nullptr;
      const double value = std::strtod(cells[i].c_str(), &end);
      if (end != cells[i].c_str() && *end == '\0') row[header[i]] = value;
    }
  }
  EXPECT_FALSE(rows.empty()) << name;
  return rows;
}

}  // namespace fadeward::test
