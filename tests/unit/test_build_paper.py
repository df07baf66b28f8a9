"""The sheet as PDF and HTML: any text comes out as it is, the same bytes twice, whole or not at all."""

import base64
import itertools
import os
import re
import subprocess
import sys
import zlib
from html.parser import HTMLParser

import pytest
from making_records import seen_twice
from PIL import Image
from sheet_command import sheet_command

from rig.bench.simulated.folder import new_simulated_project
from rig.build import paper
from rig.build.board_map import MOST_LINES, disc, maps_of
from rig.build.content import as_data, texts_of, tidy
from rig.build.page import html_of
from rig.build.paper import missing, missing_words, pdf_of
from rig.build.sheet import make_sheet, see
from rig.choose.picks import Pick
from rig.errors import ConfigError
from rig.project.places import load_places

HOSTILE = [
    '#eval("1") *bold* _slanted_ `raw` $x^2$ = head', r"\ \n \u{41} @label <label>",
    "<script>alert(1)</script> </td></table>", "{{ title }} {% if x %} {# gone #}", "]]> <!-- & &amp; -->",
    'a "quoted" thing, \'and\' -- so --- on ...', "http://example.org/a?b=c&d#e", "// none /* of */ it",
    "Медвежий рык издалека и очень долго, почти до утра", "Βαθύ βουητό της αρκούδας",
    "±5 % ≤ 3 Ω, 10 µF → ✓ ⚠", "W" * 80, "лай" * 30,
]  # fmt: skip


class Page(HTMLParser):
    """Gathers the text and the elements."""

    def __init__(self):
        super().__init__()
        self.text, self.tags = [], []

    def handle_starttag(self, tag, attributes):
        self.tags.append(tag)

    def handle_data(self, data):
        self.text.append(data)


def squeezed(text):
    """Without blanks, and without the marks at which long words may be broken."""
    return re.sub(r"[\s\u200b\u00ad]+", "", text)


def html_text(html):
    page = Page()
    page.feed(html)
    return squeezed("".join(page.text)), set(page.tags)


def pdf_text(pdf):
    done = subprocess.run(["pdftotext", "-raw", "-", "-"], input=pdf, capture_output=True, check=True)
    return squeezed(done.stdout.decode())


def pages(pdf):
    done = subprocess.run(["pdfinfo", "-"], input=pdf, capture_output=True, check=True).stdout.decode()
    return int(re.search(r"Pages: +(\d+)", done)[1]), re.search(r"Page size: +([\d.]+) x ([\d.]+)", done)


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    return new_simulated_project(tmp_path_factory.mktemp("toys") / "toy", 7, 24)


@pytest.fixture(scope="module")
def large(tmp_path_factory):
    return new_simulated_project(tmp_path_factory.mktemp("toys") / "toy", 7, 64)


def pairs_of(project, count):
    signals = [letter for letter, pad in project.toy.pads.items() if pad.kind == "signal"]
    return list(itertools.islice((f"{a}-{b}" for a, b in itertools.combinations(signals, 2)), count))


def sheet_of(project, picks, records=None, **more):
    return make_sheet(project, picks, load_places(project.folder), see(project, picks, records), **more)


def test_any_text_comes_out_as_it_is_and_does_nothing(small):
    told = pairs_of(small, len(HOSTILE))
    picks = [Pick(pair, name=text, note=f"note: {text}", at_ohm=4700)
             for pair, text in zip(told, HOSTILE, strict=True)]  # fmt: skip
    toy = small.toy.model_copy(update={"name": HOSTILE[2] + HOSTILE[0]})
    project = type(small)(small.folder, toy, small.rig)
    plain = [Pick(pair, name="n", note="n", at_ohm=4700) for pair in told]
    made = sheet_of(project, picks)
    page, tags = html_text(html_of(made))
    set_in_type = pdf_text(pdf_of(made))
    for text in HOSTILE:
        for where in (page, set_in_type):
            assert where.count(squeezed(f"{text}:")) >= 2, text  # in the table, and one by one
            assert squeezed(f"note: {text}") in where, text
    assert squeezed(toy.name) in page and squeezed(toy.name) in set_in_type
    assert tags == html_text(html_of(sheet_of(small, plain)))[1]  # nothing of it is an element
    assert missing(made) == []


