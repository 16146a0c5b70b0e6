#include "fadeward/publish/http_server.hpp"

#include <time.h>

#include <algorithm>
#include <array>
#include <boost/asio/buffer.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/ssl/error.hpp>
#include <boost/asio/ssl/stream.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/write.hpp>
#include <boost/beast/core/basic_stream.hpp>
#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/http/error.hpp>
#include <boost/beast/http/parser.hpp>
#include <boost/beast/http/read.hpp>
#include <boost/beast/http/string_body.hpp>
#include <cstdio>
#include <exception>
#include <list>
#include <optional>
#include <string>
#include <thread>
#include <type_traits>
#include <utility>

#include "fadeward/base/thread.hpp"
#include "fadeward/publish/web_guard.hpp"

namespace fadeward::publish {

namespace asio = boost::asio;
namespace beast = boost::beast;
namespace http = boost::beast::http;
using asio::ip::tcp;
using boost::system::error_code;

// Tied to the io_context instead of any executor: less to compile, and no indirection.
using Executor = asio::io_context::executor_type;
using Socket = asio::basic_stream_socket<tcp, Executor>;
using Acceptor = asio::basic_socket_acceptor<tcp, Executor>;
using Stream = beast::basic_stream<tcp, Executor>;
using TlsStream = asio::ssl::stream<Stream>;

namespace {

std::string_view view(beast::string_view text) { return {text.data(), text.size()}; }

/// IMF-fixdate of RFC 9110 section 5.6.7, in English whatever the locale.
std::string http_date() {
  static constexpr std::array days = {"Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"};
  static constexpr std::array months = {"Jan", "Feb", "Mar", "Apr", "May", "Jun",
                                        "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
  const time_t now = time(nullptr);
  tm utc{};
  gmtime_r(&now, &utc);
  std::array<char, 64> text{};
  const int size = std::snprintf(text.data(), text.size(), "%s, %02d %s %04d %02d:%02d:%02d GMT",
                                 days[static_cast<std::size_t>(utc.tm_wday)], utc.tm_mday,
                                 months[static_cast<std::size_t>(utc.tm_mon)], utc.tm_year + 1900,
                                 utc.tm_hour, utc.tm_min, utc.tm_sec);
  return {text.data(), static_cast<std::size_t>(size)};
}

Duration steady_now() {
  return std::chrono::duration_cast<Duration>(std::chrono::steady_clock::now().time_since_epoch());
}

void field(std::string& out, std::string_view name, std::string_view value) {
  if (value.empty()) return;
  out += name;
  out += ": ";
  out += value;
  out += "\r\n";
}

/// Everything before the body. All values are our own, or were checked, and hold no line ends.
std::string header_of(const HttpAnswer& answer, bool keep_alive, const WebGuard* guard) {
  std::string out = "HTTP/1.1 " + std::to_string(answer.status) + ' ';
  out += view(http::obsolete_reason(http::int_to_status(answer.status)));
  out += "\r\n";
  field(out, "Date", http_date());
  field(out, "Connection", keep_alive ? "keep-alive" : "close");
  field(out, "Content-Type", answer.content_type);
  field(out, "Content-Length", std::to_string(answer.body.size()));
  field(out, "Content-Encoding", answer.gzip ? "gzip" : "");
  field(out, "Cache-Control", answer.cacheable ? "max-age=3600" : "no-store");
  field(out, "Vary", answer.vary);
  field(out, "Allow", answer.allow);
  field(out, "WWW-Authenticate", answer.authenticate);
  field(out, "Referrer-Policy", "no-referrer");
  const auto own = [&](std::string_view name, std::string_view value) {
    if (guard == nullptr || !guard->sets_header(std::string(name))) field(out, name, value);
  };
  own("X-Content-Type-Options", "nosniff");
  own("Content-Security-Policy",
      "default-src 'none'; style-src 'self'; base-uri 'none'; form-action 'none'; "
      "frame-ancestors 'none'");
  if (guard != nullptr) out += guard->headers();
  return out + "\r\n";
}

HttpAnswer complaint(unsigned status, std::string_view text) {
  HttpAnswer answer;
  answer.status = status;
  answer.body = text;
  return answer;
}

/// The answer to a request that could not be read; empty: the connection is beyond answering.
std::optional<HttpAnswer> complaint_about(const error_code& error) {
  static const auto& http_errors = http::make_error_code(http::error::end_of_stream).category();
  if (error.category() != http_errors || error == http::error::end_of_stream ||
      error == http::error::partial_message) {
    return {};
  }
  if (error == http::error::header_limit || error == http::error::buffer_overflow) {
    return complaint(431, "request header too large\n");
  }
  if (error == http::error::body_limit) return complaint(413, "request body too large\n");
  return complaint(400, "not an HTTP request\n");
}

}  // namespace

/// Lives from start() to stop(). Everything but the constructor, start() and stop() runs on its
/// own thread.
class HttpServer::Core {
 public:
  Core(HttpSettings settings, const SnapshotBox& box, BuildInfo build, HttpHooks hooks,
       HttpLimits limits)
      : settings_(std::move(settings)),
        limits_(limits),
        hooks_(hooks),
        site_(box, std::move(build), std::move(hooks), settings_.enable_reload) {}
  ~Core() { stop(); }

