"""The build sheet: what stands in it, that it is one file, and what the command says."""

import base64
import re
from html.parser import HTMLParser

import making_logs
import pytest
from making_records import record, seen_twice
from sheet_command import sheet_command

from rig.bench.base import Connection, Stimulus, Touch
from rig.bench.simulated.folder import new_simulated_project
from rig.build.board_map import board_overlay, board_picture
from rig.build.drawings import rotary_wiring, wiring
from rig.build.evidence import Evidence, Trial, trials_by_pair
from rig.build.files import write_sheets
from rig.build.page import html_of
from rig.build.sheet import Seen, make_sheet, proposals, see
from rig.choose.picks import Pick, tidy_pair
from rig.errors import ConfigError, SafetyRefusal
from rig.outcomes import AFTERS, SOUNDS, after_words, sound_words
from rig.project import load_project
from rig.project.electrical import highest_v
from rig.project.places import Place, Places, load_places

VOID = {"meta", "br", "img", "path", "rect", "circle", "image", "ellipse", "line"}


class Reader(HTMLParser):
    """Gathers the text, and checks that every element is closed in its order."""

    def __init__(self):
        super().__init__()
        self.open, self.text, self.tags, self.attributes = [], [], [], []

    def handle_starttag(self, tag, attributes):
        self.tags.append(tag)
        self.attributes += attributes
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attributes):
        self.tags.append(tag)
        self.attributes += attributes

    def handle_endtag(self, tag):
        if tag not in VOID:
            assert self.open.pop() == tag

    def handle_data(self, data):
        if "style" not in self.open:
            self.text.append(data)


def read(html):
    reader = Reader()
    reader.feed(html)
    reader.close()
    assert reader.open == []
    reader.words = " ".join(" ".join(reader.text).split())
    return reader


@pytest.fixture(scope="module")
def project(tmp_path_factory):
    return new_simulated_project(tmp_path_factory.mktemp("toys") / "toy", 7, 24)


@pytest.fixture(scope="module")
def signals(project):
    return [letter for letter, pad in project.toy.pads.items() if pad.kind == "signal"]


@pytest.fixture
def picks(signals):
    a, b, c, d = signals[:4]
    return [Pick(f"{a}-{b}", note="like a <stuck> door & more"), Pick(f"{a}-{c}"), Pick(f"{c}-{d}")]


def heard(pair, first, paths=(3000.4,), sound="loop", amount=0.22, unit="s", **more):
    """Touches in which a pair was heard twice over each path."""
    told = {"sound": sound, "amount": amount, "unit": unit} | more
    return [
        one for at, path in enumerate(paths)
        for one in seen_twice(pair.split("-"), first + 2 * at, path_ohm=path, **told)
    ]


@pytest.fixture
def records(picks):
    one, other, last = (pick.pair for pick in picks)
    return [
        *heard(one, 1),
        *heard(other, 3, (3000.4, 153000.4), "pitch", 700, "cents"),
        *heard(last, 7, (36000.4,), "drone", 110, "Hz"),
        record(9, last.split("-"), sound="drone", after="freeze", path_ohm=9800.4),
    ]


def sheet(project, picks, records=None, places="load"):
    return html_of(make_sheet(
        project, picks, load_places(project.folder) if places == "load" else places,
        see(project, picks, records),
    ))


def test_the_sheet_holds_what_a_builder_needs(project, picks, records, signals):
    a, b, c, d = signals[:4]
    page = read(sheet(project, picks, records))
    words = page.words
    assert project.toy.name in words
    for heading in ("The board", "What is fitted", "One by one", "Together", "Reset",
                    "Order of work", "Parts", "Before you begin", "With the meter",
                    "Lugs", "Panel", "Hole template", "Notes"):  # fmt: skip
        assert heading in words
    assert f"{a} – {b} : loops every 0.22 s" in words or f"{a} – {b}: loops every 0.22 s" in words
    assert "like a <stuck> door & more" in words
    assert "pitch up a fifth (700 cents)" in words
    assert "drones at 110 Hz" in words
    assert "Keep at least 36 kΩ in the path: over 9.8 kΩ this pair stopped the toy." in words
    assert "Heard again over 3 kΩ to 153 kΩ of path with key moo, take 3." in words
    assert "3.3 kΩ, 5 %: orange, orange, red, gold" in words  # 3.3 kΩ less 5 % is above 3 kΩ
    assert "closed at rest (normally closed) in the battery's plus lead" in words
    assert "The pads of 3 stopped the toy in the sweep" in words
    assert f"{b} – {c}" in words  # joined through the shared pad
    assert "6 wires, pad to control" in words
    assert "Batteries out" in words
    for pad in (a, b, c, d):
        assert project.toy.pads[pad].note in words


