"""Picks as WAV files for any other program, and a medley of the best of them.

True peaks are measured at four times the rate [1]_.

.. [1] ITU-R BS.1770-4, annex 2 (from memory).
"""

from __future__ import annotations

import io
import re
import unicodedata
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import scipy
import soundfile

from rig.choose.find import Find
from rig.choose.matching import finds_of
from rig.choose.picks import Pick
from rig.choose.rank import finds
from rig.choose.replay import GAP_S, Sample, sample_of
from rig.errors import LogError, RigError
from rig.files import make_folder, replace_file
from rig.log import Record, SweepLog
from rig.pcm import to_pcm
from rig.words import short_ohms

MEDLEY = "medley.wav"
MOST = 8
"""Finds in a medley."""
BETWEEN_S = 0.7
"""Silence between two finds of the medley; plain and bent are `GAP_S` apart."""
FADE_S = 0.01
CEILING = 10 ** (-1 / 20)
"""True peak of the medley's loudest moment: 1 dB below full scale."""
LOUD_S = 0.4
"""A sound is as loud as its loudest stretch of this length."""
NAME_MOST = 40

Pair = tuple[Sample | None, Sample | None]
"""The toy's own sound and the bend, where they can be read."""


@dataclass(frozen=True)
class Chosen:
    """A find whose sound is wanted.

    Parameters
    ----------
    find : Find
    stem : str
        What its files' names begin with; "": it's for the medley alone.
    name : str
        The person's own name of the pick, safe in a file's name.
    """

    find: Find
    stem: str = ""
    name: str = ""

    def file(self, what: str) -> str:
        """Name the file of its "plain" or "bent" sound."""
        return "-".join(filter(None, (self.stem, what, self.name))) + ".wav"


@dataclass(frozen=True)
class Written:
    """What was written.

    Parameters
    ----------
    files : list of Path
        Without the medley.
    medley : list of (float, Find)
        What is heard in it and from when, seconds.
    medley_s : float
        Its length.
    notes : list of str
        What couldn't be read, a line each.
    """

    files: list[Path]
    medley: list[tuple[float, Find]]
    medley_s: float
    notes: list[str]


def chosen_of(
    picks: Sequence[Pick], records: Sequence[Record], false_discovery: float
) -> tuple[list[Chosen], list[str]]:
    """Give the kept picks that have a find, and a note of each other.

    They are numbered as the sheet numbers their controls; two sounds of one pair share a number, and
    their resistance tells them apart, or their key.
    """
    chosen, notes = [], []
    order = list(dict.fromkeys(pick.pair for pick in picks))
    stems: Counter[str] = Counter()
    for pick, find in zip(picks, finds_of(picks, records, false_discovery), strict=True):
        if find is None:
            notes.append(f"{pick.label}: kept, but not found in this sweep: it has no sound here")
            continue
        stem = f"{order.index(pick.pair) + 1:02d}-{re.sub(r'[^A-Z+-]+', '_', pick.pair)}"
        if sum(one.pair == pick.pair for one in picks) > 1:
            size = pick.at_ohm or find.best_path_ohm
            stem += "" if size is None else f"-{short_ohms(size)}"
        stems[stem] += 1
        if stems[stem] > 1:
            stem += f"-{safe_name(find.key) or stems[stem]}"
        chosen.append(Chosen(find, stem, safe_name(pick.name)))
    return chosen, notes


def best_of(records: Sequence[Record], false_discovery: float) -> list[Chosen]:
    """Give the finds that change the sound of two pads or more, best first."""
    found = finds(records, false_discovery)
    return [Chosen(one) for one in found if one.is_bend and not one.is_lone]