  Status start();
  void stop();
  std::uint16_t port() const { return port_; }
  bool is_secure() const { return secure_; }

 private:
  /// One connection.
  class Session {
   public:
    virtual ~Session() = default;
    virtual void close() = 0;
    virtual bool is_answering() const = 0;
    /// Open, and still without a whole request, or answered already.
    virtual bool may_make_room() const = 0;
  };
  template <class S>
  class SessionOn;
  using Sessions = std::list<Session*>;

  Result<tcp::endpoint> endpoint();
  Status listen();
  void run();
  void accept();
  void take(Socket socket);
  void begin_stop();
  void left();
  HttpAnswer answer(const HttpRequest& request);
  void look_at_guard();

  HttpSettings settings_;
  HttpLimits limits_;
  HttpHooks hooks_;
  Site site_;
  HttpTally tally_;
  std::unique_ptr<WebGuard> guard_;  ///< null: everybody may read everything, in the clear
  Sessions waiting_;                 ///< idle, the one that has waited longest first
  Sessions busy_;
  bool stopping_ = false;
  bool ended_ = false;  ///< the thread is gone; only destructors run
  std::uint16_t port_ = 0;
  bool secure_ = false;
  // Declared last, destroyed first: sessions that are still pending in it know the lists above.
  asio::io_context io_{1};
  Acceptor acceptor_{io_};
  asio::steady_timer timer_{io_};  ///< until the next accept; while stopping, until the end
  std::thread thread_;
};

/// Kept alive by its pending operation. `S`: Stream or TlsStream.
template <class S>
class HttpServer::Core::SessionOn final : public Session,
                                          public std::enable_shared_from_this<SessionOn<S>> {
 public:
  /// `keep`: what the stream needs as long as it lives.
  template <class... Args>
  SessionOn(Core& core, std::shared_ptr<const void> keep, Args&&... args)
      : core_(core),
        keep_(std::move(keep)),
        stream_(std::forward<Args>(args)...),
        buffer_(kBuffer) {
    at_ = core_.waiting_.insert(core_.waiting_.end(), this);
  }
  ~SessionOn() override {
    (idle_ ? core_.waiting_ : core_.busy_).erase(at_);
    core_.left();
  }

  void begin();
  void close() override {
    open_ = false;
    lowest().close();
  }
  bool is_answering() const override { return answering_; }
  bool may_make_room() const override { return open_ && !asked_; }

 private:
  static constexpr bool kTls = std::is_same_v<S, TlsStream>;
  static constexpr std::size_t kBuffer = 16384;
  static constexpr std::size_t kDrain = 65536;

  Stream& lowest() {
    if constexpr (kTls)
      return stream_.next_layer();
    else
      return stream_;
  }
  void set_idle(bool idle) {
    if (idle == idle_) return;
    Sessions& from = idle_ ? core_.waiting_ : core_.busy_;
    Sessions& to = idle ? core_.waiting_ : core_.busy_;
    to.splice(to.end(), from, at_);
    idle_ = idle;
  }
  void wait(Duration limit);
  void read();
  void on_request();
  void on_unreadable(const error_code& error);
  bool is_allowed();
  void on_password(bool right);
  void refuse();
  void serve();
  void send(HttpAnswer answer, bool head, bool keep_alive);
  void on_sent(const error_code& error, bool keep_alive);
  void end();
  void drain();

  Core& core_;
  std::shared_ptr<const void> keep_;
  S stream_;
  beast::flat_buffer buffer_;
  std::optional<http::request_parser<http::string_body>> parser_;
  std::string header_;
  HttpAnswer answer_;
  Sessions::iterator at_;
  std::size_t drained_ = 0;
  bool idle_ = true;
  bool open_ = true;
  bool asked_ = false;  ///< a whole request is here, its answer not yet there
  bool answering_ = false;
};

template <class S>
void HttpServer::Core::SessionOn<S>::begin() {
  if constexpr (kTls) {
    lowest().expires_after(core_.limits_.request);
    stream_.async_handshake(asio::ssl::stream_base::server,
                            [self = this->shared_from_this()](const error_code& error) {
                              if (!self->open_) return;
                              if (!error) return self->wait(self->core_.limits_.request);
                              ++(error == beast::error::timeout ? self->core_.tally_.deadline
                                                                : self->core_.tally_.handshake);
                            });
  } else {
    wait(core_.limits_.request);
  }
}

template <class S>
void HttpServer::Core::SessionOn<S>::wait(Duration limit) {
  if (buffer_.size() > 0) return read();  // the next of several requests is here already
  set_idle(true);
  lowest().expires_after(limit);
  stream_.async_read_some(buffer_.prepare(4096), [self = this->shared_from_this()](
                                                     const error_code& error, std::size_t size) {
    if (error || !self->open_) return;
    self->buffer_.commit(size);
    self->read();
  });
}

template <class S>
void HttpServer::Core::SessionOn<S>::read() {
  set_idle(false);
  parser_.emplace();
  parser_->header_limit(core_.limits_.header_bytes);
  parser_->body_limit(core_.limits_.body_bytes);
  lowest().expires_after(core_.limits_.request);
  http::async_read(stream_, buffer_, *parser_,
                   [self = this->shared_from_this()](const error_code& error, std::size_t) {
                     if (!self->open_) return;
                     if (error) return self->on_unreadable(error);
                     self->on_request();
                   });
}

template <class S>
void HttpServer::Core::SessionOn<S>::on_unreadable(const error_code& error) {
  if (error == beast::error::timeout) {
    ++core_.tally_.deadline;
    return;
  }
  if (auto answer = complaint_about(error)) {
    ++core_.tally_.malformed;
    send(std::move(*answer), false, false);
  }
}

template <class S>
void HttpServer::Core::SessionOn<S>::on_request() {
  asked_ = true;
  core_.look_at_guard();  // whoever keeps a connection must not keep what was taken away
  const auto& message = parser_->get();
  if (message.version() >= 11 && message.count(http::field::host) != 1) {  // RFC 9112 section 3.2
    ++core_.tally_.malformed;
    return send(complaint(400, "one Host header is needed\n"), false, false);
  }
  if (is_allowed()) serve();
}

/// False: it is answered already, or will be.
template <class S>
bool HttpServer::Core::SessionOn<S>::is_allowed() {
  if (!core_.guard_ || !core_.guard_->desk().has_users()) return true;
  const auto& message = parser_->get();
  auto who = message.count(http::field::authorization) == 1
                 ? basic_credentials(view(message[http::field::authorization]))
                 : std::nullopt;
  if (!who) {
    refuse();
    return false;
  }
  if (core_.guard_->desk().is_known(*who)) return true;
  lowest().expires_never();  // nothing is pending that could run out
  const bool taken = core_.guard_->desk().check(
      std::move(*who), [self = this->shared_from_this()](bool right) mutable {
        // The last to hold it must be the server's own thread.
        asio::io_context& io = self->core_.io_;
        asio::post(io, [held = std::move(self), right] {
          if (held->open_) held->on_password(right);
        });
      });
  if (!taken) send(complaint(503, "too many passwords to check\n"), false, false);
  return false;
}

template <class S>
void HttpServer::Core::SessionOn<S>::on_password(bool right) {
  if (right) return serve();
  refuse();
}

template <class S>
void HttpServer::Core::SessionOn<S>::refuse() {
  ++core_.tally_.password;
  const auto& message = parser_->get();
  HttpAnswer answer = complaint(401, "a user name and a password are needed\n");
  answer.authenticate = "Basic realm=\"fadeward\", charset=\"UTF-8\"";
  send(std::move(answer), message.method() == http::verb::head,
       message.keep_alive() && !core_.stopping_);
}

template <class S>
void HttpServer::Core::SessionOn<S>::serve() {
  const auto& message = parser_->get();
  HttpRequest request;
  request.method = view(message.method_string());
  request.target = view(message.target());
  request.accept = view(message[http::field::accept]);
  request.accept_encoding = view(message[http::field::accept_encoding]);
  request.host = view(message[http::field::host]);
  request.origin = view(message[http::field::origin]);
  send(core_.answer(request), message.method() == http::verb::head,
       message.keep_alive() && !core_.stopping_);
}

template <class S>
void HttpServer::Core::SessionOn<S>::send(HttpAnswer answer, bool head, bool keep_alive) {
  answering_ = asked_ = true;
  answer_ = std::move(answer);
  lowest().expires_after(core_.limits_.answer);
  header_ = header_of(answer_, keep_alive, core_.guard_.get());
  const std::array<asio::const_buffer, 2> parts = {
      asio::buffer(header_), asio::buffer(answer_.body.data(), head ? 0 : answer_.body.size())};
  asio::async_write(
      stream_, parts,
      [self = this->shared_from_this(), keep_alive](const error_code& error, std::size_t) {
        self->on_sent(error, keep_alive);
      });
}

template <class S>
void HttpServer::Core::SessionOn<S>::on_sent(const error_code& error, bool keep_alive) {
  answering_ = asked_ = false;
  answer_ = {};
  if (!open_) return;
  if (error == beast::error::timeout) ++core_.tally_.deadline;
  if (error) return;
  if (keep_alive && !core_.stopping_) return wait(core_.limits_.idle);
  end();
}

template <class S>
void HttpServer::Core::SessionOn<S>::end() {
  if constexpr (kTls) {
    if (core_.stopping_) return;
    lowest().expires_after(std::chrono::seconds(1));  // a client need not answer the close
    stream_.async_shutdown([self = this->shared_from_this()](const error_code&) {});
  } else {
    error_code ignored;
    stream_.socket().shutdown(asio::socket_base::shutdown_send, ignored);
    if (!core_.stopping_) drain();
  }
}

/// Takes what the client still sends: closing with unread bytes would reset the connection and
/// could destroy the answer on its way.
template <class S>
void HttpServer::Core::SessionOn<S>::drain() {
  buffer_.clear();
  if (drained_ >= kDrain) return;
  if (drained_ == 0) lowest().expires_after(std::chrono::seconds(1));
  stream_.async_read_some(buffer_.prepare(4096), [self = this->shared_from_this()](
                                                     const error_code& error, std::size_t size) {
    if (error || !self->open_) return;
    self->drained_ += size;
    self->drain();
  });
}

HttpAnswer HttpServer::Core::answer(const HttpRequest& request) {
  try {
    return site_.answer(request, tally_, steady_now());
  } catch (const std::exception&) {
    ++tally_.fault;
    return complaint(500, "internal error\n");
  }
}

void HttpServer::Core::accept() {
  acceptor_.async_accept([this](const error_code& error, Socket socket) {
    if (stopping_) return;
    if (!error) {
      take(std::move(socket));
      return accept();
    }
    ++tally_.accept;
    if (error == asio::error::connection_aborted) return accept();
    timer_.expires_after(limits_.accept_retry);  // without descriptors, trying at once would spin
    timer_.async_wait([this](const error_code& cancelled) {
      if (!cancelled && !stopping_) accept();
    });
  });
}

void HttpServer::Core::take(Socket socket) {
  if (waiting_.size() + busy_.size() >= limits_.connections) {
    ++tally_.limit;
    // Where none is idle, who is longest at saying what it wants: else a few slow ones keep all
    // others out.
    Sessions& among = waiting_.empty() ? busy_ : waiting_;
    const auto oldest = std::ranges::find_if(
        among, [](const Session* session) { return session->may_make_room(); });
    if (oldest == among.end()) return;  // all are at work: the newcomer's socket closes here
    (*oldest)->close();
  }
  error_code ignored;
  socket.set_option(tcp::no_delay(true), ignored);
  look_at_guard();
  if (guard_ && guard_->tls())
    std::make_shared<SessionOn<TlsStream>>(*this, guard_->tls(), Stream(std::move(socket)),
                                           *guard_->tls())
        ->begin();
  else
    std::make_shared<SessionOn<Stream>>(*this, nullptr, std::move(socket))->begin();
}

void HttpServer::Core::look_at_guard() {
  if (!guard_) return;
  std::string why;
  switch (guard_->refresh(steady_now(), why)) {
    case WebGuard::Refresh::same: return;
    case WebGuard::Refresh::renewed:
      tally_.web_config_successful = true;
      if (hooks_.remark) hooks_.remark(true, "web_config read anew");
      return;
    case WebGuard::Refresh::failed:
      tally_.web_config_successful = false;
      if (hooks_.remark) hooks_.remark(false, "web_config not used, the one before stays: " + why);
      return;
  }
}

void HttpServer::Core::left() {
  if (stopping_ && !ended_ && waiting_.empty() && busy_.empty()) timer_.cancel();
}

void HttpServer::Core::begin_stop() {
  stopping_ = true;
  error_code ignored;
  acceptor_.close(ignored);
  timer_.cancel();
  for (Session* session : waiting_) session->close();
  for (Session* session : busy_) {
    if (!session->is_answering()) session->close();
  }
  if (waiting_.empty() && busy_.empty()) return;
  timer_.expires_after(limits_.stop);
  timer_.async_wait([this](const error_code& cancelled) {
    if (!cancelled) io_.stop();
  });
}

Result<tcp::endpoint> HttpServer::Core::endpoint() {
  error_code error;
  const auto numeric = asio::ip::make_address(settings_.address, error);
  if (!error) return tcp::endpoint(numeric, settings_.port);
  tcp::resolver resolver(io_);
  const auto found = resolver.resolve(settings_.address, std::to_string(settings_.port),
                                      tcp::resolver::passive, error);
  if (error || found.empty()) {
    return Error{"cannot listen on " + settings_.address + ": no such address" +
                 (error ? " (" + error.message() + ")" : "")};
  }
  return found.begin()->endpoint();
}

Status HttpServer::Core::listen() {
  const auto where = endpoint();
  if (!where) return where.error();
  error_code error;
  acceptor_.open(where->protocol(), error);
  if (!error) acceptor_.set_option(asio::socket_base::reuse_address(true), error);
  if (!error) acceptor_.bind(*where, error);
  if (!error) acceptor_.listen(asio::socket_base::max_listen_connections, error);
  if (error) {
    const bool v6 = where->address().is_v6();
    const std::string address = where->address().to_string();
    error_code ignored;
    acceptor_.close(ignored);
    return Error{"cannot listen on " + (v6 ? "[" + address + "]" : address) + ":" +
                 std::to_string(settings_.port) + ": " +
                 (error == asio::error::address_in_use ? "already in use" : error.message())};
  }
  port_ = acceptor_.local_endpoint(error).port();
  return success();
}

void HttpServer::Core::run() {
  for (;;) {
    try {
      io_.run();
      return;
    } catch (const std::exception&) {
      ++tally_.fault;  // one handler failed; the others go on
    }
  }
}

Status HttpServer::Core::start() {
  if (!settings_.web_config.empty()) {
    if (!hooks_.web_config) return Error{"http: web_config is set, but nobody reads it"};
    auto guard = WebGuard::make(settings_.web_config, hooks_.web_config);
    if (!guard) return Error{"http: web_config: " + guard.error().message};
    guard_ = std::move(guard).value();
    secure_ = guard_->tls() != nullptr;
  }
  if (thread_.joinable() || ended_) return Error{"an HTTP server starts only once"};
  if (Status bound = listen(); !bound) return bound;
  accept();
  thread_ = start_thread("http", [this] { run(); });
  return success();
}

void HttpServer::Core::stop() {
  if (!thread_.joinable()) return;
  asio::post(io_, [this] { begin_stop(); });
  thread_.join();
  ended_ = true;
  if (guard_) guard_->desk().stop();
}

HttpServer::HttpServer(HttpSettings settings, const SnapshotBox& box, BuildInfo build,
                       HttpHooks hooks, HttpLimits limits)
    : core_(std::make_unique<Core>(std::move(settings), box, std::move(build), std::move(hooks),
                                   limits)) {}
HttpServer::~HttpServer() = default;

Status HttpServer::start() { return core_->start(); }
std::uint16_t HttpServer::port() const { return core_->port(); }
bool HttpServer::is_secure() const { return core_->is_secure(); }
void HttpServer::stop() { core_->stop(); }

}  // namespace fadeward::publish
