#include "fadeward/publish/site.hpp"

#include <array>
#include <utility>
#include <vector>

#include "escape.hpp"
#include "fadeward/base/text.hpp"
#include "fadeward/publish/alerts_json.hpp"
#include "fadeward/publish/gzip.hpp"
#include "fadeward/publish/landing_page.hpp"
#include "fadeward/publish/links_json.hpp"
#include "fadeward/publish/negotiation.hpp"
#include "fadeward/publish/review_page.hpp"

namespace fadeward::publish {

namespace {

constexpr std::string_view kText = "text/plain; charset=utf-8";
constexpr std::string_view kJson = "application/json";
constexpr std::string_view kHtml = "text/html; charset=utf-8";
constexpr std::string_view kCss = "text/css; charset=utf-8";

constexpr Duration kCacheAge = std::chrono::seconds(1);
constexpr std::size_t kLargestSpare = 1U << 20;   ///< a bigger text is not kept between scrapes
constexpr std::size_t kMostUnderWay = 64U << 20;  ///< bytes of texts that clients have yet to take

HttpAnswer fixed(unsigned status, std::string_view text) {
  HttpAnswer answer;
  answer.status = status;
  answer.body = text;
  return answer;
}

HttpAnswer not_allowed(std::string_view allow) {
  HttpAnswer answer = fixed(405, "method not allowed\n");
  answer.allow = allow;
  return answer;
}

}  // namespace

HttpAnswer HttpAnswer::of(unsigned status, std::string_view content_type, std::string body) {
  auto text = std::make_shared<const std::string>(std::move(body));
  HttpAnswer answer;
  answer.status = status;
  answer.content_type = content_type;
  answer.body = *text;
  answer.keep = std::move(text);
  return answer;
}

std::string_view path_of(std::string_view target) {
  for (const std::string_view scheme : {"http://", "https://"}) {
    if (!target.starts_with(scheme)) continue;
    target.remove_prefix(scheme.size());
    const auto slash = target.find_first_of("/?#");
    target = slash == std::string_view::npos || target[slash] != '/' ? "/" : target.substr(slash);
    break;
  }
  return target.substr(0, target.find_first_of("?#"));
}

struct Site::State {
  const SnapshotBox& box;
  const BuildInfo build;
  const HttpHooks hooks;
  const bool enable_reload;

  Exposition exposition;
  std::shared_ptr<TextBuffer> spare;  ///< free while nobody else holds it
  std::vector<std::weak_ptr<TextBuffer>> under_way;

  struct Compressed {
    std::shared_ptr<const std::string> body;
    std::uint64_t version = 0;
    Duration made{};
  };
  std::array<Compressed, 3> compressed;  ///< index: Format

  /// A text that is still in memory: the spare one, or one that a client has yet to take.
  struct Written {
    std::weak_ptr<TextBuffer> text;
    std::uint64_t version = 0;
    Duration made{};
    HttpTally tally;
  };
  std::array<Written, 3> written;  ///< index: Format