def test_sixty_four_pads_and_a_hundred_picks_are_all_there(large):
    told = pairs_of(large, 100)
    picks = [Pick(pair, name=f"name{n} {HOSTILE[n % len(HOSTILE)]}") for n, pair in enumerate(told)]
    records = [one for n, pick in enumerate(picks[:60])
               for one in seen_twice(pick.pads, 1 + 2 * n, path_ohm=3000.4, sound="loop", amount=0.2, unit="s")]
    made = sheet_of(large, picks, records, with_line_out=True)
    pdf = pdf_of(made)
    count, _ = pages(pdf)
    assert 20 < count < 120
    text, page = pdf_text(pdf), html_text(html_of(made))[0]
    for pick in picks:
        for where in (text, page):
            assert squeezed(f"{pick.name}:") in where
    assert [row.tag.number for row in made.picks] == list(range(1, 101))
    assert len(picks) > MOST_LINES
    assert all("<path" not in one.svg for one in made.maps)  # a hundred lines would hide the board
    assert "lines are left out" in made.maps[0].caption


def test_both_forms_say_the_same(small):
    picks = [Pick(pair, at_ohm=4700) for pair in pairs_of(small, 3)]
    made = sheet_of(small, picks, with_line_out=True)
    text, page = pdf_text(pdf_of(made)), html_text(html_of(made))[0]
    told = [squeezed(one) for one in texts_of(as_data(made))]
    told = [one for one in told if not re.fullmatch(r"#[0-9a-f]{6}|a4|outside", one)]  # inks and choices
    assert len(told) > 100
    for one in told:
        assert one in page, one
    lines = "".join(re.findall(r"\w", text))  # cells of a row may be parted by others in a PDF
    for word in {word for one in texts_of(as_data(made)) for word in re.findall(r"\w{4,}", one)}:
        assert word in lines or re.fullmatch("[0-9a-f]{6}|outside", word), word


def test_the_parts_stand_in_their_order(small):
    made = sheet_of(small, [Pick(pair, at_ohm=4700) for pair in pairs_of(small, 3)], with_line_out=True)
    order = ["Before you begin", "The board", "What is fitted", "One by one", "Together", "Or a patch bay",
             "Reset and power",
             "Line out", "Parts", "Order of work", "With the meter", "Lugs", "Panel", "Hole template",
             "Check bar, 50 mm", "Notes"]  # fmt: skip
    html = html_of(made)
    headings = re.findall(r"<h2>([^<]+)</h2>|<b>(Before you begin|Check bar, 50 mm)", html)
    assert [a or b for a, b in headings] == order
    text = subprocess.run(["pdftotext", "-layout", "-", "-"], input=pdf_of(made), capture_output=True,
                          check=True).stdout.decode()  # fmt: skip
    at = [re.search(rf"^[ \f]*{re.escape(one)}\.?( |$)", text, re.MULTILINE) for one in order]
    assert all(at), [one for one, found in zip(order, at, strict=True) if not found]
    starts = [one.start() for one in at]
    assert starts == sorted(starts)


def test_the_same_sheet_is_the_same_bytes_also_in_another_process(small, tmp_path):
    (small.folder / "picks.yaml").write_text("".join(f"- pair: {pair}\n" for pair in pairs_of(small, 5)))
    made = []
    for seed in ("1", "2"):
        files = [tmp_path / f"{seed}.{form}" for form in ("pdf", "html")]
        for file in files:
            subprocess.run(
                [sys.executable, "-m", "rig.cli", "sheet", "--project", str(small.folder), "--out", str(file)],
                check=True, capture_output=True, env=os.environ | {"PYTHONHASHSEED": seed, "TZ": f"UTC+{seed}"},
            )  # fmt: skip
        made.append([file.read_bytes() for file in files])
    assert made[0] == made[1]
    assert b"CreationDate" not in made[0][0]


@pytest.mark.parametrize("ending", ["jpg", "png"])
def test_nothing_of_a_photo_but_its_points_is_in_the_sheet(tmp_path, ending):
    project = new_simulated_project(tmp_path / "toy", 7, 8)
    for file in ("board.svg", "board.yaml"):
        (project.folder / file).unlink()
    exif = Image.Exif()
    exif[0x013B] = "PHOTOGRAPHERSNAME"
    exif[0x0132] = "2031:02:03 04:05:06"
    exif.get_ifd(0x8825)[1] = "N"
    seen = Image.new("RGB", (300, 200), (0, 0, 200))
    seen.save(project.folder / f"board.{ending}", exif=exif, comment=b"SECRETWORDS")
    picks = [Pick(pair) for pair in pairs_of(project, 2)]
    raw = (project.folder / f"board.{ending}").read_bytes()
    assert b"PHOTOGRAPHERSNAME" in raw  # else this test could not fail
    made = sheet_of(project, picks)
    pdf, html = pdf_of(made), html_of(made)
    assert b"/Subtype /Image" in pdf or b"/Subtype/Image" in pdf
    whole = pdf + b"".join(map(inflated, re.findall(rb"stream\r?\n(.*?)\r?\nendstream", pdf, re.DOTALL)))
    inside = base64.b64decode(re.search(r'base64,([^"]+)', html)[1])
    for secret in (b"PHOTOGRAPHERSNAME", b"2031:02:03", b"SECRETWORDS", b"Exif"):
        assert secret not in whole
        assert secret not in inside


