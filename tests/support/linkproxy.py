#!/usr/bin/python3
"""A bad link between a rig and the office: a TCP proxy that delays, throttles, cuts and refuses.

    linkproxy.py --listen 127.0.0.1:0 --to 127.0.0.1:8463 --seed 7 --delay-ms 300 \\
        --rate-bps 128000 --cut-chance 0.2 --outage-chance 0.1 --for 60

prints the address it listens on and, when it ends (by itself after --for, or on SIGTERM), what it
did. What befalls the n-th connection hangs on the seed and on n alone:

    cut      the connection is reset in the middle: going up after some bytes of the request, or
             coming down before or within the answer, when the office may have committed already
    outage   when the connection has ended, the next ones are refused for a while

As a module: LinkProxy(to, Link(...)).start() runs it in a thread of its own; `link` may be changed
while it runs, lose_answers(n) cuts the next n answers after their requests went through whole, and
down() and up() make an outage by hand.
"""

import argparse
import asyncio
import dataclasses
import json
import random
import signal
import socket
import struct
import sys
import threading

CHUNK = 4096
UP_BYTES_MOST = 24000  # a cut going up comes within these
DOWN_BYTES_MOST = 600  # and coming down within these


@dataclasses.dataclass
class Link:
    """What the link is like. A rate of 0 is no limit; each direction has the rate for itself."""

    seed: int = 1
    delay_ms: float = 0
    rate_bps: float = 0
    cut_chance: float = 0
    outage_chance: float = 0
    outage_ms: float = 300  # an outage lasts up to this


@dataclasses.dataclass
class Fate:
    """What becomes of one connection: bytes after which it is cut, or None."""

    up: int | None = None
    down: int | None = None
    outage_s: float = 0


def fate_of(link, n):
    """The fate of connection n: a pure function of the link's seed and n."""
    r = random.Random(f"farspool link {link.seed} {n}")
    fate = Fate()
    if r.random() < link.cut_chance:
        if r.random() < 0.5:
            fate.up = int(UP_BYTES_MOST ** r.random())  # small requests are cut as well
        else:
            fate.down = r.randrange(0, DOWN_BYTES_MOST)
    if r.random() < link.outage_chance:
        fate.outage_s = r.uniform(0.1, 1.0) * link.outage_ms / 1000
    return fate


def listener(address):
    s = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    s.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    s.bind(address)
    return s


def reset(writer):
    """Close at once with RST, as a link that is gone looks to those at its ends."""
    sock = writer.get_extra_info("socket")
    if sock is not None and sock.fileno() >= 0:
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    writer.transport.abort()


class Cut(Exception):
    """This connection ends here."""