  HttpAnswer metrics(const HttpRequest& request, const HttpTally& tally, Duration steady_now);
  HttpAnswer metrics_text(const ExpositionInput& input, Format format, std::uint64_t version,
                          Duration steady_now);
  std::shared_ptr<TextBuffer> free_text();
  HttpAnswer metrics_gzip(const ExpositionInput& input, Format format, std::uint64_t version,
                          Duration steady_now);
  HttpAnswer link(std::string_view encoded_name) const;
  HttpAnswer ready() const;
  HttpAnswer reload(const HttpRequest& request) const;
  HttpAnswer get(const HttpRequest& request, std::string_view path, const HttpTally& tally,
                 Duration steady_now);
};

/// Null while clients that read slowly hold too much already.
std::shared_ptr<TextBuffer> Site::State::free_text() {
  if (spare && spare.use_count() == 1) return spare;
  std::erase_if(under_way, [](const auto& text) { return text.expired(); });
  std::size_t held = 0;
  for (const auto& text : under_way) {
    if (const auto alive = text.lock()) held += alive->capacity();
  }
  if (held > kMostUnderWay) return nullptr;
  spare = std::make_shared<TextBuffer>();
  under_way.push_back(spare);
  return spare;
}

/// Two servers that ask at the same moment, and a hundred, get the same text.
HttpAnswer Site::State::metrics_text(const ExpositionInput& input, Format format,
                                     std::uint64_t version, Duration steady_now) {
  Written& last = written[static_cast<std::size_t>(format)];
  std::shared_ptr<TextBuffer> text = last.text.lock();
  if (!text || last.version != version || steady_now - last.made > kCacheAge ||
      last.tally != input.http) {
    text.reset();  // free, if nobody else holds it
    text = free_text();
    if (!text) return fixed(503, "too many answers under way\n");
    for (Written& each : written)
      if (each.text.lock() == text) each = {};
    text->clear();
    exposition.write(input, format, *text);
    if (text->capacity() > kLargestSpare) spare.reset();
    last = {text, version, steady_now, input.http};
  }
  HttpAnswer answer;
  answer.body = text->view();
  answer.keep = text;
  return answer;
}

HttpAnswer Site::State::metrics_gzip(const ExpositionInput& input, Format format,
                                     std::uint64_t version, Duration steady_now) {
  Compressed& kept = compressed[static_cast<std::size_t>(format)];
  if (!kept.body || kept.version != version || steady_now - kept.made > kCacheAge) {
    std::string body;
    GzipWriter gzip(body);
    exposition.write(input, format, [&gzip](std::string_view piece) { gzip.add(piece); });
    if (!gzip.finish()) return metrics_text(input, format, version, steady_now);
    kept = {std::make_shared<const std::string>(std::move(body)), version, steady_now};
  }
  HttpAnswer answer;
  answer.gzip = true;
  answer.body = *kept.body;
  answer.keep = kept.body;
  return answer;
}

HttpAnswer Site::State::metrics(const HttpRequest& request, const HttpTally& tally,
                                Duration steady_now) {
  const Published now = box.load();
  const ProcessUsage process = read_process_usage();
  const ExpositionInput input{*now.snapshot, *now.program, process, tally, build};
  const Format format = choose_format(request.accept);
  HttpAnswer answer = accepts_gzip(request.accept_encoding)
                          ? metrics_gzip(input, format, now.version, steady_now)
                          : metrics_text(input, format, now.version, steady_now);
  if (answer.status != 200) return answer;
  answer.content_type = content_type_of(format);
  answer.vary = "Accept, Accept-Encoding";
  return answer;
}

HttpAnswer Site::State::link(std::string_view encoded_name) const {
  const auto name = percent_decode(encoded_name);
  if (name) {
    if (auto body = link_json(*box.load().snapshot, *name)) {
      return HttpAnswer::of(200, kJson, std::move(*body));
    }
  }
  std::string body = R"({"error":"no such link","link":)";
  append_json_string(body, name ? std::string_view(*name) : encoded_name);
  return HttpAnswer::of(404, kJson, body + "}\n");
}

HttpAnswer Site::State::ready() const {
  return box.load().program->ready ? fixed(200, "ready\n") : fixed(503, "not ready yet\n");
}

HttpAnswer Site::State::reload(const HttpRequest& request) const {
  if (request.method != "POST") return not_allowed("POST");
  if (!enable_reload || !hooks.reload) return fixed(403, "reload over HTTP is not enabled\n");
  // A page of somebody else's must not be able to press this button.
  const std::string_view origin = request.origin;
  if (!origin.empty() &&
      !(origin.ends_with(request.host) && !request.host.empty() &&
        origin.substr(0, origin.size() - request.host.size()).ends_with("://"))) {
    return fixed(403, "not from another site\n");
  }
  const Status done = hooks.reload();
  if (!done) return HttpAnswer::of(500, kText, "reload failed: " + done.error().message + "\n");
  return fixed(200, "reloaded\n");
}

HttpAnswer Site::State::get(const HttpRequest& request, std::string_view path,
                            const HttpTally& tally, Duration steady_now) {
  constexpr std::string_view links = "/links/";
  if (path == "/metrics") return metrics(request, tally, steady_now);
  if (path == "/-/healthy") return fixed(200, "healthy\n");
  if (path == "/-/ready") return ready();
  const Published now = box.load();
  if (path == "/") {
    LandingExtras extras;
    extras.reviews = static_cast<bool>(hooks.last_days);
    extras.renew = request.target.ends_with("?renew");
    if (hooks.last_days) extras.last_days = hooks.last_days();
    return HttpAnswer::of(200, kHtml, landing_page(*now.snapshot, *now.program, build, extras));
  }
  if (path == "/links") return HttpAnswer::of(200, kJson, links_json(*now.snapshot));
  if (path.starts_with(links) && path.size() > links.size()) return link(path.substr(links.size()));
  if (path == "/alerts") {
    return HttpAnswer::of(200, kJson, alerts_json(*now.snapshot, now.program->external_labels));
  }
  if (path == "/style.css") {
    HttpAnswer answer =
        HttpAnswer::of(200, kCss, std::string(landing_style()) + std::string(review_style()));
    answer.cacheable = true;
    return answer;
  }
  if (hooks.more) {
    if (auto answer = hooks.more(request)) return std::move(*answer);
  }
  if (path.starts_with("/review/")) {
    return HttpAnswer::of(
        404, kHtml,
        plain_page("No review",
                   "No history is kept, so there is nothing to review. Name a directory in the "
                   "configuration (history: { dir: ... }) and start again."));
  }
  return fixed(404, "not found\n");
}

Site::Site(const SnapshotBox& box, BuildInfo build, HttpHooks hooks, bool enable_reload)
    : state_(
          new State{box, std::move(build), std::move(hooks), enable_reload, {}, {}, {}, {}, {}}) {}
Site::~Site() = default;

HttpAnswer Site::answer(const HttpRequest& request, const HttpTally& tally, Duration steady_now) {
  const std::string_view path = path_of(request.target);
  if (path == "/-/reload") return state_->reload(request);
  HttpRequest as_get = request;
  as_get.method = "GET";
  HttpAnswer answer = state_->get(as_get, path, tally, steady_now);
  const bool reads = request.method == "GET" || request.method == "HEAD";
  return reads || answer.status == 404 ? answer : not_allowed("GET, HEAD");
}

}  // namespace fadeward::publish
