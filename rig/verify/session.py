"""Going through the controls with the person who built them: ask, hear, judge, and tell.

The person works the control and presses the key; the program listens as the sweep by hand does. What
a rig heard began while the toy sounded already, so there a control is set as soon as it sounds; what
was swept by hand was bridged before the press, and so is the control.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from rig.bench.byhand import ListeningBench, Prompt
from rig.errors import BadSound, ToyLost
from rig.listen import BESIDE_LEAD, Ear, Judgement, Span, is_clipped, lost, too_loud
from rig.log import Record, SweepLog
from rig.log.takes import as_stored
from rig.project import Project
from rig.project.models import Timings
from rig.sweep import sounding
from rig.sweep.hearing import Heard
from rig.sweep.waiting import Got, Listener
from rig.verify.decide import LEAST_RIGHT, Tried, open_settings
from rig.verify.expected import Expected, expected_of
from rig.verify.itself import Before, Toy, prints_by_job
from rig.verify.settings import Job, Setting
from rig.verify.telling import Kind, Press, Told, tell

CLEAN_LEAST, CLEAN_MOST = 8, 16
"""Presses with all controls open: so many, and on while a phrase was heard only once."""
PRESSES, PRESSES_EACH = 5, 3
"""Of a control that can be set one way, and of each setting of others."""
PRESSES_STOP = 3
"""Of what is to stop the toy: each takes a reset."""
TIMES_MORE = 2
"""A setting that these leave open is pressed up to so many times as often."""
SILENT_PRESSES = 3
"""So often in a row a toy is pressed until it counts as stopped."""
LOST_MOST = 3
REVIVALS_MOST = 2
"""A toy whose batteries come out more often than so, with all controls open, isn't itself."""
OPEN_PRESSES = 3
"""An odd press with all controls open again is looked at so often before it counts."""
BEFORE_MS = 200
WAIT_S = 20.0
PATIENCE = 6.0
AGAIN_S = 300.0
"""What works at once may not work warm or after it was moved: so long later all are tried again."""
LEVEL_TRIES = 3
ON = "then run `padsweep verify` again"

class _Restless(Exception):
    """With all controls open the toy stops, or sounds on by itself, again and again."""


