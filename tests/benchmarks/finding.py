"""How well bends are found on boards that nothing was tuned on.

    python tests/benchmarks/finding.py [--seeds 100-109] [--pads 24] [--jobs 2]

Sweeps each board through the installed command and compares `padsweep export --finds` with
the truth of the simulated circuit. Prints a row a board and the sums. Pairs that only a
minority of the toy's states show are not in the truth's lists; found all the same they count
as false or wrongly called, and stand beside that under "luck".
"""

import argparse
import csv
import io
import json
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path


def run(*command: str) -> str:
    done = subprocess.run(command, check=False, capture_output=True, text=True)
    if done.returncode:
        raise SystemExit(f"{' '.join(command)}: {done.stderr.strip()}")
    return done.stdout


def padsweep(*arguments: str) -> str:
    return run(sys.executable, "-c", "from rig.cli.main import run; run()", *arguments)


def pairs_of(rows) -> set[frozenset]:
    return {frozenset(pair) for pair in rows}


def board(seed: int, pads: int) -> dict:
    truth = json.loads(
        run(sys.executable, "-m", "rig.bench.simulated.truth", "--seed", str(seed),
            "--pads", str(pads))
    )
    with tempfile.TemporaryDirectory() as folder:
        toy = str(Path(folder) / "toy")
        padsweep("demo", "--folder", toy, "--seed", str(seed), "--pads", str(pads))
        text = padsweep("export", "--project", toy, "--finds", "--format", "csv")
    finds = list(csv.DictReader(io.StringIO(text)))
    found = pairs_of((f["pads_1"], f["pads_2"]) for f in finds if f["sound"] != "none")
    frozen = pairs_of((f["pads_1"], f["pads_2"]) for f in finds if f["after"] == "freeze")
    bends, freezes = pairs_of(truth["bends"]), pairs_of(truth["freezes"])
    some_bend, some_freeze = (pairs_of(truth["sometimes"][w]) for w in ("bends", "freezes"))
    return {
        "seed": seed, "bends": len(bends), "found": len(found & bends),
        "false": len(found - bends), "luck": len(found & some_bend - bends),
        "freezes": len(freezes), "frozen": len(frozen & freezes),
        "wrongly": len(frozen - freezes), "by luck": len(frozen & some_freeze - freezes),
        "missed": sorted("-".join(sorted(p)) for p in bends - found),
        "extra": sorted("-".join(sorted(p)) for p in found - bends),
        "freeze_missed": sorted("-".join(sorted(p)) for p in freezes - frozen),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", default="100-109", help="first-last")
    parser.add_argument("--pads", type=int, default=24)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--names", action="store_true", help="name the pairs that differ")
    given = parser.parse_args()
    first, _, last = given.seeds.partition("-")
    seeds = range(int(first), int(last or first) + 1)
    columns = ("seed", "bends", "found", "false", "luck", "freezes", "frozen", "wrongly",
               "by luck")
    print("  ".join(f"{c:>7}" for c in columns), flush=True)
    total = dict.fromkeys(columns, 0)
    with ThreadPoolExecutor(given.jobs) as pool:
        for row in pool.map(lambda seed: board(seed, given.pads), seeds):
            print("  ".join(f"{row[c]:>7}" for c in columns), flush=True)
            if given.names:
                for what in ("missed", "extra", "freeze_missed"):
                    print(f"    {what}: {' '.join(row[what])}", flush=True)
            for column in columns:
                total[column] += row[column]
    recall = total["found"] / max(1, total["bends"])
    precision = total["found"] / max(1, total["found"] + total["false"])
    print(f"recall {recall:.3f}, precision {precision:.3f}; freezes missed "
          f"{total['freezes'] - total['frozen']} of {total['freezes']}, wrongly called "
          f"{total['wrongly']}")
    print(f"of the {total['false']} false ones {total['luck']} do bend, and of the "
          f"{total['wrongly']} wrongly called {total['by luck']} do freeze, but in fewer than "
          "half of the toy's states")


if __name__ == "__main__":
    main()
