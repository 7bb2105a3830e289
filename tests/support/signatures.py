"""A second judge of persons' signatures in a rig's log, written only from docs/formats.md (sections 15,
17 and 18), with Python's standard library and jq.

It is for checking the first one, not for use. Instructions about keys are not followed: the caller
names the keys that count.
"""

import base64
import datetime
import hashlib
import json
import subprocess

import verify

UNSIGNED, BAD = "unsigned", "signature does not hold"
OFF, LATE, GOOD = "signer not on the roster", "signed outside the roster's period", "signed"
RANK = [UNSIGNED, BAD, OFF, LATE, GOOD]


def seconds(text):
    return datetime.datetime.strptime(text + "+0000", "%Y-%m-%dT%H:%M:%SZ%z").timestamp()


def cut(line):
    """The entry without noted and sig, by jq; None when it is not canonical."""
    def jq(program):
        done = subprocess.run(["jq", "-cS", program], input=line, capture_output=True, text=True,
                              check=False)
        return done.stdout[:-1] if done.returncode == 0 else None
    return jq("del(.noted,.sig)") if jq(".") == line else None


def decoded(text, length):
    try:
        return verify.from_base64(text.encode(), "sig", length)
    except (verify.Refused, AttributeError):
        return None


class Roster:
    """The signed note of a roster; raises verify.Refused."""

    def __init__(self, data, keys):
        note = verify.Note(data)
        by = [key for key in keys if note.judge(key) is not None]
        verify.need(by, "not by a key that counts")
        lines = note.text.decode().split("\n")
        verify.need(lines[0] == "farspool-roster/v1" and lines[-1] == "", "no roster")
        words = [line.split(" ") for line in lines[1:-1]]
        verify.need([w[0] for w in words[:3]] == ["fleet", "version", "made"], "no roster")
        self.fleet, self.version, self.made = words[0][1], int(words[1][1]), words[2][1]
        verify.need(by[0].name.decode() == f"{self.fleet}/instructions", "another fleet's key")
        self.note = data
        self.signers = []
        for word in words[3:]:
            verify.need(word[0] == "signer" and len(word) in (5, 7), "no signer line")
            key = verify.Key(word[1].encode(), 1)
            start = f"{self.fleet}/signer:".encode()
            verify.need(key.name.startswith(start), "no signer's key")
            self.signers.append({
                "name": key.name[len(start):].decode(), "key": key,
                "from": seconds(word[2] + "T00:00:00Z"),
                "until": None if word[3] == "-" else seconds(word[3] + "T00:00:00Z") + 86400,
                "may": word[4].split(","), "revoked": seconds(word[6]) if len(word) == 7 else None})

    def rank(self):
        return self.version, seconds(self.made), self.note


def find_roster(entries, about, keys):
    found = None
    for entry in entries:
        if entry.get("kind") != "instruction":
            continue
        text = base64.b64decode(entry["bytes"])
        sig = base64.b64decode(entry["sig"])
        if not any(verify.signed(key.public, text, sig) for key in keys):
            continue
        head, _, body = text.partition(b"\n\n")
        words = dict(line.split(" ", 1) for line in head.decode().split("\n")[1:])
        if (words["about"], words["fleet"], words["rig"]) != ("roster", *about):
            continue
        try:
            roster = Roster(body, keys)
        except verify.Refused:
            continue
        if roster.fleet == about[0] and (found is None or roster.rank() > found.rank()):
            found = roster
    return found


def judge(roster, name, may, entry, message, sig):
    if sig is None:
        return BAD
    named = [] if roster is None else [s for s in roster.signers if s["name"] == name]
    if not named:
        return OFF
    holds = [s for s in named if verify.signed(s["key"].public, message, sig)]
    if not holds:
        return BAD
    signer = holds[0]
    at = seconds(entry["at"])
    latest = max(at, seconds(entry.get("noted", entry["at"])))
    if may not in signer["may"]:
        return OFF
    if at < signer["from"] or (signer["until"] is not None and at >= signer["until"]):
        return LATE
    return LATE if signer["revoked"] is not None and latest >= signer["revoked"] else GOOD


def states(lines, about, keys):
    """The state of each entry (one line each), in words; about: (fleet, rig)."""
    entries = [json.loads(line) for line in lines]
    roster = find_roster(entries, about, keys)
    by_leaf = {}
    out = [None] * len(entries)
    for i, entry in enumerate(entries):
        if entry["kind"] == "countersign":
            leaf = decoded(entry["entry"]["leaf"], 32)
            out[i] = judge(roster, entry["signer"], "countersign", entry,
                           b"farspool-countersign/v1\n" + leaf, decoded(entry["sig"], 64))
            by_leaf.setdefault(leaf, []).append(out[i])
    for i, (line, entry) in enumerate(zip(lines, entries)):
        if entry["kind"] == "countersign":
            continue
        if entry["kind"] != "inspection":
            leaf = hashlib.sha256(b"\0" + line.encode()).digest()
            out[i] = max([UNSIGNED, *by_leaf.get(leaf, [])], key=RANK.index)
            continue
        if "sig" not in entry:
            out[i] = UNSIGNED
            continue
        text = cut(line)
        if (entry["fleet"], entry["rig"]) != about or text is None:
            out[i] = BAD
            continue
        out[i] = judge(roster, entry["inspector"], "inspect", entry,
                       b"farspool-inspection/v1\n" + text.encode(), decoded(entry["sig"], 64))
    return out