class Verifying:
    """One going-through of the controls.

    Parameters
    ----------
    project : Project
    bench : ListeningBench
    log : SweepLog
        Of the sweep that the picks come from.
    jobs : sequence of Job
        Of the whole sheet.
    other_microphone : bool
        Another timbre with all controls open is the microphone's, its place's or the shell's.
    wait_s : float
        How long a press is waited for, s, where rig.yaml doesn't say.
    """

    def __init__(
        self, project: Project, bench: ListeningBench, log: SweepLog, jobs: Sequence[Job], *,
        other_microphone: bool = False, wait_s: float = WAIT_S,
    ) -> None:
        self.project, self.bench, self.jobs = project, bench, list(jobs)
        self._log, self._records = log, log.records()
        self._is_late = project.rig.bench != "by-hand"
        self._other_microphone = other_microphone
        self._longest_s = project.toy.longest_phrase_s + 1.0
        self._wait_s = project.rig.by_hand.wait_s if project.rig.by_hand else wait_s
        self._listener = Listener(bench, _timings(project), self._longest_s)
        self.ear = Ear(bench.rate_hz)
        self._revived = 0
        self._befores: dict[str, Before] = {}
        self.expected = self._expected(self._records)
        if loaded := [one for one in self._used() if BESIDE_LEAD in one.measures]:
            again = [self._before(one.key).beside_clean(one, log) for one in loaded]
            self.expected = self._expected([*self._records, *filter(None, again)])

    def _expected(self, records: Sequence[Record]) -> dict[tuple[int, str], Expected]:
        return {
            (job.number, one.name): expected_of(job, one, self.jobs, records)
            for job in self.jobs for one in job.settings
        }

    def _used(self) -> list[Record]:
        """Give the touches that controls are held against."""
        found = {
            one.number: one for expected in self.expected.values()
            for spot in (*expected.own, *expected.alike, *(hint.spot for hint in expected.others))
            for one in spot.heard
        }
        return list(found.values())

    def _before(self, key: str) -> Before:
        if key not in self._befores:
            self._befores[key] = Before(self._log, self._records, key, self.bench.rate_hz)
        return self._befores[key]

    @property
    def keys(self) -> list[str]:
        """Give the keys whose sounds were kept, in the sheet's order."""
        return list(dict.fromkeys(self.key(one) for job in self.jobs for one in job.settings))

    def key(self, setting: Setting) -> str:
        """Give the key that is pressed for a setting."""
        if setting.pick.key:
            return setting.pick.key
        heard = next((spot.key for spot in self._own(setting)), "")
        return heard or self.project.sweep_keys[0]

    def misses(self, job: Job) -> dict[str, tuple[int, int]]:
        """Give in how many of the sweep's touches nothing was heard, for each setting; see `decide`."""
        return {one.name: self.expected[job.number, one.name].misses for one in job.settings}

    def _own(self, setting: Setting) -> Sequence:
        return next(
            (self.expected[job.number, setting.name].own for job in self.jobs if setting in job.settings), ()
        )

    # The toy as it is

    def open_toy(self) -> Toy:
        """Hear the room, and the toy with all controls open, and compare it with that of the sweep.

        Raises
        ------
        Leave
            The person leaves.
        BadSound, CaptureLost
        ToyLost
            It doesn't answer.
        """
        try:
            self._begin(self.keys[0])
            told = [self._open_key(key) for key in self.keys]
        except BadSound as trouble:
            raise type(trouble)(str(trouble).replace(sounding.ON, ON)) from None
        return max(told, key=lambda one: one.changed / max(1, one.presses))

    def _begin(self, key: str) -> None:
        self._listener.hear_room()
        for _ in range(LEVEL_TRIES):
            got = self._ask(Prompt("level", key, why="how loud is it?"), PATIENCE * self._wait_s)
            if got.what == "sound" and got.heard is not None and not got.heard.fault:
                if is_clipped(got.heard.samples):
                    raise sounding.too_loud(key, got.heard.samples)
                self._listener.learn_level(got.heard)
                return
        raise ToyLost(
            f"key {key!r} isn't heard with all controls open: look at cells, volume and microphone; "
            f"else for solder that joins two pads, or a track that came off, {ON}"
        )

    def _open_key(self, key: str) -> Toy:
        heard: list[Heard] = []
        self._revived = 0
        try:
            while len(heard) < CLEAN_LEAST or (len(heard) < CLEAN_MOST and self._heard_once(key)):
                one = self._clean(key, f"{len(heard) + 1} of {max(CLEAN_LEAST, len(heard) + 1)}")
                heard.append(one)
                self._learn(key, one)
        except _Restless:
            return Toy(1, 1, words="it stops, or sounds on by itself")
        before = self._before(key)
        if not before.is_known:
            self.bench.person.note(
                "the sweep has no takes of this key that can be compared with: whether it is still the "
                "same toy isn't known"
            )
            return Toy(0, 0)
        toy = before.compare(heard, prints_by_job(self.jobs, self.expected))
        if toy.is_colour and self._other_microphone:
            return replace(toy, changed=0)
        return toy

    def _heard_once(self, key: str) -> bool:
        return bool(self.ear.baseline(key).heard_once)

    def _clean(self, key: str, why: str) -> Heard:
        """Have the key pressed with all controls open until that is heard.

        Raises
        ------
        ToyLost
            It isn't, though the batteries were out.
        _Restless
            It was, but the batteries had to come out too often.
        """
        unusable = silent = 0
        while True:
            got = self._ask(Prompt("clean", key, why=why))
            if got.what == "sound" and got.heard is not None:
                if not got.heard.fault and not is_clipped(got.heard.samples):
                    self._listener.learn_level(got.heard)
                    return got.heard
                unusable += 1
                if unusable >= LOST_MOST:
                    raise BadSound(f"{unusable} presses in a row were too loud or lost: turn the input down, {ON}")
            elif got.what in ("silence", "froze"):
                silent += 1
                if silent >= SILENT_PRESSES or got.what == "froze":
                    self._revived += 1
                    if self._revived > REVIVALS_MOST:
                        raise _Restless
                    self._revive(key)
                    silent = 0

    def _revive(self, key: str) -> None:
        """Have the batteries taken out and put in."""
        got = self._ask(Prompt("battery", key), PATIENCE * self._wait_s)
        for _ in range(SILENT_PRESSES):
            if got.what == "sound":
                return
            got = self._ask(Prompt("clean", key, why="nothing was heard"))
        raise ToyLost(
            f"the toy doesn't answer key {key!r} after its batteries were out: take them out and look at "
            f"what was soldered last, {ON}"
        )

    # One control

    def try_out(
        self, job: Job, say: Callable[[str], None], before: Sequence[Tried] = ()
    ) -> Tried | None:
        """Go through a control's settings, then hear whether the toy is itself with it open.

        A setting whose presses leave it open, with those of earlier rounds, is pressed on. None where
        the person leaves it out.

        Parameters
        ----------
        job : Job
        say : callable
            Is given what each press shows, in words.
        before : sequence of Tried
            What came of going through it earlier.

        Raises
        ------
        Leave
            The person leaves.
        ToyLost, BadSound, CaptureLost
        """
        heard: dict[str, list[Told]] = {one.name: [] for one in job.settings}
        for setting in job.settings:
            wanted = self._wanted(job, setting)
            right = sum(told.kind == "right" for one in before for told in one.heard.get(setting.name, ()))
            if not self._go_through(job, setting, wanted, heard[setting.name], say, right):
                return None
            if self._is_open(job, setting, before, heard):
                say(f"that leaves it open: up to {(TIMES_MORE - 1) * wanted} presses more")
                if not self._go_through(job, setting, TIMES_MORE * wanted, heard[setting.name], say, right):
                    return None
            made = heard[setting.name]
            after = self._after(self.key(setting))
            if after is None and made and made[-1].kind != "stops":
                made[-1] = replace(made[-1], kind=self._kind_of_stop(job, setting, made[-1]))
            if _stopped(made) > 1 or (_stopped(made) and len(made) < wanted):
                return Tried(heard)  # what stops the toy isn't done again
        return Tried(heard, changes_open=self._changes_open(self.key(job.settings[-1]), after))

    def _kind_of_stop(self, job: Job, setting: Setting, told: Told) -> Kind:
        """Say what a press is whose toy turns out to have stopped."""
        expected = self.expected[job.number, setting.name]
        if not expected.stops:
            return "stops"
        return told.kind if len(expected.crash_prints) else "right"

    def _wanted(self, job: Job, setting: Setting) -> int:
        """Give how many presses are asked for with a setting first."""
        if self.expected[job.number, setting.name].stops:
            return PRESSES_STOP
        return PRESSES if len(job.settings) == 1 else PRESSES_EACH

    def _is_open(
        self, job: Job, setting: Setting, before: Sequence[Tried], heard: Mapping[str, Sequence[Told]]
    ) -> bool:
        """Say whether the presses with a setting leave open what it is."""
        if _stopped(heard[setting.name]) and len(heard[setting.name]) < self._wanted(job, setting):
            return False
        return setting.name in open_settings(job, [*before, Tried(heard)], self.jobs, self.misses(job))

    def _go_through(
        self, job: Job, setting: Setting, wanted: int, made: list[Told], say: Callable[[str], None], right: int
    ) -> bool:
        """Press with a control set so, which was right so often before; False where the person leaves it
        out."""
        other = self._other_end(job, setting)
        stops = self.expected[job.number, setting.name].stops
        times_lost = 0
        while len(made) < wanted:
            said, press = self._press(job, setting, f"{len(made) + 1} of {wanted}")
            if said == "skip":
                return False
            if said == "again":
                if made:
                    made.pop()
                continue
            told = tell(press, self.expected[job.number, setting.name], other)
            if told.kind == "lost":
                times_lost += 1
                if times_lost < LOST_MOST:
                    say(f"lost: {told.words}")
                    continue
            made.append(told)
            say(told.words)
            if press.stopped and not stops and not _goes_on(made, right):
                break
        return True

    def _other_end(self, job: Job, setting: Setting) -> Expected | None:
        ends = {"right": "left", "left": "right"}
        if not job.is_knob or setting.name not in ends:
            return None
        return self.expected[job.number, ends[setting.name]]

    def _press(self, job: Job, setting: Setting, why: str) -> tuple[str, Press]:
        """Have one press made with a control set; gives what the person said instead, "" for nothing."""
        key = self.key(setting)
        prompt = Prompt(
            "control", key, None if self._is_late else job.pads, why=why, control=job.number,
            setting=setting.name, late=self._is_late,
        )
        got = self._ask(prompt, quiet=False)
        if got.what in ("again", "skip"):
            return got.what, Press(None)
        if got.what == "froze":
            self._revive(key)
            return "", Press(None, stopped=True)
        if got.what == "silence":
            return "", self._silent(key, got)
        judgement = self._judged(key, got.heard)
        state = self._listener.until_quiet(self._longest_s)
        if state == "sounding":
            self.bench.person.say(Prompt("quieten", key, why="it sounds on by itself"))
            state = self._listener.until_quiet(self._wait_s + self._longest_s)
        stopped = state in ("froze", "sounding")
        if stopped:
            self._revive(key)
        return "", Press(judgement, stopped)

    def _silent(self, key: str, got: Got) -> Press:
        """Tell what a press was that brought no sound: a sound that was cut, or a toy that stopped."""
        if self._after(key) is None:
            return Press(None, stopped=True)
        if self._is_late or got.heard is None or got.heard.fault:
            return Press(lost("the toy missed the press"))
        return Press(self._judged(key, got.heard))

    def _after(self, key: str) -> Heard | None:
        """Press with all controls open; None where the toy didn't answer until its batteries were out."""
        for _ in range(SILENT_PRESSES):
            got = self._ask(Prompt("bare", key, why="is it as before?"))
            if got.what == "sound" and got.heard is not None:
                return got.heard
            if got.what == "froze":
                break
        self._revive(key)
        return None

    def _judged(self, key: str, heard: Heard | None) -> Judgement:
        if heard is None or heard.fault:
            return lost((heard and heard.fault) or "no sound arrived")
        samples = as_stored(heard.samples)
        if is_clipped(samples):
            return too_loud(samples)
        return self.ear.judge(key, samples, self._span(heard))

    def _changes_open(self, key: str, first: Heard | None) -> bool:
        """Say whether the toy isn't itself any more with all controls open again."""
        self._revived = 0
        for round_ in range(2):
            for _ in range(OPEN_PRESSES):
                try:
                    heard, first = first or self._clean(key, "is it itself again?"), None
                except _Restless:
                    return True
                if self._judged(key, heard).sound == "none":
                    self._learn(key, heard)
                    return False
            if not round_:
                self._revive(key)  # what a bend leaves behind is gone then
        return True

    # All of them

    def _learn(self, key: str, heard: Heard) -> None:
        self.ear.learn(key, as_stored(heard.samples), self._span(heard))

    def _span(self, heard: Heard) -> Span:
        return Span.from_samples(heard.offsets, len(heard.samples), self.bench.rate_hz)

    def _ask(self, prompt: Prompt, limit_s: float | None = None, *, quiet: bool = True) -> Got:
        got = self._listener.wait(prompt, limit_s or self._wait_s)
        if quiet and got.what == "sound":
            self._listener.until_quiet(self._longest_s)
        return got

    def wait_again(self) -> None:
        """Let five minutes pass, or until the person says that they have.

        Raises
        ------
        Leave
            The person leaves.
        """
        until_s = self.bench.now_s() + AGAIN_S
        while self.bench.now_s() < until_s:
            if self._listener.until_quiet(until_s - self.bench.now_s()) == "next":
                return


def _stopped(made: Sequence[Told]) -> int:
    return sum(one.kind == "stops" for one in made)


def _goes_on(made: Sequence[Told], before: int) -> bool:
    """Say whether a control that stopped the toy is tried on: it did so once, and was right often."""
    right = before + sum(one.kind == "right" for one in made)
    return _stopped(made) == 1 and right >= LEAST_RIGHT


def _timings(project: Project) -> Timings:
    """Give a take's lengths: it ends where the sweep's pads were opened."""
    timings = project.rig.timings
    if project.rig.bench == "by-hand":
        return timings
    dwell_ms = timings.lead_in_ms + timings.dwell_ms
    return timings.model_copy(update={"before_ms": BEFORE_MS, "dwell_ms": dwell_ms})

