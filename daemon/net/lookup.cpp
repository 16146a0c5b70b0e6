#include "fadeward/net/lookup.hpp"

#include <netdb.h>
#include <sys/socket.h>

#include <algorithm>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/post.hpp>
#include <cerrno>
#include <mutex>
#include <system_error>
#include <utility>

#include "fadeward/base/thread.hpp"
#include "fadeward/net/reason.hpp"

namespace fadeward::net {

namespace {

constexpr std::size_t kMostAddresses = 8;

Result<Lookup::Addresses> look_up(const std::string& host) {
  addrinfo hints{};
  hints.ai_socktype = SOCK_STREAM;  // one entry per address, not one per protocol
  addrinfo* found = nullptr;
  const int result = ::getaddrinfo(host.c_str(), nullptr, &hints, &found);
  if (result != 0) return Error{reason_for_lookup(result, errno)};
  Lookup::Addresses addresses;
  for (const addrinfo* entry = found; entry != nullptr; entry = entry->ai_next) {
    if (addresses.size() == kMostAddresses) break;
    boost::asio::ip::tcp::endpoint endpoint;
    if (entry->ai_addrlen > endpoint.capacity()) continue;
    std::copy_n(reinterpret_cast<const char*>(entry->ai_addr), entry->ai_addrlen,
                reinterpret_cast<char*>(endpoint.data()));
    addresses.push_back(endpoint.address());
  }
  ::freeaddrinfo(found);
  if (addresses.empty()) return Error{reason_for_lookup(EAI_NONAME, 0)};
  return addresses;
}

}  // namespace

std::string endpoint_name(const std::string& host, std::uint16_t port) {
  const bool bracketed = host.find(':') != std::string::npos;
  return (bracketed ? "[" + host + "]" : host) + ":" + std::to_string(port);
}

struct Lookup::Query : std::enable_shared_from_this<Lookup::Query> {
  std::mutex mutex;
  boost::asio::io_context* io = nullptr;  ///< null: nobody waits any more
  bool running = false;
  Done done;  ///< touched by the loop's thread only
  Result<Addresses> answer = Error{"name lookup failed"};

  void run(const std::string& host) {
    Result<Addresses> found = look_up(host);
    const std::lock_guard lock(mutex);
    running = false;
    answer = std::move(found);
    hand_over();
  }

  // With the lock held: whoever cancels later finds the hand-over done, and `done` empty in it.
  void hand_over() {
    if (io == nullptr) return;
    boost::asio::post(*io, [self = shared_from_this()] {
      if (Done call = std::exchange(self->done, nullptr)) call(std::move(self->answer));
    });
  }
};

void Lookup::start(boost::asio::io_context& io, const std::string& host, Done done) {
  if (query_) {
    const std::lock_guard lock(query_->mutex);
    if (query_->running) {
      // The one before still asks: its answer will do for this attempt too.
      query_->io = &io;
      query_->done = std::move(done);
      return;
    }
  }
  query_ = std::make_shared<Query>();
  query_->io = &io;
  query_->done = std::move(done);
  query_->running = true;
  try {
    start_thread("lookup", [query = query_, host] { query->run(host); }).detach();
  } catch (const std::system_error& error) {
    query_->running = false;
    query_->answer = Error{"name lookup: " + reason_for_errno(error.code().value())};
    query_->hand_over();
  }
}

void Lookup::cancel() {
  if (!query_) return;
  {
    const std::lock_guard lock(query_->mutex);
    query_->io = nullptr;
  }
  query_->done = nullptr;
}

}  // namespace fadeward::net
