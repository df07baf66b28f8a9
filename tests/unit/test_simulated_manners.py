"""What a simulated toy does with a press where it has habits, and what without."""

import dataclasses
import hashlib
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

from rig.bench.simulated.asking import answers, is_frozen
from rig.bench.simulated.beside import SPEECH_RMS
from rig.bench.simulated.board import KINDS, load_board, make_board
from rig.bench.simulated.circuit import Link
from rig.bench.simulated.folder import new_simulated_project, project_board
from rig.bench.simulated.habit_sets import HABITS, REAL, with_habits
from rig.bench.simulated.habits import STEP_DB, Habits
from rig.bench.simulated.sound import RATE_HZ
from rig.bench.simulated.supply import Guard
from rig.bench.simulated.toy import SimulatedToy, switch_on
from rig.bench.simulated.truth import SHARE, Truth
from rig.errors import ConfigError
from rig.project import load_project

BOARDS = sorted((Path(__file__).parents[2] / "configs" / "boards").glob("*.yaml"))
QUIET_RMS = 2e-4


def board_of(kind: str, seed: int = 1, pads: int = 24, **habits):
    board = make_board(seed, pads, kind)
    # nothing but what is asked for: no bounce, no hiss
    plain = dataclasses.replace(board.habits, bounce_ms=0.0, hiss=0.0)
    return dataclasses.replace(board, habits=dataclasses.replace(plain, **habits))


def ready(kind: str, seed: int = 1, pads: int = 24, guard: Guard | None = None, **habits):
    toy = SimulatedToy(board_of(kind, seed, pads, **habits), 5, guard)
    switch_on(toy)
    return toy


def ms(toy: SimulatedToy, milliseconds: float) -> np.ndarray:
    return toy.run(round(milliseconds * RATE_HZ / 1000))


def tap(toy: SimulatedToy, key: str | None = None, then_ms: float = 0.0) -> np.ndarray:
    """Press a key for as long as a person does; gives the sound from the press on."""
    toy.keys({key or toy.board.keys[0]})
    first = ms(toy, toy.board.press_ms)
    toy.keys(set())
    return np.concatenate((first, ms(toy, then_ms)))


def out(toy: SimulatedToy) -> np.ndarray:
    """Let a toy speak to its end."""
    parts, quiet = [], 0
    while quiet < 5:
        quiet = 0 if toy.sounding else quiet + 1
        parts.append(ms(toy, 20))
        assert len(parts) < 1000, "it doesn't end"
    return np.concatenate(parts)


def whole(toy: SimulatedToy, key: str | None = None) -> np.ndarray:
    """Press a key and let the toy speak to its end."""
    first = tap(toy, key, 60)
    return np.concatenate((first, out(toy)))


def rms(sound: np.ndarray) -> float:
    return float(np.sqrt(np.mean(np.square(sound, dtype=float))))


def onset_ms(sound: np.ndarray, limit: float = 2e-3) -> float:
    return float(np.flatnonzero(np.abs(sound) > limit)[0]) * 1000 / RATE_HZ


def db(ratio: float) -> float:
    return 20 * float(np.log10(ratio))


def letter(board, role: str) -> str:
    return next(pad.letter for pad in board.pads if pad.net == board.roles[role])


def like(one: np.ndarray, other: np.ndarray) -> float:
    """Give how alike two sounds of one length are, laid over each other within 25 ms."""
    size = 2 * len(one)
    both = np.fft.irfft(np.fft.rfft(one, size) * np.conj(np.fft.rfft(other, size)))
    span = 48 * 25
    most = max(both[:span].max(), both[-span:].max())
    return float(most / (np.linalg.norm(one) * np.linalg.norm(other)))


def crashed(toy: SimulatedToy) -> SimulatedToy:
    """Run a toy's clock too fast for its chips while it speaks."""
    tap(toy, then_ms=100)
    pair = (letter(toy.board, "osc"),), (letter(toy.board, "vcc"),)
    toy.connect([Link(*pair, 1500.0, 0.0, 0.1)])
    ms(toy, 500)
    toy.connect([])
    return toy


AS_EVER = {
    "talker": "4ced0464624f4eb7", "keyboard": "930f08635030a77a", "sampler": "9f1c1a9fe6a9c99f",
}  # fmt: skip