def test_the_sheet_is_one_file_without_scripts_or_links(project, picks):
    html = sheet(project, picks)
    page = read(html)
    assert not {"script", "link", "iframe", "a"} & set(page.tags)
    for name, value in page.attributes:
        if name in ("src", "href"):
            assert value.startswith("data:image/")
    outside = re.findall(r"https?://[^\"' )]+", html)
    assert set(outside) <= {"http://www.w3.org/2000/svg"}
    assert "$" not in re.sub(r"base64,[^\"]*", "", html)
    assert "url(" not in html


def test_the_boards_picture_is_inside_with_the_picks_letters_on_it(project, picks, signals):
    places = load_places(project.folder)
    drawing = board_overlay(places, picks)
    data = board_picture(project.folder, places).removeprefix("data:image/svg+xml;base64,")
    assert data in sheet(project, picks)
    assert base64.b64decode(data) == (project.folder / "board.svg").read_bytes()
    texts = re.findall(r">([A-Z0-9]+)</text>", drawing)
    assert sorted(texts) == sorted([*signals[:4], "1", "2", "3"])
    for pad in signals[:4]:
        place = places.pads[pad]
        assert f'cx="{place.x:g}" cy="{place.y:g}"' in drawing
    for x, y in re.findall(r"Q ([-\d.]+) ([-\d.]+)", drawing):
        assert -100 < float(x) < places.width + 100
        assert -100 < float(y) < places.height + 100


@pytest.mark.parametrize("times", [1, 4])
def test_dashes_are_as_long_beside_their_line_on_any_picture(project, signals, times):
    picks = [Pick(tidy_pair(f"{signals[0]}-{other}")) for other in signals[1:9]]
    small = load_places(project.folder)
    places = small.model_copy(update={
        "width": small.width * times, "height": small.height * times,
        "pads": {pad: Place(x=at.x * times, y=at.y * times) for pad, at in small.pads.items()},
    })  # fmt: skip
    drawing = board_overlay(places, picks)
    lines = re.findall(r'stroke-width="([\d.]+)" stroke-dasharray="(\S+) (\S+)"', drawing)
    assert len(lines) == 2  # the first six differ by their colours
    for width, dash, gap in lines:
        assert (float(dash) / float(width), float(gap) / float(width)) == (14 / 5, 7 / 5)


def test_without_a_picture_the_pads_are_named_by_their_notes(project, picks, signals):
    page = read(sheet(project, picks, places=None))
    assert f"Without a place on the picture: {', '.join(signals[:4])}" in page.words
    assert "image" not in page.tags


def test_a_pad_without_a_place_is_named(project, picks, signals):
    known = load_places(project.folder)
    some = Places(
        picture=known.picture, width=known.width, height=known.height,
        pads={p: place for p, place in known.pads.items() if p != signals[0]},
    )  # fmt: skip
    words = read(sheet(project, picks, places=some)).words
    assert f"Without a place on the picture: {signals[0]}." in words


def test_what_the_sweep_saw_is_used(project, picks, signals):
    a, b, c, _ = signals[:4]
    records = [
        *heard(f"{a}-{c}", 1, (3000.4, 36000.4), "pitch", 701, "cents"),
        record(5, (b, c), sound="none", after="freeze", path_ohm=3000.4),
    ]
    assert "It comes on at once" in read(sheet(project, picks, records)).words


def test_two_controls_that_join_a_pair_known_to_stop_the_toy_will_stop_it(project, signals):
    a, b, c, d = signals[:4]
    picks = [Pick(f"{a}-{b}"), Pick(f"{a}-{c}"), Pick(f"{c}-{d}")]
    records = [
        *heard(f"{a}-{b}", 1), *heard(f"{a}-{c}", 3), *heard(f"{c}-{d}", 5),
        record(7, (b, c), sound="none", after="freeze", path_ohm=36000.4),
        record(8, (a, d), sound="none", path_ohm=3000.4),
        record(9, (b, d), sound="none", after="guarded", path_ohm=10400.4),
    ]
    words = read(sheet(project, picks, records)).words
    assert f"{b} – {c} 6.6 kΩ or more will stop the toy : stopped the toy over 36 kΩ." in words
    assert f"{a} – {d} 6.6 kΩ or more no change, down to 3 kΩ" in words
    assert f"{b} – {d} will stop the toy : stopped the toy over 10.4 kΩ." in words  # through three
    # Through more than it was stopped over, nobody knows.
    less = [one for one in records if one.number != 7]
    less.append(record(7, (b, c), sound="none", after="freeze", path_ohm=5000.0))
    words = read(sheet(project, picks, less)).words
    assert f"{b} – {c} 6.6 kΩ or more stopped the toy over 5 kΩ" in words


