// What the HTTP server answers, without a socket: request in, answer out.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>

#include "fadeward/base/result.hpp"
#include "fadeward/base/time.hpp"
#include "fadeward/base/web_config.hpp"
#include "fadeward/publish/exposition.hpp"
#include "fadeward/publish/program_state.hpp"
#include "fadeward/publish/snapshot_box.hpp"
#include "fadeward/review/last_day.hpp"

namespace fadeward::publish {

/// Views into the request as received; empty where the client did not say.
struct HttpRequest {
  std::string_view method;  ///< "GET"; methods are case-sensitive
  std::string_view target;  ///< origin or absolute form, undecoded
  std::string_view accept;
  std::string_view accept_encoding;
  std::string_view host;
  std::string_view origin;  ///< sent by browsers with a POST
};

struct HttpAnswer {
  unsigned status = 200;
  std::string_view content_type = "text/plain; charset=utf-8";  ///< static text
  std::string_view allow;                                       ///< of a 405; static text
  std::string_view authenticate;                                ///< of a 401; static text
  std::string_view vary;                                        ///< static text
  bool gzip = false;                                            ///< `body` is compressed
  bool cacheable = false;                                       ///< may be kept for an hour
  std::string_view body;                                        ///< lives as long as `keep`
  std::shared_ptr<const void> keep;

  static HttpAnswer of(unsigned status, std::string_view content_type, std::string body);
};

/// Called on the HTTP thread; nobody else is served meanwhile.
struct HttpHooks {
  /// POST /-/reload. Its error is the text of the 500.
  std::function<Status()> reload;
  /// Asked about GET for every path that the site itself does not know ("/history", "/review/...");
  /// empty optional: 404. `HttpRequest::target` is complete with its query.
  std::function<std::optional<HttpAnswer>(const HttpRequest&)> more;
  /// The lines of the last day for the page of all links; may give null. Set: reviews are served.
  std::function<std::shared_ptr<const review::LastDays>()> last_days;
  /// Reads the web-config file; needed where one is set. On the thread of start() too.
  std::function<Result<WebConfig>(const std::string& path)> web_config;
  /// What an operator should know of it: it was read anew, or could not be.
  std::function<void(bool good, const std::string& text)> remark;
};

/// One thread. An answer outlives the site.
class Site {
 public:
  /// `box` must outlive the site.
  Site(const SnapshotBox& box, BuildInfo build, HttpHooks hooks, bool enable_reload);
  ~Site();

  /// The answer to GET for a HEAD too: whoever sends it leaves the body out. `steady_now` only
  /// limits the age of a /metrics that is handed out again (1 s, same snapshot; in plain text with
  /// the same tally, and above 1 MB only while another client has yet to take it).
  HttpAnswer answer(const HttpRequest& request, const HttpTally& tally, Duration steady_now);

 private:
  struct State;
  std::unique_ptr<State> state_;
};

/// The path of a request target, still encoded: without scheme, authority, query and fragment.
std::string_view path_of(std::string_view target);

}  // namespace fadeward::publish