def inflated(stream):
    try:
        return zlib.decompress(stream)
    except zlib.error:
        return b""


@pytest.mark.parametrize(("size", "points"), [("a4", (595.28, 841.89)), ("letter", (612.0, 792.0))])
def test_the_paper_is_the_one_that_was_asked_for(small, size, points):
    # ISO 216: A4 is 210 mm x 297 mm; ANSI/ASME Y14.1: Letter is 8.5 in x 11 in; 72 points to the inch
    made = sheet_of(small, [Pick("A-C")], paper=size)
    _, found = pages(pdf_of(made))
    assert tuple(map(float, found.groups())) == pytest.approx(points, abs=0.1)
    assert f"size: {'A4' if size == 'a4' else 'letter'};" in html_of(made)


def test_a_character_that_the_font_lacks_is_told_before_it_is_a_box(small, monkeypatch):
    made = sheet_of(small, [Pick("A-C", name="猫の声 \U0001f43b", note="é ё ώ \u200d\ufe0f")])
    assert missing(made) == ["\U0001f43b"]  # the extra font has the others
    monkeypatch.setattr(paper, "_more_fonts", list)
    assert missing(made) == ["猫", "の", "声", "\U0001f43b"]
    assert missing_words(missing(made)) == (
        "the PDF's font has no 猫 の 声 \U0001f43b: boxes stand there; print sheet.html in its place, or "
        "install padsweep[cjk]")
    assert missing_words([]) == ""
    assert missing_words("abcdefghij").startswith("the PDF's font has no a b c d e f g h and 2 more:")
    assert "猫の声" in html_of(made)


def test_with_the_extra_font_other_scripts_are_set(small):
    made = sheet_of(small, [Pick("A-C", name="猫の声")])
    pdf = pdf_of(made)
    fonts = subprocess.run(["pdffonts", "-"], input=pdf, capture_output=True, check=True).stdout.decode()
    assert {re.split(r"[+ ]", line)[1] for line in fonts.splitlines()[2:]} == {
        "DejaVuSans", "DejaVuSans-Bold", "NotoSansCJKjp-Regular-Identity-H"}
    assert "猫の声" in pdf_text(pdf)


def test_only_our_fonts_are_in_it(small):
    fonts = subprocess.run(["pdffonts", "-"], input=pdf_of(sheet_of(small, [Pick("A-C")])),
                           capture_output=True, check=True).stdout.decode()  # fmt: skip
    assert {re.split(r"[+ ]", line)[1] for line in fonts.splitlines()[2:]} == {"DejaVuSans", "DejaVuSans-Bold"}


@pytest.mark.parametrize(("text", "is_"), [
    ("a\nb\t c", "a b c"), ("a\x07b", "a\ufffdb"), ("a\ud83db", "a\ufffdb"), ("a\u202eb", "ab"),
    ("a\u00a0b", "a\u00a0b"), (" a ", " a "), ("", ""),
])  # fmt: skip
def test_what_no_page_can_show_is_replaced(small, text, is_):
    assert tidy(text) == is_
    made = sheet_of(small, [Pick("A-C", name=f"x{text}x")])
    html_of(made).encode()
    pdf_of(made)


def test_a_note_longer_than_a_page_is_not_cut(small):
    note = " ".join(f"word{n}" for n in range(3000))
    text = pdf_text(pdf_of(sheet_of(small, [Pick("A-C", note=note, at_ohm=4700)])))
    for n in (0, 1500, 2999):
        assert f"word{n}" in text