@pytest.mark.parametrize("kind", KINDS)
def test_without_habits_a_toy_sounds_as_it_ever_did(kind):
    """The hashes are of the samples, in 16 bits, before there were habits."""
    found = hashlib.sha256()
    for seed in range(4):
        toy = SimulatedToy(make_board(seed, 12, kind), 9, Guard(200, 100, 100))
        switch_on(toy)
        for one, two in list(combinations(toy.board.letters, 2))[::6]:
            toy.keys({toy.board.keys[0]})
            parts = [toy.run(4800)]
            toy.connect([Link((one,), (two,), 1500.0, 6800.0, 0.1)])
            parts.append(toy.run(20000))
            toy.keys(set())
            toy.connect([])
            parts.append(toy.run(40000))
            found.update(np.rint(np.concatenate(parts) * 32767).astype("<i2").tobytes())
        toy.supply(False)
        toy.run(RATE_HZ)
    assert found.hexdigest()[:16] == AS_EVER[kind]
    assert make_board(1, 12, kind).habits.is_plain


MIXED = [*list(HABITS)[-5:], REAL]
EACH = [
    *((name, list(KINDS)[number % len(KINDS)]) for number, name in enumerate(HABITS) if name not in MIXED),
    *((name, kind) for name in MIXED for kind in KINDS),
]
"""Each habit alone on a board of one kind, the kinds taking turns; mixtures on one of each."""


@pytest.mark.parametrize("name, kind", EACH)
def test_forks_go_on_alike_and_the_size_of_the_pieces_does_not_matter(name, kind):
    board = with_habits(make_board(2, 12, kind), name)
    assert board.habits != make_board(2, 12, kind).habits or name in ("same", REAL)
    toy = SimulatedToy(board, 5, Guard(300, 150, 100))
    switch_on(toy)
    ms(toy, 1000)
    tap(toy, then_ms=137)
    copies = toy, toy.fork(), toy.fork()
    sounds = []
    for copy, pieces in zip(copies, ([48000], [48000], [1, 777, 5222, 42000]), strict=True):
        parts = []
        for _ in range(3):
            copy.keys({board.keys[0]})
            parts += [copy.run(n) for n in pieces]
            copy.keys(set())
            parts += [copy.run(n) for n in pieces]
        sounds.append(np.concatenate(parts))
    assert np.array_equal(sounds[0], sounds[1])
    # the speaker's filter rounds with its pieces, the toy doesn't
    assert sounds[2] == pytest.approx(sounds[0], abs=1e-5)


@pytest.mark.parametrize("kind", KINDS)
def test_a_late_toy_says_the_same_so_much_later(kind):
    plain, late = ready(kind), ready(kind, answer_ms=(300.0, 300.0))
    at_once, after = tap(plain, then_ms=1000), tap(late, then_ms=1300)
    delay = round(0.3 * RATE_HZ)
    assert rms(after[:delay]) < QUIET_RMS
    # it looks at its keys up to 20 ms later
    assert like(after[delay : delay + len(at_once)], at_once) > 0.9


@pytest.mark.parametrize("kind", KINDS)
def test_a_late_toy_feels_bridges_at_once(kind):
    toy = ready(kind, answer_ms=(700.0, 700.0), jam_sounds=True, crash_ratio=1.5)
    toy.keys({toy.board.keys[0]})
    pair = (letter(toy.board, "osc"),), (letter(toy.board, "vcc"),)
    toy.connect([Link(*pair, 1500.0, 0.0, 0.1)])
    ms(toy, 60)
    other = toy.fork()
    other.keys(set())
    assert np.array_equal(ms(toy, 2000), ms(other, 2000)), "the press came too late"


@pytest.mark.parametrize("kind", KINDS)
def test_an_answer_comes_at_another_time_each_press_within_its_span(kind):
    toy = ready(kind, answer_ms=(40.0, 240.0))
    plain = onset_ms(tap(ready(kind), then_ms=1000))
    found = []
    for _ in range(12):
        found.append(onset_ms(tap(toy, then_ms=600)))
        out(toy)
    # phrases begin otherwise, and the look at the keys comes up to 20 ms later
    assert min(found) > plain - 60
    assert max(found) < plain + 240 + 60
    assert max(found) - min(found) > 60


