#include "fadeward/publish/web_client.hpp"

#include <openssl/err.h>
#include <openssl/ssl.h>

#include <algorithm>
#include <array>
#include <boost/asio/awaitable.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/detached.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/redirect_error.hpp>
#include <boost/asio/ssl/context.hpp>
#include <boost/asio/ssl/host_name_verification.hpp>
#include <boost/asio/ssl/stream.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <boost/asio/write.hpp>
#include <boost/beast/core/basic_stream.hpp>
#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/http/parser.hpp>
#include <boost/beast/http/read.hpp>
#include <boost/beast/http/string_body.hpp>
#include <filesystem>
#include <fstream>
#include <optional>
#include <utility>

#include "fadeward/base/text.hpp"
#include "fadeward/net/lookup.hpp"
#include "fadeward/publish/web_address.hpp"

namespace fadeward::publish {

namespace asio = boost::asio;
namespace beast = boost::beast;
namespace http = boost::beast::http;
namespace ssl = boost::asio::ssl;
using asio::ip::tcp;
using boost::system::error_code;

namespace {

using Executor = asio::io_context::executor_type;
using Stream = beast::basic_stream<tcp, Executor>;
using Secure = ssl::stream<Stream&>;
using Timer = asio::basic_waitable_timer<std::chrono::steady_clock,
                                         asio::wait_traits<std::chrono::steady_clock>, Executor>;
template <class T = void>
using Task = asio::awaitable<T, Executor>;
using Awaiting = asio::use_awaitable_t<Executor>;
using Steady = std::chrono::steady_clock;
using Parser = http::response_parser<http::string_body>;

constexpr Awaiting kAwait;
constexpr std::size_t kMostAddresses = 3;
constexpr std::size_t kLongestPassword = 4096;

struct Connection {
  explicit Connection(const Executor& executor) : tcp(executor) {}
  Stream tcp;
  std::optional<Secure> secure;
  beast::flat_buffer buffer;
  Steady::time_point last_used{};
};

/// RFC 4648 section 4.
std::string base64(std::string_view bytes) {
  static constexpr std::string_view digits =
      "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  std::string out;
  for (std::size_t i = 0; i < bytes.size(); i += 3) {
    const auto byte = [&](std::size_t at) {
      return at < bytes.size() ? static_cast<unsigned char>(bytes[at]) : 0U;
    };
    const unsigned group = byte(i) << 16 | byte(i + 1) << 8 | byte(i + 2);
    for (unsigned digit = 0; digit < 4; ++digit)
      out += i + digit > bytes.size() ? '=' : digits[group >> (18 - 6 * digit) & 63U];
  }
  return out;
}

/// The first line.
Result<std::string> read_password(const std::string& path) {
  std::error_code failed;  // a pipe would hold up the whole thread, and hand it out once only
  if (const auto kind = std::filesystem::status(path, failed).type();
      kind != std::filesystem::file_type::regular && kind != std::filesystem::file_type::not_found)
    return Error{"password file " + printable(path) + " is not a regular file"};
  std::ifstream file(path, std::ios::binary);
  std::string text(kLongestPassword, '\0');
  file.read(text.data(), static_cast<std::streamsize>(text.size()));
  if (!file.is_open() || file.bad())
    return Error{"password file " + printable(path) + " cannot be read"};
  text.resize(static_cast<std::size_t>(file.gcount()));
  text.resize(std::min(text.find_first_of("\r\n"), text.size()));
  if (text.empty()) return Error{"password file " + printable(path) + " is empty"};
  return text;
}

std::string words(const error_code& error) {
  if (error == beast::error::timeout) return "timed out";
  if (error == http::error::end_of_stream || error == asio::error::eof)
    return "the server closed the connection";
  if (error == http::error::body_limit || error == http::error::header_limit)
    return "the answer is too large";
  return error.message();
}

}  // namespace

struct WebClient::State {
  State(asio::io_context& context, WebTarget where, WebLimits allowed)
      : io(context), target(std::move(where)), limits(allowed), waiting(context.get_executor()) {
    if (auto split = split_web_address(target.url)) address = std::move(*split);
  }

  asio::io_context& io;
  const WebTarget target;
  const WebLimits limits;
  WebAddress address;
  net::Lookup lookup;
  Timer waiting;  ///< for the lookup
  std::unique_ptr<Connection> connection;
  std::shared_ptr<ssl::context> tls;
  bool busy = false;
  bool gone = false;