def test_the_hole_template_says_which_face_it_is_for_and_the_inside_is_mirrored(small):
    picks = [Pick(pair, at_ohm=4700, name=f"N{n}") for n, pair in enumerate(pairs_of(small, 6), 1)]
    outside, inside = (sheet_of(small, picks, face=face) for face in ("outside", "inside"))
    assert "OUTSIDE" in outside.face_note and "INSIDE" not in outside.face_note
    assert "INSIDE" in inside.face_note and "OUTSIDE" not in inside.face_note
    assert [one.name for one in outside.holes] == ["N1", "N2", "N3", "N4", "N5", "N6", "Reset"]
    assert [one.name for one in inside.holes] == [
        "N5", "N4", "N3", "N2", "N1", "", "", "", "Reset", "N6"]
    for made in (outside, inside):
        assert squeezed(made.face_note) in pdf_text(pdf_of(made))
        assert squeezed(made.face_note) in html_text(html_of(made))[0]


def test_the_map_is_at_true_size_where_there_is_a_scale_and_says_so(small):
    known, picks = load_places(small.folder), [Pick(pair) for pair in pairs_of(small, 2)]
    true = maps_of(small.folder, known, picks, "a4")
    assert [(one.width_mm, one.height_mm) for one in true] == [
        (known.width * known.mm_per_unit, known.height * known.mm_per_unit)]
    assert true[0].caption.startswith("At true size")
    unknown = known.model_copy(update={"mm_per_unit": None})
    (fitted,) = maps_of(small.folder, unknown, picks, "a4")
    assert "not at true size: board.yaml has no mm_per_unit" in fitted.caption
    assert fitted.width_mm <= 182 and fitted.height_mm <= 118.001
    large = known.model_copy(update={"mm_per_unit": 1.0})
    (fitted,) = maps_of(small.folder, large, picks, "letter")
    assert "not at true size: the picture is 1000 mm long" in fitted.caption
    tiny = known.model_copy(update={"mm_per_unit": 0.04})
    larger, true_too = maps_of(small.folder, tiny, picks, "a4")
    assert "times as large as the board" in larger.caption
    assert true_too.width_mm == pytest.approx(known.width * 0.04)


def test_discs_of_near_pads_dont_overlap():
    assert disc([(0, 0), (500, 0)], 1.0) == 22
    assert disc([(0, 0), (30, 0), (500, 500)], 1.0) == pytest.approx(14.1)
    assert disc([(0, 0), (1, 0)], 1.0) == 9
    assert disc([(0, 0)], 1.0) == 22


def test_a_drawing_that_links_elsewhere_is_told_in_a_line(tmp_path):
    project = new_simulated_project(tmp_path / "toy", 7, 8)
    drawing = project.folder / "board.svg"
    secret = tmp_path / "secret.png"
    Image.new("RGB", (4, 4)).save(secret)
    drawing.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" viewBox="0 0 1000 720">'
        f'<image xlink:href="{secret}" width="9" height="9"/></svg>')  # fmt: skip
    (project.folder / "picks.yaml").write_text("- pair: A-C\n")
    with pytest.raises(ConfigError, match=r"the board's drawing can't be set in a PDF .*--out sheet\.html") as told:
        sheet_command("--project", project.folder)
    assert "\n" not in str(told.value)
    assert not list(project.folder.glob("sheet.*"))
    sheet_command("--project", project.folder, "--out", project.folder / "sheet.html")


def test_both_files_are_written_or_neither(tmp_path):
    project = new_simulated_project(tmp_path / "toy", 7, 8)
    (project.folder / "picks.yaml").write_text("- pair: A-C\n")
    (project.folder / "sheet.html").mkdir()
    with pytest.raises(ConfigError, match=r"sheet\.html can't be written"):
        sheet_command("--project", project.folder)
    assert [one.name for one in project.folder.glob("sheet*")] == ["sheet.html"]


def test_the_command_takes_paper_face_and_line_out(tmp_path):
    project = new_simulated_project(tmp_path / "toy", 7, 8)
    (project.folder / "picks.yaml").write_text('- {pair: A-C, name: "猫 \U0001f43b", at_ohm: 4700}\n')
    out = sheet_command("--project", project.folder, "--paper", "letter", "--inside", "--line-out")
    assert "the PDF's font has no \U0001f43b: boxes stand there; print sheet.html in its place" in out
    assert out.splitlines()[-1].endswith("(print it on Letter at 100 %)")
    html = (project.folder / "sheet.html").read_text("utf-8")
    assert "size: letter;" in html and "For the INSIDE of the shell" in html and "<h2>Line out</h2>" in html
    plain = sheet_command("--project", project.folder, "--out", project.folder / "plain.html")
    assert "font" not in plain  # no PDF, no box
    html = (project.folder / "plain.html").read_text("utf-8")
    assert "size: A4;" in html and "For the OUTSIDE of the shell" in html and "Line out" not in html

