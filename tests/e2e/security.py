"""TLS, client certificates and passwords of a web-config file, as real clients meet them; changed
while the daemon runs; under a crowd that knows no password."""

import base64
import concurrent.futures
import crypt
import http.client
import os
import re
import ssl
import subprocess
import time

import harness
import servers

PASSWORD, SECOND = "sesame-open-41", "another-word-97"
LINKS = "links: [ { name: weir } ]\n"


def openssl(*args, cwd):
    done = subprocess.run(["openssl", *args], cwd=cwd, capture_output=True, check=False, timeout=60)
    if done.returncode != 0:
        raise harness.Failed(f"openssl {args}: {done.stderr.decode()}")


def authority(place, name):
    openssl("req", "-x509", "-newkey", "rsa:2048", "-nodes", "-keyout", f"{name}.key", "-out", f"{name}.pem",
            "-subj", f"/CN={name}", "-days", "3", cwd=place)


def certificate(place, name, signer, sans):
    openssl("req", "-newkey", "rsa:2048", "-nodes", "-keyout", f"{name}.key", "-out", f"{name}.csr",
            "-subj", f"/CN={name}", cwd=place)
    with open(os.path.join(place, f"{name}.ext"), "w", encoding="ascii") as file:
        file.write(f"subjectAltName={sans}\n")
    openssl("x509", "-req", "-in", f"{name}.csr", "-CA", f"{signer}.pem", "-CAkey", f"{signer}.key",
            "-CAcreateserial", "-out", f"{name}.pem", "-days", "3", "-extfile", f"{name}.ext", cwd=place)


def bcrypt(password, rounds=1 << 10):
    return crypt.crypt(password, crypt.mksalt(crypt.METHOD_BLOWFISH, rounds=rounds))


class Client:
    """What a monitoring server brings: a CA, perhaps a certificate, perhaps a password."""

    def __init__(self, place, port, cert=None, user=None, password=None):
        self.port = port
        self.context = ssl.create_default_context(cafile=os.path.join(place, "ca.pem"))
        if cert:
            self.context.load_cert_chain(os.path.join(place, cert + ".pem"), os.path.join(place, cert + ".key"))
        self.headers = {}
        if user:
            self.headers["Authorization"] = "Basic " + base64.b64encode(f"{user}:{password}".encode()).decode()

    def get(self, path):
        """Status, body and certificate serial of the server; a refused handshake is (None, reason, None)."""
        connection = http.client.HTTPSConnection("localhost", self.port, timeout=10, context=self.context)
        try:
            connection.request("GET", path, headers=self.headers)
            serial = connection.sock.getpeercert()["serialNumber"]
            response = connection.getresponse()
            return response.status, response.read().decode(), serial
        except (ssl.SSLError, ConnectionError, http.client.HTTPException) as refused:
            return None, str(refused), None
        finally:
            connection.close()


def write(place, name, text):
    """By a rename, as careful tools do."""
    with open(os.path.join(place, name + ".new"), "w", encoding="utf-8") as file:
        file.write(text)
    os.rename(os.path.join(place, name + ".new"), os.path.join(place, name))


def web_config(users, client_auth=True, extra=""):
    return ("tls_server_config:\n  cert_file: server.pem\n  key_file: server.key\n" +
            ("  client_auth_type: RequireAndVerifyClientCert\n  client_ca_file: ca.pem\n"
             "  client_allowed_sans: [ scraper.example ]\n" if client_auth else "") + extra +
            "basic_auth_users:\n" + "".join(f"  {user}: {hashed}\n" for user, hashed in users.items()))


def start(t, place):
    t.radio = t.tcp()
    config = t.write("secure.yaml", f"http: {{ listen: '127.0.0.1:0', web_config: {place}/web.yaml }}\n" + LINKS +
                     f"ports: [ {{ name: p, source: 'tcp://127.0.0.1:{t.radio.port}' }} ]\n")
    daemon = t.daemon(config, serving=False)
    harness.wait_until(lambda: re.search(r"serving https://127\.0\.0\.1:(\d+)/", daemon.log()), "the daemon serves TLS")
    daemon.port = int(re.search(r"serving https://127\.0\.0\.1:(\d+)/", daemon.log()).group(1))
    t.radio.accept()
    return daemon


