"""Loading a project folder: read, check each value, refuse what is unsafe.

Every message is one line and begins with the file and line of the value it is about.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from rig.errors import ConfigError, SafetyRefusal
from rig.project import asked, hints, ladder
from rig.project.electrical import CONTAINS_REFUSED, MAX_SUPPLY_V, refusals, too_high
from rig.project.low_pads import LIMITER_OHM, limiter_ma
from rig.project.models import (
    BY_HAND_LEAVES_OUT,
    KEY_SOCKETS,
    LEAST_LEAD_IN_MS,
    MAX_PADS,
    Project,
    Rig,
    Toy,
    letters,
)
from rig.project.nets import load_nets, merged
from rig.project.validate import validate
from rig.project.yaml_strict import Document, read_yaml

_ADAPTOR = "mains adaptors and USB supplies are refused: battery toys only, run on `cells` or " \
    "from an isolated `bench` supply"  # fmt: skip
UNSAFE_SOURCES = {
    **dict.fromkeys(
        ("adaptor", "adapter", "wall", "wallwart", "plug", "psu", "ac", "usb", "grid",
         "charger", "mainsadaptor", "acadapter", "walladapter"), _ADAPTOR),
    **dict.fromkeys(
        ("lithium", "liion", "lipo", "lithiumion", "18650", "powerbank", "lifepo4"),
        CONTAINS_REFUSED["lithium"]),
}  # fmt: skip
"""Supplies that people might write, and why they are refused."""


def load_project(folder: str | Path) -> Project:
    """Load toy.yaml and rig.yaml of a project folder and refuse what can't be used.

    Raises
    ------
    ConfigError
        A file is missing or something in it is wrong: names file, line and a valid word.
    SafetyRefusal
        The set-up could hurt toy or person.
    """
    folder = Path(folder)
    if folder.is_file():
        raise ConfigError(
            f"{folder} is a file: give the folder that it lies in, --project {folder.parent}"
        )
    if not folder.is_dir():
        raise ConfigError(f"there is no folder {folder}: make it with `padsweep new {folder}`")
    toy_file, rig_file = read_yaml(folder / "toy.yaml"), read_yaml(folder / "rig.yaml")
    _refuse_unsafe_words(toy_file)
    toy = validate(toy_file, Toy)
    rig = validate(rig_file, Rig)
    for document, path, message in _cross_checks(toy_file, rig_file, toy, rig):
        raise ConfigError(f"{document.where(path)}: {message}")
    for which, path, message in refusals(toy, rig):
        document = toy_file if which == "toy" else rig_file
        raise SafetyRefusal(f"{document.where(path)}: {message}")
    answers = load_nets(folder, toy)
    one = merged([name for name, said in answers.items() if said == "one"], toy)
    project = Project(folder, toy, rig, tuple(one))
    for path, message in asked.problems(project):
        raise ConfigError(f"{rig_file.where(path)}: {message}")
    return project


def _refuse_unsafe_words(document: Document) -> None:
    """Refuse adaptors, lithium and chargers by whatever name they were written."""
    supply = document.data.get("supply") if isinstance(document.data, dict) else None
    if not isinstance(supply, dict):
        return
    for key, value in supply.items():
        for word, is_set in ((key, value not in (None, False)), (value, isinstance(value, str))):
            if not is_set:
                continue
            plain = str(word).lower().replace("-", "").replace("_", "").strip()
            reason = CONTAINS_REFUSED.get(plain) or UNSAFE_SOURCES.get(plain.replace(" ", ""))
            if reason is not None:
                raise SafetyRefusal(f"{document.where(('supply', key))}: {reason}")
    volts = supply.get("volts")
    written = hints.quantity(volts, "volts") if isinstance(volts, str) else None
    if written is not None and written > MAX_SUPPLY_V:
        raise SafetyRefusal(f"{document.where(('supply', 'volts'))}: {too_high(written)}")


def _cross_checks(
    toy_file: Document, rig_file: Document, toy: Toy, rig: Rig
) -> Iterator[tuple[Document, tuple, str]]:
    """Give what is wrong between fields, in the order of the files."""
    for given, expected in zip(toy.pads, letters(len(toy.pads)), strict=True):
        if given != expected:
            hint = (
                f"write {expected}" if given.upper() == expected else
                f"letters go A, B, C ... in the order of the leads; keep an unused lead as "
                f"`{expected}: {{forbidden: true}}`"
            )  # fmt: skip
            yield toy_file, ("pads", given), (f"pad {hints.shown(given)} stands where {expected} is "\
                f"expected: {hint}")  # fmt: skip
    for index, key in enumerate(toy.on):
        if key not in toy.keys:
            hint = hints.nearest(key, toy.keys)
            yield toy_file, ("on", index), f"on: there is no key {hints.shown(key)}: {hint}"
    yield from _low_checks(toy_file, rig_file, toy, rig)
    for index, key in enumerate(rig.sweep.keys or []):
        path = ("sweep", "keys", index)
        if key not in toy.keys:
            hint = hints.nearest(key, toy.keys)
            yield rig_file, path, f"there is no key {hints.shown(key)} in toy.yaml: {hint}"
        elif (rig.sweep.keys or []).index(key) < index:
            yield rig_file, path, f"key {hints.shown(key)} is there twice: take one out"
    if rig.bench == "by-hand" and rig.sweep.series_ohm is not None:
        told = "by hand the values between the tips stand in `by_hand: path_ohm`: take this out"
        yield rig_file, ("sweep", "series_ohm"), told
    slip = ladder.slip(rig_file, rig)
    if slip is not None:
        yield (rig_file, *slip)
    if rig.switch_rail_v is not None and rig.switch == "reed":
        yield rig_file, ("switch_rail_v",), "a reed relay has no supply rails: take this line out"
    least_ms, given_ms = LEAST_LEAD_IN_MS.get(rig.bench, 0), rig.timings.lead_in_ms
    if given_ms < least_ms:
        yield (
            rig_file,
            ("timings", "lead_in_ms"),
            (
                f"lead_in_ms must be at least {least_ms}, is {given_ms}: a shorter one is over before "
                "it is heard whether the toy lives"
            ),
        )
    if rig.bench == "simulated":
        yield from _simulated_checks(toy_file, rig_file, toy, rig)
    elif rig.bench == "by-hand":
        yield from _by_hand_checks(rig_file, rig)
    else:
        yield from _hardware_checks(toy_file, rig_file, toy, rig)


def _low_checks(toy_file, rig_file, toy, rig):
    for index, pad in enumerate(toy.low_pads):
        path = ("low_pads", index)
        if pad not in toy.pads:
            yield toy_file, path, f"there is no pad {hints.shown(pad)}: {hints.nearest(pad, toy.pads)}"
        elif pad in toy.low_pads[:index]:
            yield toy_file, path, f"pad {pad} is there twice: take one out"
    for letter, pad in toy.pads.items():
        if pad.lead_ohm is not None and letter not in toy.low_pads:
            yield toy_file, ("pads", letter, "lead_ohm"), (
                "a lead of its own is for low pads: take it out, or name the pad in low_pads"
            )
    has_bank = rig.bench != "by-hand"
    if has_bank and limiter_ma(rig) and rig.series_ohm[0] > LIMITER_OHM:
        yield rig_file, ("series_ohm", 0), (
            "the limiter is in series channel 1's place: write its own ohms first, such as 65"
        )


def _simulated_checks(toy_file, rig_file, toy, rig):
    if rig.simulated is None:
        yield (
            rig_file,
            ("bench",),
            "`bench: simulated` needs a part `simulated:` with seed and pads",
        )
    elif len(toy.pads) > rig.simulated.pads:
        pad = list(toy.pads)[rig.simulated.pads]
        yield (
            toy_file,
            ("pads", pad),
            (f"pad {pad} isn't on the board: simulated.pads in rig.yaml is {rig.simulated.pads}"),
        )


def _by_hand_checks(rig_file, rig):
    parts = [part for part in rig_file.data if part in BY_HAND_LEAVES_OUT]
    if parts:
        belong, them = ("belongs", "it") if len(parts) == 1 else ("belong", "them")
        told = ", ".join(f"`{part}`" for part in parts)
        yield rig_file, (parts[0],), f"{told} {belong} to a bench with switches: take {them} out"
    if rig.sound is None:
        yield rig_file, ("bench",), "`bench: by-hand` needs a part `sound:` with its device"


def _hardware_checks(toy_file, rig_file, toy, rig):
    if rig.controller is None:
        yield rig_file, ("bench",), "`bench: hardware` needs a part `controller:` with its port"
    if rig.sound is None:
        yield rig_file, ("bench",), "`bench: hardware` needs a part `sound:` with its device"
    elif rig.sound.sound_channel == rig.sound.marker_channel:
        yield (
            rig_file,
            ("sound",),
            (f"sound and marker are both on channel {rig.sound.sound_channel}: they need one each"),
        )
    channels = rig.controller.pads if rig.controller else MAX_PADS
    if len(toy.pads) > channels:
        pad = list(toy.pads)[channels]
        yield (
            toy_file,
            ("pads", pad),
            (
                f"the controller has {channels} channels for pads, {pad} would be one more; "
                "controller.pads in rig.yaml says how many are fitted"
            ),
        )
    # Keys that are never pressed need no socket.
    wired = list(toy.keys)[:KEY_SOCKETS]
    swept = rig.sweep.keys or wired[:1]
    for document, path, key in (
        *((toy_file, ("on", index), key) for index, key in enumerate(toy.on)),
        *((rig_file, ("sweep", "keys", index), key) for index, key in enumerate(swept)),
    ):
        if key in toy.keys and key not in wired:
            yield (
                document,
                path,
                (
                    f"key {hints.shown(key)} has no socket: the controller has {KEY_SOCKETS}, for "
                    f"the first {KEY_SOCKETS} keys of toy.yaml; put first what turns the toy on, "
                    "then keys that make different sounds"
                ),
            )
