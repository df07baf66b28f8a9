"""What is the same for every kind of simulated toy."""

import dataclasses
import hashlib
import subprocess
import sys
from itertools import combinations, pairwise
from pathlib import Path

import numpy as np
import pytest

from rig.bench.simulated.board import KINDS, load_board, make_board
from rig.bench.simulated.circuit import Link
from rig.bench.simulated.sound import RATE_HZ
from rig.bench.simulated.toy import SimulatedToy, switch_on
from rig.errors import ConfigError

NEW_KINDS = ("keyboard", "sampler")
BOARDS = sorted((Path(__file__).parents[2] / "configs" / "boards").glob("*.yaml"))


def ready(kind: str, seed: int = 1, pads: int = 24, **habits) -> SimulatedToy:
    board = make_board(seed, pads, kind)
    board = dataclasses.replace(board, habits=dataclasses.replace(board.habits, **habits))
    toy = SimulatedToy(board, 5)
    switch_on(toy)
    return toy


def press(toy: SimulatedToy, key: str | None = None, seconds: float = 2.0) -> np.ndarray:
    held = toy.board.press_ms * RATE_HZ // 1000
    toy.keys({key or toy.board.keys[0]})
    first = toy.run(held)
    toy.keys(set())
    return np.concatenate([first, toy.run(round(seconds * RATE_HZ) - held)])


def rms(sound: np.ndarray) -> float:
    return float(np.sqrt(np.mean(sound.astype(float) ** 2)))


