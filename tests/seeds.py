"""The one way in which programs here are told numbers of seeds or boards: 7, 9000-9019 or 3,8-10."""

from __future__ import annotations

import argparse
import re
from collections.abc import Sequence

NOTATION = "numbers and ranges, both ends included: 9000-9019 or 3,8-10"


def seeds(words: str) -> list[int]:
    """Read numbers of seeds, in the order in which they are written.

    Raises
    ------
    argparse.ArgumentTypeError
        They are written otherwise, a range goes down, or a number comes twice.
    """
    found: list[int] = []
    for word in words.split(","):
        ends = re.fullmatch(r"(\d+)(?:-(\d+))?", word.strip())
        if not ends:
            raise argparse.ArgumentTypeError(f"{words!r}: write {NOTATION}")
        first, last = int(ends[1]), int(ends[2] or ends[1])
        if last < first:
            raise argparse.ArgumentTypeError(f"{word!r} goes down: write {last}-{first}")
        found += range(first, last + 1)
    if len(set(found)) < len(found):
        raise argparse.ArgumentTypeError(f"{words!r}: a number is there twice")
    return found


def add_seeds(parser: argparse.ArgumentParser, default: str, option: str = "--seeds") -> None:
    """Add the option that takes them."""
    parser.add_argument(
        option, type=seeds, default=default, metavar="N-M", help=f"{NOTATION} ({default})"
    )


def taking_turns(numbers: Sequence[int], kinds: Sequence[str]) -> list[tuple[str, int]]:
    """Give a kind for each seed: seed by seed the kinds take turns."""
    return [(kinds[i % len(kinds)], seed) for i, seed in enumerate(numbers)]
