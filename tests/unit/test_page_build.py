"""The page's build view says what the commands say, and its sheet is theirs."""

from dataclasses import dataclass
from pathlib import Path

import pytest
from making_logs import BASELINE
from making_records import baseline, record, seen_twice
from measured_records import PATHS, measured
from running import swept_project
from sheet_command import sheet_command

from rig.bench.simulated.folder import new_simulated_project
from rig.build.pieces import built_words, in_series
from rig.build.proposing import propose_all
from rig.build.verified import Build, Verified, save_build
from rig.choose import finds, load_picks
from rig.errors import ConfigError
from rig.page.build_sheet import Wanted, html_file, pdf_file, wanted_of
from rig.page.building import building
from rig.page.night import Night, Seen
from rig.project import Project, load_project

CENTS = {ohm: ("pitch", -100.0 * at, "cents") for at, ohm in enumerate(reversed(PATHS), 1)}


@dataclass
class Looked:
    """A night whose log says just these records."""

    project: Project
    records: list
    name: str = "main"
    is_begun: bool = True

    def seen(self):
        return Seen("1", self.records, finds(self.records))

    def events(self):
        return ()


@pytest.fixture(scope="module")
def project(tmp_path_factory):
    return new_simulated_project(tmp_path_factory.mktemp("t") / "toy", 8, 8)


@pytest.fixture
def kept(project):
    """Write picks.yaml; gives a function that does."""
    file = project.folder / "picks.yaml"

    def writing(text):
        file.write_text(text, "utf-8")

    yield writing
    file.unlink(missing_ok=True)
    (project.folder / "verified.yaml").unlink(missing_ok=True)


@pytest.fixture(scope="module")
def key(project):
    return project.sweep_keys[0]


def moved(key, pads="CF"):
    """A pair whose pitch goes smoothly along the resistance, measured."""
    return [*measured(CENTS, pads, key), baseline(900, key=key)]


def test_a_control_is_told_as_the_command_proposes_it(project, kept, key):
    kept(f"- pair: C-F\n  at_ohm: 10400\n  key: {key}\n  name: Bear\n")
    records = moved(key)
    board = propose_all(project, load_picks(project.folder), records)
    (one,) = building(Looked(project, records))["controls"]
    control = board.picks[0].control
    assert control.kind == one["kind"] == "potentiometer"
    assert (one["number"], one["pair"], one["why"]) == (1, "C-F", control.why)
    assert one["in_series"] == in_series(control)
    assert [pick["entry"]["name"] for pick in one["picks"]] == ["Bear"]
    assert one["picks"][0]["at"] == "10.4 kΩ"


def test_a_knob_has_five_positions_each_with_the_nearest_take(project, kept, key):
    kept(f"- pair: C-F\n  at_ohm: 10400\n  key: {key}\n")
    records = moved(key)
    (one,) = building(Looked(project, records))["controls"]
    by_number = {made.number: made for made in records}
    assert [at["number"] for at in one["positions"]] == [1, 2, 3, 4, 5]
    assert one["turns"]
    assert one["plain"] == 900
    made = [by_number[at["touch"]] for at in one["positions"]]
    assert {touch.pads_1 + touch.pads_2 for touch in made} == {"CF"}
    paths = [touch.path_ohm for touch in made]
    assert paths == sorted(paths, reverse=True)  # clockwise lowers it here
    assert paths[0] > 4 * paths[-1]
    assert "pitch down" in one["positions"][-1]["says"]


def test_a_switch_has_no_positions_but_its_sound(project, kept, key):
    kept("- pair: A-B\n")
    records = [*seen_twice("AB", 1, key=key, sound="loop", amount=0.3, unit="s"), baseline(3, key=key)]
    (one,) = building(Looked(project, records))["controls"]
    assert one["kind"] == "toggle"
    assert one["positions"] == []
    (pick,) = one["picks"]
    assert pick["touch"] in (1, 2)
    assert pick["plain"] == 3


def test_a_wish_that_cant_work_has_its_warning(project, kept, key):
    kept(f"- pair: C-F\n  at_ohm: 3600\n  key: {key}\n  control: body contacts\n")
    low = {ohm: told for ohm, told in CENTS.items() if ohm < 11_000}
    records = [*measured(low, "CF", key), baseline(900, key=key)]
    (one,) = building(Looked(project, records))["controls"]
    assert one["kind"] == "body contacts"
    assert "Skin can't play it" in one["warning"]


