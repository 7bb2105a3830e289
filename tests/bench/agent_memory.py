"""Memory of `farspool-rig run` with N records pending (a million), while it sends them and after.

agent_memory.py --bin FOLDER [--records N] [--seconds S]

Anonymous memory is sampled from /proc while it runs, resident memory is the kernel's own peak.
It is watched until everything was sent, S seconds at most: what is pending matters, not its end.
"""

import argparse
import os
import pathlib
import subprocess
import sys
import tempfile
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "support"))
import programs as drive  # noqa: E402

ANONYMOUS_KIB, RESIDENT_KIB = 6 * 1024, 20 * 1024


def status(pid):
    with open(f"/proc/{pid}/status", encoding="ascii") as f:
        pairs = (line.split(":", 1) for line in f)
        return {key: int(value.split()[0]) for key, value in pairs if value.strip().endswith("kB")}


def ticks(pid):
    with open(f"/proc/{pid}/stat", encoding="ascii") as f:
        fields = f.read().rsplit(")", 1)[1].split()
    return int(fields[11]) + int(fields[12])


def watch(run, seconds, done):
    """Peaks of anonymous and resident memory until done() or the end of the time."""
    anonymous = resident = 0
    end = time.monotonic() + seconds
    look = 0
    while time.monotonic() < end and run.poll() is None:
        now = status(run.pid)
        anonymous = max(anonymous, now["RssAnon"])
        resident = max(resident, now["VmHWM"])
        look += 1
        if look % 200 == 0 and done():
            break
        time.sleep(0.01)
    if run.poll() is not None:
        raise SystemExit(f"run ended with {run.returncode}")
    return anonymous, resident


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--bin", required=True)
    parser.add_argument("--records", type=int, default=1000000)
    parser.add_argument("--seconds", type=float, default=60)
    options = parser.parse_args()
    programs = drive.Programs(options.bin)
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        office = drive.Office(programs, folder / "O").init().serve()
        rig = drive.Rig(programs, "heron", folder / "R").init(
            office.invite("heron", folder / "heron.invitation", office.intake))
        subprocess.run([os.path.join(options.bin, "fill_rig"), rig.store, str(options.records)],
                       check=True)
        log = folder / "run.log"
        with open(log, "w", encoding="utf-8") as said:
            run = subprocess.Popen([os.path.join(options.bin, "farspool-rig"), "run", "--store",
                                    rig.store, "--every", "1"], env=programs.env, stdout=said,
                                   stderr=subprocess.STDOUT)
        try:
            anonymous, resident = watch(run, options.seconds, lambda: "pushed" in log.read_text())
            sent = "pushed" in log.read_text()
            print(f"run with {options.records} records pending, {'sent' if sent else 'sending'}, "
                  f"anonymous KiB: {anonymous}  (limit {ANONYMOUS_KIB})")
            print(f"run with {options.records} records pending, resident KiB: {resident}  "
                  f"(limit {RESIDENT_KIB})")
            if sent:
                before = ticks(run.pid)
                time.sleep(10)
                print(f"run, idle, looking each second: {ticks(run.pid) - before} ticks of "
                      f"{os.sysconf('SC_CLK_TCK') * 10} in 10 s")
        finally:
            run.kill()
            run.wait()
            office.stop()
    return 0 if anonymous <= ANONYMOUS_KIB and resident <= RESIDENT_KIB else 1


sys.exit(main())
