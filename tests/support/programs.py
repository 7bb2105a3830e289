"""The three programs as a test or the demo drives them: run, serve, compare, prove.

FSP_BIN names the folder of the programs. Every process started here is ended here.
"""

import contextlib
import json
import os
import re
import select
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path.insert(0, HERE)
sys.path.insert(0, os.path.join(HERE, "..", "sim"))
sys.dont_write_bytecode = True

import linkproxy  # noqa: E402

FLEET = "lantern-basin"
LIMIT_S = 120  # no single command takes longer


class Failed(AssertionError):
    """A program ended with a status that was not expected."""

    def __init__(self, args, done):
        super().__init__(f"{' '.join(args)}: exit {done.returncode}\n{done.stdout}{done.stderr}")
        self.done = done


class Programs:
    def __init__(self, folder=None, env=None):
        self.folder = folder or os.environ["FSP_BIN"]
        self.env = dict(os.environ, LC_ALL="C.UTF-8", TZ="UTC", **(env or {}))

    def run(self, name, *args, status=0, env=None, **more):
        """Run to the end; the CompletedProcess. status None: any."""
        command = [os.path.join(self.folder, f"farspool-{name}"), *map(str, args)]
        done = subprocess.run(command, capture_output=True, text=True, timeout=LIMIT_S,
                              env=dict(self.env, **(env or {})), errors="backslashreplace", **more)
        wanted = (status,) if isinstance(status, int) else status
        if wanted is not None and done.returncode not in wanted:
            raise Failed(command, done)
        return done

    def json(self, name, *args, **more):
        return json.loads(self.run(name, *args, "--json", **more).stdout)


class Office:
    """An office's store and, while serving, its intake."""

    def __init__(self, programs, store, fleet=FLEET):
        self.p = programs
        self.store = str(store)
        self.fleet = fleet
        self.process = None
        self.intake = self.pages = None

    def init(self):
        self.p.run("office", "init", "--store", self.store, "--fleet", self.fleet)
        return self

    def run(self, command, *args, **more):
        return self.p.run("office", command, *args, "--store", self.store, **more)

    def json(self, command, *args, **more):
        return self.p.json("office", command, *args, "--store", self.store, **more)

    def invite(self, rig, out, url=None):
        if url:
            self.run("invite", rig, "--out", out, "--url", url)
        else:
            self.run("invite", rig, "--out", out)
        return str(out)

    def serve(self, listen="127.0.0.1:0", pages="127.0.0.1:0"):
        """Start serving and wait until the ports are known."""
        command = [os.path.join(self.p.folder, "farspool-office"), "serve", "--store", self.store,
                   "--listen", listen, "--pages", pages]
        log = os.path.join(os.path.dirname(self.store), "serve.log")
        with open(log, "a", encoding="utf-8") as err:
            self.process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=err, text=True,
                                            env=self.p.env)
        ready, _, _ = select.select([self.process.stdout], [], [], 30)
        line = self.process.stdout.readline() if ready else ""
        m = re.match(r"intake on (\S+), pages on (\S+)", line)
        if not m:
            self.stop()
            with open(log, encoding="utf-8") as f:
                raise AssertionError(f"the office does not serve: {line!r} {f.read()}")
        self.intake, self.pages = m[1].rstrip("/"), m[2].rstrip("/")
        return self

    def page(self, path="/", want=""):
        """A page, asked for until every rig is on it and it says what is wanted: pages follow the
        receipts, and what other processes write within seconds."""
        end = time.monotonic() + 30
        text = ""
        while time.monotonic() < end:
            try:
                text = urllib.request.urlopen(self.pages + path, timeout=30).read().decode()
                if want in text and "Still reading" not in text:
                    return text
            except urllib.error.HTTPError as error:
                if error.code != 503:
                    raise
            time.sleep(0.05)
        raise AssertionError(f"{path} does not say {want!r}: {text}")

    @property
    def address(self):
        host, port = self.intake.rsplit("/", 1)[1].rsplit(":", 1)
        return host, int(port)

    def stop(self, sig=signal.SIGTERM):
        """End the server; its exit status."""
        if self.process is None:
            return None
        process, self.process = self.process, None
        process.send_signal(sig)
        try:
            status = process.wait(30)
        except subprocess.TimeoutExpired:
            process.kill()
            status = process.wait()
        process.stdout.close()
        return status

    @contextlib.contextmanager
    def serving(self, **more):
        self.serve(**more)
        try:
            yield self
        finally:
            self.stop()


