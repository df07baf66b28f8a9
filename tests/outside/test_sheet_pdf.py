"""The sheet on paper against sizes, series and colour codes that aren't ours.

Pages are drawn by pdftoppm (Debian's poppler-utils), an independent reader of PDF.
"""

import subprocess

import eseries
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from scipy import ndimage

from rig.bench.simulated.folder import new_simulated_project
from rig.build.meter import POT_TOLERANCE, knob_limits, resistor_limits
from rig.build.paper import pdf_of
from rig.build.pieces import bands_of
from rig.build.series import E12, E24, TOLERANCE, at_least
from rig.build.sheet import make_sheet, see
from rig.choose.picks import Pick
from rig.project.places import load_places

DPI = 300
MM = DPI / 25.4  # 25.4 mm to the inch: exact by definition (from memory)

# ISO 216: A4 is 210 mm x 297 mm; ANSI/ASME Y14.1: size A is 8.5 in x 11 in (both from memory).
PAPERS_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}


def drawn(pdf, folder):
    """Draw all pages, as arrays of grey."""
    subprocess.run(["pdftoppm", "-r", str(DPI), "-gray", "-", folder / "page"], input=pdf, check=True)
    return [np.asarray(Image.open(file)) for file in sorted(folder.glob("page*.pgm"))]


def shapes(mask, least_mm):
    """Give width and height, in mm, of shapes that are at least so wide and high."""
    side = round(least_mm * MM)
    labels, _ = ndimage.label(ndimage.minimum_filter(mask.astype(np.uint8), side))
    return [((cols.stop - cols.start + side - 1) / MM, (rows.stop - rows.start + side - 1) / MM)
            for rows, cols in ndimage.find_objects(labels)]


@pytest.fixture(scope="module")
def project(tmp_path_factory):
    return new_simulated_project(tmp_path_factory.mktemp("toys") / "toy", 7, 12)


@pytest.mark.parametrize("paper", PAPERS_MM)
def test_the_check_bar_is_50_mm_on_the_paper(project, paper, tmp_path):
    picks = [Pick("A-C", at_ohm=4700), Pick("C-D", at_ohm=39_000)]
    made = make_sheet(project, picks, None, see(project, picks, None), paper=paper)
    pages = drawn(pdf_of(made), tmp_path)
    for page in pages:
        assert (page.shape[1] / MM, page.shape[0] / MM) == pytest.approx(PAPERS_MM[paper], abs=0.1)
    bars = [size for page in pages for size in shapes(page < 100, 3.5) if size[0] > 20]
    ((wide_mm, high_mm),) = bars
    assert wide_mm == pytest.approx(50.0, abs=0.25)
    assert high_mm == pytest.approx(4.0, abs=0.25)


@pytest.mark.parametrize("paper", PAPERS_MM)
@pytest.mark.parametrize("form", ["svg", "png"])
def test_the_label_map_is_at_true_size(project, paper, form, tmp_path):
    # ISO 216 and Y14.1 as above: 100 mm is 100 mm within 0.5 mm on either paper
    folder = tmp_path / "toy"
    new_simulated_project(folder, 7, 12)
    (folder / "board.svg").unlink()
    if form == "svg":
        (folder / "board.svg").write_text(
            '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1000 700"><rect width="1000" height="700"/></svg>')
    else:
        Image.new("RGB", (1000, 700)).save(folder / "board.png")
    places = load_places_of(folder, f"board.{form}")
    picks = [Pick("A-C")]
    made = make_sheet(project_at(project, folder), picks, places, see(project, picks, None), paper=paper)
    page = drawn(pdf_of(made), tmp_path)[0]
    # The picture lies under a veil of half white, so it is grey.
    wide_mm, high_mm = max(shapes(abs(page.astype(int) - 128) < 12, 1.0))
    assert wide_mm == pytest.approx(100.0, abs=0.5)
    assert high_mm == pytest.approx(70.0, abs=0.5)


def load_places_of(folder, picture):
    (folder / "board.yaml").write_text(
        f"picture: {picture}\nwidth: 1000\nheight: 700\nmm_per_unit: 0.1\npads:\n  A: {{x: 100, y: 100}}\n"
        "  C: {x: 900, y: 600}\n")  # fmt: skip
    return load_places(folder)


def project_at(project, folder):
    return type(project)(folder, project.toy, project.rig)


@pytest.mark.parametrize(("ours", "theirs"), [(E12, eseries.E12), (E24, eseries.E24)])
def test_preferred_values_are_those_of_another_implementation(ours, theirs):
    # IEC 60063, as the library eseries has it
    assert [round(10 * one) for one in ours] == list(eseries.series(theirs))


@given(st.floats(10, 5e6))
def test_what_is_fitted_is_the_next_preferred_value_of_another_implementation(ohm):
    assert at_least(ohm, tolerance=0.0) == pytest.approx(eseries.find_greater_than_or_equal(eseries.E24, ohm))


def test_the_series_is_made_for_the_tolerance_that_is_printed():
    # IEC 60063 gives E24 to parts of 5 %
    assert eseries.tolerance(eseries.E24) == TOLERANCE


# IEC 60062 (from memory): what each colour stands for as a digit, as a power of ten, as a tolerance.
DIGITS = dict(zip(["black", "brown", "red", "orange", "yellow", "green", "blue", "violet", "grey", "white"], range(10), strict=True))
POWERS = DIGITS | {"gold": -1, "silver": -2}
TOLERANCES = {"brown": 0.01, "red": 0.02, "gold": 0.05, "silver": 0.1}


@given(st.sampled_from(E24), st.integers(0, 6))
def test_printed_bands_are_read_back_as_the_value_by_the_standards_table(number, decade):
    ohm = float(f"{number}e{decade}")
    first, second, power, tolerance = (band.name for band in bands_of(ohm))
    assert (10 * DIGITS[first] + DIGITS[second]) * 10.0 ** POWERS[power] == pytest.approx(ohm)
    assert TOLERANCES[tolerance] == TOLERANCE


@given(st.sampled_from(E24), st.integers(2, 5), st.sampled_from([1e3, 1e4, 1e5, 1e6]), st.data())
def test_no_parts_within_their_tolerance_read_outside_the_printed_limits(number, decade, pot_ohm, data):
    # 5 % is IEC 60062's gold band; 20 % of a potentiometer is common practice, no source
    fixed_ohm = float(f"{number}e{decade}")
    assert POT_TOLERANCE == 0.2
    fixed = fixed_ohm * data.draw(st.floats(0.95, 1.05))
    pot = pot_ohm * data.draw(st.floats(0.8, 1.2))
    low, high = resistor_limits(fixed_ohm)
    assert low <= fixed * (1 + 1e-12) and fixed <= high * (1 + 1e-12)
    (least_low, least_high), (most_low, most_high) = knob_limits(fixed_ohm, pot_ohm)
    assert least_low <= fixed * (1 + 1e-12) and fixed <= least_high
    assert most_low <= (fixed + pot) * (1 + 1e-12) and fixed + pot <= most_high * (1 + 1e-12)
    # and none is wider than the sum of both
    assert most_high == pytest.approx(1.05 * fixed_ohm + 1.2 * pot_ohm)
    assert most_low == pytest.approx(0.95 * fixed_ohm + 0.8 * pot_ohm)
