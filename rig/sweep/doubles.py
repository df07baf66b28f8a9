"""Pressing a key again while the toy sounds, to learn what that does."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from rig.bench import Bench, Touch
from rig.events import HabitsLearnt
from rig.listen import HOP_S, Baseline, Span, frames
from rig.sweep import habits
from rig.sweep.hearing import LeadIn, hear
from rig.sweep.known import Knowledge
from rig.sweep.recovery import Recovery

MOST_DWELL_MS = 8000
"""So long a second press is listened to at most."""
LATER_MS = 130
"""By so much later each second press comes than the last one: words have pauses between them."""


class PressingTwice:
    """Presses a key twice.

    Parameters
    ----------
    bench : Bench
    recovery : Recovery
        Listens until the toy is quiet.
    touch : Touch
        A press with nothing bridged.
    lead_in : callable
        Makes what watches one's lead-in.
    """

    def __init__(
        self, bench: Bench, recovery: Recovery, touch: Touch, lead_in: Callable[[], LeadIn | None]
    ) -> None:
        self._bench = bench
        self._recovery = recovery
        self._touch = touch
        self._lead_in = lead_in
        self._sounding_ma: float | None = None

    def get_to_know(
        self, key: str, baseline: Baseline, longest_phrase_s: float, known: Knowledge
    ) -> HabitsLearnt:
        """Give the habits of a key: three double presses that agree, or five."""
        lasting_s = habits.lasts_s(baseline, longest_phrase_s)
        self._recovery.listen(longest_phrase_s, baseline)
        idle_ma = round(self._bench.supply_ma(), 1)
        found: list[str] = []
        for so_many in (habits.DOUBLES, habits.MORE_DOUBLES):
            for _ in range(so_many):
                double = self._press(baseline, longest_phrase_s, 20 + LATER_MS * len(found))
                found.append(habits.did(double, baseline, lasting_s) if double else "")
                self._recovery.listen(longest_phrase_s, baseline)
            if len(set(found)) == 1:
                break
        return habits.habits(
            key, baseline, presses=known.presses[key], unnoticed=known.unnoticed[key],
            while_sounding=habits.agreed(found), lasting_s=lasting_s, idle_ma=idle_ma,
            sounding_ma=self._sounding_ma, first_wakes=known.first_wakes.get(key, False),
        )

    def _press(
        self, baseline: Baseline, longest_phrase_s: float, dwell_ms: int
    ) -> habits.Double | None:
        """Press, and again soon after it begins to sound; None where the first was missed."""
        rate_hz, lead_in = self._bench.rate_hz, self._lead_in()
        first = hear(self._bench, replace(self._touch, dwell_ms=dwell_ms, tail_ms=20), lead_in)
        if first.fault or lead_in is None or lead_in.answer != "known":
            return None
        if "close" not in first.offsets:
            return None  # this program came too late
        ended_s = self._bench.now_s()
        self._sounding_ma = round(self._bench.supply_ma(), 1)
        span = Span.from_samples(first.offsets, len(first.samples), rate_hz)
        begins_s = baseline.anchored(first.samples, span).press * HOP_S
        before_ms = self._touch.before_ms
        again = Touch(
            (), self._touch.stimulus, before_ms=before_ms, lead_in_ms=before_ms,
            dwell_ms=min(round(2000 * longest_phrase_s) + 1000, MOST_DWELL_MS), tail_ms=20,
        )
        between_s = self._bench.now_s() - ended_s
        second = hear(self._bench, again, self._recovery.until_quiet(habits.QUIET_S, baseline))
        if second.fault or "press" not in second.offsets:
            return None
        press = second.frame("press", rate_hz)
        found = baseline.begins(second.samples, press)
        return habits.Double(
            level_db=frames(second.samples, rate_hz).level_db, press=press,
            since_s=len(first.samples) / rate_hz - begins_s + between_s + press * HOP_S,
            answer=found.answer if found else "none",
        )