  static Task<> serve(std::shared_ptr<State> self, WebRequest request, Done done);
  Task<WebAnswer> attempt(const std::string& head, const WebRequest& request);
  Task<Status> connect();
  Task<Result<net::Lookup::Addresses>> resolve();
  Task<Status> secure();
  template <class Layer>
  Task<WebAnswer> exchange(Layer& layer, const std::string& head, const WebRequest& request,
                           bool reused, bool& again);
  Status prepare_tls();
  Result<std::string> head_of(const WebRequest& request) const;
};

/// Everything but the body.
Result<std::string> WebClient::State::head_of(const WebRequest& request) const {
  std::string out =
      "POST " + join_path(address.path, request.path) + address.query + " HTTP/1.1\r\n";
  out += "Host: " + address.authority + "\r\n";
  out += "User-Agent: fadeward/" FADEWARD_VERSION "\r\n";
  if (!target.user.empty()) {
    const auto password = read_password(target.password_file);
    if (!password) return password.error();
    out += "Authorization: Basic " + base64(target.user + ":" + *password) + "\r\n";
  }
  out += "Content-Type: " + request.content_type + "\r\n";
  if (!request.content_encoding.empty())
    out += "Content-Encoding: " + request.content_encoding + "\r\n";
  out += request.more_headers;
  out += "Content-Length: " + std::to_string(request.body.size()) + "\r\n\r\n";
  return out;
}

Status WebClient::State::prepare_tls() {
  if (tls) return success();
  auto context = std::make_shared<ssl::context>(ssl::context::tls_client);
  error_code failed;
  SSL_CTX_set_min_proto_version(context->native_handle(), TLS1_2_VERSION);
  context->set_verify_mode(ssl::verify_peer, failed);
  if (target.ca_file.empty()) {
    context->set_default_verify_paths(failed);
    if (failed)
      return Error{"the system's certificate authorities cannot be read: " + failed.message()};
  } else {
    context->load_verify_file(target.ca_file, failed);
    if (failed)
      return Error{"ca_file " + printable(target.ca_file) + " cannot be used: " + failed.message()};
  }
  tls = std::move(context);
  return success();
}

Task<Result<net::Lookup::Addresses>> WebClient::State::resolve() {
  error_code failed;
  if (const auto numeric = asio::ip::make_address(address.host, failed); !failed)
    co_return net::Lookup::Addresses{numeric};
  std::optional<Result<net::Lookup::Addresses>> found;
  waiting.expires_after(limits.resolve);
  lookup.start(io, address.host, [&](Result<net::Lookup::Addresses> answer) {
    found.emplace(std::move(answer));
    waiting.cancel();
  });
  co_await waiting.async_wait(asio::redirect_error(kAwait, failed));
  lookup.cancel();
  if (!found) co_return Error{"the name " + address.host + " is not resolved in time"};
  if (!*found) co_return Error{address.host + ": " + found->error().message};
  co_return std::move(*found);
}

Task<Status> WebClient::State::secure() {
  if (const Status ready = prepare_tls(); !ready) co_return ready;
  connection->secure.emplace(connection->tcp, *tls);
  Secure& layer = *connection->secure;
  error_code failed, numeric;
  layer.set_verify_callback(ssl::host_name_verification(address.host), failed);
  asio::ip::make_address(address.host, numeric);
  if (numeric)
    SSL_set_tlsext_host_name(layer.native_handle(), address.host.c_str());  // names only: RFC 6066
  connection->tcp.expires_after(limits.handshake);
  co_await layer.async_handshake(ssl::stream_base::client, asio::redirect_error(kAwait, failed));
  if (!failed) co_return success();
  tls.reset();  // the files may be better next time
  co_return Error{"TLS handshake: " + words(failed)};
}

Task<Status> WebClient::State::connect() {
  auto addresses = co_await resolve();
  if (!addresses) co_return addresses.error();
  if (addresses->size() > kMostAddresses) addresses->resize(kMostAddresses);
  error_code failed = asio::error::host_not_found;
  for (const auto& each : *addresses) {
    connection = std::make_unique<Connection>(io.get_executor());
    connection->tcp.expires_after(limits.connect);
    co_await connection->tcp.async_connect(tcp::endpoint(each, address.port),
                                           asio::redirect_error(kAwait, failed));
    if (gone) co_return Error{"ended"};
    if (!failed) break;
  }
  if (failed) co_return Error{"connect: " + words(failed)};
  error_code ignored;
  connection->tcp.socket().set_option(tcp::no_delay(true), ignored);
  if (address.tls) co_return co_await secure();
  co_return success();
}

/// `again`: a connection that was kept turned out to be closed before anything came back.
template <class Layer>
Task<WebAnswer> WebClient::State::exchange(Layer& layer, const std::string& head,
                                           const WebRequest& request, bool reused, bool& again) {
  WebAnswer out;
  error_code failed;
  const std::array<asio::const_buffer, 2> parts = {asio::buffer(head), asio::buffer(request.body)};
  connection->tcp.expires_after(limits.write);
  co_await asio::async_write(layer, parts, asio::redirect_error(kAwait, failed));
  if (failed && failed == beast::error::timeout) {
    out.trouble = "sending: timed out";
    co_return out;
  }
  // A server may refuse before it has read everything: what it said is still worth reading.
  const error_code unsent = failed;
  std::optional<Parser> parser;
  connection->tcp.expires_after(limits.read);
  for (int informational = 0; informational < 4; ++informational) {  // 100 Continue and the like
    parser.emplace();
    parser->header_limit(static_cast<std::uint32_t>(limits.header_bytes));
    parser->body_limit(limits.body_bytes);
    co_await http::async_read_header(layer, connection->buffer, *parser,
                                     asio::redirect_error(kAwait, failed));
    if (failed || parser->get().result_int() / 100 != 1) break;
  }
  if (failed == http::error::body_limit) {  // found in the header already: so long a body it says
    out.status = parser->get().result_int();
    connection.reset();
    co_return out;
  }
  if (failed) {
    again = reused && failed != beast::error::timeout && connection->buffer.size() == 0;
    out.trouble = unsent ? "sending: " + words(unsent) : "no answer: " + words(failed);
    co_return out;
  }
  out.status = parser->get().result_int();
  const auto wait = parser->get()[http::field::retry_after];
  out.retry_after.assign(wait.data(), std::min<std::size_t>(wait.size(), 64));
  co_await http::async_read(layer, connection->buffer, *parser,
                            asio::redirect_error(kAwait, failed));
  out.body = parser->get().body().substr(0, 4096);
  if (failed || unsent || connection->buffer.size() > 0 || !parser->get().keep_alive())
    connection.reset();
  else
    connection->last_used = Steady::now();
  co_return out;
}

Task<WebAnswer> WebClient::State::attempt(const std::string& head, const WebRequest& request) {
  WebAnswer out;
  for (int turn = 0; turn < 2; ++turn) {
    const bool reused =
        connection != nullptr && Steady::now() - connection->last_used < limits.keep;
    if (!reused) {
      if (const Status connected = co_await connect(); !connected) {
        connection.reset();
        out.trouble = connected.error().message;
        co_return out;
      }
    }
    bool again = false;
    if (connection->secure)
      out = co_await exchange(*connection->secure, head, request, reused, again);
    else
      out = co_await exchange(connection->tcp, head, request, reused, again);
    if (out.status == 0) connection.reset();
    if (!again || gone) co_return out;
  }
  co_return out;
}

Task<> WebClient::State::serve(std::shared_ptr<State> self, WebRequest request, Done done) {
  co_await asio::post(self->io.get_executor(), kAwait);  // never from within post()
  if (self->gone) co_return;
  WebAnswer answer;
  auto head = self->head_of(request);
  if (self->address.host.empty()) {
    answer.trouble = "no web address";
  } else if (!head) {
    answer.trouble = head.error().message;
  } else {
    // Out of memory, for instance: a target must not stay busy for ever.
    try {
      answer = co_await self->attempt(*head, request);
    } catch (const std::exception& fault) {
      self->connection.reset();
      answer = {};
      answer.trouble = fault.what();
    }
    OPENSSL_cleanse(head->data(), head->size());
  }
  self->busy = false;
  if (!self->gone) done(std::move(answer));
}

WebClient::WebClient(asio::io_context& io, WebTarget target, WebLimits limits)
    : state_(std::make_shared<State>(io, std::move(target), limits)) {}

WebClient::~WebClient() {
  state_->gone = true;
  state_->lookup.cancel();
  state_->waiting.cancel();
  if (state_->connection) state_->connection->tcp.close();
}

void WebClient::post(WebRequest request, Done done) {
  state_->busy = true;
  asio::co_spawn(state_->io.get_executor(),
                 State::serve(state_, std::move(request), std::move(done)), asio::detached);
}

bool WebClient::busy() const { return state_->busy; }
const std::string& WebClient::label() const { return state_->address.label; }

}  // namespace fadeward::publish