@pytest.mark.parametrize("pads", [8, 24, 64])
@pytest.mark.parametrize("kind", NEW_KINDS)
def test_a_key_is_heard_and_ends_on_boards_of_every_size(kind, pads):
    for seed in range(6):
        toy = ready(kind, seed, pads, hiss=0.0)
        assert len(toy.board.pads) == pads
        assert 3.0 <= toy.board.volts <= 9.0
        sound = press(toy, seconds=toy.board.longest_phrase_s)
        assert 0.02 < rms(sound[: RATE_HZ // 2]) < 0.4
        assert np.max(np.abs(sound)) < 1.0
        toy.run(RATE_HZ)
        assert rms(toy.run(RATE_HZ)) < 1e-6


@pytest.mark.parametrize("kind", KINDS)
def test_boards_differ_by_seed_and_have_duplicate_pads(kind):
    boards = [make_board(seed, 24, kind) for seed in range(8)]
    assert len({board.name for board in boards}) > 4
    assert len({board.volts for board in boards}) > 1
    assert len({board.clock for board in boards}) == 8
    assert all(len(set(board.net_of.values())) < 24 for board in boards)
    assert {bool(board.on) for board in boards} == {True, False}
    assert make_board(3, 24, kind).net_of == boards[3].net_of


@pytest.mark.parametrize("kind", NEW_KINDS)
def test_the_same_toy_in_another_process_sounds_the_same_bit_for_bit(kind):
    script = (
        "import hashlib, sys\n"
        "from rig.bench.simulated.board import make_board\n"
        "from rig.bench.simulated.circuit import Link\n"
        "from rig.bench.simulated.toy import SimulatedToy, switch_on\n"
        f"toy = SimulatedToy(make_board(3, 24, {kind!r}), 9)\n"
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
    said = [
        subprocess.run(
            [sys.executable, "-c", script], capture_output=True, text=True, check=True,
            env={"PYTHONHASHSEED": seed, "PATH": "/usr/bin:/bin"},
        ).stdout
        for seed in ("0", "77")
    ]
    assert said[0] == said[1]
    assert len(said[0].strip()) == len(hashlib.sha256().hexdigest())


@pytest.mark.parametrize("kind", NEW_KINDS)
def test_forks_go_on_alike_and_the_size_of_the_pieces_does_not_matter(kind):
    toy = ready(kind, 2)
    press(toy, seconds=0.6)
    for one, two in list(combinations(toy.board.letters, 2))[::29]:
        whole, other = toy.fork(), toy.fork()
        for copy in (whole, other):
            copy.connect([Link((one,), (two,), 1500.0, 0.0, 0.1)])
            copy.keys({copy.board.keys[0]})
        pieces = np.concatenate([other.run(n) for n in (1, 777, 5222, 24000)])
        # the speaker's filter rounds with its pieces, the chips do not
        assert pieces == pytest.approx(whole.run(30000), abs=1e-6)


@pytest.mark.parametrize("kind", NEW_KINDS)
def test_either_order_of_the_leads_does_the_same(kind):
    toy = ready(kind, 3)
    for one, two in list(combinations(toy.board.letters, 2))[::17]:
        sounds = []
        for pair in ((one, two), (two, one)):
            copy = toy.fork()
            copy.connect([Link((pair[0],), (pair[1],), 1500.0, 6800.0, 0.1)])
            sounds.append(press(copy))
        assert np.array_equal(*sounds)


@pytest.mark.parametrize("kind", NEW_KINDS)
def test_a_clock_run_too_fast_freezes_until_the_rail_was_down(kind):
    for sounds in (True, False):
        toy = ready(kind, 1, jam_sounds=sounds, hiss=0.0, crash_ratio=2.0)
        roles = toy.board.roles
        letters = {pad.net: pad.letter for pad in toy.board.pads}
        pair = (letters[roles["osc"]],), (letters[roles["vcc"]],)
        toy.connect([Link(*pair, 1500.0, 0.0, 0.1)])
        toy.run(RATE_HZ // 2)
        toy.connect([])
        toy.run(RATE_HZ // 2)
        assert (rms(toy.run(RATE_HZ)) > 0.05) == sounds, "a crash into a loud tone, or silence"
        other = toy.fork()
        assert np.array_equal(press(toy), other.run(2 * RATE_HZ)), "it answers"
        toy.supply(False)
        toy.run(2 * RATE_HZ)
        switch_on(toy)
        toy.run(RATE_HZ)
        assert rms(press(toy)) > 0.02


@pytest.mark.parametrize("kind", NEW_KINDS)
def test_it_turns_itself_off_after_its_time_and_on_by_its_key(kind):
    seed = next(s for s in range(20) if make_board(s, 24, kind).on)
    toy = ready(kind, seed, auto_off_s=20.0, hiss=0.0)
    assert rms(press(toy)) > 0.02
    toy.run(15 * RATE_HZ)
    assert rms(press(toy)) > 0.02, "15 s are not 20 s"
    toy.run(25 * RATE_HZ)
    assert rms(press(toy)) == 0
    press(toy, toy.board.on[0])
    assert rms(press(toy)) > 0.02


@pytest.mark.parametrize("kind", NEW_KINDS)
def test_a_key_that_bounces_comes_and_goes_and_rests_where_it_was_put(kind):
    toy = ready(kind, 2, bounce_ms=40.0)
    key = toy.board.keys[0]
    seen = []
    toy.keys({key})
    for _ in range(60):
        toy.run(RATE_HZ // 1000)
        seen.append(toy._wiring.keys == {key})
    assert 1 <= sum(a != b for a, b in pairwise(seen)) <= 4
    assert all(seen[41:]), "40 ms later it rests"
    steady = ready(kind, 2, bounce_ms=0.0)
    # now and then a bounce is taken for a second press: takes of one phrase differ
    sounds = {sound.tobytes() for sound in (press(toy.fork()), press(steady.fork()))}
    toy.keys(set())
    toy.run(3 * RATE_HZ)
    sounds |= {press(toy).tobytes() for _ in range(6)}
    assert len(sounds) > 2


@pytest.mark.parametrize("kind", NEW_KINDS)
def test_a_toy_that_hisses_does_so_only_while_its_supply_is_on(kind):
    toy = ready(kind, 1, hiss=4e-4)
    toy.run(5 * RATE_HZ)
    assert 1e-5 < rms(toy.run(RATE_HZ)) < 1e-3
    toy.supply(False)
    toy.run(2 * RATE_HZ)
    assert rms(toy.run(RATE_HZ)) < 1e-6


@pytest.mark.parametrize("file", BOARDS, ids=lambda file: file.stem)
def test_the_boards_written_by_hand_play_and_bend(file):
    board = load_board(file)
    assert board.kind == file.stem
    toy = SimulatedToy(board, 1)
    switch_on(toy)
    plain = press(toy.fork())
    assert rms(plain) > 0.02
    silent = SimulatedToy(board, 1)
    assert rms(press(silent)) == 0, "without its supply"
    changed = 0
    for one, two in combinations(board.letters, 2):
        copy = toy.fork()
        copy.connect([Link((one,), (two,), 1500.0, 6800.0, 0.1)])
        changed += not np.array_equal(press(copy), plain)
    assert 5 < changed < len(board.letters) * (len(board.letters) - 1) / 2


def test_every_kind_has_a_board_written_by_hand():
    assert {file.stem for file in BOARDS} == set(KINDS)


@pytest.mark.parametrize(
    ("old", "new", "line_has", "said"),
    [
        ("kind: sampler", "kind: sampelr", "sampelr", "kind can't be sampelr: did you mean"),
        ("  a9: {", "  a19: {", "a19", "a sampler has no pin `a19`"),
        ("{node: loop,", "{node: lop,", "lop", "nothing is joined to a node `lop`"),
        ("between: [row1, col0]", "between: [row1]", "[row1]", "at least 2"),
        ("volts: 3", "volts: 13", "volts", "volts must be at most 12"),
        ("R1: {between: [plus, osc]", "R1: {between: [plus, amp]", "parts", "the clock needs a"),
        ("  a9: {drive_ohm: 18000}", "  a9: {node: d3}", "d3", "one pin to a node"),
        ("C2: {between: [filt, minus]", "C2: {between: [a9, minus]", "C2", "no capacitor there"),
        ("ohm: 47000}\n  C1", "ohm: 47000, farad: 1.0}\n  C1", "R1", "R1 needs ohm or farad"),
        ("  B: {node: amp", "  A: {node: amp", "amp", "`A` is there twice"),
        ("  B: {node: amp", "  Z: {node: amp", "Z", "pad Z stands where B is expected"),
        ("keys:", "on: [door]\nkeys:", "door", "there is no key `door`"),
        ("  d3: {drive", "  d3: {thick: 3, drive", "thick", "unknown `thick`"),
    ],
)  # fmt: skip
def test_what_is_wrong_in_a_board_file_is_said_with_its_line(
    tmp_path, old, new, line_has, said
):
    text = (BOARDS[0].parent / "sampler.yaml").read_text("utf-8")
    assert old in text
    file = tmp_path / "board.yaml"
    file.write_text(text.replace(old, new, 1), "utf-8")
    with pytest.raises(ConfigError) as error:
        load_board(file)
    assert said in str(error.value)
    name, line, _ = str(error.value).split(":", 2)
    assert name == str(file)
    assert line_has in file.read_text("utf-8").splitlines()[int(line) - 1]
