#!/usr/bin/env python3
"""A second verifier of evidence, written only from docs/formats.md, with Python's standard library.

verify.py RECORD PROOF POLICY prints "ok" with index, size and origin, or why not; exit 0 or 2.
verify.py REGISTER POLICY does the same for a register. It is for checking the first verifier, not for use: it is slow and guards against no timing attack.
"""

import base64
import hashlib
import json
import re
import sys


class Refused(Exception):
    """The evidence is not good; the text says why."""


def need(condition, why):
    if not condition:
        raise Refused(why)


def sha256(*parts):
    return hashlib.sha256(b"".join(parts)).digest()


# Ed25519 (formats.md section 3; the curve's numbers are those of RFC 8032 section 5.1).

P = 2**255 - 19
L = 2**252 + 27742317777372353535851937790883648493
D = -121665 * pow(121666, P - 2, P) % P
ROOT_OF_MINUS_1 = pow(2, (P - 1) // 4, P)
IDENTITY = (0, 1, 1, 0)  # X, Y, Z, T with x = X/Z, y = Y/Z, x * y = T/Z


def add(p, q):
    """The complete addition law of a twisted Edwards curve with a = -1."""
    a = (p[1] - p[0]) * (q[1] - q[0]) % P
    b = (p[1] + p[0]) * (q[1] + q[0]) % P
    c = 2 * D * p[3] * q[3] % P
    d = 2 * p[2] * q[2] % P
    e, f, g, h = b - a, d - c, d + c, b + a
    return e * f % P, g * h % P, f * g % P, e * h % P


def times(n, p):
    result = IDENTITY
    while n > 0:
        if n & 1:
            result = add(result, p)
        p = add(p, p)
        n >>= 1
    return result


def is_identity(p):
    return p[0] % P == 0 and (p[1] - p[2]) % P == 0


def encode(p):
    z = pow(p[2], P - 2, P)
    x, y = p[0] * z % P, p[1] * z % P
    return (y | (x & 1) << 255).to_bytes(32, "little")


def decode(data):
    """The point of an encoding, or None: y not below p, or no point of the curve."""
    number = int.from_bytes(data, "little")
    sign, y = number >> 255, number & (2**255 - 1)
    if y >= P:
        return None
    square = (y * y - 1) * pow(D * y * y + 1, P - 2, P) % P
    x = pow(square, (P + 3) // 8, P)
    if x * x % P != square:
        x = x * ROOT_OF_MINUS_1 % P
    if x * x % P != square or (x == 0 and sign):
        return None
    if x & 1 != sign:
        x = P - x
    return x, y, 1, x * y % P


BASE = decode((4 * pow(5, P - 2, P) % P).to_bytes(32, "little"))


def sound_key(public):
    point = decode(public)
    return point is not None and not is_identity(point) and is_identity(times(L, point))


def signed(public, message, signature):
    if len(signature) != 64:
        return False
    r, s = signature[:32], int.from_bytes(signature[32:], "little")
    if s >= L:
        return False
    k = int.from_bytes(hashlib.sha512(r + public + message).digest(), "little") % L
    x, y, z, t = times(k, decode(public))
    point = add(times(s, BASE), (-x % P, y, z, -t % P))
    return encode(point) == r and not is_identity(times(8, point))


# Words of the formats (the head of formats.md).

HIDDEN = (
    [(0x00, 0x1F), (0x7F, 0x9F), (0x61C, 0x61C), (0x200E, 0x200F), (0x2028, 0x202E)]
    + [(0x2066, 0x2069), (0xFEFF, 0xFEFF)]
)
SPACES = [0x20, 0xA0, 0x1680, *range(0x2000, 0x200B), 0x202F, 0x205F, 0x3000]


def printable(data):
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return not any(low <= ord(char) <= high for char in text for low, high in HIDDEN)


def from_base64(data, what, length=None):
    try:
        raw = base64.b64decode(data, validate=True)
    except ValueError:
        raise Refused(f"{what}: no base64") from None
    need(base64.b64encode(raw) == data, f"{what}: base64 that is not canonical")
    need(length is None or len(raw) == length, f"{what}: not {length} bytes")
    return raw


def decimal(data, what):
    need(data.isdigit() and (data == b"0" or data[:1] != b"0"), f"{what}: no decimal")
    need(len(data) <= 20 and int(data) < 2**64, f"{what}: too large")
    return int(data)


def key_name(data):
    need(0 < len(data) <= 255 and printable(data) and b"+" not in data, "no key name")
    need(not any(ord(char) in SPACES for char in data.decode()), "a space in a key name")
    return data


def lines_of(data, what):
    need(data.endswith(b"\n"), f"{what}: does not end in LF")
    return data[:-1].split(b"\n")


# Sections 2 to 8.


def root_by_path(index, size, leaf, path):
    need(index < size, "index not below size")
    fn, sn, r = index, size - 1, leaf
    for p in path:
        need(sn != 0, "path too long")
        if fn & 1 or fn == sn:
            r = sha256(b"\x01", p, r)
            while fn & 1 == 0 and fn != 0:
                fn, sn = fn >> 1, sn >> 1
        else:
            r = sha256(b"\x01", r, p)
        fn, sn = fn >> 1, sn >> 1
    need(sn == 0, "path too short")
    return r


class Key:
    def __init__(self, text, kind):
        parts = text.split(b"+", 2)
        need(len(parts) == 3 and len(text) <= 511, "no verifier key")
        self.name = key_name(parts[0])
        raw = from_base64(parts[2], "verifier key", 33)
        need(raw[0] == kind, "verifier key of another type")
        self.kind, self.public = kind, raw[1:]
        self.id = sha256(self.name, b"\n", raw)[:4]
        need(parts[1] == self.id.hex().encode(), "verifier key with another id")
        need(sound_key(self.public), "unsound public key")


class Note:
    def __init__(self, data):
        need(len(data) <= 65536, "note too large")
        need(data.endswith(b"\n"), "note does not end in LF")
        gap = data.rfind(b"\n\n")
        need(gap >= 0 and gap + 2 < len(data), "note without signature lines")
        self.text = data[: gap + 1]
        need(all(printable(line) for line in data.split(b"\n")), "note not printable")
        self.signatures = []
        for line in lines_of(data[gap + 2 :], "note"):
            need(line.startswith("\u2014 ".encode()), "signature line without dash")
            name, space, text = line[4:].partition(b" ")
            need(space, "signature line without signature")
            raw = from_base64(text, "signature")
            need(len(raw) > 4, "empty signature")
            self.signatures.append((key_name(name), raw[:4], raw[4:]))
        need(len(self.signatures) <= 32, "too many signature lines")
        total = sum(4 + len(signature) for _, _, signature in self.signatures)
        need(total <= 8192, "signatures too long")

    def judge(self, key):
        """None when no line is the key's; else its earliest time (0 for a note key)."""
        times_s = []
        for name, key_id, signature in self.signatures:
            if (name, key_id) != (key.name, key.id):
                continue
            time_s, message = 0, self.text
            if key.kind == 4:
                time_s, signature = int.from_bytes(signature[:8], "big"), signature[8:]
                need(time_s < 2**63, "cosignature of an impossible time")
                message = b"cosignature/v1\ntime %d\n" % time_s + self.text
            need(signed(key.public, message, signature), f"bad signature of {key.name!r}")
            times_s.append(time_s)
        return min(times_s) if times_s else None


class Policy:
    def __init__(self, data):
        need(len(data) <= 65536, "policy too large")
        self.logs, self.witnesses, self.rules, self.quorum = [], [], {}, None
        used, groups = set(), 0
        for line in lines_of(data, "policy"):
            need(not any((c < 32 and c != 9) or c == 127 for c in line), "control in policy")
            words = line.replace(b"\t", b" ").split(b" ")
            words = [word for word in words if word]
            if not words or words[0].startswith(b"#"):
                continue
            need(len(words) <= 67, "too many words")
            what, rest = words[0], words[1:]
            if what == b"log":
                need(len(rest) in (1, 2), "log line")
                self.add_key(self.logs, Key(rest[0], 1))
            elif what == b"witness":
                need(len(rest) in (2, 3), "witness line")
                self.add_key(self.witnesses, Key(rest[1], 4))
                self.add_rule(rest[0], (0, [len(self.witnesses) - 1]))
            elif what == b"group":
                need(len(rest) >= 3, "group line")
                members, groups = rest[2:], groups + 1
                for member in members:
                    need(member in self.rules and member not in used, "group member")
                    used.add(member)
                k = {b"all": len(members), b"any": 1}.get(rest[1])
                k = decimal(rest[1], "threshold") if k is None else k
                need(1 <= k <= len(members) and groups <= 32, "group")
                self.add_rule(rest[0], (k, members))
            elif what == b"quorum":
                need(len(rest) == 1 and self.quorum is None, "quorum line")
                need(rest[0] == b"none" or rest[0] in self.rules, "quorum name")
                self.quorum = rest[0]
            else:
                raise Refused("unknown policy line")
        need(self.quorum is not None, "no quorum")

    def add_key(self, keys, key):
        need(all(key.public != other.public for other in keys), "key a second time")
        keys.append(key)
        need(len(keys) <= 32, "too many keys")

    def add_rule(self, name, rule):
        need(name != b"none" and name not in self.rules, "name taken")
        self.rules[name] = rule

    def agrees(self, cosigned):
        good = {b"none"}
        for name, (k, members) in self.rules.items():
            if k == 0:
                have, k = int(members[0] in cosigned), 1
            else:
                have = sum(member in good for member in members)
            if have >= k:
                good.add(name)
        return self.quorum in good


def parse_proof(data):
    need(len(data) <= 65536, "proof too large")
    head, gap, note = data.partition(b"\n\n")
    need(gap, "proof without checkpoint")
    lines = head.split(b"\n")
    need(lines.pop(0) == b"c2sp.org/tlog-proof@v1", "no proof")
    if lines and lines[0].startswith(b"extra "):
        need(from_base64(lines.pop(0)[6:], "extra"), "empty extra")
    need(lines and lines[0].startswith(b"index "), "no index")
    index = decimal(lines.pop(0)[6:], "index")
    need(len(lines) <= 64, "too many hashes")
    return index, [from_base64(line, "hash", 32) for line in lines], note


def judge_head(policy, note):
    """Origin, size, root and who cosigned, of a head that the policy accepts."""
    note = Note(note)
    lines = lines_of(note.text, "checkpoint")
    need(len(lines) == 3, "checkpoint is not three lines")
    origin = key_name(lines[0])
    size = decimal(lines[1], "size")
    root = from_base64(lines[2], "root", 32)
    logs = [log for log in policy.logs if note.judge(log) is not None]
    need(any(log.name == origin for log in logs), "not signed by the log")
    cosigned = {}
    for i, witness in enumerate(policy.witnesses):
        time_s = note.judge(witness)
        if time_s is not None:
            cosigned[i] = time_s
    need(policy.agrees(cosigned), "quorum not met")
    return origin, size, root, [
        (policy.witnesses[i].name.decode(), time_s) for i, time_s in cosigned.items()
    ]


def verify(record, proof, policy):
    """Return a dict of what is proved, or raise Refused."""
    need(len(record) <= 16384, "record too large")
    policy = Policy(policy)
    index, path, note = parse_proof(proof)
    origin, size, root, cosigned = judge_head(policy, note)
    leaf = sha256(b"\x00", record)
    need(root_by_path(index, size, leaf, path) == root, "record not in the tree")
    return {
        "index": index,
        "size": size,
        "log": origin.decode(),
        "leaf": leaf.hex(),
        "root": base64.b64encode(root).decode(),
        "cosigned": cosigned,
    }


# Section 19: registers.


class Range:
    """A compact range: (leaves, root) of its full subtrees, the largest first."""

    def __init__(self, data=bytes(8)):
        self.size = int.from_bytes(data[:8], "big")
        ones = [bit for bit in range(63, -1, -1) if self.size >> bit & 1]
        need(len(data) == 8 + 32 * len(ones), "range of another length")
        self.trees = [(1 << bit, data[8 + 32 * i : 40 + 32 * i]) for i, bit in enumerate(ones)]

    def append(self, leaf):
        self.size += 1
        self.trees.append((1, leaf))
        while len(self.trees) > 1 and self.trees[-1][0] == self.trees[-2][0]:
            (n, left), (_, right) = self.trees[-2:]
            self.trees[-2:] = [(2 * n, sha256(b"\x01", left, right))]

    def root(self):
        if not self.trees:
            return sha256()
        r = self.trees[-1][1]
        for _, tree in reversed(self.trees[:-1]):
            r = sha256(b"\x01", tree, r)
        return r


def split_register(data):
    """origin, from, range, head of from, to, head of to, lines behind."""
    at = 0

    def line(word):
        nonlocal at
        end = data.find(b"\n", at)
        need(end >= 0 and data[at:end].startswith(word), f"no {word!r} line")
        value, at = data[at + len(word) : end], end + 1
        return value

    def head():
        nonlocal at
        length = decimal(line(b"head "), "head")
        need(0 < length <= 65536 and at + length <= len(data), "head's length")
        at += length
        return data[at - length : at]

    need(line(b"") == b"farspool-register/v1", "no register")
    origin = line(b"origin ")
    first = decimal(line(b"from "), "from")
    known, before = Range(), None
    if first > 0:
        known = Range(from_base64(line(b"range "), "range"))
        need(known.size == first, "range of another size")
        before = head()
    last = decimal(line(b"to "), "to")
    need(first <= last, "to below from")
    return origin, first, known, before, last, head(), lines_of(data[at:], "register")


def verify_register(data, policy):
    policy = Policy(policy)
    origin, first, known, before, last, after, lines = split_register(data)
    if before is not None:
        head = judge_head(policy, before)
        need(head[0] == origin and head[1] == first, "another head before")
        need(head[2] == known.root(), "range not that of its head")
    head = judge_head(policy, after)
    need(head[0] == origin and head[1] == last, "another head behind")
    need(lines and lines.pop() == b"end" and len(lines) == last - first, "number of entries")
    entries = {}
    for index, line in enumerate(lines, first):
        if line.startswith(b"entry "):
            need(len(line) <= 6 + 16384, "entry too long")
            entries[index] = line[6:]
            known.append(sha256(b"\x00", line[6:]))
        else:
            need(line.startswith(b"leaf "), "neither entry nor leaf")
            known.append(from_base64(line[5:], "leaf", 32))
    need(known.root() == head[2], "entries not those of the head")
    return {
        "log": origin.decode(),
        "from": first,
        "size": last,
        "root": base64.b64encode(head[2]).decode(),
        "entries": last - first,
        "held_back": last - first - len(entries),
        "cosigned": head[3],
        "kept": entries,
    }


# Sections 15 and 17: signatures by persons.


def seconds(text):
    """An RFC 3339 time in UTC, or a day, as seconds since 1970."""
    found = re.fullmatch(r"(\d{4})-(\d\d)-(\d\d)(?:T(\d\d):(\d\d):(\d\d)Z)?", text)
    need(found is not None, "no time")
    year, month, day, hour, minute, second = (int(part or 0) for part in found.groups())
    year, month = (year, month) if month > 2 else (year - 1, month + 12)
    days = 365 * year + year // 4 - year // 100 + year // 400 + (153 * month - 457) // 5 + day
    return ((days - 719469) * 24 + hour) * 3600 + 60 * minute + second


def parse_roster(data, instructions):
    """The signer lines of a roster that this key signed, as (name, key, from, until, may, revoked)."""
    note = Note(data)
    key = Key(instructions, 1)
    need(note.judge(key) is not None, "roster not signed by that key")
    lines = lines_of(note.text, "roster")
    fleet = key.name.decode().removesuffix("/instructions")
    need(lines[:2] == [b"farspool-roster/v1", b"fleet " + fleet.encode()], "no roster")
    signers = []
    for line in lines[4:]:
        words = line.decode().split(" ")
        need(words[0] == "signer" and len(words) in (5, 7), "signer line")
        signer = Key(words[1].encode(), 1)
        name = signer.name.decode().removeprefix(f"{fleet}/signer:")
        until = float("inf") if words[3] == "-" else seconds(words[3]) + 86400
        revoked = seconds(words[6]) if len(words) == 7 else float("inf")
        signers.append((name, signer, seconds(words[2]), until, words[4].split(","), revoked))
    return signers


def judge_person(signers, name, may, message, sig, record):
    try:
        signature = from_base64(sig.encode(), "sig", 64)
    except Refused:
        return "signature does not hold"
    at = seconds(record["at"])
    noted = max(at, seconds(record.get("noted", record["at"])))
    state = "signer not on the roster"
    for its_name, key, first, until, allowed, revoked in signers:
        if its_name != name:
            continue
        state = "signature does not hold"
        if signed(key.public, message, signature):
            if may not in allowed:
                return "signer not on the roster"
            good = first <= at < until and noted < revoked
            return "signed" if good else "signed outside the roster's period"
    return state


def signature_of(entry, roster, instructions):
    """The state of an inspection's or a countersign's own signature, in the words of section 15."""
    record = json.loads(entry)
    signers = parse_roster(roster, instructions)
    if "sig" not in record:
        return "unsigned"
    if record["kind"] == "countersign":
        leaf = from_base64(record["entry"]["leaf"].encode(), "leaf", 32)
        message = b"farspool-countersign/v1\n" + leaf
        return judge_person(signers, record["signer"], "countersign", message, record["sig"], record)
    plain = {name: value for name, value in record.items() if name not in ("noted", "sig")}
    written = json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    message = b"farspool-inspection/v1\n" + written.encode()
    return judge_person(signers, record["inspector"], "inspect", message, record["sig"], record)


def main(argv):
    if len(argv) not in (3, 4):
        print("usage: verify.py RECORD PROOF POLICY | REGISTER POLICY", file=sys.stderr)
        return 64
    contents = []
    for path in argv[1:]:
        with open(path, "rb") as file:
            contents.append(file.read())
    try:
        proved = verify(*contents) if len(contents) == 3 else verify_register(*contents)
    except Refused as why:
        print(f"refused: {why}")
        return 2
    where = f"index={proved['index']}" if len(contents) == 3 else f"from={proved['from']}"
    print(f"ok {where} size={proved['size']} origin={proved['log']}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv))