def test_a_release_comes_as_late_as_its_press():
    for held_ms in (60, 300):
        sounds = []
        for late_ms in (0.0, 300.0):
            toy = ready("keyboard", answer_ms=(late_ms, late_ms))
            toy.keys({"do"})
            first = ms(toy, held_ms)
            toy.keys(set())
            sounds.append(np.concatenate((first, ms(toy, 1500)))[round(48 * late_ms) :][: 48 * 1200])
        assert rms(sounds[1]) / rms(sounds[0]) == pytest.approx(1, abs=0.05)
        assert like(*sounds) > 0.9


@pytest.mark.parametrize("kind", KINDS)
def test_some_presses_go_unnoticed(kind):
    toy = ready(kind, misses=0.3)
    noticed = 0
    for _ in range(60):
        tap(toy, then_ms=60)
        noticed += toy.sounding
        out(toy)
    assert 30 < noticed < 55
    toy.notice_all()
    for _ in range(20):
        tap(toy, then_ms=60)
        assert toy.sounding
        out(toy)


def sounds_of(toy: SimulatedToy, presses: int) -> list[bytes]:
    """Give what a key brings, press by press, as far as phrases can be told apart by it."""
    found = []
    for _ in range(presses):
        spoken = whole(toy)
        spoken = spoken[np.flatnonzero(np.abs(spoken) > 2e-3)[0] :]
        bands = np.abs(np.fft.rfft(spoken[: RATE_HZ // 2], RATE_HZ // 2))
        found.append(bands / np.linalg.norm(bands))
    names: list[int] = []
    for one in found:
        like = [i for i, other in enumerate(found[: len(names)]) if float(one @ other) > 0.9]
        names.append(names[like[0]] if like else len(names))
    return names


@pytest.mark.parametrize("kind", KINDS)
def test_phrases_come_in_turn_or_are_always_the_same(kind):
    turns = sounds_of(ready(kind, phrases="in turn"), 8)
    count = len(set(turns))
    assert 2 <= count <= 4
    assert turns == [turns[i % count] for i in range(8)]
    assert len(set(sounds_of(ready(kind, phrases="same"), 8))) == 1
    if kind == "talker":
        random = sounds_of(ready(kind), 12)
        assert random != [random[i % len(set(random))] for i in range(12)]


@pytest.mark.parametrize("kind", KINDS)
def test_turns_begin_anew_after_the_supply_was_away(kind):
    toy = ready(kind, phrases="in turn")
    first = whole(toy)
    whole(toy)
    toy.supply(False)
    ms(toy, 3000)
    switch_on(toy)
    again = whole(toy)
    assert like(*(one[np.flatnonzero(np.abs(one) > 2e-3)[0] :][:24000] for one in (first, again))) > 0.8


@pytest.mark.parametrize("kind", KINDS)
def test_what_a_press_does_while_the_toy_sounds(kind):
    def pressed_again(**habits):
        toy = ready(kind, phrases="same", **habits)
        tap(toy, then_ms=100)
        other = toy.fork()
        assert toy.sounding
        before = len(out(other))
        return toy, other, before

    toy, _, _ = pressed_again(while_sounding="ignored")
    alone = toy.fork()
    assert np.array_equal(tap(toy, then_ms=2000), ms(alone, toy.board.press_ms + 2000))
    out(toy)
    assert rms(tap(toy, then_ms=100)) > QUIET_RMS, "from quiet it answers"

    toy, _, _ = pressed_again(while_sounding="stops")
    tap(toy, then_ms=100)
    assert not toy.sounding
    assert rms(ms(toy, 500)) < QUIET_RMS
    tap(toy, then_ms=100)
    assert toy.sounding, "the next press begins again"

    toy, _, left = pressed_again(while_sounding="queued")
    other = toy.fork()
    spoken = whole(toy)
    alone = out(other)
    assert np.array_equal(spoken[: len(alone) - 9600], alone[:-9600]), "first it ends"
    assert len(spoken) > 1.5 * left, "then it says it again"

    toy, _, left = pressed_again(while_sounding="anew")
    assert len(whole(toy)) < 1.5 * left + RATE_HZ
    assert is_other(kind, "next", "anew")


def is_other(kind: str, one: str, other: str) -> bool:
    """Say whether two ways to take a press while sounding bring another sound."""
    sounds = []
    for way in (one, other):
        toy = ready(kind, phrases="same", while_sounding=way)
        tap(toy, then_ms=100)
        sounds.append(whole(toy))
    shortest = min(map(len, sounds))
    return rms(sounds[0][:shortest] - sounds[1][:shortest]) > 0.01


@pytest.mark.parametrize("kind", KINDS)
def test_after_a_while_in_quiet_a_press_only_wakes(kind):
    toy = ready(kind, sleep_s=5.0)
    assert rms(whole(toy)) > QUIET_RMS
    ms(toy, 3000)
    assert rms(whole(toy)) > QUIET_RMS, "3 s are not 5 s"
    ms(toy, 6000)
    assert rms(tap(toy, then_ms=500)) < QUIET_RMS
    assert rms(tap(toy, then_ms=500)) > QUIET_RMS


@pytest.mark.parametrize("kind", KINDS)
def test_it_greets_nags_and_says_goodbye_by_itself(kind):
    seed = next(s for s in range(20) if make_board(s, 24, kind).on)
    toy = SimulatedToy(board_of(kind, seed, greets=True), 5)
    switch_on(toy)
    assert rms(ms(toy, 800)) > QUIET_RMS, "it greets"
    out(toy)
    assert rms(ms(toy, 20_000)) < QUIET_RMS, "and that was all"

    toy = ready(kind, seed, nag_s=6.0)
    spoken = [rms(ms(toy, 1000)) > QUIET_RMS for _ in range(30)]
    assert not any(spoken[:5])
    assert spoken.count(True) >= 3, "it comes again and again"
    assert not all(spoken[5:])

    toy = ready(kind, seed, auto_off_s=8.0, goodbye=True)
    assert rms(whole(toy)) > QUIET_RMS
    ms(toy, 3000)
    assert rms(ms(toy, 8000)) > QUIET_RMS, "goodbye"
    ms(toy, 8000)
    assert rms(tap(toy, then_ms=500)) < QUIET_RMS, "it is off"
    whole(toy, toy.board.on[0])
    assert rms(whole(toy)) > QUIET_RMS


@pytest.mark.parametrize("kind", KINDS)
def test_any_key_turns_on_a_toy_without_a_key_for_it(kind):
    seed = next(s for s in range(20) if not make_board(s, 24, kind).on)
    toy = ready(kind, seed, auto_off_s=5.0)
    ms(toy, 7000)
    assert rms(whole(toy)) < QUIET_RMS
    assert rms(whole(toy)) > QUIET_RMS


@pytest.mark.parametrize("kind", KINDS)
def test_its_amplifier_thumps_and_hisses_before_it_speaks(kind):
    # phrases may begin softly: where the plain toy begins is where the speech does
    plain = tap(ready(kind, phrases="same"), then_ms=1200)
    hissing = tap(
        ready(kind, phrases="same", hiss_before_ms=200.0, hiss_before_db=-15.0), then_ms=1400
    )
    begins = round(onset_ms(plain, 2e-4))
    looked = slice((begins + 40) * 48, (begins + 140) * 48)
    assert abs(db(rms(hissing[looked]) / SPEECH_RMS) + 15) < 2
    assert rms(hissing[(begins + 220) * 48 :]) > 0.8 * rms(plain[begins * 48 :][: 48 * 1000])

    thumping = tap(ready(kind, phrases="same", thump_db=6.0), then_ms=1200)
    first = thumping[: (begins + 19) * 48]
    assert abs(db(np.abs(first).max() / SPEECH_RMS) - 6) < 2
    speech = thumping[(begins + 20) * 48 :][: 48 * 900]
    assert like(speech, plain[begins * 48 :][: 48 * 900]) > 0.9


@pytest.mark.parametrize("kind", KINDS)
def test_it_hums_on_after_its_speech_for_its_time(kind):
    toy = ready(kind, hum_s=2.0, hum_db=-18.0)
    tap(toy, then_ms=60)
    while toy.sounding:
        ms(toy, 20)
    ms(toy, 200)
    assert abs(db(rms(ms(toy, 1000)) / SPEECH_RMS) + 18) < 4
    ms(toy, 1500)
    assert rms(ms(toy, 500)) < QUIET_RMS


@pytest.mark.parametrize("kind", KINDS)
def test_it_whines_whenever_it_is_supplied_frozen_or_not(kind):
    for toy in (ready(kind, whine_hz=5200.0, whine_db=-25.0),
                crashed(ready(kind, whine_hz=5200.0, whine_db=-25.0, jam_sounds=False))):  # fmt: skip
        ms(toy, 3000)
        sound = ms(toy, 1000)
        spectrum = np.abs(np.fft.rfft(sound))
        assert int(np.argmax(spectrum)) == 5200
        assert abs(db(rms(sound) / SPEECH_RMS) + 25) < 0.5
        toy.supply(False)
        ms(toy, 3000)
        assert not ms(toy, 500).any()


def pitch(sound: np.ndarray) -> int:
    return int(np.argmax(np.abs(np.fft.rfft(sound[4800 : 4800 + RATE_HZ // 4], RATE_HZ))))


def test_sagging_cells_take_pitch_and_level_with_them():
    toy = ready("keyboard", sag_percent_a_minute=20.0)
    fresh, other = tap(toy.fork()), ready("keyboard", sag_percent_a_minute=20.0)
    fork = other.fork()
    ms(other, 30_000)
    worn = tap(other)
    # 10 % of the voltage, three tenths of it of the clock
    assert pitch(worn) / pitch(fresh) == pytest.approx(0.97, abs=0.004)
    assert db(rms(worn[4800:]) / rms(fresh[4800:])) == pytest.approx(-0.9, abs=0.2)
    assert pitch(tap(fork)) == pitch(fresh), "a copy has cells of its own"
    ms(other, 120_000)
    assert other.rail_v() == pytest.approx(0.8 * other.board.volts, abs=0.05)
    assert rms(tap(other)) > 0.02, "it still runs"


@pytest.mark.parametrize("kind", ["talker", "sampler"])
def test_sagging_cells_slow_every_kind_down(kind):
    fresh, worn = ready(kind, phrases="same"), ready(kind, phrases="same", sag_percent_a_minute=20.0)
    ms(worn, 60_000)
    spans = [len(whole(toy)) for toy in (fresh, worn)]
    assert 1.03 < spans[1] / spans[0] < 1.1


@pytest.mark.parametrize("kind", KINDS)
def test_somebody_turns_its_volume_and_it_falls_back_if_it_does(kind):
    for falls_back in (False, True):
        toy = ready(kind, phrases="same", turned_db=-6.0, turned_at_s=8.0, falls_back=falls_back)
        before = whole(toy)
        ms(toy, 8000)
        after = whole(toy)
        assert db(rms(after[: 48 * 500]) / rms(before[: 48 * 500])) == pytest.approx(-6, abs=1.5)
        toy.supply(False)
        ms(toy, 3000)
        switch_on(toy)
        back = whole(toy)
        wanted = 0 if falls_back else -6
        assert db(rms(back[: 48 * 500]) / rms(before[: 48 * 500])) == pytest.approx(wanted, abs=1.5)


@pytest.mark.parametrize("kind", KINDS)
def test_its_volume_is_turned_at_the_sample(kind):
    at = round(4.321 * RATE_HZ)
    toy, plain = ready(kind, turned_db=4.0, turned_at_s=4.321), ready(kind)
    for one in (toy, plain):
        one.run(at - one.ran - RATE_HZ // 2)
    sounds = [tap(one, then_ms=1000) for one in (toy, plain)]
    differ = np.flatnonzero(sounds[0] != sounds[1])
    assert 0 <= int(differ[0]) - RATE_HZ // 2 < 48 * 40
    assert rms(sounds[0][RATE_HZ // 2 :]) > 1.3 * rms(sounds[1][RATE_HZ // 2 :])


@pytest.mark.parametrize("kind", KINDS)
def test_motors_draw_while_it_sounds_and_can_trip_the_guard(kind):
    toy, plain = ready(kind, motor_ma=60.0), ready(kind)
    for one in (toy, plain):
        ms(one, 300)
    assert toy.supply_ma() == plain.supply_ma()
    most = []
    for one in (toy, plain):
        tap(one)
        most.append(max(one.supply_ma() for _ in range(4) if len(ms(one, 100))))
    assert 50 < most[0] - most[1] < 70
    strong = ready(kind, guard=Guard(300, 150, 100), motor_ma=400.0)
    tap(strong, then_ms=500)
    assert strong.tripped


@pytest.mark.parametrize("kind", KINDS)
def test_a_key_that_changes_the_volume_plays_nothing(kind):
    toy = ready(kind, phrases="same", cycles="volume")
    keys = [key for key in toy.board.keys if key not in toy.board.on]
    loud = []
    for _ in range(4):
        loud.append(rms(whole(toy, keys[0])[: 48 * 500]))
        assert rms(whole(toy, keys[-1])) < QUIET_RMS
    steps = [db(level / loud[0]) for level in loud]
    assert steps == pytest.approx([0, -STEP_DB, -2 * STEP_DB, 0], abs=1.5)


@pytest.mark.parametrize("name, kind", EACH)
def test_a_frozen_toy_stays_frozen_whatever_is_pressed_and_a_living_one_is_not(name, kind):
    board = board_of(kind, 1, 24, crash_ratio=1.5)
    # tired cells would give way to a motor beside the tone of a crash, and so bring the toy back
    power = dataclasses.replace(board.power, source_ohm=1.0)
    board = with_habits(dataclasses.replace(board, power=power), name)
    habits = dataclasses.replace(board.habits, jam_sounds=len(name) % 2 == 0)
    toy = SimulatedToy(dataclasses.replace(board, habits=habits), 5)
    toy.notice_all()
    switch_on(toy)
    phrase_s = board.longest_phrase_s
    ms(toy, 500)
    assert not is_frozen(toy, board.keys[0], phrase_s), "from whatever it does at first"
    tap(toy, then_ms=habits.latest_answer_s * 1000 + 60)
    assert not is_frozen(toy, board.keys[0], phrase_s), "while it speaks"
    if habits.sleep_s:
        ms(toy, 1000 * habits.sleep_s + 5000)
        assert not is_frozen(toy, board.keys[0], phrase_s), "asleep"
    frozen = crashed(toy)
    assert is_frozen(frozen, board.keys[0], phrase_s)
    for key in (*board.keys[-2:], board.keys[0]):
        tap(frozen, key, 300)
    ms(frozen, 3000)
    assert is_frozen(frozen, board.keys[0], phrase_s)


def test_one_that_misses_is_asked_as_if_it_noticed_all():
    toy = ready("talker", misses=0.3)
    state = toy.fork()
    assert all(answers(toy, toy.board.keys[0], 2.0) for _ in range(10))
    tap(toy, then_ms=500)
    tap(state, then_ms=500)
    assert np.array_equal(ms(toy, 500), ms(state, 500)), "and is itself as it was"


@pytest.mark.parametrize("kind", KINDS)
def test_the_truth_of_a_board_is_the_same_with_habits_that_change_no_sound(kind, tmp_path):
    """Pads close after the toy begins to sound, so that they meet the same piece of it."""
    found = {}
    for name in (None, "play/stop", "boots late and misses"):
        project = new_simulated_project(tmp_path / str(name).replace("/", ""), 4, 8, kind, habits=name)
        shown = Truth(project, states=2).pairs()
        found[name] = [
            {pair for pair, one in shown.items() if one and max(vars(s)[word] for s in one) >= SHARE}
            for word in ("differs", "freezes")
        ]
    bends, freezes = found.pop(None)
    assert len(bends) > 3
    for name, (others, frozen) in found.items():
        # which phrase comes hangs on how often it was pressed
        assert len(bends ^ others) <= 2, name
        assert len(freezes ^ frozen) <= 1, name


def test_habits_drawn_at_random_hang_on_the_seed_and_leave_the_board_alone():
    drawn = {}
    for kind in KINDS:
        for seed in range(40):
            board = make_board(seed, 12, kind)
            real = with_habits(board, REAL)
            assert real == with_habits(board, REAL), "the same each time"
            assert dataclasses.replace(real, habits=board.habits) == board
            drawn[kind, seed] = real.habits
            assert real.habits.answer_ms[0] <= real.habits.answer_ms[1] <= 1000
    for field in ("answer_ms", "misses", "while_sounding", "sleep_s", "greets", "nag_s", "thump_db",
                  "hiss_before_ms", "whine_hz", "hum_s", "turned_db", "motor_ma", "cycles"):  # fmt: skip
        values = [getattr(one, field) for one in drawn.values()]
        usual = values.count(getattr(Habits(), field))
        assert 10 < usual < 110, field
    assert drawn["talker", 3] != drawn["sampler", 3]


@pytest.mark.parametrize("file", BOARDS, ids=lambda file: file.stem)
def test_a_board_file_states_any_of_them(file, tmp_path):
    text = file.read_text("utf-8")
    every = {
        "answer_ms": "[40, 240]", "misses": "0.1", "phrases": "in turn", "while_sounding": "queued",
        "sleep_s": "30", "greets": "true", "nag_s": "40", "auto_off_s": "90", "goodbye": "true",
        "thump_db": "3", "hiss_before_ms": "80", "hiss_before_db": "-18", "whine_hz": "4000",
        "whine_db": "-35", "hum_s": "1.5", "hum_db": "-25", "sag_percent_a_minute": "0.5",
        "turned_db": "-4", "turned_at_s": "100", "falls_back": "true", "motor_ma": "40",
        "cycles": "volume",
    }  # fmt: skip
    line = next(line for line in text.splitlines() if line.startswith("habits:"))
    given = "habits: {" + ", ".join(f"{name}: {value}" for name, value in every.items()) + "}"
    mine = tmp_path / "board.yaml"
    mine.write_text(text.replace(line, given), "utf-8")
    habits = load_board(mine).habits
    assert habits.answer_ms == (40.0, 240.0)
    for name in every:
        assert getattr(habits, name) != getattr(Habits(), name), name
    assert load_board(file).habits.is_plain
    mine.write_text(text.replace(line, "habits: {answer_ms: 300}"), "utf-8")
    assert load_board(mine).habits.answer_ms == (300.0, 300.0)


@pytest.mark.parametrize(
    ("habits", "said"),
    [
        ("answer_ms: [300, 40]", "answer_ms goes from the least to the most: [40, 300]"),
        ("answer_ms: 5000", "must be at most 1000, is 5000"),
        ("misses: 0.5", "misses must be at most 0.3, is 0.5"),
        ("while_sounding: ignord", "did you mean ignored?"),
        ("phrases: in trun", "did you mean in turn?"),
        ("goodbye: true", "a goodbye needs auto_off_s"),
        ("whine_hz: 300", "whine_hz must be at least 2000, is 300"),
        ("lateness: 3", "unknown `lateness`"),
    ],
)
def test_what_is_wrong_with_habits_is_said_with_its_line(habits, said, tmp_path):
    text = (BOARDS[0].parent / "sampler.yaml").read_text("utf-8")
    line = next(line for line in text.splitlines() if line.startswith("habits:"))
    file = tmp_path / "board.yaml"
    file.write_text(text.replace(line, f"habits: {{{habits}}}"), "utf-8")
    with pytest.raises(ConfigError) as error:
        load_board(file)
    assert said in str(error.value)
    number = text.splitlines().index(line) + 1
    assert str(error.value).startswith(f"{file}:{number}: ")
    assert "\n" not in str(error.value)


def test_a_project_names_its_habits_and_a_wrong_name_is_refused(tmp_path):
    project = new_simulated_project(tmp_path / "a", 3, 8, "sampler", habits="late 300")
    assert project_board(project).habits.answer_ms == (300.0, 300.0)
    real = new_simulated_project(tmp_path / "b", 3, 8, "sampler", habits="real")
    assert project_board(real).habits == with_habits(make_board(3, 8, "sampler"), "real").habits
    with pytest.raises(ConfigError, match="--habits: no habits 'lat 300': did you mean late 300"):
        new_simulated_project(tmp_path / "c", 3, 8, habits="lat 300")
    rig = tmp_path / "a" / "rig.yaml"
    rig.write_text(rig.read_text("utf-8").replace("late 300", "late 301"), "utf-8")
    with pytest.raises(ConfigError, match=r"rig.yaml:15: no habits 'late 301': did you mean late 300"):
        project_board(load_project(tmp_path / "a"))
