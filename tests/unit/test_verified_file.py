"""verified.yaml: what comes back of it is what went in, and what isn't ours is told."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.build.verified import VERIFIED, Build, Verified, load_build, save_build
from rig.errors import ConfigError

ONE = Verified(
    "A-B", "toggle, 10 kΩ in series", "right", "as kept: 3 of 3", "", "2031-05-04T03:02:01+00:00", 2,
    ({"round": 1, "setting": "on", "apart": 0.1, "beside": {"C-D 3.6k": 0.3}, "other_end": False},),
)
TWO = Verified("C-D", "toggle, 22 kΩ in series")


def test_what_is_saved_comes_back(tmp_path):
    build = Build((ONE, TWO), "as in the sweep", is_itself=True, is_done=True)
    save_build(tmp_path, build)
    assert load_build(tmp_path) == build
    assert load_build(tmp_path).controls == (ONE, TWO)
    assert ONE.told == "right, 2031-05-04" and TWO.told == "not tried"
    assert not list(tmp_path.glob("*.new"))


@given(st.text(st.characters(categories=("L", "N", "P", "S", "Zs")), max_size=30))
def test_any_words_come_back(tmp_path_factory, words):
    folder = tmp_path_factory.mktemp("words")
    save_build(folder, Build((Verified("A-B", words, words=words, next_step=words),), toy=words))
    assert load_build(folder).controls[0].words == words


def test_without_the_file_nothing_was_tried(tmp_path):
    assert load_build(tmp_path) == Build()
    assert load_build(tmp_path).of("A-B", "a toggle").verdict == "not tried"


def test_what_was_built_otherwise_counts_no_more():
    build = Build((ONE,))
    assert build.of("A-B", ONE.built) is ONE
    assert build.of("A-B", "toggle, 12 kΩ in series").verdict == "not tried"


def test_a_control_keeps_its_place():
    three = Verified("E-F", "a knob")
    build = Build((ONE, TWO)).with_one(three).with_one(Verified("A-B", "else"))
    assert [one.pair for one in build.controls] == ["A-B", "C-D", "E-F"]


@pytest.mark.parametrize("text", [
    "- pair: A-B\n", "controls: 3\n", "controls:\n- pair: A-B\n", "controls:\n- 5\n",
    "controls: [\n", "\x00",
])
def test_a_file_that_isnt_ours_is_told_in_a_line(tmp_path, text):
    (tmp_path / VERIFIED).write_text(text, "utf-8")
    with pytest.raises(ConfigError, match=VERIFIED) as told:
        load_build(tmp_path)
    assert "\n" not in str(told.value)


def test_a_folder_that_cant_be_written_is_told(tmp_path):
    with pytest.raises(ConfigError, match=VERIFIED):
        save_build(tmp_path / "missing", Build())