class Rig:
    def __init__(self, programs, name, store):
        self.p = programs
        self.name = name
        self.store = str(store)

    def init(self, invitation):
        self.p.run("rig", "init", "--store", self.store, "--invitation", invitation)
        return self

    def run(self, command, *args, **more):
        return self.p.run("rig", command, *args, "--store", self.store, **more)

    def json(self, command, *args, **more):
        return self.p.json("rig", command, *args, "--store", self.store, **more)

    def enter(self, kind, *fields, **more):
        return self.p.run("rig", "enter", kind, "--store", self.store, *fields, **more)

    def entries(self):
        """The entries as they are stored, parsed."""
        return [json.loads(line) for line in self.run("print").stdout.splitlines()]

    def size(self):
        return self.json("check")["size"]


def same_records(office, rig):
    """(size, root) of both ends, equal or not."""
    at_rig = rig.json("check")
    at_office = office.json("rig", rig.name)
    return (at_rig["size"], at_rig["root"]), (at_office["size"], at_office["root"])


def ledger_text(output):
    """The bytes of the value of "ledger" in a JSON answer: compared as they are."""
    start = output.index('"ledger":') + len('"ledger":')
    while output[start].isspace():
        start += 1
    _, end = json.JSONDecoder().raw_decode(output, start)
    return output[start:end]


def ledgers(office, rig, as_of):
    at_rig = rig.run("line", "--json", "--as-of", as_of).stdout
    at_office = office.run("rig", rig.name, "--json", "--as-of", as_of).stdout
    return ledger_text(at_rig), ledger_text(at_office)


def differences(truth, ledger, within=1e-3):
    """What the truth of a rig (see tests/sim) and its ledger disagree on, in words."""
    out = []
    for key in ("ton_miles_line", "ton_miles_since_cut", "ton_miles_since_slip",
                "served_ton_miles", "goal_ton_miles", "in_service_ft", "on_reel_ft", "present_ft",
                "slipped_since_cut_ft", "feet_cut_line_ft", "lines", "reel"):
        out += differs(key, truth[key], ledger[key], within)
    out += differs("number of cuts", len(truth["cuts"]), len(ledger["cuts"]), 0)
    for want, have in zip(truth["cuts"], ledger["cuts"]):
        for key in ("ton_miles", "served_ton_miles", "goal_ton_miles", "length_ft", "slipped_ft",
                    "programme_ft", "early", "planned", "eligible", "reason", "condition"):
            out += differs(f"cut of {want['at']}, {key}", want[key], have[key], within)
    if ledger["incomplete"]:
        out.append("the ledger says that the count is incomplete")
    return out


def differs(what, want, have, within):
    if isinstance(want, float) and isinstance(have, (int, float)):
        if abs(want - have) <= within * max(abs(want), abs(have), 1e-6):
            return []
    elif want == have:
        return []
    return [f"{what}: {have}, the truth is {want}"]


def flips(data, stride=1, every=lambda i: False):
    """(position, data with the byte there changed) for every stride-th byte and those asked for."""
    for i in range(len(data)):
        if i % stride == 0 or every(i):
            changed = bytearray(data)
            changed[i] ^= 0x01 << (i % 7)
            yield i, bytes(changed)


def wait_until(what, check, seconds=60):
    """Poll a state until it holds; its value."""
    end = time.monotonic() + seconds
    while True:
        value = check()
        if value:
            return value
        if time.monotonic() > end:
            raise AssertionError(f"waited {seconds} s for {what}")
        select.select([], [], [], 0.02)


LinkProxy, Link = linkproxy.LinkProxy, linkproxy.Link
