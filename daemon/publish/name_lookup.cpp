#include "name_lookup.hpp"

#include <netdb.h>
#include <pthread.h>
#include <signal.h>
#include <sys/socket.h>

#include <algorithm>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/post.hpp>
#include <mutex>
#include <system_error>
#include <thread>
#include <utility>

namespace fadeward::publish {

namespace {

constexpr std::size_t kMostAddresses = 8;

Result<NameLookup::Addresses> look_up(const std::string& host) {
  addrinfo hints{};
  hints.ai_socktype = SOCK_STREAM;
  addrinfo* found = nullptr;
  if (const int failed = ::getaddrinfo(host.c_str(), nullptr, &hints, &found); failed != 0)
    return Error{host + ": " + ::gai_strerror(failed)};
  NameLookup::Addresses addresses;
  for (const addrinfo* at = found; at != nullptr && addresses.size() < kMostAddresses; at = at->ai_next) {
    boost::asio::ip::tcp::endpoint endpoint;
    if (at->ai_addrlen > endpoint.capacity()) continue;
    std::copy_n(reinterpret_cast<const char*>(at->ai_addr), at->ai_addrlen,
                reinterpret_cast<char*>(endpoint.data()));
    addresses.push_back(endpoint.address());
  }
  ::freeaddrinfo(found);
  if (addresses.empty()) return Error{host + ": no address"};
  return addresses;
}

}  // namespace

struct NameLookup::Query : std::enable_shared_from_this<NameLookup::Query> {
  std::mutex mutex;                       ///< guards io, running and answer
  boost::asio::io_context* io = nullptr;  ///< null: nobody waits any more
  bool running = true;
  Result<Addresses> answer = Error{"name lookup failed"};
  Done done;                              ///< the loop's own

  void finish(Result<Addresses> found) {
    const std::lock_guard lock(mutex);
    running = false;
    answer = std::move(found);
    if (io == nullptr) return;
    boost::asio::post(*io, [self = shared_from_this()] {
      if (Done call = std::exchange(self->done, nullptr)) call(self->answer);
    });
  }
};

void NameLookup::start(boost::asio::io_context& io, const std::string& host, Done done) {
  if (query_) {
    const std::lock_guard lock(query_->mutex);
    if (query_->running) {   // its answer will do for this attempt too: one target, one host
      query_->io = &io;
      query_->done = std::move(done);
      return;
    }
  }
  query_ = std::make_shared<Query>();
  query_->io = &io;
  query_->done = std::move(done);
  sigset_t all, before;   // signals are for the main thread
  ::sigfillset(&all);
  ::pthread_sigmask(SIG_SETMASK, &all, &before);
  try {
    std::thread([query = query_, host] { query->finish(look_up(host)); }).detach();
  } catch (const std::system_error& failed) {
    query_->finish(Error{std::string("name lookup: ") + failed.what()});
  }
  ::pthread_sigmask(SIG_SETMASK, &before, nullptr);
}

void NameLookup::cancel() {
  if (!query_) return;
  const std::lock_guard lock(query_->mutex);
  query_->io = nullptr;
  query_->done = nullptr;
}

}  // namespace fadeward::publish
