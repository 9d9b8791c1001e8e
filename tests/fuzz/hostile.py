"""Hostile bytes: real files with a few bytes, words or lines out of place, and what YAML and JSON stumble over."""

from __future__ import annotations

import random

from command import TOP

CASES = [
    p.read_bytes()
    for p in sorted((TOP / "examples").glob("*/*.yaml"))
    if b"\ncase:" in b"\n" + p.read_bytes()
]
PACK_FILES = [p.read_bytes() for p in sorted((TOP / "rules").glob("*/*.yaml")) if p.stat().st_size < 9_000]
ODD = [
    *(b"", b"\x00", b"\xff", b"\x1b[2J", b"\xc2\x9b31m", b"\xe2\x80\xae", b"\xef\xbb\xbf", b"\xed\xa0\x80", b"\t", b"\r"),
    *(b"\n", b"\n\n---\n", b"\n...\n", b"%YAML 1.1\n", b"&a ", b"*a", b"<<: *a\n", b"<<: {case: x}\n", b"? ", b"- ", b": "),
    *(b"[", b"]", b"{", b"}", b'"', b"'", b"|\n", b">-\n", b"# ", b"!", b"!!python/object/apply:os.system [id]", b"!!binary "),
    *(b"!!set ", b"!!timestamp ", b"9" * 400, b"-" + b"1" * 30, b"1e999", b"-.inf", b".nan", b"0x7fffffff", b"1_000", b"0o17"),
    *(b"2026-02-30", b"0000-00-00", b"9999-12-31T23:59:60", b"12:30:45", b"~", b"null", b"true", b"yes", b"\\ud800", b"\\0"),
    *(b"\\N{BELL}", b"<script>alert(1)</script>", b"=cmd|'/C calc'!A0", b"{{7*7}}", b"../../../etc/passwd", b"/etc/passwd"),
    *(b"$x", b"any", b"*", b"*kind", b"all", b"unknown", b"none", b"x" * 3000, b"[[[[[[[[[[[[[[[[", b"{a: {a: {a: {a: {a: {a: "),
]  # fmt: skip


def spoilt(data: bytes, chance: random.Random, times: int) -> bytes:
    """The file after so many accidents."""
    for _ in range(times):
        here = chance.randrange(len(data) + 1)
        there = min(len(data), here + chance.choice((1, 1, 2, 5, 20, 200)))
        how = chance.randrange(8)
        lines = data.split(b"\n")
        if how == 0:
            data = data[:here] + data[there:]
        elif how == 1:
            data = data[:here] + chance.choice(ODD) + data[here:]
        elif how == 2:
            data = data[:here] + chance.choice(ODD) + data[there:]
        elif how == 3:
            data = data[:there] + data[here:]
        elif how == 4:
            lines.insert(chance.randrange(len(lines)), chance.choice(lines))
            data = b"\n".join(lines)
        elif how == 5:
            chance.shuffle(lines[(at := chance.randrange(len(lines))) : at + 4])
            del lines[at : at + chance.randrange(3)]
            data = b"\n".join(lines)
        elif how == 6:
            at = chance.randrange(len(lines))
            head, colon, _ = lines[at].partition(b": ")
            lines[at] = head + colon + chance.choice(ODD)
            data = b"\n".join(lines)
        else:
            data = data[:here] + bytes([chance.randrange(256)]) + data[here + 1 :]
    if chance.random() < 0.02:
        data = data.decode("utf-8", "replace").encode(
            chance.choice(("utf-16", "utf-32", "utf-8-sig", "latin-1")), "replace"
        )
    return data