def test_two_controls_that_join_both_rails_are_told_the_current(project, signals):
    plus, minus = [letter for letter, pad in project.toy.pads.items() if pad.kind == "rail"][:2]
    pairs = [tidy_pair(f"{rail}-{signals[0]}") for rail in (minus, plus)]
    records = [*heard(pairs[0], 1), *heard(pairs[1], 3)]
    picks = [Pick(pair) for pair in pairs]
    words = read(sheet(project, picks, records)).words
    drawn_ma = highest_v(project.toy) / 6600 * 1000
    assert f"both supply rails: up to {drawn_ma:.2g} mA from the cells" in words


def test_three_picks_on_one_pad_bring_up_a_rotary_switch(project, signals):
    a, b, c, d = signals[:4]
    chosen = [Pick(f"{a}-{x}") for x in (b, c, d)]
    records = [one for n, pick in enumerate(chosen) for one in heard(pick.pair, 1 + 2 * n)]
    words = read(sheet(project, chosen, records)).words
    assert f"1, 2, 3 all use {a}" in words
    assert "rotary switch" in words
    assert f"All of 1, 2, 3 on: {a}, {b}, {c}, {d} are joined. Not tried as one." in words


def test_what_trips_the_guard_is_left_out_of_the_work(project, signals):
    a, b, c, d = signals[:4]
    chosen = [Pick(f"{a}-{b}"), Pick(f"{c}-{d}")]
    records = [*heard(f"{a}-{b}", 1, sound="drone", after="guarded"), *heard(f"{c}-{d}", 3)]
    words = read(sheet(project, chosen, records)).words
    assert "too much current" in words
    assert "2 wires, pad to control" in words
    assert f"onto pad {a}" not in words


@pytest.mark.parametrize(("records", "says"), [
    (None, "not touched"), ([], "not touched"),
    ([record(1, sound="none")], "nothing was found"),
    (seen_twice(sound="none", after="freeze"), "stops the toy"),
])
def test_without_evidence_there_is_no_value_of_ours(project, records, says):
    words = read(sheet(project, [Pick("A-B")], records)).words
    assert says in words
    assert not re.search(r"\d k?Ω", words.split("One by one")[1].split("Reset")[0].replace(
        "12 kΩ", ""))
    wished = read(sheet(project, [Pick("A-B", control="toggle")], records)).words
    assert "You wish for a toggle: give it a value of your own with at_ohm" in wished


def test_a_value_of_the_persons_own_is_printed_as_theirs(project, signals):
    pair = f"{signals[0]}-{signals[1]}"
    mine = Pick(pair, at_ohm=4700, name="Grumble", control="toggle")
    words = read(sheet(project, [mine])).words
    assert "4.7 kΩ (yours)" in words
    assert "Grumble: not touched" in words
    assert "toggle switch" in words
    stopping = [*heard(pair, 1, (36000.4,)), record(3, pair.split("-"), after="freeze",
                                                   sound="none", path_ohm=9800.4)]
    words = read(sheet(project, [mine], stopping)).words
    assert "Your value. Over 9.8 kΩ this pair stopped the toy, so expect it to stop." in words


def test_refusals(project, signals):
    rails = [letter for letter, pad in project.toy.pads.items() if pad.kind == "rail"]
    with pytest.raises(ConfigError, match=r"picks\.yaml: nothing is picked yet"):
        proposals(project, [], see(project, [], None))
    with pytest.raises(ConfigError, match=r"A-ZZ: there is no pad ZZ in toy\.yaml"):
        proposals(project, [Pick("A-ZZ")], Seen([Evidence()]))
    with pytest.raises(SafetyRefusal, match="joins two supply rails"):
        proposals(project, [Pick("-".join(rails))], Seen([Evidence()]))


def test_a_forbidden_pad_is_refused(tmp_path):
    project = new_simulated_project(tmp_path / "toy", 7, 8)
    file = tmp_path / "toy" / "toy.yaml"
    file.write_text(file.read_text().replace('note: "', 'forbidden: true, note: "', 1))
    with pytest.raises(SafetyRefusal, match="pad A is forbidden"):
        proposals(load_project(project.folder), [Pick("A-B")], Seen([Evidence()]))