def who_is_served(t, place, daemon):
    t.section("who is served")
    good = Client(place, daemon.port, "scraper", "ann", PASSWORD)
    status, body, _ = good.get("/metrics")
    t.expect(status == 200 and "fadeward_link_up" in body, "certificate and password: served", f"{status} {body[:200]}")
    t.equal(Client(place, daemon.port, "scraper", "ann", "wrong").get("/metrics")[0], 401, "the wrong password: 401")
    t.equal(Client(place, daemon.port, "scraper", "eve", PASSWORD).get("/metrics")[0], 401, "an unknown user: 401")
    t.equal(Client(place, daemon.port, "scraper").get("/-/healthy")[0], 401, "no password: 401, on every path")
    for cert, what in ((None, "no certificate"), ("stranger", "one of another CA"), ("guest", "one of this CA with another name")):
        t.equal(Client(place, daemon.port, cert, "ann", PASSWORD).get("/metrics")[0], None, f"{what}: no connection")
    t.expect(not plain(daemon.port), "plain HTTP: no answer")
    curl_is_served(t, place, daemon)
    old = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    old.check_hostname, old.verify_mode = False, ssl.CERT_NONE
    old.maximum_version = ssl.TLSVersion.TLSv1_1
    client = Client(place, daemon.port)
    client.context = old
    t.equal(client.get("/metrics")[0], None, "TLS 1.1: no connection")
    scrape = harness.Metrics(good.get("/metrics")[1])
    t.expect(scrape.get("fadeward_http_unauthorized_total") == 3, "refused requests are counted",
             scrape.get("fadeward_http_unauthorized_total"))
    t.expect(scrape.get("fadeward_http_connections_dropped_total", reason="handshake") >= 4, "and refused handshakes")
    return good


def curl_is_served(t, place, daemon):
    """A client that is not ours, and not Python's."""
    url = f"https://localhost:{daemon.port}/metrics"
    ours = ["--cert", f"{place}/scraper.pem", "--key", f"{place}/scraper.key"]

    def ask(*args):
        done = subprocess.run([t.need("curl"), "-sS", "--noproxy", "*", "--max-time", "20", "--cacert", f"{place}/ca.pem", "-o", "/dev/null",
                               "-w", "%{http_code} %{ssl_verify_result}", *args, url], capture_output=True, check=False, timeout=60)
        return done.returncode, done.stdout.decode()
    t.equal(ask(*ours, "--user", f"ann:{PASSWORD}"), (0, "200 0"), "curl with certificate and password: served")
    t.equal(ask(*ours, "--user", f"ann:{PASSWORD}", "--tlsv1.3", "--compressed"), (0, "200 0"), "by TLS 1.3, with gzip")
    t.equal(ask(*ours, "--user", f"ann:{PASSWORD}", "--tls-max", "1.2"), (0, "200 0"), "by TLS 1.2")
    t.expect(ask("--user", f"ann:{PASSWORD}")[0] != 0, "curl without a certificate: no connection")


def plain(port):
    try:
        return harness.http_request(port, "/metrics", limit_s=3).text
    except (OSError, http.client.HTTPException):
        return ""


def changes(t, place, daemon, good):
    t.section("changed while it runs")
    serial = good.get("/-/healthy")[2]
    write(place, "web.yaml", web_config({"ann": bcrypt(SECOND)}))
    after = Client(place, daemon.port, "scraper", "ann", SECOND)
    harness.wait_until(lambda: after.get("/-/healthy")[0] == 200, "the new password is good")
    t.equal(good.get("/-/healthy")[0], 401, "the old one no longer")
    certificate(place, "server", "ca", "DNS:localhost")
    harness.wait_until(lambda: after.get("/-/healthy")[2] not in (serial, None), "a renewed certificate is shown")
    write(place, "web.yaml", "tls_server_config: { cert_file: nowhere.pem, key_file: server.key }\n")
    harness.wait_until(lambda: (after.get("/-/healthy")[0], "web_config not used" in daemon.log()) == (200, True),
                       "a file that cannot be used leaves the old one in force")
    scrape = harness.Metrics(after.get("/metrics")[1])
    t.equal(scrape.get("fadeward_web_config_last_reload_successful"), 0, "and a metric says so")
    write(place, "web.yaml", "basic_auth_users: {}\n")
    harness.wait_until(lambda: (after.get("/-/healthy")[0], "at a start only" in daemon.log()) == (200, True),
                       "TLS does not vanish under way")
    write(place, "web.yaml", web_config({"ann": bcrypt(SECOND)}))
    harness.wait_until(lambda: harness.Metrics(after.get("/metrics")[1]).get("fadeward_web_config_last_reload_successful") == 1,
                       "mended")
    return after


def crowd(t, place, daemon, good):
    t.section("a crowd without the password")
    stranger = Client(place, daemon.port, "scraper", "ann", "guess")
    with concurrent.futures.ThreadPoolExecutor(30) as pool:
        guesses = [pool.submit(stranger.get, "/metrics") for _ in range(150)]
        slowest, served = 0, 0
        for seq in range(20):
            t.radio.write(harness.report_line(link="weir", seq=seq, rssi_dbm=-90, snr_db=9, noise_dbm=-115))
            begun = time.monotonic()
            status = good.get("/metrics")[0]
            slowest = max(slowest, time.monotonic() - begun)
            served += status == 200
            time.sleep(0.05)
        harness.wait_until(lambda: harness.Metrics(good.get("/metrics")[1]).get("fadeward_link_reports_total", link="weir") == 20,
                           "reports are judged")
        told = {guess.result()[0] for guess in guesses}
    t.equal(served, 20, "who knows it is served meanwhile, every time")
    t.expect(told <= {401, 503, None} and 401 in told, "all the others are refused", told)
    if not t.sanitized:
        t.expect(slowest < 2, "without much delay", f"{slowest:.2f} s")


