"""The simulated toy: what a person at the bench would hear and see of it."""

import dataclasses
import hashlib
import subprocess
import sys
from itertools import combinations

import numpy as np
import pytest

from rig.bench.simulated.board import make_board
from rig.bench.simulated.circuit import Link
from rig.bench.simulated.difference import band_levels_db, difference_db
from rig.bench.simulated.sound import RATE_HZ
from rig.bench.simulated.toy import SimulatedToy, switch_on
from rig.errors import ConfigError


def ready(seed: int, pads: int = 24, chance: int = 5) -> SimulatedToy:
    toy = SimulatedToy(make_board(seed, pads), chance)
    switch_on(toy)
    return toy


def say(toy: SimulatedToy, key: str | None = None, seconds: float = 2.0) -> np.ndarray:
    toy.keys({key or toy.board.keys[0]})
    first = toy.run(RATE_HZ // 8)
    toy.keys(set())
    return np.concatenate([first, toy.run(round(seconds * RATE_HZ) - len(first))])


def link(one: str, two: str, series_ohm: float) -> Link:
    return Link((one,), (two,), 1500.0, series_ohm, 0.1)


def touched(toy: SimulatedToy, one: str, two: str, series_ohm: float) -> np.ndarray:
    """Press, close while it speaks, open; the sound from the closing on."""
    say(toy, seconds=0.25)
    toy.connect([link(one, two, series_ohm)])
    held = toy.run(RATE_HZ)
    toy.connect([])
    return np.concatenate([held, toy.run(RATE_HZ // 2)])


def pad_on(toy: SimulatedToy, role: str) -> str:
    net = toy.board.roles[role]
    return next(pad.letter for pad in toy.board.pads if pad.net == net)


def rms(sound: np.ndarray) -> float:
    return float(np.sqrt(np.mean(sound.astype(float) ** 2)))


def finds_frozen() -> tuple[SimulatedToy, str]:
    """Freeze a toy with the first pair that does; gives it frozen."""
    for seed in range(4):
        whole = ready(seed)
        for one, two in combinations(whole.board.letters, 2):
            toy = whole.fork()
            touched(toy, one, two, 0.0)
            toy.run(3 * RATE_HZ)
            other = toy.fork()
            if np.array_equal(say(toy), other.run(2 * RATE_HZ)):
                return toy, f"{seed} {one}-{two}"
    raise AssertionError("no pair freezes any toy")


def test_a_key_press_is_heard_and_ends():
    toy = ready(0)
    sound = say(toy, seconds=2.5)
    speaking = np.abs(sound) > 1e-3
    assert 0.03 < rms(sound[speaking]) < 0.2
    assert np.max(np.abs(sound)) < 1.0
    assert 0.7 < np.flatnonzero(speaking)[-1] / RATE_HZ <= toy.board.longest_phrase_s + 0.1
    assert not np.any(toy.run(RATE_HZ))


def test_keys_have_several_phrases_each_and_their_own():
    toy = ready(1)
    heard = {}
    for key in toy.board.keys[:2]:
        heard[key] = {hashlib.sha256(phrase(toy, key)).hexdigest() for _ in range(12)}
        assert 2 <= len(heard[key]) <= 4
    assert not set.intersection(*heard.values())


def phrase(toy: SimulatedToy, key: str) -> bytes:
    """Give which frames are voiced, free of when in a frame the key went down."""
    said = []
    voice = toy._chips._voice
    plain = voice.frame
    voice.frame = lambda data, transpose=0: said.append((data, transpose)) or plain(data, transpose)
    say(toy, key, 2.2)
    voice.frame = plain
    return repr([frame for frame in said if frame[0] is not None]).encode()


def test_the_same_toy_in_another_process_sounds_the_same_bit_for_bit():
    script = (
        "import hashlib, sys\n"
        "from rig.bench.simulated.board import make_board\n"
        "from rig.bench.simulated.circuit import Link\n"
        "from rig.bench.simulated.toy import SimulatedToy, switch_on\n"
        "toy = SimulatedToy(make_board(3, 24), 9)\n"
        "switch_on(toy)\n"
        "found = hashlib.sha256()\n"
        "for two in toy.board.letters[1:]:\n"
        "    toy.keys({toy.board.keys[0]})\n"
        "    toy.connect([Link(('A',), (two,), 1500.0, 6800.0, 0.1)])\n"
        "    found.update(toy.run(30000).tobytes())\n"
        "    toy.keys(set())\n"
        "    toy.connect([])\n"
        "    found.update(toy.run(20000).tobytes())\n"
        "print(found.hexdigest())\n"
    )
    said = {
        subprocess.run(
            [sys.executable, "-c", script], capture_output=True, text=True, check=True,
            env={"PYTHONHASHSEED": seed, "PATH": "/usr/bin:/bin"},
        ).stdout
        for seed in ("0", "77")
    }
    assert len(said) == 1
    assert len(said.pop().strip()) == 64


def test_a_fork_goes_on_as_the_toy_does():
    toy = ready(2)
    say(toy, seconds=0.4)
    toy.connect([link("C", "H", 0.0)])
    toy.run(5000)
    other = toy.fork()
    assert np.array_equal(toy.run(40000), other.run(40000))


def test_the_size_of_the_pieces_does_not_matter():
    one, two = ready(0), ready(0)
    whole = say(one, seconds=1.5)
    two.keys({two.board.keys[0]})
    pieces = [two.run(777) for _ in range(RATE_HZ // 8 // 777)]
    pieces.append(two.run(RATE_HZ // 8 - 777 * len(pieces)))
    two.keys(set())
    left = len(whole) - RATE_HZ // 8
    pieces += [two.run(1000) for _ in range(left // 1000)]
    assert np.concatenate(pieces) == pytest.approx(whole, abs=1e-5)


@pytest.mark.parametrize("seed", range(3))
def test_either_order_of_the_leads_does_the_same(seed):
    whole = ready(seed)
    for one, two in list(combinations(whole.board.letters, 2))[::17]:
        sounds = [touched(whole.fork(), *pair, 6.8e3) for pair in ((one, two), (two, one))]
        assert np.array_equal(*sounds)


def test_pads_of_one_net_bridged_change_nothing_and_letters_have_no_meaning():
    whole = ready(4)
    net_of = whole.board.net_of
    same = [p for p in combinations(whole.board.letters, 2) if net_of[p[0]] == net_of[p[1]]]
    assert same
    plain = touched(whole.fork(), *same[0], 1e13)
    for one, two in same:
        assert np.array_equal(touched(whole.fork(), one, two, 0.0), plain)

    shuffled = dict(zip(whole.board.letters, reversed(whole.board.letters), strict=True))
    pads = tuple(dataclasses.replace(p, letter=shuffled[p.letter]) for p in whole.board.pads)
    other = SimulatedToy(dataclasses.replace(whole.board, pads=pads), 5)
    switch_on(other)
    for one, two in list(combinations(whole.board.letters, 2))[::23]:
        renamed = touched(other.fork(), shuffled[one], shuffled[two], 0.0)
        assert np.array_equal(touched(whole.fork(), one, two, 0.0), renamed)


def test_bends_come_from_the_circuit_and_go_with_its_conductance():
    """A pair that changes the sound does nothing over an open lead."""
    whole = ready(1)
    reference = band_levels_db(touched(whole.fork(), "A", "B", 1e13))
    changed = [
        pair for pair in combinations(whole.board.letters, 2)
        if difference_db(reference, band_levels_db(touched(whole.fork(), *pair, 0.0))) > 3
    ]
    assert len(changed) > 10
    for pair in changed:
        assert difference_db(reference, band_levels_db(touched(whole.fork(), *pair, 1e12))) < 1


def test_the_clock_goes_up_with_the_rail_and_down_with_ground():
    """A relaxation oscillator with R to the rail: R in parallel is quicker, a divider slower."""
    found = {}
    for seed in range(3):
        toy = ready(seed)
        for rail in ("vcc", "gnd"):
            other = toy.fork()
            plain_step = other._chips._step
            other.connect([link(pad_on(toy, "osc"), pad_on(toy, rail), 150e3)])
            found[seed, rail] = other._chips._step / plain_step
            clock = toy.board.clock
            if rail == "vcc":
                expected = 1 + clock.r_ohm / (153e3 + 0.2)
                assert found[seed, rail] == pytest.approx(expected, rel=0.02)
        assert found[seed, "gnd"] < 1 < found[seed, "vcc"]


def test_a_frozen_toy_is_dead_to_keys_until_its_rail_has_been_down():
    toy, pair = finds_frozen()
    for _ in range(3):
        other = toy.fork()
        assert np.array_equal(say(toy), other.run(2 * RATE_HZ)), pair

    blink = toy.fork()
    blink.supply(False)
    blink.run(RATE_HZ // 100)
    assert blink.rail_v() > 1.0
    blink.supply(True)
    blink.run(RATE_HZ)
    for key in blink.board.on:
        say(blink, key)
    other = blink.fork()
    assert np.array_equal(say(blink), other.run(2 * RATE_HZ)), "a short break revived it"

    toy.supply(False)
    toy.run(RATE_HZ)
    assert toy.rail_v() < 0.2
    assert not np.any(toy.run(RATE_HZ // 10))
    switch_on(toy)
    assert rms(say(toy)) > 0.02


def test_a_toy_that_runs_on_answers_its_keys():
    ran_on = 0
    for seed in range(12):
        toy = ready(seed)
        habits = dataclasses.replace(toy.board.habits, loop_latches=True)
        toy = SimulatedToy(dataclasses.replace(toy.board, habits=habits), 5)
        switch_on(toy)
        if not any(p.net == toy.board.roles["loop"] for p in toy.board.pads):
            continue
        say(toy, seconds=0.25)
        toy.connect([link(pad_on(toy, "loop"), pad_on(toy, "gnd"), 0.0)])
        toy.run(2 * RATE_HZ)
        toy.connect([])
        toy.run(4 * RATE_HZ)
        assert rms(toy.run(2 * RATE_HZ)) > 0.02, "it doesn't run on"
        other = toy.fork()
        assert not np.array_equal(say(toy), other.run(2 * RATE_HZ)), "it doesn't answer"
        toy.run(2 * RATE_HZ)
        assert not np.any(toy.run(RATE_HZ)), "a key press ends the loop with its phrase"
        ran_on += 1
    assert ran_on > 0


def test_a_toy_that_has_to_be_turned_on_says_nothing_before():
    seed = next(s for s in range(30) if make_board(s, 24).on)
    toy = SimulatedToy(make_board(seed, 24), 1)
    toy.supply(True)
    toy.run(RATE_HZ)
    assert not np.any(say(toy))
    say(toy, toy.board.on[0])
    assert rms(say(toy)) > 0.02


@pytest.mark.parametrize("kind", ["talker", "keyboard", "sampler"])
def test_reading_a_pad_changes_nothing_of_the_sound(kind):
    read, other = (SimulatedToy(make_board(0, 24, kind), 1) for _ in range(2))
    heard = []
    for toy in (read, other):
        switch_on(toy)
        toy.keys({toy.board.keys[0]})
        heard.append([])
        for _ in range(40):
            heard[-1].append(toy.run(480))
            if toy is read:
                for pad in toy.board.net_of:
                    toy.pad_v(pad)
    assert rms(np.concatenate(heard[0])) > 0.01
    assert np.array_equal(*map(np.concatenate, heard))


def test_pads_read_the_rails_and_a_bridge_between():
    toy = ready(0)
    volts = toy.board.volts
    plus, minus = pad_on(toy, "vcc"), pad_on(toy, "gnd")
    # what it draws at rest falls at the cells' own resistance
    assert toy.rail_v() == pytest.approx(volts, rel=0.01)
    assert toy.pad_v(plus) == pytest.approx(toy.rail_v())
    assert toy.pad_v(minus) == 0.0
    inert = pad_on(toy, "nc0")
    assert toy.pad_v(inert) == pytest.approx(0.0, abs=1e-3)
    toy.connect([link(plus, inert, 0.0)])
    assert toy.pad_v(inert) == pytest.approx(toy.rail_v(), rel=1e-3)


def test_boards_say_only_what_a_person_sees():
    for seed in range(5):
        board = make_board(seed, 24)
        assert len(board.pads) == 24
        assert len({pad.note for pad in board.pads}) == 24
        assert len(board.rails) == 2
        roles = {net.role for net in board.nets}
        for pad in board.pads:
            words = set(pad.note.replace(",", "").split())
            assert not words & roles
            assert pad.rail == (pad.letter in board.rails) == ("battery" in pad.note)
    assert make_board(5, 24).name != make_board(6, 24).name


@pytest.mark.parametrize("pads", [8, 9, 16, 33, 64])
def test_boards_of_every_size(pads):
    board = make_board(1, pads)
    assert len(board.letters) == pads
    assert len(set(board.net_of.values())) < pads
    toy = SimulatedToy(board, 1)
    switch_on(toy)
    assert rms(say(toy)) > 0.02


@pytest.mark.parametrize(
    ("arguments", "word"), [((1, 7), "8 to 64"), ((1, 65), "8 to 64"), ((-1, 24), "seed")]
)
def test_boards_that_cannot_be(arguments, word):
    with pytest.raises(ConfigError, match=word):
        make_board(*arguments)
    with pytest.raises(ConfigError, match="talker"):
        make_board(1, 24, "piano")


def test_a_key_that_is_not_there():
    with pytest.raises(ValueError, match="no key"):
        ready(0).keys({"doorbell"})


def test_the_sound_does_not_hang_on_how_long_a_piece_is_asked_for():
    # Lines that talk reach the mute, clock and half-speed inputs in the middle of a piece.
    board = make_board(4, 24)
    letters = {pad.net: pad.letter for pad in board.pads}
    talking = [letters[board.roles[r]] for r in ("d0", "d1", "d2", "a0", "a1") if
               board.roles[r] in letters]
    listening = [letters[board.roles[r]] for r in ("mute", "half", "osc", "amp") if
                 board.roles[r] in letters]
    assert talking
    assert listening
    for one in talking:
        for other in listening:
            toys = [SimulatedToy(board, 3) for _ in range(2)]
            for toy in toys:
                switch_on(toy)
                toy.keys({board.keys[0]})
                toy.run(4800)
                toy.connect([Link((one,), (other,), 1500.0, 0.0, 0.2)])
            whole = toys[0].run(48_000)
            pieces = np.concatenate([toys[1].run(n) for n in (1, 479, 5_520, 6_000, 36_000)])
            assert np.array_equal(whole, pieces), (one, other)


def test_the_amplifiers_input_joined_to_ground_weakens_the_voice_as_its_divider_does():
    seed = next(s for s in range(20) if any(
        make_board(s, 24).roles["amp"] == pad.net for pad in make_board(s, 24).pads))
    toy = ready(seed)
    board, roles = toy.board, toy.board.roles
    drives = [net.drive for net in board.nets]
    series_ohm = next(ohm for a, b, ohm in board.circuit.resistors
                      if {a, b} == {roles["dac"], roles["amp"]})
    dac_ohm, pull_ohm = drives[roles["dac"]].bias[0], drives[roles["amp"]].pull[0]
    plain = toy.fork()
    toy.connect([link(pad_on(toy, "amp"), pad_on(toy, "gnd"), 33e3)])
    path_ohm = 33e3 + 2 * 1500.2
    loaded = 1 / (1 / pull_ohm + 1 / path_ohm)
    share = loaded / (loaded + series_ohm + dac_ohm) / (
        pull_ohm / (pull_ohm + series_ohm + dac_ohm))
    # the voice alone: what is steady does not pass the speaker's band
    quiet, loud = say(toy)[RATE_HZ // 4 :], say(plain)[RATE_HZ // 4 :]
    assert rms(quiet) / rms(loud) == pytest.approx(share, rel=0.1)