def test_two_at_once_are_known_tried_or_never_tried(project, kept, key):
    kept("- pair: A-B\n- pair: A-C\n- pair: D-E\n")
    loop = {"key": key, "sound": "loop", "amount": 0.3, "unit": "s"}
    records = [
        *seen_twice("AB", 1, **loop), *seen_twice("AC", 3, **loop), *seen_twice("DE", 5, **loop),
        record(7, "BC", path_ohm=30_000.0, key=key, sound="none", after="freeze"), baseline(8, key=key),
    ]  # fmt: skip
    told = building(Looked(project, records))["together"]
    verdicts = {tuple(one["numbers"]): one["verdict"] for one in told}
    assert verdicts == {(1, 2): "stops", (1, 3): "unknown", (2, 3): "unknown"}
    stop = next(one for one in told if one["verdict"] == "stops")
    assert "they stopped the toy" in stop["told"]
    assert "changeover switch" in stop["wiring"]


def test_what_verify_said_counts_while_it_is_built_so(project, kept, key):
    kept(f"- pair: C-F\n  at_ohm: 10400\n  key: {key}\n")
    records = moved(key)
    (proposed,) = propose_all(project, load_picks(project.folder), records).picks
    said = Verified("C-F", built_words(proposed.control), "right", "As kept.", at="2031-05-31T10:00:00+00:00")
    save_build(project.folder, Build((said,), "itself", True, True))
    shown = building(Looked(project, records))
    assert shown["controls"][0]["verified"]["verdict"] == "right"
    assert "the toy is itself" in shown["verified"]
    kept(f"- pair: C-F\n  at_ohm: 10400\n  key: {key}\n  control: toggle\n")
    assert building(Looked(project, records))["controls"][0]["verified"] is None


@pytest.mark.parametrize(("text", "why"), [
    ("", None), ("# nothing\n", None), ("- pair: C-F\n  note: 'half\n", "picks.yaml:2"),
    ("- pair: Y-Z\n", "there is no pad Y"),
])
def test_without_a_pick_there_is_nothing_and_what_stands_in_the_way_is_told(project, kept, key, text, why):
    kept(text)
    shown = building(Looked(project, [record(1, "CF", key=key, touch=BASELINE, kind="baseline")]))
    assert shown["controls"] == []
    assert shown["trouble"] is None if why is None else why in shown["trouble"]


def test_without_a_sweep_controls_are_proposed_all_the_same(project, kept):
    kept("- pair: C-F\n")
    night = Night(project, "main")
    assert not night.is_begun
    (one,) = building(night)["controls"]
    assert one["picks"][0]["touch"] is None


@pytest.fixture(scope="module")
def swept(tmp_path_factory):
    """A swept toy of which two finds are kept, and its night."""
    folder = swept_project(tmp_path_factory.mktemp("page") / "toy")
    night = Night(load_project(folder), "main")
    pairs = dict.fromkeys(one.pair for one in night.seen().found if one.is_bend and not one.is_lone)
    (folder / "picks.yaml").write_text("".join(f"- pair: {one}\n" for one in list(pairs)[:2]), "utf-8")
    return night


@pytest.mark.parametrize(("wanted", "options"), [
    (Wanted(), []), (Wanted("letter", "inside", True), ["--paper", "letter", "--inside", "--line-out"]),
])
def test_the_pages_sheet_is_that_of_the_command_byte_for_byte(swept, tmp_path, wanted, options):
    for make, name in ((lambda: pdf_file(swept, wanted)[0], "a.pdf"), (lambda: html_file(swept, wanted), "a.html")):
        out = tmp_path / name
        sheet_command("--project", swept.project.folder, "--out", out, *options)
        assert make() == out.read_bytes()
    assert not (swept.project.folder / "sheet.pdf").exists()


def test_what_the_pdfs_fonts_lack_is_told(swept):
    picks = swept.project.folder / "picks.yaml"
    before = picks.read_text("utf-8")
    try:
        picks.write_text(before + '  name: "ጤና"\n', "utf-8")
        assert "the PDF's font has no ጤ" in pdf_file(swept, Wanted())[1]
    finally:
        picks.write_text(before, "utf-8")
    assert pdf_file(swept, Wanted())[1] == ""


def test_without_a_pick_there_is_no_sheet(project, kept):
    kept("")
    with pytest.raises(ConfigError, match="nothing is picked yet"):
        pdf_file(Night(project, "main"), Wanted())


@pytest.mark.parametrize(("asked", "wanted"), [
    ({}, Wanted()), ({"paper": "letter", "face": "inside", "line_out": "1"}, Wanted("letter", "inside", True)),
    ({"paper": "A4"}, None), ({"face": "both"}, None), ({"line_out": "yes"}, None), ({"paper": ""}, None),
])
def test_only_what_the_command_has_can_be_asked_for(asked, wanted):
    assert wanted_of(asked) == wanted


def test_no_form_of_the_sheet_has_a_script(swept):
    text = html_file(swept, Wanted()).decode()
    assert "<script" not in text
    template = Path(__file__).parents[2] / "rig/build/sheet.html"
    assert "<script" not in template.read_text("utf-8")
    assert not [one for one in (" onload=", " onclick=", " onerror=", "javascript:") if one in text]