def prometheus(t, place, daemon):
    t.section("a real Prometheus with the same means")
    server = servers.Prometheus(t, {
        "global": {"scrape_interval": "1s"},
        "scrape_configs": [{
            "job_name": "fadeward", "scheme": "https", "static_configs": [{"targets": [f"localhost:{daemon.port}"]}],
            "basic_auth": {"username": "ann", "password": SECOND},
            "tls_config": {"ca_file": f"{place}/ca.pem", "cert_file": f"{place}/scraper.pem", "key_file": f"{place}/scraper.key"}}]})
    harness.wait_until(lambda: server.value("up") == 1, "up is 1", 60)
    t.expect(True, "scrapes")


def mistakes(t, place):
    t.section("mistakes in the file")
    shown = t.write("shown.yaml", "basic_auth_users: { ann: plain-text-password }\n")
    config = t.write("bad.yaml", f"http: {{ listen: '127.0.0.1:0', web_config: {shown} }}\n" + LINKS)
    for command in ("check", "watch"):
        code, _, err = t.run(command, "--config", config, limit_s=20)
        t.expect(code == 2 and "shown.yaml:1:" in err and "bcrypt" in err and "plain-text" not in err,
                 f"{command}: a password in the clear is refused and not shown", f"{code} {err}")
    mixed = t.write("mixed.yaml", f"tls_server_config: {{ cert_file: {place}/server.pem, key_file: {place}/ca.key }}\n")
    config = t.write("bad2.yaml", f"http: {{ listen: '127.0.0.1:0', web_config: {mixed} }}\n" + LINKS)
    code, _, err = t.run("watch", "--config", config, limit_s=20)
    t.expect(code == 2 and "ca.key" in err, "a key that belongs to another certificate is refused", f"{code} {err}")
    openssl("pkcs8", "-topk8", "-in", "server.key", "-out", "locked.key", "-passout", "pass:abcd", cwd=place)
    locked = t.write("locked.yaml", f"tls_server_config: {{ cert_file: {place}/server.pem, key_file: {place}/locked.key }}\n")
    config = t.write("bad3.yaml", f"http: {{ listen: '127.0.0.1:0', web_config: {locked} }}\n" + LINKS)
    code, _, err = t.run("watch", "--config", config, limit_s=20)
    t.expect(code == 2 and "locked.key" in err and "pass phrase" not in err,
             "a key under a passphrase is refused; nobody is asked for it", f"{code} {err}")


def test(t):
    t.need("openssl")
    place = t.path("keys")
    os.makedirs(place)
    authority(place, "ca")
    authority(place, "other")
    certificate(place, "server", "ca", "DNS:localhost,IP:127.0.0.1")
    certificate(place, "scraper", "ca", "DNS:scraper.example")
    certificate(place, "guest", "ca", "DNS:guest.example")
    certificate(place, "stranger", "other", "DNS:scraper.example")
    write(place, "web.yaml", web_config({"ann": bcrypt(PASSWORD), "bob": bcrypt(SECOND)}))
    tool = subprocess.run([t.need("promtool"), "check", "web-config", f"{place}/web.yaml"], capture_output=True, check=False, timeout=30)
    # Debian's does not know client_allowed_sans yet.
    if b"client_allowed_sans" not in tool.stderr:
        t.equal(tool.returncode, 0, f"promtool finds nothing: {tool.stderr.decode()}")
    code, out, err = t.run("check", "--config", t.write("c.yaml", f"http: {{ web_config: {place}/web.yaml }}\n" + LINKS))
    t.expect(code == 0 and b"passwords for ann and bob" in out, "check says what it understood", err or out[-300:])
    daemon = start(t, place)
    good = who_is_served(t, place, daemon)
    good = changes(t, place, daemon, good)
    crowd(t, place, daemon, good)
    prometheus(t, place, daemon)
    everything = daemon.log() + good.get("/metrics")[1] + good.get("/")[1] + good.get("/links")[1]
    for secret in (PASSWORD, SECOND, "$2b$", "BEGIN"):
        t.expect(secret not in everything, "no secret in log, metrics or pages", secret)
    t.equal(daemon.stop()[0], 0, "ends with 0")
    mistakes(t, place)


if __name__ == "__main__":
    harness.run(test)
