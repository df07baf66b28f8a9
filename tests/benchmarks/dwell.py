"""What ending quiet touches early would cost: how late the changes of sound begin.

    python tests/benchmarks/dwell.py FOLDER...

Takes swept project folders. Every first touch that is a hit over its whole take is heard again
only up to so long after its closing; where the worst 0.15 s by then stay below a threshold the
touch would have been ended as quiet. Prints the share of hits lost so, of pairs lost on every
path, of quiet touches ended, and the time saved.
"""

import argparse
from pathlib import Path

import numpy as np

from rig.listen import Span
from rig.log import SweepLog
from rig.outcomes import is_change
from rig.project import load_project
from rig.sweep.rejudge import clean_takes, judgeable, learnt

ENDS_S = (0.25, 0.35, 0.5, 0.7, 0.9)
QUIET_DB = 1.2


def heard(folder: Path) -> tuple[list[tuple], float, float]:
    """Give pair, whether it is a hit, and the worst dB by each end, of every first touch."""
    project = load_project(folder)
    key = project.sweep_keys[0]
    rows = []
    with SweepLog.open(folder / "sweeps" / "main", read_only=True) as log:
        records = log.records()
        ear = learnt(clean_takes(log, key, records))
        baseline = ear.baseline(key)
        for one in judgeable(records):
            if one.kind != "sweep" or one.key != key:
                continue
            samples, rate_hz = log.read_take(one.number)
            span = Span.from_samples(one.offsets, len(samples), rate_hz)
            judgement = ear.judge(key, samples, span)
            worst_db = [
                baseline.distance(baseline.align(
                    samples[: one.offsets["close"] + round(end_s * rate_hz)], span)).local_db
                for end_s in ENDS_S
            ]
            rows.append(((folder, one.pads_1, one.pads_2), is_change(judgement.sound), worst_db))
    timings = project.rig.timings
    return rows, timings.dwell_ms / 1000, timings.touch_s


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", nargs="+", type=Path)
    rows = []
    for folder in parser.parse_args().folders:
        more, dwell_s, touch_s = heard(folder)
        rows += more
    hits = [one for one in rows if one[1]]
    pairs = {one[0] for one in hits}
    print(f"{len(rows)} first touches, {len(hits)} hits on {len(pairs)} pairs")
    for i, end_s in enumerate(ENDS_S):
        kept = [one for one in hits if one[2][i] >= QUIET_DB]
        ended = np.mean([one[2][i] < QUIET_DB for one in rows])
        print(
            f"ended after {end_s:4.2f} s: hits lost {1 - len(kept) / max(1, len(hits)):.3f}, pairs "
            f"{len(pairs - {one[0] for one in kept})} of {len(pairs)}, touches ended {ended:.3f}, "
            f"time saved {ended * (dwell_s - end_s) / touch_s:.3f}"
        )


if __name__ == "__main__":
    main()
