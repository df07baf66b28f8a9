"""Sweeps of simulated toys with habits: they end, find what the plain toy's do, and say what it does."""

from dataclasses import replace

import numpy as np
import pytest
from small_sweeps import few_leads, new_log

from rig.bench.simulated.bench import SimulatedBench
from rig.choose import finds
from rig.events import HabitsLearnt, RungTried, SweepDone
from rig.log import verify
from rig.sweep import Sweep
from rig.sweep.outcome import LEAD_IN

LEADS, TAKES, LEAD_IN_S = "ACDF", 16, 0.3
PLAIN_LIMIT_S = 1.6
"""Times the plain toy's time on the bench, at most."""


def swept(folder, habits=None, bench=SimulatedBench, room_db=40.0, **timings):
    """Sweep a toy; gives what was found, events, records, and the time on its bench, s."""
    project = few_leads(folder, LEADS)
    sweep = project.rig.sweep.model_copy(update={"baseline_takes": TAKES})
    simulated = project.rig.simulated.model_copy(update={"habits": habits, "room_db": room_db})
    rig = project.rig.model_copy(update={
        "sweep": sweep, "simulated": simulated, "series_ohm": [150_000.0, 0.0],
        "timings": project.rig.timings.model_copy(update=timings),
    })
    project = replace(project, rig=rig)
    used = bench(project)
    with new_log(project) as log:
        Sweep(project, used, log).run()
        records, events = log.records(), log.events()
        log.flush()
        assert not verify(log)
    assert isinstance(events[-1], SweepDone)
    found = {(one.pair, one.sound == "none", one.stop) for one in finds(records)}
    return found, events, records, used.now_s()


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    return swept(tmp_path_factory.mktemp("plain") / "toy")


@pytest.mark.parametrize(("habits", "soonest_s", "latest_s", "while_sounding"), [
    ("late 120", 0.12, 0.2, ("anew",)),
    ("late 700", 0.7, 0.8, ("anew",)),
    ("late 40-240", 0.04, 0.3, None),
    ("misses", 0.0, 0.1, None),
    ("play/stop", 0.0, 0.1, ("stops",)),
    ("ignored", 0.0, 0.1, ("ignored",)),
    ("queued", 0.0, 0.1, ("queued", "unclear", "varies")),
])  # fmt: skip
def test_a_toy_with_a_habit_gives_what_it_gives_without(
    tmp_path, plain, habits, soonest_s, latest_s, while_sounding
):
    found, events, _, toy_s = swept(tmp_path / "toy", habits)
    learnt = next(one for one in events if isinstance(one, HabitsLearnt))
    assert plain[0] and found == plain[0]
    assert toy_s < PLAIN_LIMIT_S * plain[3]
    assert soonest_s - 0.011 <= learnt.soonest_s <= learnt.latest_s <= latest_s
    assert while_sounding is None or learnt.while_sounding in while_sounding


@pytest.mark.parametrize("habits", ["play/stop", "ignored"])
def test_touches_shorter_than_a_phrase_wait_until_it_is_over(tmp_path, habits):
    _, events, records, _ = swept(tmp_path / "toy", habits, dwell_ms=200, tail_ms=60)
    froze = sum(one.after == "freeze" for one in records)
    assert sum(LEAD_IN in one.facts for one in records) == froze
    assert sum(isinstance(one, RungTried) for one in events) == 2 * froze


def test_a_toy_that_misses_its_very_first_presses_in_a_noisy_room_is_pressed_again(tmp_path):
    class Deaf(SimulatedBench):
        """Its toy misses four presses."""

        def __init__(self, project):
            super().__init__(project)
            press, self.pressed = self.toy.keys, 0

            def reach(down):
                self.pressed += bool(down)
                press(set() if self.pressed <= 4 else down)

            self.toy.keys = reach

    found, events, _, _ = swept(tmp_path / "toy", None, Deaf, room_db=25.0)
    assert {one[0] for one in found} == {"A-C", "C-D", "C-F"}
    learnt = next(one for one in events if isinstance(one, HabitsLearnt))
    assert learnt.unnoticed == 4 and learnt.first_wakes


def test_pads_close_a_constant_time_after_the_toy_began_and_never_without_it(tmp_path):
    class Onsets(SimulatedBench):
        """Notes when its toy begins to sound after each press, and when pads are closed."""

        def __init__(self, project):
            super().__init__(project)
            self.after_s = []

        def timeline(self):
            made = super().timeline()
            if self._made.connections and made.close_us is not None:
                press = round(made.press_us * 48e-3)
                loud = np.flatnonzero(np.abs(self._sound[press:]) > 0.02)
                self.after_s.append((made.close_us - made.press_us) * 1e-6 - loud[0] / 48_000)
            return made

        def begin(self, touch):
            self._made, self._parts = touch, []
            super().begin(touch)

        def stream(self):
            for chunk in super().stream():
                self._parts.append((chunk.sound, chunk.marker))
                yield chunk
            sound, marker = (np.concatenate(part) for part in zip(*self._parts, strict=True))
            self._sound = sound[np.flatnonzero(marker > 0.1)[0] :]

    benches = []

    def bench(project):
        benches.append(Onsets(project))
        return benches[0]

    swept(tmp_path / "toy", "late 40-240", bench)
    after_s = np.array(benches[0].after_s)
    assert len(after_s) > 12
    # A syllable begins softly: it is heard a little before it reaches 0.02 of full scale.
    assert np.ptp(after_s) < 0.03
    assert abs(np.median(after_s) - LEAD_IN_S) < 0.05
