"""The office's pages at size: office_bench.py BIN FOLDER [RIGS [YEARS...]]

Rigs with years of the simulator's records each (four histories, each under many names) are put into a
store below FOLDER once and kept there. Then farspool-office serve runs on one core, the client on
another, while a rig pushes a backlog; printed are the pages' times, their size as transferred and
the time of a cold start, for one year and for ten. Machines that are busy with other work show it here.
"""
import http.client
import os
import pathlib
import select
import subprocess
import sys
import time

HERE = pathlib.Path(__file__).resolve().parent
SEEDS = (11, 12, 13, 14)
PAGES = 300
BACKLOG = 40000


def run(*words, **more):
    return subprocess.run([str(w) for w in words], check=True, capture_output=True, text=True,
                          **more).stdout


def fill(binaries, folder, rigs, years):
    store = folder / f"office-{rigs}-{years}"
    if (folder / f"{store.name}.done").exists():
        return store
    days = 365 * years
    start = time.strftime("%Y-%m-%d", time.gmtime(time.time() - (days + 7) * 86400))
    files = []
    for seed in SEEDS:
        files.append(folder / f"history-{years}-{seed}.jsonl")
        if not files[-1].exists():
            files[-1].write_text(run(sys.executable, HERE.parent / "sim/season.py", "--seed", seed,
                                     "--rigs", 1, "--start", start, "--days", days, "--stored"))
    if not (store / "shelf.db").exists():
        run(binaries / "farspool-office", "init", "--store", store, "--fleet", "lantern-basin")
    print(run(binaries / "office_fill", store, rigs, *files), end="", flush=True)
    (folder / f"{store.name}.done").touch()
    return store


class Serve:
    """farspool-office serve on the first core."""

    def __init__(self, binaries, store):
        self.begun = time.monotonic()
        self.process = subprocess.Popen(
            ["taskset", "-c", "0", binaries / "farspool-office", "serve", "--store", store,
             "--listen", "127.0.0.1:0", "--pages", "127.0.0.1:0"], stdout=subprocess.PIPE, text=True,
            stderr=subprocess.DEVNULL)
        select.select([self.process.stdout], [], [], 60)
        words = self.process.stdout.readline().split()
        self.intake = words[2].rstrip(",")
        self.link = http.client.HTTPConnection(words[5].split("//")[1].rstrip("/"), timeout=60)

    def get(self, path):
        """(status, seconds, bytes as transferred)"""
        start = time.monotonic()
        self.link.request("GET", path, headers={"Accept-Encoding": "gzip"})
        answer = self.link.getresponse()
        size = len(answer.read())
        return answer.status, time.monotonic() - start, size

    def stop(self):
        self.link.close()
        self.process.terminate()
        self.process.wait(60)
        self.process.stdout.close()


def percentile(times, share):
    return 1e3 * sorted(times)[min(len(times) - 1, int(share * len(times)))]


def backlog(binaries, folder, store, serve):
    """A rig with records to push, pushing."""
    name = f"busy-{time.time_ns() % 10**12}"
    invitation, rig = folder / f"{name}.invitation", folder / name
    run(binaries / "farspool-office", "invite", name, "--store", store, "--url", serve.intake,
        "--out", invitation)
    run(binaries / "farspool-rig", "init", "--store", rig, "--invitation", invitation)
    run(binaries / "fill_rig", rig, BACKLOG)
    return subprocess.Popen([binaries / "farspool-rig", "push", "--store", rig],
                            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def measure(binaries, folder, rigs, years):
    store = fill(binaries, folder, rigs, years)
    serve = Serve(binaries, store)
    try:
        _, _, size = serve.get("/")
        first = time.monotonic() - serve.begun
        while serve.get("/tables/links.json")[0] != 200:
            time.sleep(0.02)
        whole = time.monotonic() - serve.begun
        pusher = backlog(binaries, folder, store, serve)
        fleet = []
        while len(fleet) < PAGES:
            status, took, size = serve.get("/")
            assert status == 200
            fleet.append((pusher.poll() is None, took))
        pusher.terminate()
        pusher.wait(60)
        rig = [serve.get(f"/rig?name=rig-{i * 7 % rigs:04}") for i in range(min(rigs, 150))]
        assert all(status == 200 for status, _, _ in rig)
    finally:
        serve.stop()
    of = f"{rigs} rigs of {years} year{'s' if years > 1 else ''}"
    times = [t for _, t, _ in rig]
    print(f"office_cold_start {first:.2f} s to the first page, {whole:.2f} s to the whole fleet  ({of})")
    busy = sum(during for during, _ in fleet)
    fleet = [took for _, took in fleet]
    print(f"office_fleet_page {percentile(fleet, 0.5):.1f} ms, p99 {percentile(fleet, 0.99):.1f} ms, "
          f"{size / 1000:.1f} kB gzip  ({of}; {busy} of {PAGES} while intake ran)")
    print(f"office_rig_page {percentile(times, 0.5):.1f} ms, p99 {percentile(times, 0.99):.1f} ms  ({of})",
          flush=True)


def main():
    binaries, folder = pathlib.Path(sys.argv[1]).resolve(), pathlib.Path(sys.argv[2]).resolve()
    rigs = int(sys.argv[3]) if len(sys.argv) > 3 else 1000
    folder.mkdir(parents=True, exist_ok=True)
    os.sched_setaffinity(0, set(range(1, os.cpu_count())) or {0})
    for years in map(int, sys.argv[4:] or ("1", "10")):
        measure(binaries, folder, rigs, years)


main()
