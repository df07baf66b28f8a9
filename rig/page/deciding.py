"""What the person has decided, as picks.yaml says it, and what a tab asks to be changed there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from rig.choose import Find, Pick, keeping, load_picks
from rig.choose.find import over
from rig.choose.matching import decision, entry_of, find_of, of_pairs
from rig.choose.picks import CONTROLS, pick_of
from rig.choose.replay import decided, spot_of
from rig.choose.taste import by_taste
from rig.errors import ConfigError
from rig.page.night import Seen
from rig.page.rows import best

CHANGEABLE = ("name", "note", "control", "set_aside")
TEXT_MOST = 2000
"""Characters of a name or note."""
Told = dict[str, Any]


def decisions(folder: Path, found: Sequence[Find]) -> Told:
    """Give what was decided.

    Parameters
    ----------
    folder : Path
        The project folder.
    found : sequence of Find

    Returns
    -------
    dict
        `of`: by the label of each find that something was decided about, `said`, `state` ("kept",
        "set aside"), the `entry` of the sound, and `steps`: the entry for each of its paths, by the
        touch that is heard there.
        `entries`: all that is kept, in the person's order. `trouble`: why the file can't be read.
        `order`: the labels of all finds as the person's taste has them; `best`: of those the best
        different ones.
    """
    try:
        entries = load_picks(folder, set_aside=True)
    except ConfigError as trouble:
        return {"of": {}, "entries": [], "aside": 0, "trouble": str(trouble), "controls": CONTROLS,
                "order": [one.label for one in found], "best": best(found)}  # fmt: skip
    told = {}
    pairs, chosen = of_pairs(found), {one.pair for one in entries}
    for find in found:
        if find.pair not in chosen:
            continue
        mine = pairs[find.pair]
        made = decision(entries, mine, find)
        steps = {}
        for one in find.along:
            entry = entry_of(entries, mine, over(find, one), exact=True)
            if entry is not None:
                steps[one.touch] = asdict(entry)
        if made is not None or steps:
            entry, is_it = made or (None, False)
            said = decided(entries, mine, find)
            told[find.label] = {
                "said": said, "state": "set aside" if said == "set aside" else "kept",
                "entry": asdict(entry) if entry is not None and is_it else None, "steps": steps,
            }  # fmt: skip
    liked = by_taste(found, entries)
    return {
        "of": told, "trouble": None, "controls": CONTROLS,
        "order": [one.label for one in liked], "best": best(liked),
        "aside": sum(one.set_aside for one in entries),
        "entries": [asdict(one) | {"label": one.label, "find": _label(one, pairs[one.pair])}
                    for one in entries if not one.set_aside],
    }  # fmt: skip


def decide(folder: Path, seen: Seen, asked: Any) -> Told:
    """Change the entry of a find over one of its paths, as a tab asks.

    Parameters
    ----------
    folder : Path
    seen : Seen
    asked : object
        From the tab: `find` (a label), `ohm` (the path that is shown), `was` (the entry as the tab
        knows it, or null) and `change`: the fields that get another value, or null: the entry goes.

    Returns
    -------
    dict
        `was` and `now`: the entry as the tab knew it, and as it is.

    Raises
    ------
    EditedMeanwhile
        picks.yaml was changed just there since.
    ConfigError
        That can't be done; says why.
    """
    fields = _mapping(asked, ("find", "ohm", "was", "change"))
    find = seen.by_label.get(fields["find"]) if isinstance(fields["find"], str) else None
    if find is None:
        raise ConfigError("that find is no longer among those of the sweep; look at the list anew")
    if find.is_lone:
        raise ConfigError("it's what one pad's lead does alone: nothing can be built of that")
    shown = next((over(find, one) for one in find.along if one.path_ohm == fields["ohm"]), find)
    was = _pick(fields["was"])
    if was is not None and was.pair != find.pair:
        raise ConfigError(f"{was.label} is no entry of {find.pair}")
    if fields["change"] is None:
        return _merged(folder, was, None)
    change = _checked(fields["change"])
    at_ohm, key = spot_of(shown)
    if was is None:
        wanted = pick_of({"pair": find.pair, "at_ohm": at_ohm, "key": key} | change)
    else:
        wanted = pick_of(asdict(was) | change)
        if was.set_aside and not wanted.set_aside and was.at_ohm is None and at_ohm is not None:
            # What was set aside is the whole pair, what is kept one of its sounds.
            wanted = replace(wanted, at_ohm=at_ohm, key=key)
    return _merged(folder, was, wanted)


def put_back(folder: Path, asked: Any) -> Told:
    """Undo: make what is there (`was`) into what was there before (`now`); each may be null.

    Raises
    ------
    EditedMeanwhile, ConfigError
        As `decide`.
    """
    fields = _mapping(asked, ("was", "now"))
    return _merged(folder, _pick(fields["was"]), _pick(fields["now"]))


def _merged(folder: Path, was: Pick | None, wanted: Pick | None) -> Told:
    now = keeping.merge(folder, was, wanted)
    return {"was": was and asdict(was), "now": now and asdict(now)}


def _mapping(asked: Any, names: Sequence[str]) -> Mapping[str, Any]:
    if not isinstance(asked, dict) or set(asked) != set(names):
        raise ConfigError(f"asked for without one of {', '.join(names)}, or with more")
    return asked


def _pick(values: Any) -> Pick | None:
    if values is None:
        return None
    if not isinstance(values, dict):
        raise ConfigError("an entry must be a mapping")
    return pick_of(values)


def _checked(change: Any) -> dict[str, Any]:
    if not isinstance(change, dict) or not set(change) <= set(CHANGEABLE):
        raise ConfigError(f"only {', '.join(CHANGEABLE)} can be changed")
    for name, value in change.items():
        if isinstance(value, str) and len(value) > TEXT_MOST:
            raise ConfigError(f"{name} is longer than {TEXT_MOST} characters: write less")
    return change


def _label(entry: Pick, found: Sequence[Find]) -> str | None:
    find = find_of(entry, found)
    if find is None:
        return None
    return next((one.label for one in found if one.place == find.place), None)
