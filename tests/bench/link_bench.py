#!/usr/bin/python3
"""Bytes and round trips of a push on the IP level: link_bench.py BIN [RECORDS…]

Starts an office and rigs in a network namespace of its own, with segments of a usual size (an MTU of
1,500, no offload), and counts every packet: IP and TCP headers, handshakes, TLS, HTTP, seal,
signatures, the answer, closing. Beside it gzip -9 of the same rows as CSV, the columns being every
member that occurs in them. A round trip is a turn from rig to office and back of packets that carry
anything but an acknowledgement. Rows are day sheets of the simulated season, each taken with the
clock of its own day. Needs root; says so without.
"""

import collections
import gzip
import json
import os
import pathlib
import socket
import struct
import subprocess
import sys
import tempfile
import threading
import time

HERE = pathlib.Path(__file__).resolve().parent
sys.dont_write_bytecode = True
sys.path[:0] = [str(HERE), str(HERE.parent / "support"), str(HERE.parent / "sim")]

import compare_payload  # noqa: E402
import programs as drive  # noqa: E402
import season  # noqa: E402

SEED = 7
WARM_UP = 12  # records sent before anything is counted: enrolment is once in a rig's life
DAY_S = 86400
START_S = 1750000000 // DAY_S * DAY_S  # rigs' clocks run from here, a day for each sheet
TO_US = 0  # PACKET_HOST: each packet as it comes in

Packet = collections.namedtuple("Packet", "up length carries ends")


class Capture:
    """Every packet to and from a port of the loopback device."""

    def __init__(self, port):
        self.port = port
        self.packets = []
        self.other = 0
        self._socket = socket.socket(socket.AF_PACKET, socket.SOCK_DGRAM, socket.ntohs(0x0800))
        self._socket.bind(("lo", 0x0800))
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 24)
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self):
        while True:
            data, address = self._socket.recvfrom(65536)
            if address[2] != TO_US or data[9] != socket.IPPROTO_TCP:
                continue
            ip = (data[0] & 15) * 4
            total = struct.unpack(">H", data[2:4])[0]
            source, target = struct.unpack(">HH", data[ip:ip + 4])
            if self.port not in (source, target):
                continue
            tcp = (data[ip + 12] >> 4) * 4
            flags = data[ip + 13]
            assert total <= 1500, "segments are not of the usual size"
            self.packets.append(Packet(target == self.port, total,
                                       total > ip + tcp or bool(flags & 2), bool(flags & 5)))

    def take(self):
        """What passed since the last call, when nothing more comes."""
        seen = -1
        while seen != len(self.packets):
            seen = len(self.packets)
            time.sleep(0.3)
        out, self.packets = self.packets[:seen], self.packets[seen:]
        return out


def round_trips(packets):
    """Turns up and down again until the first side closes; closing is not waited for."""
    ups = []
    for p in packets:
        if p.ends:
            break
        if p.carries:
            ups.append(p.up)
    return sum(1 for a, b in zip(ups, ups[1:]) if a and not b)


class Sheets:
    """Days of the season, taken one by one until there are exactly n records."""

    def __init__(self, rig, tmp, shim):
        self.rig, self.tmp, self.shim = rig, tmp, shim
        self.days = iter(season.season(SEED, 130, ["heron"])["heron"].sheets().values())
        self.rest = []
        self.day = 0

    def clock(self, day):
        return {"LD_PRELOAD": self.shim,
                "FSP_CLOCK_SHIFT": str(int(START_S + day * DAY_S - time.time()))}

    def take(self, n):
        while n > 0:
            if not self.rest:
                self.rest = list(next(self.days))
            rows, self.rest = self.rest[:n], self.rest[n:]
            n -= len(rows)
            self.day += 1
            path = self.tmp / f"{self.day}.csv"
            path.write_text(season.as_csv(rows))
            self.rig.run("take", path, env=self.clock(self.day))


def gzip_csv(lines):
    return len(gzip.compress(compare_payload.as_csv(lines), 9))


def wait_sent(rig):
    drive.wait_until("the records in the office", lambda: rig.json("check")["pending"] == 0)