@pytest.mark.parametrize("kind", ["toggle", "push-button", "potentiometer", "photocell", "body contacts"])
def test_every_control_has_a_wiring(kind):
    drawing = wiring(kind, ("C", "AA"), 3000, "100 kΩ" if kind == "potentiometer" else "")
    assert read(drawing).words.split() == (
        ["C", "AA", "3", "kΩ", "100", "kΩ"] if kind == "potentiometer"
        else ["C", "AA", "3", "kΩ", *kind.split()]
    )  # fmt: skip


@pytest.mark.parametrize("sound", [*SOUNDS, None])
@pytest.mark.parametrize("amount", [None, -3.0, 250.0])
def test_every_sound_is_said(sound, amount):
    said = sound_words(
        sound, amount, {"pitch": "cents", "loop": "s", "drone": "Hz"}.get(sound, "dB")
    )
    assert said
    assert "None" not in said


def test_every_after_is_said():
    assert [bool(after_words(after)) for after in AFTERS] == [False, True, True, True]


def test_writing_leaves_no_half_file(tmp_path):
    pdf, html = tmp_path / "sheet.pdf", tmp_path / "sheet.html"
    write_sheets({pdf: b"one", html: b"one"})
    write_sheets({pdf: b"two", html: b"two"})
    assert sorted(tmp_path.iterdir()) == [html, pdf]
    assert pdf.read_bytes() == html.read_bytes() == b"two"
    with pytest.raises(ConfigError, match=r"none/sheet\.html can't be written: No such file"):
        write_sheets({pdf: b"three", tmp_path / "none" / "sheet.html": b"three"})
    html.unlink()
    html.mkdir()
    with pytest.raises(ConfigError, match=r"sheet\.html can't be written: Is a directory"):
        write_sheets({pdf: b"three", html: b"three"})
    assert sorted(tmp_path.iterdir()) == [html, pdf]
    assert pdf.read_bytes() == b"two"


def test_the_command_writes_the_sheet_and_says_where(tmp_path):
    project = new_simulated_project(tmp_path / "toy", 7, 24)
    with pytest.raises(ConfigError, match="nothing is picked yet"):
        sheet_command("--project", tmp_path / "toy")
    signals = [letter for letter, pad in project.toy.pads.items() if pad.kind == "signal"]
    pair = f"{signals[0]}-{signals[1]}"
    (tmp_path / "toy" / "picks.yaml").write_text(f"- pair: {pair}\n")
    out = sheet_command("--project", tmp_path / "toy").splitlines()
    assert out[1].split()[:3] == [pair, "not", "touched"]
    assert out[2] == "there is no sweep 'main' in this folder, so nothing is known of these pairs"
    files = [tmp_path / "toy" / one for one in ("sheet.pdf", "sheet.html")]
    assert out[3] == f"the sheet: {files[0]} and {files[1]} (print it on A4 at 100 %)"
    assert files[0].read_bytes().startswith(b"%PDF-")
    assert files[1].read_text("utf-8").startswith("<!DOCTYPE html>")
    for file in files:
        file.unlink()
    sheet_command("--project", tmp_path / "toy", "--out", tmp_path / "other.html")
    sheet_command("--project", tmp_path / "toy", "--out", tmp_path / "other.PDF")
    assert (tmp_path / "other.html").exists() and (tmp_path / "other.PDF").exists()
    assert not any(file.exists() for file in files)
    with pytest.raises(ConfigError, match=r"--out sheet.txt: a sheet is .pdf or .html: name it so"):
        sheet_command("--project", tmp_path / "toy", "--out", "sheet.txt")


def test_trials_are_the_complete_judged_touches_of_each_pair_and_group(tmp_path):
    group = Touch((Connection(("A", "B"), ("C",), 0.0),), Stimulus(("moo",)))
    with making_logs.new_log(tmp_path) as log:
        making_logs.add(log, kind="baseline", touch=making_logs.BASELINE, path_ohm=None)
        making_logs.add(log, sound="pitch", amount=300.0, unit="cents", path_ohm=9000.0)
        making_logs.add(log, sound="lost")
        making_logs.add(log, sound="lost", after="freeze", path_ohm=6000.0)
        making_logs.add(log, sound="loop", after=None)
        making_logs.add(log, sound="loop", fault="sound lost")
        making_logs.add(log, touch=group, sound="loop")
        making_logs.add(log, touch=making_logs.bridge("B", "A"), after="freeze", path_ohm=3000.0)
        log.flush()
        assert trials_by_pair(log.records()) == {
            "A-B": [
                Trial(9000.0, "pitch", "answers", amount=300.0, unit="cents", key="moo"),
                Trial(6000.0, "lost", "freeze", key="moo"),
                Trial(3000.0, "none", "freeze", key="moo"),
            ],
            "A+B-C": [Trial(12_000.0, "loop", "answers", key="moo")],
        }


