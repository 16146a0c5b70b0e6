#include "fadeward/publish/collectable.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <prometheus/text_serializer.h>

#include <sstream>

#include "unit/publish/fixtures.hpp"

namespace fadeward::publish::collectable_test {
namespace {

using namespace testing;

/// Series whose values belong to the moment of the scrape or to the server.
bool of_the_moment(const std::string& series) { return series.rfind("process_", 0) == 0; }

// prometheus-cpp as the independent writer: same series, same numbers. It prints 16 significant
// digits, so values agree to a few parts in 1e16 only.
TEST(SnapshotCollectable, AnIndependentWriterSaysTheSame) {
  Scene scene;
  scene.program.push_dropped = {{"http://am:9093", "refused", 3}};
  scene.program.started = kNow;
  auto suspected = alert_of(AlertName::InterferenceSuspected, 0, Severity::warning);
  suspected.cause = Cause::far_noise;
  auto port = alert_of(AlertName::EquipmentSuspected, kNoLink, Severity::critical);
  port.port = 0;
  scene.snapshot.alerts = {suspected, port};
  scene.snapshot.links.push_back(known_link("quote \" and \\ and \n line"));
  scene.snapshot.links.back().port = 0;
  scene.snapshot.links.back().directions[0].channels = {{2, 9, -97.25, -116}, {903.9e6, 1, -98.5, {}}};
  scene.snapshot.links.back().directions[1].margin_db = 1.0 / 7;
  scene.snapshot.links.back().directions[1].signal_dbm = std::nan("");

  SnapshotBox box(scene.program);
  box.store(std::make_shared<const judge::Snapshot>(scene.snapshot));
  const SnapshotCollectable collectable(box, scene.build);
  std::ostringstream serialised;
  prometheus::TextSerializer().Serialize(serialised, collectable.Collect());

  const Scrape theirs(serialised.str());
  const Scrape ours = scene.scrape();
  EXPECT_EQ(theirs.families, ours.families);
  EXPECT_EQ(theirs.types, ours.types);
  EXPECT_EQ(theirs.helps, ours.helps);
  EXPECT_EQ(theirs.samples.size(), ours.samples.size());
  EXPECT_GT(ours.samples.size(), 200U);
  for (const auto& [series, sample] : theirs.samples) {
    ASSERT_TRUE(ours.has(series)) << series;
    if (of_the_moment(series)) continue;
    EXPECT_NEAR(ours.at(series), sample.value, std::abs(sample.value) * 1e-15) << series;
  }
}

}  // namespace
}  // namespace fadeward::publish::collectable_test