def safe_name(text: str) -> str:
    """Give a person's words as any system takes them within a file's name; "" if none is left."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    return re.sub(r"[^A-Za-z0-9]+", "-", plain).strip("-")[:NAME_MOST].rstrip("-")


def different_first(
    chosen: Sequence[Chosen], records: Sequence[Record], false_discovery: float
) -> list[Chosen]:
    """Put one of each family first, then the second of each, each round the best first."""
    ranked = {one.place: (at, one.family)
              for at, one in enumerate(finds(records, false_discovery))}  # fmt: skip
    placed = [(*ranked.get(one.find.place, (len(ranked), one.find.label)), one) for one in chosen]
    placed.sort(key=lambda one: one[0])
    rounds: list[tuple[int, Chosen]] = []
    before: Counter[str] = Counter()
    for _, family, one in placed:
        rounds.append((before[family], one))
        before[family] += 1
    return [one for _, one in sorted(rounds, key=lambda one: one[0])]


def write_sounds(
    folder: Path, chosen: Sequence[Chosen], for_medley: Sequence[Chosen], log: SweepLog,
    force: bool = False,
) -> Written:
    """Write the plain and the bent sound of each that has a stem, as recorded, and the medley.

    Parameters
    ----------
    folder : Path
        Made if missing.
    chosen : sequence of Chosen
        With stems.
    for_medley : sequence of Chosen
        In their order; the first `MOST` that can be read are in it.
    log : SweepLog
        The log that they were found in.
    force : bool
        Files of these names may be overwritten.

    Raises
    ------
    RigError
        A file is there already, then nothing is written; or one can't be written.
    """
    names = [one.file(what) for one in chosen for what in ("plain", "bent")]
    for name in (*names, MEDLEY):
        if (folder / name).exists() and not force:
            raise RigError(f"{folder / name}: is there already; give --force to overwrite it")
    files: list[Path] = []
    notes: list[str] = []
    heard: dict[int, Pair] = {}
    try:
        make_folder(folder)
        for one in chosen:
            heard[one.find.best_touch] = pair = _read(log, one.find, notes)
            for what, sample in zip(("plain", "bent"), pair, strict=True):
                if sample is not None:
                    files.append(folder / one.file(what))
                    replace_file(files[-1], as_wav(sample.samples, sample.rate_hz))
        parts: list[tuple[Find, list[Sample]]] = []
        for one in for_medley:
            if len(parts) == MOST:
                break
            plain, bent = heard.get(one.find.best_touch) or _read(log, one.find, notes)
            if bent is not None:
                parts.append((one.find, [bent] if plain is None else [plain, bent]))
        if not parts:
            return Written(files, [], 0.0, notes)
        samples, rate_hz, starts_s = medley([part for _, part in parts])
        replace_file(folder / MEDLEY, as_wav(samples, rate_hz))
    except OSError as trouble:
        where = folder if trouble.filename is None else trouble.filename
        raise RigError(f"{where}: can't be written: {trouble.strerror}; give another folder with "
                       "--sounds") from trouble
    order = [(at, find) for at, (find, _) in zip(starts_s, parts, strict=True)]
    return Written(files, order, len(samples) / rate_hz, notes)


def medley(parts: Sequence[Sequence[Sample]]) -> tuple[np.ndarray, int, list[float]]:
    """Join sounds: those of a part share one gain, and all parts are equally loud.

    So a bend that is quieter than the toy stays so. The highest true peak is at `CEILING`.

    Parameters
    ----------
    parts : sequence of sequence of Sample
        At least one; all of one rate, as a log's are.

    Returns
    -------
    samples : ndarray of float32, shape (n,)
        Full scale 1.0.
    rate_hz : int
    starts_s : list of float
        When each part begins.
    """
    rate_hz = parts[0][0].rate_hz
    faded = [[_faded(one.samples, rate_hz) for one in part] for part in parts]
    levels = [max(loudness(one, rate_hz) for one in part) for part in faded]
    peaks = [max(true_peak(one) for one in part) for part in faded]
    target = min((level / peak for level, peak in zip(levels, peaks, strict=True) if level),
                 default=0.0) * CEILING  # fmt: skip
    pieces: list[np.ndarray] = []
    starts_s = []
    for part, level in zip(faded, levels, strict=True):
        if pieces:
            pieces.append(np.zeros(round(BETWEEN_S * rate_hz), np.float32))
        starts_s.append(sum(map(len, pieces)) / rate_hz)
        for at, one in enumerate(part):
            if at:
                pieces.append(np.zeros(round(GAP_S * rate_hz), np.float32))
            pieces.append(one * np.float32(target / level if level else 1.0))
    return np.concatenate(pieces), rate_hz, starts_s


def loudness(samples: np.ndarray, rate_hz: int) -> float:
    """Give the RMS of the loudest stretch of `LOUD_S`, full scale 1.0."""
    length = min(len(samples), round(LOUD_S * rate_hz))
    if not length:
        return 0.0
    power = np.cumsum(np.concatenate([[0.0], samples.astype(np.float64) ** 2]))
    return float(np.sqrt(max(0.0, (power[length:] - power[:-length]).max() / length)))


def true_peak(samples: np.ndarray) -> float:
    """Give the highest level between the samples as well as at them, full scale 1.0."""
    if not len(samples):
        return 0.0
    between = scipy.signal.resample_poly(samples.astype(np.float64), 4, 1)
    return float(max(np.abs(between).max(), np.abs(samples).max()))


def as_wav(samples: np.ndarray, rate_hz: int) -> bytes:
    """Give samples (float, full scale 1.0) as a WAV file of 16-bit mono."""
    whole = io.BytesIO()
    soundfile.write(whole, to_pcm(samples), rate_hz, subtype="PCM_16", format="WAV")
    return whole.getvalue()


def _read(log: SweepLog, find: Find, notes: list[str]) -> Pair:
    """Read the toy's own sound and the bend of a find; what can't be read is noted."""
    read: list[Sample | None] = []
    for what, number in (("baseline", find.baseline_touch), ("bend", find.best_touch)):
        sample = None
        if number is None:
            notes.append(f"{find.label}: no baseline was recorded with this key")
        else:
            try:
                sample = sample_of(log, what, number)
            except LogError as trouble:
                notes.append(f"{find.label}: {trouble}")
        read.append(sample)
    return read[0], read[1]


def _faded(samples: np.ndarray, rate_hz: int) -> np.ndarray:
    """Fade a sound in and out, so that it neither begins nor ends with a click."""
    length = min(round(FADE_S * rate_hz), len(samples) // 2)
    rise = np.linspace(0.0, 1.0, length, endpoint=False, dtype=np.float32)
    faded = samples.astype(np.float32)
    faded[:length] *= rise
    faded[len(faded) - length :] *= rise[::-1]
    return faded
