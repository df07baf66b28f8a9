"""Sweeps invented toys and compares their logs with those of an earlier state of the program.

    python tests/golden/golden.py                            # all sixty, against hashes.txt
    python tests/golden/golden.py --boards 21-40 --write     # and writes their hashes down
    python tests/golden/golden.py --boards 1-6 --texts DIR   # keeps the logs' texts
    python tests/golden/golden.py --boards 1-6 --against DIR # shows the first line that differs
    python tests/golden/golden.py --show NAME                # one log's text

All sixty take some minutes. `--texts` in a checkout of the earlier state, then `--against` here,
shows what has become of a log whose hash is another one now.
"""

from __future__ import annotations

import argparse
import sys
from itertools import zip_longest
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parents[1])]

from golden_boards import BOARDS
from golden_sweeps import swept
from golden_text import sha256
from seeds import add_seeds

HASHES = Path(__file__).with_name("hashes.txt")


def read_hashes() -> dict[str, tuple[str, int]]:
    """Give the hash of each board's text, and how many touches are in it."""
    if not HASHES.exists():
        return {}
    rows = [line.split() for line in HASHES.read_text().splitlines()]
    return {name: (whole, int(touches)) for name, whole, touches in rows}


def write_hashes(hashes: dict[str, tuple[str, int]]) -> None:
    """Write the hashes of the boards that there are, in their order."""
    rows = [f"{name} {hashes[name][0]} {hashes[name][1]}\n" for name in BOARDS if name in hashes]
    HASHES.write_text("".join(rows))


def first_difference(before: str, now: str) -> str:
    """Show the first line in which two texts differ; empty where they don't."""
    pairs = zip_longest(before.splitlines(), now.splitlines(), fillvalue="(nothing)")
    for number, (old, new) in enumerate(pairs, 1):
        if old != new:
            return f"line {number}\n  was {old}\n  is  {new}"
    return ""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    add_seeds(parser, "1-60", "--boards")
    parser.add_argument("--write", action="store_true", help="write their hashes down")
    parser.add_argument("--show", metavar="NAME", choices=BOARDS, help="write one log's text")
    parser.add_argument("--texts", type=Path, metavar="FOLDER", help="keep the logs' texts there")
    parser.add_argument("--against", type=Path, metavar="FOLDER", help="compare with texts there")
    told = parser.parse_args()
    if not set(told.boards) <= set(range(1, len(BOARDS) + 1)):
        parser.error(f"there are boards 1-{len(BOARDS)}")
    if told.show:
        sys.stdout.write(swept(BOARDS[told.show])[0])
        return
    hashes, others = read_hashes(), []
    for name in (list(BOARDS)[number - 1] for number in told.boards):
        text, touches = swept(BOARDS[name])
        made = (sha256(text), touches)
        said = ""
        if told.against:
            said = first_difference((told.against / f"{name}.txt").read_text(), text)
        elif not told.write and hashes.get(name) != made:
            said = f"{touches} touches, {made[0]}; {HASHES.name} has {hashes.get(name)}"
        print(f"{'DIFFERS' if said else 'ok':8}{name} {said}".rstrip(), flush=True)
        others += [name] if said else []
        hashes[name] = made
        if told.texts:
            told.texts.mkdir(parents=True, exist_ok=True)
            (told.texts / f"{name}.txt").write_text(text)
    if told.write:
        write_hashes(hashes)
    if others:
        sys.exit(f"not as before: {', '.join(others)}")


if __name__ == "__main__":
    main()
