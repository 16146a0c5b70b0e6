"""The real servers of a monitoring stack, each on a port of 127.0.0.1 of its own."""

import json
import os
import socket
import subprocess
import urllib.parse

import harness


class Server:
    """Runs when it is made; may be stopped and started again on the same port and data. `config` is a path
    or what its file shall hold."""

    PROGRAM = DATA_OPTION = ""

    def __init__(self, t, config, name=None, data=None, options=()):
        self.t, self.name, self.options = t, name or t.new_name(self.PROGRAM), options
        self.port = harness.free_port()
        self.data = data or t.path(self.name)
        # JSON is YAML.
        self.config = config if isinstance(config, str) else t.write(f"{self.name}.yml", json.dumps(config))
        self.process = None
        self.start()

    def start(self):
        self.process = self.t.process(
            [self.t.need(self.PROGRAM), f"--config.file={self.config}", f"{self.DATA_OPTION}={self.data}",
             f"--web.listen-address=127.0.0.1:{self.port}", *self.options], self.name)
        harness.wait_until(self.ready, f"{self.name} is ready", 120)

    def stop(self):
        return self.process.stop()

    def ready(self):
        if not self.process.running():
            raise harness.Failed(f"{self.name} ended:\n{self.process.log()}")
        try:
            return self.get("/-/ready").status == 200
        except OSError:
            return False

    @property
    def url(self):
        return f"http://127.0.0.1:{self.port}"

    def get(self, path, method="GET", **more):
        return harness.http_request(self.port, path, method, limit_s=120, **more)

    def complaints(self):
        return [line for line in self.process.log().splitlines() if "level=warn" in line or "level=error" in line]


class Prometheus(Server):
    PROGRAM, DATA_OPTION = "prometheus", "--storage.tsdb.path"

    def api(self, path, **words):
        answer = self.get(f"/api/v1/{path}?" + urllib.parse.urlencode(words)).json()
        if answer["status"] != "success":
            raise harness.Failed(f"{path} {words}: {answer}")
        return answer["data"]

    def query(self, expression, at=None, without=("__name__",)):
        """{labels: value} of an instant query."""
        found = self.api("query", query=expression, **({} if at is None else {"time": at}))["result"]
        return {frozenset((key, value) for key, value in one["metric"].items() if key not in without): float(one["value"][1])
                for one in found}

    def value(self, expression, at=None):
        """Of the only series; None where there is none or more than one."""
        found = list(self.query(expression, at, without=()).values())
        return found[0] if len(found) == 1 else None


class Alertmanager(Server):
    PROGRAM, DATA_OPTION = "prometheus-alertmanager", "--storage.path"
    TELLS_NOBODY = {"route": {"receiver": "nobody"}, "receivers": [{"name": "nobody"}]}

    def __init__(self, t, config=None, name=None, options=("--cluster.listen-address=",)):
        super().__init__(t, config or self.TELLS_NOBODY, name, options=options)

    def ready(self):
        if not self.process.running() and "default.tmpl" in self.process.log():
            raise harness.Skipped("the Alertmanager's template file is not installed")
        return super().ready()

    def alerts(self):
        return self.get("/api/v2/alerts").json()

    def post(self, alerts):
        """`alerts`: JSON text."""
        return self.get("/api/v2/alerts", "POST", headers={"Content-Type": "application/json"}, body=alerts)

    def amtool(self, *args):
        done = subprocess.run([self.t.need("amtool"), f"--alertmanager.url={self.url}", *args], capture_output=True,
                              check=False, timeout=60)
        return done.stdout.decode()


def scraping(port, interval_s=1, rules_of=None):
    """Configuration of a Prometheus that scrapes the daemon at this port as the gateway mill-house; with our
    rules where the top directory of the sources is given."""
    config = {"global": {what: f"{interval_s}s" for what in ("scrape_interval", "scrape_timeout", "evaluation_interval")},
              "scrape_configs": [{"job_name": "fadeward", "static_configs": [
                  {"targets": [f"127.0.0.1:{port}"], "labels": {"gateway": "mill-house"}}]}]}
    if rules_of:
        config["rule_files"] = [os.path.join(rules_of, "deploy/prometheus/rules.yml")]
    return config


def blocks_of(t, export, data):
    """Backfills a file in OpenMetrics text into `data`: (exit code, what promtool complained of)."""
    made = subprocess.run([t.need("promtool"), "tsdb", "create-blocks-from", "--max-block-duration=768h", "openmetrics", export, data],
                          capture_output=True, timeout=1500, check=False)
    return made.returncode, made.stderr.decode()[-300:]


def hanging_names(t):
    """The program with a name server that never answers; None where that cannot be had."""
    try:
        sink = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        sink.bind(("127.0.0.77", 53))
    except OSError:
        return None
    t.keep(sink.close)
    resolver = t.write("resolv.conf", "nameserver 127.0.0.77\noptions timeout:30 attempts:5\n")
    wrapper = t.write("private-names", "#!/bin/sh\nexec unshare -m sh -c 'mount --bind " + resolver
                      + " /etc/resolv.conf && exec \"$0\" \"$@\"' " + t.fadeward + " \"$@\"\n")
    os.chmod(wrapper, 0o755)
    tried = subprocess.run([wrapper, "--version"], capture_output=True, check=False, timeout=30)
    return None if tried.returncode else wrapper
