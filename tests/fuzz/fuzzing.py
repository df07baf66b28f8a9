"""Builds the fuzz target, writes its inputs, runs it.

    python tests/fuzz/fuzzing.py --runs 10000000 --corpus FOLDER

The target (firmware/native/fuzz.c) says what an input is; `CONTROLS` names its bytes.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path

FUZZ = Path(__file__).resolve().parent
FIRMWARE = FUZZ.parents[1] / "firmware"
NATIVE = FIRMWARE / "native"
INPUT_MOST = 600

_MS = [1, 2, 5, 10, 20, 50, 100, 200, 400, 600, 1000, 1500, 2100, 3100, 5000, 10500]
_NAMES = ["lost", "frame", "peak", "average", "usual", "power", "brown-out", "watchdog", "chatter",
          "stuck low", "stuck high", "unstuck", "boards", "spoil", "hurry", "rail", "short", "switch"]  # fmt: skip
CONTROLS = {f"{ms} ms": 0x80 + n for n, ms in enumerate(_MS)} | {
    name: 0x90 + n for n, name in enumerate(_NAMES)
}
"""The bytes above 0x7f, by the name they have in seeds.txt."""


def encode(text: str) -> bytes:
    """Give the input that a paragraph of seeds.txt stands for."""
    pieces = re.split(r"\{(.*?)\}", text.replace("\\\n", ""))
    return b"".join(
        bytes([CONTROLS[piece]]) if n % 2 else piece.encode() for n, piece in enumerate(pieces)
    )


def seeds() -> list[bytes]:
    """Give every seed."""
    text = (FUZZ / "seeds.txt").read_text()
    text = re.sub(r"(?m)^#.*\n", "", text)
    return [encode(part.strip() + "\n") for part in re.split(r"\n\n+", text) if part.strip()]


def headers() -> list[str]:
    """Give the short form of every header in the firmware's table, queries with their '?'."""
    found = []
    rows = re.findall(
        r'^(COMMAND|QUERY|BOTH)\("([^"]+)"', (FIRMWARE / "commands.def").read_text(), re.MULTILINE
    )
    for kind, pattern in rows:
        plain = re.sub(r"\[.*?\]", "", pattern)
        for number in ("1", "2") if "<" in plain else ("",):
            short = re.sub(r"[a-z]", "", re.sub(r"<.*?>", number, plain))
            found += [short] if kind != "QUERY" else []
            found += [short + "?"] if kind != "COMMAND" else []
    return found


def dictionary() -> str:
    """Give libFuzzer's dictionary: the table's headers, parameters, and the controls."""
    words = [*headers(), "(@1!1", "2!8)", "1!1:1!8", "(@", "ON", "OFF", "NONE", "ALL", "MIN", "MAX",
             " MS", " MA", "#H", "#Q", "#B", "1E1", ";:", "\n"]  # fmt: skip
    entries = [word.encode() for word in words] + [bytes([byte]) for byte in CONTROLS.values()]
    return "".join(
        '"' + "".join(f"\\x{byte:02x}" for byte in entry) + '"\n' for entry in entries
    )


def build(firmware: Path = FIRMWARE, build_folder: Path | None = None) -> Path:
    """Build the fuzz target, from another copy of the firmware if one is given."""
    variables = [f"FIRMWARE={firmware}", f"BUILD={build_folder}"] if build_folder else []
    done = subprocess.run(
        ["make", "-s", "-C", str(NATIVE), "fuzz", *variables],
        check=False, capture_output=True, text=True,
    )  # fmt: skip
    if done.returncode:
        raise RuntimeError(f"the fuzz target doesn't build:\n{done.stdout}{done.stderr}")
    return (build_folder or NATIVE / "build") / "fuzz"


@dataclass(frozen=True)
class Run:
    """What came of a run: its breach (or the sanitizer's word), what it reached, its output."""

    breach: str | None
    report: dict
    output: str


def _breach_of(output: str) -> str | None:
    for pattern in (r"breach at \d+ us: (.*)", r"(runtime error: .*)", r"ERROR: (.*)"):
        if match := re.search(pattern, output):
            return match[1]
    return None


def run(program: Path, runs: int, *, seed: int = 1, corpus: Path | None = None,
        options: tuple[str, ...] = ()) -> Run:  # fmt: skip
    """Run the target over so many inputs, or until it finds something.

    Parameters
    ----------
    program : Path
        From `build`.
    runs : int
        Inputs; a negative number has no end.
    seed : int
        Of libFuzzer's choices: the same one gives the same inputs.
    corpus : Path, optional
        Folder to go on from and to keep new inputs in.
    """
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        given = folder / "seeds"
        given.mkdir()
        for n, text in enumerate(seeds()):
            (given / f"{n:02}").write_bytes(text)
        (folder / "dictionary").write_text(dictionary())
        found = corpus or folder / "corpus"
        found.mkdir(exist_ok=True)
        report = folder / "report.json"
        done = subprocess.run(
            [str(program), f"-runs={runs}", f"-seed={seed}", f"-max_len={INPUT_MOST}",
             f"-dict={folder / 'dictionary'}", f"-artifact_prefix={found.parent}/found-",
             "-print_final_stats=1", "-rss_limit_mb=1000", *options, str(found), str(given)],
            check=False, capture_output=True, text=True, errors="replace",
            env=os.environ | {"FUZZ_REPORT": str(report)},
        )  # fmt: skip
        reached = json.loads(report.read_text()) if report.exists() else {}
    breach = _breach_of(done.stderr)
    if done.returncode and not breach:
        breach = f"ended with {done.returncode}"
    return Run(breach, reached, done.stderr)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--corpus", type=Path)
    given = parser.parse_args()
    done = run(build(), given.runs, seed=given.seed, corpus=given.corpus)
    unreached = [name for name, entered in done.report.get("handlers", {}).items() if not entered]
    print("\n".join(done.output.splitlines()[-12:]))
    print(f"report: {done.report}")
    print(f"breach: {done.breach}; handlers never reached: {unreached or 'none'}")


if __name__ == "__main__":
    main()
