"""Random edits, as slips of a person's hand and worse: of text files, folders and command lines."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from pathlib import Path
from random import Random

NUMBERS = [
    "0", "-1", "0.5", "1", "2", "3.7", "-0.0", "1e9", "1e308", "1e400", "-1e400", "1e-300", "nan",
    ".nan", "inf", "-.inf", "999999999999999999999", "0x10", "010", "1_000", "1,5", "6,8", "12:30",
    "4.5 V", "10k", "10 kΩ", "½", "٣", "", "~", "null", "true", "[]", "{}", "[1, 2]", "'3'",
]
WORDS = [
    "", "x", "A", "Z", "AA", "a b", "red", "main", "signal", "clock", "simulated", "by-hand", "yes",
    "null", "on", "grün", "日本", "\u202eabc", "e\u0301", "🔔", "'", '"', "- x", "key: value", "#", "&a",
    "*a", "!x", "!!python/object:os.system", "%YAML", "---", "...", "|", ">", "[", "]", "{", "}", "?",
    "@", "`", "\\", "../x", "/", "x" * 5000,
]  # fmt: skip
BYTES = [
    b"\xff", b"\x00", b"\xef\xbb\xbf", b"\xff\xfe", b"\r", b"\r\n", b"\t", b"\x1b[2J", b"\x85", b"\x7f",
    b"\xc3", b"\xe2\x80\xa8", b"\xed\xa0\x80", b",", b":", b'"', b"'", b"-", b" ", b"  ", b"#", b"\n",
]
FILES = ["toy.yaml", "rig.yaml", "board.yaml", "picks.yaml", "board.svg", "board file.yaml"]
"""What is edited, where the folder has it; the first are edited most."""

_NUMBER = re.compile(rb"(?<![\w.])-?\d+(?:\.\d+)?")
_WORD = re.compile(rb"[A-Za-z_][\w-]*")

OPTIONS = [
    "--project", "--name", "--list", "--keep", "--set-aside", "--undo", "--note", "--again", "--finds",
    "--all", "--format", "--output", "--force", "--out", "--dry-run", "--jobs", "--before", "--after",
    "--seed", "--pads", "--kind", "--board", "--by-hand", "--simulated", "--explore", "--folder",
    "--help", "-h", "--version", "--nme", "-x", "--", "-", "--=", "--name=", "--list=3", "--jobs=1.5",
]  # fmt: skip
VALUES = [
    ".", "..", "toy", "toy/toy.yaml", "nowhere", "no/where", "", " ", "main", "two", "a/b", "..\\x", "A-B",
    "a-b", "B-A", "A-A", "A-", "-B", "A-B-C", "AA-ZZ", "ab", "A–B", "Ä-F", "1-2", "csv", "json", "xml",
    "0", "-3", "8", "1.5", "x", "1e3", "talker", "piano", "note, with: 'all' \"kinds\" # of – Ω 日本 🔔",
    "line\nbreak", "\x1b[31m", "f\udcfcr", "f\udcc3\udcbcr", "x" * 300, "x" * 70_000, "*.wav", "[", "~",
    "$HOME", "toy/picks.yaml", "toy/sweeps/main/log.db", "toy/board.svg", "board file.yaml", "plain.wav",
]  # fmt: skip


def edit_command(random: Random, words: list[str]) -> list[str]:
    """Give a command line with one to three slips."""
    words = list(words)
    for _ in range(random.choice((1, 1, 2, 3))):
        at = random.randrange(len(words) + 1)
        what = random.choice(("drop", "double", "swap", "value", "value", "option", "insert", "garble"))
        if what == "insert" or at == len(words):
            words.insert(at, random.choice(VALUES))
        elif what == "option":
            words[at:at] = [random.choice(OPTIONS), *random.choices(VALUES, k=random.choice((0, 1, 1)))]
        elif what == "drop":
            del words[at]
        elif what == "double":
            words[at:at] = words[max(0, at - 1) : at + 1]
        elif what == "swap":
            other = random.randrange(len(words))
            words[at], words[other] = words[other], words[at]
        elif what == "value":
            words[at] = random.choice(VALUES)
        elif words[at]:
            cut = random.randrange(len(words[at]))
            words[at] = words[at][:cut] + words[at][cut + 1 :]
    return words


def edit_folder(random: Random, folder: Path) -> str:
    """Change one thing of a project folder; says what."""
    there = [name for name in FILES if (folder / name).is_file()]
    if random.random() < 0.12 or not there:
        return _edit_files(random, folder)
    at = min(int(random.expovariate(0.5)), len(there) - 1)
    path = folder / there[at]
    text = path.read_bytes()
    edit = random.choice(TEXT_EDITS)
    path.unlink()  # it may share its content with the folder that was copied
    path.write_bytes(edit(random, text))
    return f"{path.name}: {edit.__name__}"


def _edit_files(random: Random, folder: Path) -> str:
    """Remove, swap or replace whole files."""
    found = sorted(p for p in folder.rglob("*") if p.suffix != ".flac" or random.random() < 0.1)
    if not found:
        return "nothing is left"
    path = random.choice(found)
    what = random.choice(("remove", "folder", "swap", "garbage", "cut", "read-only", "loop", "empty"))
    name = path.relative_to(folder)
    if what == "swap":
        other = random.choice(found)
        if path.is_file() and other.is_file() and path != other:
            one, two = path.read_bytes(), other.read_bytes()
            for each, content in ((path, two), (other, one)):
                each.unlink()
                each.write_bytes(content)
        return f"{name} and {other.relative_to(folder)}: swapped"
    if what == "read-only" and not path.is_symlink():
        path.chmod(random.choice((0, 0o444, 0o555)))
        return f"{name}: read-only"
    content = path.read_bytes() if path.is_file() else b""
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    else:
        path.unlink()
    if what == "folder":
        path.mkdir()
    elif what == "loop":
        path.symlink_to(path.name)
    elif what == "garbage":
        path.write_bytes(random.randbytes(random.choice((1, 100, 5000))))
    elif what == "cut":
        path.write_bytes(content[: random.randrange(len(content) + 1)])
    elif what == "empty":
        path.write_bytes(b"")
    return f"{name}: {what}"


def delete_line(random: Random, text: bytes) -> bytes:
    lines = text.splitlines(keepends=True)
    at = random.randrange(len(lines) + 1)
    return b"".join(lines[:at] + lines[at + random.choice((1, 1, 1, 3, 50)) :])


def double_line(random: Random, text: bytes) -> bytes:
    lines = text.splitlines(keepends=True) or [b""]
    at = random.randrange(len(lines))
    return b"".join(lines[: at + 1] + [lines[at]] * random.choice((1, 1, 100)) + lines[at + 1 :])


def swap_lines(random: Random, text: bytes) -> bytes:
    lines = text.splitlines(keepends=True) or [b""]
    one, two = random.randrange(len(lines)), random.randrange(len(lines))
    lines[one], lines[two] = lines[two], lines[one]
    return b"".join(lines)


def other_number(random: Random, text: bytes) -> bytes:
    return _other(random, text, _NUMBER, NUMBERS)


def near_number(random: Random, text: bytes) -> bytes:
    found = list(_NUMBER.finditer(text))
    if not found:
        return text
    one = random.choice(found)
    value = float(one[0]) * random.choice((0.5, 0.9, 2, 10, 1000)) + random.choice((0, 0, 1, -1))
    told = f"{value:.0f}" if random.random() < 0.7 else f"{value:g}"
    return text[: one.start()] + told.encode() + text[one.end() :]


def word_of_the_file(random: Random, text: bytes) -> bytes:
    return _other(random, text, _WORD, [one.decode() for one in _WORD.findall(text)] or ["x"])


def other_word(random: Random, text: bytes) -> bytes:
    return _other(random, text, _WORD, WORDS)


def other_value(random: Random, text: bytes) -> bytes:
    return _other(random, text, re.compile(rb"(?<=: )[^\n]*"), [*NUMBERS, *WORDS])


def misspell(random: Random, text: bytes) -> bytes:
    found = list(_WORD.finditer(text))
    if not found:
        return text
    at = random.randrange(*random.choice(found).span())
    return text[:at] + text[at + 1 :]


def indent(random: Random, text: bytes) -> bytes:
    lines = text.splitlines(keepends=True) or [b""]
    at = random.randrange(len(lines))
    lines[at] = random.choice((b" ", b"  ", b"\t", b"- ", b"  - ", b"# ")) + lines[at]
    return b"".join(lines)


def outdent(random: Random, text: bytes) -> bytes:
    lines = text.splitlines(keepends=True) or [b""]
    indented = [at for at, line in enumerate(lines) if line.startswith(b" ")] or [0]
    at = random.choice(indented)
    lines[at] = lines[at][1:]
    return b"".join(lines)


def insert_bytes(random: Random, text: bytes) -> bytes:
    at = random.choice((0, random.randrange(len(text) + 1), random.randrange(len(text) + 1)))
    return text[:at] + random.choice(BYTES) + text[at:]


def delete_bytes(random: Random, text: bytes) -> bytes:
    at = random.randrange(len(text) + 1)
    return text[:at] + text[at + random.choice((1, 1, 5, 100)) :]


def other_line_ends(random: Random, text: bytes) -> bytes:
    return text.replace(b"\n", random.choice((b"\r\n", b"\r", b"\n\n", b"\n\r", b"\x0b")))


def other_encoding(random: Random, text: bytes) -> bytes:
    """Write umlauts as another system would."""
    told = text.decode("utf-8", "replace") + "# für\n"
    return told.encode(random.choice(("utf-16", "latin-1", "utf-8-sig", "cp437", "utf-32-le")), "replace")


def cut(random: Random, text: bytes) -> bytes:
    return text[: random.randrange(len(text) + 1)]


def nest(random: Random, text: bytes) -> bytes:
    opening = random.choice((b"[", b"{a: ", b"- ", b"? "))
    return text + b"\nx: " + opening * random.choice((3, 50, 3000))


def repeat(random: Random, text: bytes) -> bytes:
    return text * random.choice((2, 3, 1000))


def replace_all(random: Random, text: bytes) -> bytes:
    return random.choice((b"", b"\n", b"[]", b"a", b"3", b"- 1\n", b"{}", b"# nothing\n", b"---\n---\n",
                          b"\x00" * 100, b"a: &x [*x]\n", b": :\n", b"? \n"))


def _other(random: Random, text: bytes, what: re.Pattern, values: list[str]) -> bytes:
    found = list(what.finditer(text))
    if not found:
        return text
    start, end = random.choice(found).span()
    return text[:start] + random.choice(values).encode() + text[end:]


TEXT_EDITS: list[Callable[[Random, bytes], bytes]] = [
    *(near_number, word_of_the_file, other_number, other_value) * 4, other_word, *(misspell, delete_line, indent, outdent) * 2,
    double_line, swap_lines, insert_bytes, insert_bytes, delete_bytes, other_line_ends, other_encoding,
    cut, nest, repeat, replace_all,
]  # fmt: skip
