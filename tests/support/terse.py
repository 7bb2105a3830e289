"""Terse lines: what a bundle's entries become before deflate (docs/formats.md, section 23).

A second reader and writer, from that page alone; bytes in, bytes out. scripts/gen-dictionary makes
dictionary 2 with it, and a test holds it against the programs' bundles.
"""

import copy
import datetime
import functools
import re

FORMS = 224        # forms that are remembered
MEMBERS = 48       # of one form
VALUE = 63         # bytes of a value that is remembered
NAME = 31          # bytes of a member's name
FORM_BASE = 0x20   # the first form's byte

LITERAL = b"\x01"
SAME, UP, DOWN, SECONDS_UP, SECONDS_DOWN, EMPTY = range(1, 7)

_NAME = re.compile(rb'"([a-z0-9-]{1,31})":')
_NUMBER = re.compile(rb"(0|[1-9][0-9]*)(?:\.([0-9]+))?(?![0-9.])")
_TIME = re.compile(rb"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ")
_EPOCH = datetime.datetime(1970, 1, 1)
_TIME_FORMAT = "%Y-%m-%dT%H:%M:%SZ"


def _time(text):
    if text is None or not _TIME.fullmatch(text):
        return None
    try:
        when = datetime.datetime.strptime(text.decode(), _TIME_FORMAT)
    except ValueError:
        return None
    return (when - _EPOCH) // datetime.timedelta(seconds=1)


def _time_text(seconds):
    try:
        when = _EPOCH + datetime.timedelta(seconds=seconds)
    except OverflowError:
        return None
    return f"{when.year:04d}-{when:%m-%dT%H:%M:%SZ}".encode()


def _number(text):
    """Its digits as one integer, how many are behind the point, what follows."""
    m = _NUMBER.match(text) if text is not None else None
    if not m:
        return None
    behind = m.group(2) or b""
    if len(m.group(1)) + len(behind) > 15:
        return None
    return int(m.group(1) + behind), len(behind), text[m.end():]


def _number_text(value, behind, rest):
    digits = f"{value:0{behind + 1}d}"
    if behind:
        digits = digits[:-behind] + "." + digits[-behind:]
    return digits.encode() + rest


def _string_end(entry, i):
    """Behind the closing quote of the string that begins at i; None when there is none."""
    i += 1
    while i < len(entry):
        if entry[i:i + 1] == b'"':
            return i + 1
        i += 2 if entry[i:i + 1] == b"\\" else 1
    return None


def _other_end(entry, i):
    """Where the value that is no string ends: at a comma or brace of the entry's own."""
    depth = 0
    while i is not None and i < len(entry):
        c = entry[i:i + 1]
        if c == b'"':
            i = _string_end(entry, i)
            continue
        if depth == 0 and c in b",}":
            return i
        depth += {b"[": 1, b"{": 1, b"]": -1, b"}": -1}.get(c, 0)
        if depth < 0:
            return None
        i += 1
    return None


def members(entry):
    """[(name, is a string, text)] of a plain entry, else None."""
    if entry[:1] != b"{" or min(entry) < 0x20:
        return None
    out = []
    i = 1
    while True:
        m = _NAME.match(entry, i)
        if not m or len(out) == MEMBERS or (out and out[-1][0] >= m.group(1)):
            return None
        i = m.end()
        quoted = entry[i:i + 1] == b'"'
        end = _string_end(entry, i) if quoted else _other_end(entry, i)
        if end is None or end == i:
            return None
        out.append((m.group(1), quoted, entry[i + 1:end - 1] if quoted else entry[i:end]))
        c = entry[end:end + 1]
        i = end + 1
        if c == b"}" and i == len(entry):
            break
        if c != b",":
            return None
    for name, quoted, text in out:
        if name in (b"kind", b"op") and (not quoted or len(text) > NAME):
            return None
    return out


