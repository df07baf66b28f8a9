"""What the toy does by itself: the distribution over repeats that a touch is judged against."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from rig.listen.judging.align import shifted
from rig.listen.judging.distance import Distance, both, compare, mean_apart_db
from rig.listen.judging.kept import CleanTake, Kept, from_press
from rig.listen.measures.features import HOP_S, Frames, frames
from rig.listen.measures.levels import loud_level_db, mean_db
from rig.listen.measures.span import LAG_FRAMES, Span
from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.judging


@dataclass(frozen=True)
class Aligned:
    """The frames of a take, shifted so that its sound starts where its phrase's others do."""

    frames: Frames
    span: Span
    lag_frames: int


@dataclass(frozen=True)
class Beginning:
    """What a press brought forth, and from which frame on it is compared.

    `answer` is "known" when one of the toy's own phrases begins; "strange" when it was quiet and
    begins to sound, but like none of them; "none" when it stays silent or merely goes on with what
    it did before, even where that is like a phrase.
    """

    answer: str
    frame: int


class Baseline:
    """The clean takes of one key, calibrated.

    Attributes
    ----------
    takes : list of CleanTake
    phrases : ndarray of int, shape (takes,)
        Which of the toy's phrases each take is, numbered from 1.
    heard_once : list of int
        Takes whose phrase no other take has.
    apart_db : ndarray of float
        How far clean takes lie from the nearest other one.
    noise_level_db : float
        The room's, with the toy silent, dB re full scale.
    ends_quiet : bool
        Whether the toy is done by the end of each of them.

    Parameters
    ----------
    kept : Kept
        At least three.

    Raises
    ------
    ValueError
        With fewer than three takes.
    """

    def __init__(self, kept: Kept):
        count = len(kept.takes)
        if count < T.least_takes:
            raise ValueError(f"a baseline needs at least {T.least_takes} takes, not {count}")
        kept.compare_all()
        self._aligner, self._sample = kept.aligner, kept.sample
        self.rate_hz = kept.rate_hz
        self.takes = list(kept.takes)
        self.anchor = kept.anchor
        self.floor_db = kept.floor_db
        self.noise_level_db = float(10 * np.log10(np.sum(10 ** (kept.noise_db / 10))))
        self._stack, self._length = kept.stack, kept.length
        self.ends_quiet = all(
            self.is_quiet(one.frames.level_db[one.span.press :][-T.ends_quiet_frames :])
            for one in self.takes
        )
        self._calibrate(kept)

    @property
    def sound_db(self) -> float:
        """The level from which on a frame holds more than the room, dB re full scale."""
        return self.noise_level_db + T.floor_over_noise_db

    def anchored(self, samples: np.ndarray, span: Span) -> Span:
        """Give where a take's steps lie, with its `press` where comparing begins."""
        if self.anchor.after_press is not None:
            return replace(span, press=span.press + self.anchor.after_press)
        level_db = frames(samples, self.rate_hz).level_db
        if self.is_quiet(level_db[: max(1, span.press - LAG_FRAMES)]):
            return replace(span, press=self.anchor.frame(level_db, span))
        return replace(span, press=self._likeliest_frame(samples, span.press)[0])

    def _likeliest_frame(self, samples: np.ndarray, press: int) -> tuple[int, str]:
        """Give from where on a take whose beginning other sound hides is most like a clean one.

        Returns
        -------
        frame : int
        answer : str
            What a press brought forth if it begins there.
        """
        first = press + max(0, self.anchor.earliest - T.skip_frames)
        among = range(first, max(first, press + self.anchor.cap_frames) + 1)
        found = [self._answer_from(samples, press, frame) for frame in among]
        best = min(range(len(found)), key=lambda i: found[i][1])
        return among[best], found[best][0]

    def align(self, samples: np.ndarray, span: Span) -> Aligned:
        """Measure a take's frames with its sound laid over the clean take it begins like.

        Parameters
        ----------
        samples : ndarray of float, shape (n,)
        span : Span

        Returns
        -------
        Aligned
            Its span's `press` is where comparing begins; see `anchored`.
        """
        return self._aligned(samples, self.anchored(samples, span))

    def _aligned(self, samples: np.ndarray, span: Span) -> Aligned:
        shift, likeness = self._aligner.shift(samples, self._sample(span.press))
        lag = T.aligned_lag_frames if likeness >= T.same_beginning else LAG_FRAMES
        return Aligned(frames(shifted(samples, shift), self.rate_hz), span, lag)

    def distance(self, aligned: Aligned) -> Distance:
        """Measure how far a take is from the nearest clean one, from press to end.

        A take that was ended early is compared as far as it goes.
        """
        worst, mean, lag, traces = self._compare(aligned)
        i = int(np.argmin(both(worst, mean)))
        return Distance(float(worst[i]), float(mean[i]), i, int(lag[i]), traces[i])

    def _compare(self, aligned: Aligned) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Give worst 0.15 s and mean (dB), lag and trace against each clean take."""
        take, span = aligned.frames, aligned.span
        length = min(len(take) - span.press - T.skip_frames, self._length)
        mine = from_press(take, span, length, self.floor_db)
        return compare(self._stack[:, : length + 2 * LAG_FRAMES], mine, aligned.lag_frames)

    def _calibrate(self, kept: Kept) -> None:
        """Learn how far clean takes are from each other, each left out in turn.

        Left out altogether are takes whose phrase was heard once and begins like no other: a
        touch that begins so is refused at its lead-in. What was heard once but begins like
        another (music in the background, a beep) stays: it may come in any touch.
        """
        local, mean = kept.local_db.copy(), kept.mean_db.copy()
        for table in (local, mean):
            np.fill_diagonal(table, np.inf)
        self.phrases = kept.phrases()
        count = np.bincount(self.phrases)[self.phrases]
        self.heard_once = [i for i, n in enumerate(count) if n == 1]
        refused = self._calibrate_lead_in(kept.lead_in_db.copy())
        apart_db = both(local, mean).min(axis=1)
        counted = ~((count == 1) & refused)
        if np.count_nonzero(counted) < T.least_takes:
            counted = apart_db <= np.sort(apart_db)[T.least_takes - 1]
        self.apart_db = apart_db[counted]

    # The lead-in alone, for "does the toy answer?"

    def _calibrate_lead_in(self, among: np.ndarray) -> np.ndarray:
        """Learn how alike lead-ins are; says of each take if the others would refuse it."""
        np.fill_diagonal(among, np.inf)
        own = among.min(axis=1)
        kept = np.delete(own, self.heard_once) if len(self.heard_once) < len(own) else own
        self._usual_lead_in_db = float(kept.max())
        silence = np.tile(self.floor_db, (T.answer_frames, 1))
        # Silence must never pass for an answer, not even for one that begins softly.
        self._lead_in_limits_db = np.minimum(
            max(T.lead_in_db, T.lead_in_times * self._usual_lead_in_db),
            T.silence_part * mean_apart_db(self._stack, silence, LAG_FRAMES)
        )
        return np.logical_not(np.any(among < self._lead_in_limits_db, axis=1))

    @property
    def answer_frames(self) -> int:
        """Frames after the press that `answer` needs."""
        return self.anchor.cap_frames + T.skip_frames + T.answer_frames

    def answer(self, samples: np.ndarray, press: int) -> str:
        """Say what a press brought forth; see `Beginning`.

        Parameters
        ----------
        samples : ndarray of float, shape (n,)
        press : int
            Frame of the press; `answer_frames` must follow it.

        Raises
        ------
        ValueError
            When the sound is too short to say.
        """
        found = self.begins(samples, press)
        if found is None:
            raise ValueError(f"{len(samples)} samples are too few to hear an answer")
        return found.answer

    def begins(self, samples: np.ndarray, press: int, spare_frames: int = 0) -> Beginning | None:
        """Say what a press has brought forth so far.

        Parameters
        ----------
        samples : ndarray of float, shape (n,)
            As much as was heard.
        press : int
            Frame of the press.
        spare_frames : int
            That must follow beyond those that are compared.

        Returns
        -------
        Beginning or None
            None while it can't be told.
        """
        heard = frames(samples, self.rate_hz)
        needed = T.skip_frames + T.answer_frames + spare_frames
        said = "none"
        candidates = self.anchor.of_samples(heard.level_db, press)
        for frame in candidates:
            if len(heard) < frame + needed:
                return None
            answer, _ = self._answer_from(samples, press, frame)
            if answer == "known":
                return Beginning(answer, frame)
            said = "strange" if answer == "strange" else said
        last = press + self.anchor.cap_frames
        if len(heard) < last + needed:
            return None
        if self.anchor.after_press is None and said == "none":
            # It may have been pressed while it sounded, which hides where it begins.
            frame, answer = self._likeliest_frame(samples, press)
            if answer == "known":
                return Beginning(answer, frame)
        return Beginning(said, candidates[0] if candidates else last)

    def _answer_from(self, samples: np.ndarray, press: int, begins: int) -> tuple[str, float]:
        """Say what a press brought forth if it begins at a certain frame, and how far from clean, dB."""
        aligned, mine = self._lead_in(samples, begins)
        take = aligned.frames
        before = slice(max(1, press - LAG_FRAMES))
        was_quiet = self.is_quiet(take.level_db[before])
        errors_db = mean_apart_db(self._stack, mine, aligned.lag_frames)
        nearest_db = float(errors_db.min())
        # Below, not at: to a take that begins with silence all silence is alike, and no answer.
        alike = errors_db < self._lead_in_limits_db
        if alike.any():
            error_db = errors_db[alike].min()
            if was_quiet or error_db <= self._usual_lead_in_db:
                return "known", nearest_db
            went_on = np.maximum(mean_db(take.mel_db[before]), self.floor_db)
            goes_on_db = float(np.abs(mine - went_on).mean())
            return "none" if goes_on_db < error_db else "known", nearest_db
        after = take.level_db[begins + T.skip_frames : begins + T.skip_frames + T.answer_frames]
        loud = np.count_nonzero(after >= self.sound_db)
        begun = was_quiet and loud >= T.starts_frames
        return "strange" if begun else "none", nearest_db

    def _lead_in(self, samples: np.ndarray, begins: int) -> tuple[Aligned, np.ndarray]:
        """Give a take laid over the clean one it begins like, and its frames that show an answer."""
        aligned = self._aligned(samples, Span(begins, begins, begins, begins))
        return aligned, from_press(aligned.frames, aligned.span, T.answer_frames, self.floor_db)

    def moved_db(self, samples: np.ndarray, press: int) -> float | None:
        """Say by how much louder a press is answered with one of the toy's own phrases, dB.

        Somebody has turned the toy or the input up or down.

        Parameters
        ----------
        samples : ndarray of float, shape (n,)
        press : int
            Frame of the press; `answer_frames` must follow it.

        Returns
        -------
        float or None
            None where it begins like none of them at any level, or at the level of one.
        """
        found = self.begins(samples, press)
        if found is None or found.answer != "strange":
            return None
        aligned, mine = self._lead_in(samples, found.frame)
        theirs = self._stack[:, LAG_FRAMES : LAG_FRAMES + T.answer_frames]
        apart_db = mine - theirs
        heard = (mine > self.floor_db) & (theirs > self.floor_db)
        best: tuple[float, float] | None = None
        for one, limit_db in enumerate(self._lead_in_limits_db):
            if np.count_nonzero(heard[one]) < T.moved_part * heard[one].size:
                continue
            moved_db = float(np.median(apart_db[one][heard[one]]))
            at_level = np.where(heard[one], mine - moved_db, mine)
            left_db = float(mean_apart_db(self._stack[one : one + 1], at_level, aligned.lag_frames)[0])
            if left_db <= limit_db and (best is None or left_db < best[0]):
                best = left_db, moved_db
        return None if best is None or abs(best[1]) < T.moved_db else best[1]

    def louder_db(self, samples: np.ndarray, press: int) -> float:
        """Say how much louder a press is answered than the clean takes are, dB.

        It is 0 between the softest and the loudest of them; else it is told from the middle one.

        Parameters
        ----------
        samples : ndarray of float, shape (n,)
            As far as it goes, it is compared with as much of each clean take.
        press : int
            Frame of the press.
        """
        mine = frames(samples, self.rate_hz).level_db[press + T.skip_frames :]
        loud_db = loud_level_db(mine)
        usual_db = [
            loud_level_db(one.frames.level_db[one.span.press + T.skip_frames :][: len(mine)])
            for one in self.takes
        ]
        if min(usual_db) <= loud_db <= max(usual_db):
            return 0.0
        return loud_db - float(np.median(usual_db))

    def other_phrases(self, take: CleanTake) -> tuple[np.ndarray, ...]:
        """Give the bands of one take of each phrase but that of a take, dB, from their press on."""
        mine = self.phrases[next(i for i, one in enumerate(self.takes) if one is take)]
        first = {phrase: i for i, phrase in reversed([*enumerate(self.phrases)]) if phrase != mine}
        chosen = [self.takes[first[phrase]] for phrase in sorted(first)]
        return tuple(one.frames.mel_db[one.span.press :] for one in chosen)

    @cached_property
    def longest_pause_s(self) -> float:
        """The longest silence between two sounds of a clean take, s: so long it may only pause."""
        longest = 0
        for one in self.takes:
            loud = np.flatnonzero(one.frames.level_db[one.span.press :] > self.sound_db)
            longest = max(longest, *np.diff(loud), 1) if len(loud) > 1 else longest
        return max(0, longest - 1) * HOP_S

    def is_quiet(self, level_db: np.ndarray) -> bool:
        """Say whether a stretch of frames holds nothing but the room."""
        return bool(np.median(level_db) < self.sound_db)

    def is_silent_throughout(self, level_db: np.ndarray) -> bool:
        """Say whether nearly all of a stretch of frames holds nothing but the room."""
        return loud_level_db(level_db) < self.sound_db

    def likeliest(self, aligned: Aligned) -> int:
        """Give the clean take that this one began as: the nearest up to the closing.

        Of a take whose pads were closed before the press: the nearest as a whole.
        """
        take, span = aligned.frames, aligned.span
        if span.close <= span.press + T.skip_frames:
            return self.distance(aligned).nearest
        length = min(span.close, len(take)) - span.press - T.skip_frames
        mine = from_press(take, span, max(1, length), self.floor_db)
        return int(np.argmin(mean_apart_db(self._stack, mine, aligned.lag_frames)))
