"""The person's taste: what they keep and set aside on a board moves what is alike in its list."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from rig.choose.find import Find
from rig.choose.matching import decision, of_pairs
from rig.choose.picks import Pick
from rig.choose.rank import ranked

STRENGTH = 0.3
"""A word's worth moves by this part at most, however often it was kept or set aside (our choice)."""
UNSURE = 2.0
"""So many choices of both kinds are taken to have been made of each word before the first one."""


def taste(found: Sequence[Find], entries: Iterable[Pick]) -> dict[str, float]:
    """Give what the worth of each word is multiplied by, by what was kept and set aside.

    1 + `STRENGTH` * (kept - set aside) / (kept + set aside + `UNSURE`), each sound counted once.

    Parameters
    ----------
    found : sequence of Find
        All of the sweep.
    entries : iterable of Pick
        Those that were set aside, too.

    Returns
    -------
    dict of str to float
        1 - `STRENGTH` to 1 + `STRENGTH`, by the finds' `word`.
    """
    entries = list(entries)
    kept: Counter[str] = Counter()
    aside: Counter[str] = Counter()
    pairs, chosen = of_pairs(found), {one.pair for one in entries}
    for find in found:
        made = decision(entries, pairs[find.pair], find) if find.pair in chosen else None
        if made is None:
            continue
        entry, is_it = made
        if entry.set_aside:
            aside[find.word] += 1
        elif is_it:
            kept[find.word] += 1
    return {
        word: 1.0 + STRENGTH * (kept[word] - aside[word]) / (kept[word] + aside[word] + UNSURE)
        for word in {*kept, *aside}
    }


def by_taste(found: Sequence[Find], entries: Iterable[Pick]) -> list[Find]:
    """Put finds in the order that the person's choices on this board ask for.

    Which one a name stands for hangs on the order of `finds` alone, never on this one.

    Parameters are those of `taste`.
    """
    return ranked(found, taste(found, entries))
