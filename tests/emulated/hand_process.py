"""A person with a toy, in a process of its own: reads what is asked, does it, and is heard.

Lines of the sweep's output come in at standard input. What the toy does under the person's
hands, with their rustle and the room, is played into the null sink in real time. The first
press that brings nothing is waited out; after the next ones Enter is pressed, at standard
output. What was read and done is written to a file, as a witness.

    python hand_process.py --seed N --pads P --path-ohm R --record FILE [--tap-at 2]
"""

from __future__ import annotations

import argparse
import json
import queue
import re
import signal
import sys
import threading
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "unit"))

from hands import RATE_HZ, Hands
from sound_server import Player

from rig.bench.simulated.board import make_board

STEP_S = 0.01
NOTHING_S = 1.2
"""A person is sure by then that a press brought nothing."""
DELAY_S = (0.25, 0.4)
"""From one movement to the next; a person takes some seconds."""

ASKED = [
    ("room", r"quiet, please"),
    ("battery", r"batteries out.* then press (?P<key>\w+)$"),
    ("touch", r"bridge (?P<one>[A-Z]+) and (?P<other>[A-Z]+), then press (?P<key>\w+)"),
    ("once more", r"press (?P<key>\w+) once more"),
    ("clean", r"bridge nothing and press (?P<key>\w+)"),
    ("bare", r"take the bridge off and press (?P<key>\w+)"),
    ("told", r"^  [A-Z]+-[A-Z]+: "),
]


def asked_in(line: str) -> tuple[str, str, tuple[str, str] | None] | None:
    """Give what a line asks, with which key and which pair; None where it asks for nothing."""
    for ask, pattern in ASKED:
        if found := re.search(pattern, line):
            words = found.groupdict()
            pair = (words["one"], words["other"]) if "one" in words else None
            return ask, words.get("key", ""), pair
    return None


def run(hands: Hands, lines: queue.Queue, player: Player, record: Path, tap_at: int) -> None:
    """Obey the lines until they end."""
    began, touches = time.monotonic(), 0
    waiting, waited_out, asked_at = False, False, 0
    with record.open("w", buffering=1) as witness:
        while True:
            while not lines.empty():
                line = lines.get()
                if line is None:
                    return
                at_s = round(hands.now / RATE_HZ, 3)
                witness.write(json.dumps({"at_s": at_s, "line": line}) + "\n")
                asked = asked_in(line)
                if asked is None:
                    continue
                touches += asked[0] == "touch"
                waited_out = waited_out or asked[0] == "once more"
                waiting, asked_at = asked[0] in ("touch", "once more", "bare"), hands.now
                if asked[0] == "told":
                    hands.let_go()
                elif touches == tap_at and asked[0] in ("touch", "once more"):
                    hands.tap(2)  # and again, where it wasn't heard
                else:
                    hands.obey(*asked, hands.board.on)
            due = round((time.monotonic() - began) * RATE_HZ) - hands.now
            if due > 0:
                both = np.zeros((due, 2), dtype="<f4")  # the second, a rig's marker, stays silent
                both[:, 0] = hands.run(due)
                player.play(both.tobytes())
            in_vain = asked_at < hands.pressed > hands.sounded
            sure = hands.now - hands.pressed > NOTHING_S * RATE_HZ
            if waiting and waited_out and in_vain and sure:
                print(flush=True)
                waiting = False
            time.sleep(STEP_S)


def main() -> None:
    """Read the options and obey."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--pads", type=int, required=True)
    parser.add_argument("--path-ohm", type=float, required=True)
    parser.add_argument("--record", type=Path, required=True)
    parser.add_argument("--tap-at", type=int, default=0)
    options = parser.parse_args()
    hands = Hands(
        make_board(options.seed, options.pads), options.seed, options.path_ohm, DELAY_S
    )
    hands.now = 0
    lines: queue.Queue = queue.Queue()

    def read() -> None:
        for line in sys.stdin:
            lines.put(line.rstrip("\n"))
        lines.put(None)

    threading.Thread(target=read, daemon=True).start()
    # Until somebody records in small pieces, the sink takes what is played in pieces of a second
    # and a half, and goes on doing so for that stream: nobody could press in time.
    while (line := lines.get()) is not None and "quiet, please" not in line:
        continue
    player = Player()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    try:
        run(hands, lines, player, options.record, options.tap_at)
    finally:
        player.close()


if __name__ == "__main__":
    main()
