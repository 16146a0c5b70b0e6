#include "fadeward/app/proof_store.hpp"

#include <gtest/gtest.h>

#include <fstream>

#include "support/temp_dir.hpp"

namespace fadeward::app::proof_store_test {
namespace {

using namespace std::chrono_literals;

constexpr Time kNow = Time{std::chrono::sys_days{std::chrono::year{2031} / 4 / 1}} + 10h;

StoredProof proof(const char* link, Time to, std::optional<double> in, std::optional<double> out) {
  return {link, to - 10min, to, {in, out}, "proved: \"600\" of 600"};
}

std::vector<StoredProof> load(const std::string& dir, std::size_t skipped_expected = 0) {
  std::size_t skipped = 0;
  auto proofs = load_proofs(dir, skipped);
  EXPECT_TRUE(proofs);
  EXPECT_EQ(skipped, skipped_expected);
  return std::move(proofs).value();
}

TEST(ProofStore, ThereAndBack) {
  const test::TempDir dir;
  const std::string inside = dir / "not/yet/there";
  ASSERT_TRUE(store_proof(inside, proof("weir", kNow, 12.25, {})));
  ASSERT_TRUE(store_proof(inside, proof("ridge \"1\"", kNow + 1h, -3, 4)));
  const auto proofs = load(inside);
  ASSERT_EQ(proofs.size(), 2U);
  EXPECT_EQ(proofs[0].link, "weir");
  EXPECT_EQ(proofs[0].to, kNow);
  EXPECT_EQ(proofs[0].from, kNow - 10min);
  EXPECT_EQ(proofs[0].margins_db[0], 12.25);
  EXPECT_FALSE(proofs[0].margins_db[1]);
  EXPECT_EQ(proofs[0].note, "proved: \"600\" of 600");
  EXPECT_EQ(proofs[1].link, "ridge \"1\"");
  EXPECT_EQ(periods_of(proofs).size(), 4U);
  EXPECT_EQ(periods_of(proofs)[2].margin_db, -3);
}

TEST(ProofStore, NoFileIsNoProof) {
  const test::TempDir dir;
  EXPECT_TRUE(load(dir / "").empty());
}

TEST(ProofStore, ALineThatAPowerCutLeftTakesNoOtherWithIt) {
  const test::TempDir dir;
  ASSERT_TRUE(store_proof(dir / "", proof("weir", kNow, 1, 1)));
  std::ofstream(dir / "proved.jsonl", std::ios::app) << "{\"link\":\"we";
  ASSERT_TRUE(store_proof(dir / "", proof("weir", kNow + 1h, 2, 2)));
  EXPECT_EQ(load(dir / "", 1).size(), 2U);
}

TEST(ProofStore, NonsenseIsSkippedAndCounted) {
  const test::TempDir dir;
  dir.file("proved.jsonl",
           "[]\n{}\n\xff\xfe\n{\"link\":\"\",\"from\":\"2031-04-01T10:00:00Z\",\"to\":\"2031-04-01T11:00:00Z\"}\n"
           "{\"link\":\"a\",\"from\":\"2031-04-01T11:00:00Z\",\"to\":\"2031-04-01T10:00:00Z\"}\n"
           "{\"link\":\"a\",\"from\":\"2031-04-01T10:00:00Z\",\"to\":\"2031-04-01T11:00:00Z\",\"inbound_margin_db\":\"x\",\"outbound_margin_db\":1e9}\n");
  const auto proofs = load(dir / "", 5);
  ASSERT_EQ(proofs.size(), 1U);
  EXPECT_FALSE(proofs[0].margins_db[0]);
  EXPECT_FALSE(proofs[0].margins_db[1]);
}

TEST(ProofStore, TheNewestMarginOfEachDirectionStands) {
  Settings settings;
  settings.links.resize(2);
  settings.links[0].name = "weir";
  settings.links[1].name = "ridge";
  put_proofs({proof("weir", kNow, 10, 11), proof("weir", kNow + 2h, 12, {}), proof("weir", kNow + 1h, 9, 9)},
             settings);
  EXPECT_EQ(settings.links[0].baseline.proved_margin_db[0], 12);
  EXPECT_EQ(settings.links[0].baseline.proved_margin_db[1], 9);
  EXPECT_FALSE(settings.links[1].baseline.proved_margin_db[0]);
}

}  // namespace
}  // namespace fadeward::app::proof_store_test