class Terse:
    """The state of a writer or a reader; `preset` is read first."""

    def __init__(self, preset=b""):
        self.forms = []   # of (sort, ((name, is a string), ...))
        self.values = {}  # by sort and name, of the forms' members
        self.at = self.noted = self.depth = None
        for line in preset.splitlines(keepends=True):
            self.read(line[:-1])

    # What a value is held against: the one it may equal, and the one it may differ from by a number.
    def _bases(self, sort, name, quoted, before):
        last = self.values.get((sort, name))
        if not quoted:
            return last, last
        if name == b"at":
            base = self.at
        elif name == b"noted":
            return self.noted if self.noted is not None else last, before.get(b"at", last)
        elif name in (b"from", b"bit-depth"):
            base = self.depth
        elif name == b"to":
            base = before.get(b"from")
        elif name == b"hole-depth":
            base = before.get(b"bit-depth")
        else:
            base = None
        return (last, last) if base is None else (base, base)

    def _learn(self, sort, entry):
        form = (sort, tuple((name, quoted) for name, quoted, _ in entry))
        if form not in self.forms and len(self.forms) < FORMS:
            self.forms.append(form)
            for name, _, _ in entry:
                self.values.setdefault((sort, name))
        for name, quoted, text in entry:
            kept = text if len(text) <= VALUE else None
            if (sort, name) in self.values:
                self.values[sort, name] = kept
            if not quoted:
                continue
            if name == b"at":
                self.at = kept
            elif name == b"noted":
                self.noted = kept
            elif name in (b"bit-depth", b"depth", b"to"):
                self.depth = kept

    @staticmethod
    def _sort(entry):
        found = {name: text for name, _, text in entry}
        return found.get(b"kind", b""), found.get(b"op", b"")

    # ---- reading

    def read(self, line):
        """The entry of a line (both without LF)."""
        entry = line[1:] if line[:1] == LITERAL else self._read_form(line)
        parts = members(entry)
        if parts is not None:
            self._learn(self._sort(parts), parts)
        return entry

    def _read_form(self, line):
        sort, form = self.forms[line[0] - FORM_BASE]
        tokens = re.findall(rb"([\x01-\x06])([^\x00-\x1f]*)", line[1:])
        if b"".join(a + b for a, b in tokens) != line[1:]:
            raise ValueError("a line out of form")
        parts, before = [], {}
        for name, quoted in form:
            if name in (b"kind", b"op"):
                text = sort[name == b"op"]
            else:
                mark, rest = tokens.pop(0) if tokens else (b"\x01", b"")
                text = self._value(mark[0], rest, self._bases(sort, name, quoted, before))
            parts.append((name, quoted, text))
            if quoted and len(text) <= VALUE:
                before[name] = text
        if tokens:
            raise ValueError("a line with too many values")
        return b"{" + b",".join(b'"%b":%b' % (n, b'"%b"' % t if q else t) for n, q, t in parts) + b"}"

    @staticmethod
    def _value(mark, rest, bases):
        same, base = bases
        if mark == SAME and rest:
            return rest
        if mark == SAME:
            if same is None:
                raise ValueError("the same as nothing")
            return same
        if mark == EMPTY:
            if rest:
                raise ValueError("not empty")
            return b""
        if not re.fullmatch(rb"0|[1-9][0-9]{0,14}", rest):
            raise ValueError("no number")
        n = int(rest)
        n = n if mark in (UP, SECONDS_UP) else -n
        time = _time(base)
        if time is not None:
            text = _time_text(time + (n if mark in (SECONDS_UP, SECONDS_DOWN) else 60 * n))
        else:
            number = _number(base)
            if number is None or mark > DOWN or number[0] + n < 0:
                raise ValueError("no number to add to")
            text = _number_text(number[0] + n, *number[1:])
        if text is None:
            raise ValueError("beyond the years")
        return text

    # ---- writing

    def write(self, entry):
        """The line of an entry (both without LF)."""
        parts = members(entry)
        if parts is None:
            return LITERAL + entry
        sort = self._sort(parts)
        form = (sort, tuple((name, quoted) for name, quoted, _ in parts))
        line = LITERAL + entry
        if form in self.forms:
            tokens, before = [], {}
            for name, quoted, text in parts:
                if name not in (b"kind", b"op"):
                    tokens.append(self._token(text, self._bases(sort, name, quoted, before)))
                if quoted and len(text) <= VALUE:
                    before[name] = text
            while tokens and tokens[-1] == b"\x01":
                tokens.pop()
            line = bytes([FORM_BASE + self.forms.index(form)]) + b"".join(tokens)
        self._learn(sort, parts)
        return line

    @staticmethod
    def _token(text, bases):
        same, base = bases
        if text == b"":
            return bytes([EMPTY])
        if text == same:
            return bytes([SAME])
        verbatim = bytes([SAME]) + text
        token = None
        time = _time(base)
        if time is not None:
            if _time(text) is not None:
                d = _time(text) - time
                if d % 60 == 0:
                    token = b"%c%d" % (UP if d >= 0 else DOWN, abs(d) // 60)
                else:
                    token = b"%c%d" % (SECONDS_UP if d >= 0 else SECONDS_DOWN, abs(d))
        else:
            a, b = _number(base), _number(text)
            if a and b and a[1:] == b[1:] and _number_text(*b) == text:
                d = b[0] - a[0]
                token = b"%c%d" % (UP if d >= 0 else DOWN, abs(d))
        return token if token is not None and len(token) <= len(verbatim) else verbatim


@functools.lru_cache(maxsize=4)
def _start(preset):
    return Terse(preset)


def write_all(entries, preset=b""):
    terse = copy.deepcopy(_start(preset))
    return b"".join(terse.write(entry) + b"\n" for entry in entries)


def read_all(lines, preset=b""):
    terse = copy.deepcopy(_start(preset))
    return [terse.read(line) for line in lines.split(b"\n")[:-1]]
