"""Bytes a record of general-purpose compressors over the same rows: compare_payload.py STORED [TRAINING…].

STORED holds stored entries, one canonical JSON record a line. Beside it:
- gzip -9 of the same rows as CSV, the columns being every member that occurs in the rows;
- zstd -19 with a dictionary trained by zstd itself on the TRAINING files (same kind of file), over
  the same lines.
Chunks of 10, 100 and 500 consecutive rows, means over up to 40 chunks.
"""

import csv
import gzip
import io
import json
import pathlib
import subprocess
import sys
import tempfile

CHUNKS = 40


def chunks(lines, size):
    step = max(size, len(lines) // CHUNKS)
    for start in range(0, len(lines) - size + 1, step):
        yield lines[start:start + size]


def as_csv(lines):
    rows = [json.loads(line) for line in lines]
    columns = sorted({name for row in rows for name in row})
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(columns)
    for row in rows:
        writer.writerow([row.get(c, "") if isinstance(row.get(c, ""), (str, int))
                         else json.dumps(row[c], separators=(",", ":")) for c in columns])
    return out.getvalue().encode()


def zstd_dictionary(files, folder):
    """Train on single records; None without training files."""
    samples = folder / "samples"
    samples.mkdir()
    for path in files:
        for i, line in enumerate(pathlib.Path(path).read_bytes().splitlines()):
            (samples / f"{pathlib.Path(path).stem}-{i}").write_bytes(line + b"\n")
    if not files:
        return None
    out = folder / "dictionary"
    subprocess.run(["zstd", "-q", "--train", "-r", samples, "--maxdict=32768", "-o", out], check=True,
                   capture_output=True)
    return out


def zstd_size(data, dictionary):
    done = subprocess.run(["zstd", "-19", "-q", "-c", "--no-check", "-D", dictionary], input=data,
                          capture_output=True, check=True)
    return len(done.stdout)


def main():
    lines = pathlib.Path(sys.argv[1]).read_bytes().splitlines()
    with tempfile.TemporaryDirectory() as folder:
        dictionary = zstd_dictionary(sys.argv[2:], pathlib.Path(folder))
        for size in (10, 100, 500):
            parts = list(chunks(lines, size))
            gz = sum(len(gzip.compress(as_csv(part), 9)) for part in parts) / len(parts) / size
            print(f"gzip_csv_{size} {gz:.1f} bytes/record")
            if dictionary:
                z = sum(zstd_size(b"\n".join(part) + b"\n", dictionary) for part in parts)
                print(f"zstd_dictionary_{size} {z / len(parts) / size:.1f} bytes/record")


if __name__ == "__main__":
    main()