class Setting:
    """An office that serves, and a rig of it that has enrolled."""

    def __init__(self, programs, tmp, scheme):
        os.mkdir(tmp)
        self.shim = os.path.join(programs.folder, "libfakeclock.so")
        self.office = drive.Office(programs, tmp / "O").init()
        self.office.p = drive.Programs(programs.folder, {
            "LD_PRELOAD": self.shim, "FSP_CLOCK_SHIFT": str(int(START_S - time.time()))})
        self.office.serve(listen=f"{scheme}://127.0.0.1:0")
        self.office.p = programs
        invitation = self.office.invite("heron", tmp / "i", self.office.intake)
        self.rig = drive.Rig(programs, "heron", tmp / "R").init(invitation)
        self.sheets = Sheets(self.rig, tmp, self.shim)
        self.capture = Capture(self.office.address[1])
        self.tmp = tmp
        self.sheets.take(WARM_UP)
        self.rig.run("push", env=self.sheets.clock(self.sheets.day))
        self.capture.take()

    def lines(self, n):
        return [line.encode() for line in self.rig.run("print").stdout.splitlines()[-n:]]

    def on_new(self, n):
        """One push by hand: a connection for it alone."""
        self.sheets.take(n)
        self.rig.run("push", env=self.sheets.clock(self.sheets.day))
        return self.capture.take(), self.lines(n)

    def on_reused(self, n):
        """`run` has a connection open from the records before. It is told of the next when all of
        them are there: the sheets are taken while it is stopped by a signal."""
        conf = self.tmp / "rig.conf"
        conf.write_text("[link]\nold-s = 1\nenough-records = 1\n")
        env = dict(self.rig.p.env, FARSPOOL_RIG_CONF=str(conf), **self.sheets.clock(self.sheets.day))
        run = subprocess.Popen([os.path.join(self.rig.p.folder, "farspool-rig"), "run", "--store",
                                self.rig.store, "--every", "1"], env=env,
                               stdout=subprocess.DEVNULL)
        try:
            self.sheets.take(1)
            wait_sent(self.rig)
            before = self.capture.take()
            assert before, "its connection is open"
            run.send_signal(19)  # SIGSTOP
            self.sheets.take(n)
            run.send_signal(18)  # SIGCONT
            wait_sent(self.rig)
            return self.capture.take(), self.lines(n)
        finally:
            run.terminate()
            run.wait(30)
            self.capture.take()

    def stop(self):
        self.office.stop()


LIMITS = {(500, "plain new"): 1.15, (500, "plain reused"): 1.15, (500, "TLS reused"): 1.15,
          (500, "TLS new"): 1.3, (50, "plain reused"): 1.4, (50, "TLS reused"): 1.4,
          (50, "plain new"): 1.7, (50, "TLS new"): 3.0}


def measure(programs, counts):
    with tempfile.TemporaryDirectory() as folder:
        for scheme, name in (("http", "plain"), ("https", "TLS")):
            setting = Setting(programs, pathlib.Path(folder) / scheme, scheme)
            try:
                for n in counts:
                    for how, do in (("new", setting.on_new), ("reused", setting.on_reused)):
                        packets, lines = do(n)
                        total = sum(p.length for p in packets)
                        beside = gzip_csv(lines)
                        limit = LIMITS.get((n, f"{name} {how}"))
                        print(json.dumps({
                            "records": n, "link": f"{name} {how}", "bytes": total,
                            "up": sum(p.length for p in packets if p.up), "packets": len(packets),
                            "gzip_csv": beside, "ratio": round(total / beside, 2), "limit": limit,
                            "round_trips": round_trips(packets)}), flush=True)
            finally:
                setting.stop()


def main():
    if os.environ.get("FSP_LINK_BENCH_INSIDE") != "1":
        if os.geteuid() != 0:
            print("link_bench: skipped, a network namespace and raw packets need root")
            return 0
        return subprocess.run(["unshare", "-n", sys.executable, *sys.argv], check=False,
                              env=dict(os.environ, FSP_LINK_BENCH_INSIDE="1")).returncode
    subprocess.run(["ip", "link", "set", "lo", "up", "mtu", "1500", "gso_max_segs", "1"],
                   check=True)
    # TCP's probes for a lost tail go by the round trip, and loopback has almost none.
    pathlib.Path("/proc/sys/net/ipv4/tcp_early_retrans").write_text("0")
    measure(drive.Programs(sys.argv[1]), [int(a) for a in sys.argv[2:]] or [50, 500])
    return 0


if __name__ == "__main__":
    sys.exit(main())