class LinkProxy:
    def __init__(self, to, link=None, listen=("127.0.0.1", 0)):
        self.to = to
        self.link = link or Link()
        self.connections = 0
        self.cuts = 0
        self.answers_lost = 0
        self.outages = 0
        self.bytes_up = 0
        self.bytes_down = 0
        # A bound socket that never listens keeps the port while the link is down.
        self._holder = listener(listen)
        self.port = self._holder.getsockname()[1]
        self._lose = 0
        self._server = None
        self._lock = asyncio.Lock()
        self._held_down = False
        self._open = {}
        self._loop = None
        self._thread = None
        self._stopping = None

    @property
    def url(self):
        return f"http://127.0.0.1:{self.port}"

    def report(self):
        return {"connections": self.connections, "cuts": self.cuts,
                "answers_lost": self.answers_lost, "outages": self.outages,
                "bytes_up": self.bytes_up, "bytes_down": self.bytes_down}

    # --- the listening side ------------------------------------------------------------------

    async def _listen(self):
        async with self._lock:
            if self._server is None and not self._held_down:
                sock = listener(self._holder.getsockname())
                self._server = await asyncio.start_server(self._serve, sock=sock)

    async def _unlisten(self):
        async with self._lock:
            if self._server is not None:
                self._server.close()
                self._server = None

    async def _outage(self, seconds):
        await self._unlisten()
        self.outages += 1
        await asyncio.sleep(seconds)
        await self._listen()

    # --- one connection ----------------------------------------------------------------------

    async def _pump(self, reader, writer, cut_at, count):
        """Copy one direction; each chunk arrives a delay after it was read, at the link's rate."""
        loop = asyncio.get_running_loop()
        queue = asyncio.Queue(64)

        async def send():
            passed = 0
            while True:
                due, chunk = await queue.get()
                await asyncio.sleep(max(0, due - loop.time()))
                if not chunk:
                    if writer.can_write_eof():
                        writer.write_eof()
                    return
                if cut_at is not None and passed + len(chunk) > cut_at:
                    writer.write(chunk[:cut_at - passed])
                    await writer.drain()
                    raise Cut
                passed += len(chunk)
                count(len(chunk))
                writer.write(chunk)
                await writer.drain()

        async def receive():
            free = 0.0
            while True:
                chunk = await reader.read(CHUNK)
                now = loop.time()
                if self.link.rate_bps and chunk:
                    free = max(free, now) + len(chunk) * 8 / self.link.rate_bps
                    await asyncio.sleep(free - now)
                    now = loop.time()
                await queue.put((now + self.link.delay_ms / 1000, chunk))
                if not chunk:
                    return

        async with TaskPair(receive(), send()) as pair:
            await pair.done()

    def _went_up(self, n):
        self.bytes_up += n

    def _came_down(self, n):
        self.bytes_down += n

    async def _serve(self, reader, writer):
        self._open[asyncio.current_task()] = writer
        n, self.connections = self.connections, self.connections + 1
        fate = fate_of(self.link, n)
        losing = self._lose > 0
        if losing:
            self._lose -= 1
            fate = Fate(down=0)
        office = None
        try:
            office_reader, office = await asyncio.open_connection(*self.to)
            async with TaskPair(self._pump(reader, office, fate.up, self._went_up),
                                self._pump(office_reader, writer, fate.down,
                                           self._came_down)) as pair:
                await pair.done()
        except Cut:
            self.cuts += 1
            self.answers_lost += fate.down is not None
        except OSError:
            pass  # one of the ends went away, or there is no office: so does this connection
        finally:
            for end in (writer, office):
                if end is not None:
                    reset(end)
            self._open.pop(asyncio.current_task(), None)
        if fate.outage_s and not self._held_down:
            await self._outage(fate.outage_s)

    # --- running it --------------------------------------------------------------------------

    async def run(self, seconds=None, ready=None):
        """Serve until stop() or for so many seconds."""
        self._loop = asyncio.get_running_loop()
        self._stopping = asyncio.Event()
        await self._listen()
        if ready is not None:
            ready()
        try:
            await asyncio.wait_for(self._stopping.wait(), seconds)
        except asyncio.TimeoutError:
            pass
        self._held_down = True
        await self._unlisten()
        tasks = [t for t in asyncio.all_tasks() if t is not asyncio.current_task()]
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        self._holder.close()

    def start(self):
        started = threading.Event()
        self._thread = threading.Thread(
            target=lambda: asyncio.run(self.run(ready=started.set)), daemon=True)
        self._thread.start()
        if not started.wait(10):
            raise RuntimeError("the proxy does not start")
        return self

    def end(self):
        """End run(), from within its loop."""
        if self._stopping is not None:
            self._stopping.set()

    def stop(self):
        if self._thread is not None:
            self._loop.call_soon_threadsafe(self.end)
            self._thread.join(10)
            self._thread = None

    def __enter__(self):
        return self.start()

    def __exit__(self, *_):
        self.stop()

    def _call(self, coroutine):
        asyncio.run_coroutine_threadsafe(coroutine, self._loop).result(10)

    def lose_answers(self, n):
        """The next n connections are cut before the first byte of the office's answer."""
        self._lose = n

    def down(self):
        """Refuse everything until up(); what is open is cut."""
        async def act():
            self._held_down = True
            await self._unlisten()
            for writer in list(self._open.values()):
                reset(writer)
        self._call(act())

    def up(self):
        async def act():
            self._held_down = False
            await self._listen()
        self._call(act())


class TaskPair:
    """Two tasks that live and die together: done() waits for both, or fails as the first did."""

    def __init__(self, *coroutines):
        self._tasks = [asyncio.ensure_future(c) for c in coroutines]

    async def __aenter__(self):
        return self

    async def done(self):
        await asyncio.gather(*self._tasks)

    async def __aexit__(self, *_):
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)


def address(text):
    host, _, port = text.rpartition(":")
    if not host or not port.isdigit():
        raise argparse.ArgumentTypeError(f"{text}: not ADDRESS:PORT")
    return host, int(port)


async def main_loop(proxy, seconds):
    loop = asyncio.get_running_loop()
    for sig in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(sig, proxy.end)
    await proxy.run(seconds, ready=lambda: print(f"127.0.0.1:{proxy.port}", flush=True))


def main():
    p = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    p.add_argument("--listen", type=address, default=("127.0.0.1", 0), help="ADDRESS:PORT, 0 picks")
    p.add_argument("--to", type=address, required=True, help="ADDRESS:PORT of the office")
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--delay-ms", type=float, default=0, help="each way")
    p.add_argument("--rate-bps", type=float, default=0, help="bits a second, each way; 0: no limit")
    p.add_argument("--cut-chance", type=float, default=0, help="of a connection")
    p.add_argument("--outage-chance", type=float, default=0, help="after a connection")
    p.add_argument("--outage-ms", type=float, default=300, help="longest outage")
    p.add_argument("--for", type=float, dest="seconds", help="end by itself after so many seconds")
    a = p.parse_args()
    link = Link(a.seed, a.delay_ms, a.rate_bps, a.cut_chance, a.outage_chance, a.outage_ms)
    proxy = LinkProxy(a.to, link, a.listen)
    asyncio.run(main_loop(proxy, a.seconds))
    print(json.dumps(proxy.report()), file=sys.stderr)


if __name__ == "__main__":
    main()