def test_the_command_reads_the_sweep_beside_the_picks(tmp_path):
    new_simulated_project(tmp_path / "toy", 7, 24)
    with making_logs.new_log(tmp_path / "toy" / "sweeps" / "main") as log:
        making_logs.add(log, touch=making_logs.bridge("A", "B"), after="freeze", path_ohm=3000.0)
        for kind in ("sweep", "confirm"):
            making_logs.add(log, kind=kind, touch=making_logs.bridge("A", "B"), sound="loop",
                            amount=0.25, unit="s", path_ohm=9800.0)
    (tmp_path / "toy" / "picks.yaml").write_text("- pair: A-B\n")
    out = sheet_command("--project", tmp_path / "toy")
    assert out.splitlines()[1].startswith("A-B   toggle switch, on-off  11 kΩ ")  # 10.45 at least
    words = read((tmp_path / "toy" / "sheet.html").read_text("utf-8")).words
    assert "Keep at least 9.8 kΩ in the path: over 3 kΩ this pair stopped the toy." in words


def test_two_sounds_of_a_pair_are_one_control_that_is_counted_once(project, signals):
    a, b, c, _ = signals[:4]
    pair, other, key = tidy_pair(f"{a}-{b}"), tidy_pair(f"{a}-{c}"), project.sweep_keys[0]
    records = [
        *heard(pair, 1, (36000.4,), "timbre", 18, "dB", key=key),
        record(3, pair.split("-"), sound="none", path_ohm=9800.4, key=key),
        *heard(pair, 4, (3000.4,), "pitch", -2400, "cents", key=key), *heard(other, 6, key=key),
    ]  # fmt: skip
    chosen = [Pick(pair, at_ohm=36000, key=key, name="Croak"), Pick(other),
              Pick(pair, at_ohm=3000, key=key, note="like a bear")]
    seen = see(project, chosen, records)
    assert [one.kind for one in proposals(project, chosen, seen)] == ["rotary switch", "toggle"]
    html = sheet(project, chosen, records)
    words = read(html).words
    assert "3 kept, 2 to fit" in words
    assert "Croak: other timbre, by 18 dB over 36 kΩ" in words
    assert "pitch down two octaves (2400 cents) over 3 kΩ" in words
    assert "like a bear" in words
    runs_on = heard(other, 1, sound="timbre", amount=17, unit="dB", after="runs on")
    assert "other timbre, by 17 dB over 3 kΩ; then runs on" in read(
        sheet(project, [Pick(other)], runs_on)).words
    assert "1 rotary switch, 1 pole, 3 positions" in words
    assert "3.3 kΩ, 39 kΩ, short legs, each onto a lug of the rotary switch" in words
    assert "4 wires, pad to control" in words
    assert "2 resistor 3.3 kΩ" in words and "1 resistor 39 kΩ" in words
    drawing = html.split('class="board"')[1].split("</svg>")[0]
    numbers = re.findall(r">(\d+)</text>", drawing)
    assert numbers == ["1", "2"]
    assert f"Heard again over 36 kΩ of path with key {key}, take 1." in words
    assert f"Heard again over 3 kΩ of path with key {key}, take 4." in words


@pytest.mark.parametrize("count", [2, 3, 6])
def test_a_rotary_switch_is_drawn_with_each_position_within_its_frame(count):
    values = [3300.0 * 2**n for n in range(count)]
    drawing = rotary_wiring(("C", "AA"), values)
    words = read(drawing).words
    for value in ("off", *(f"{one / 1000:.3g} kΩ" for one in values)):
        assert value in words
    _, _, width, height = map(float, re.search(r'viewBox="([^"]+)"', drawing)[1].split())
    assert all(0 <= float(y) < height for y in re.findall(r' c?y="([\d.]+)"', drawing))
    assert all(0 <= float(x) < width for x in re.findall(r' c?x="([\d.]+)"', drawing))
