"""The strict YAML reader: what it takes for a number or a boolean, and its lines."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.errors import ConfigError
from rig.project.slips import quoted, written
from rig.project.yaml_strict import parse_yaml, read_yaml

FILE = Path("a.yaml")


def value(text):
    return parse_yaml(f"x: {text}\n", FILE).data["x"]


@pytest.mark.parametrize("word", ["on", "off", "yes", "no", "Yes", "ON", "True", "FALSE", "y"])
def test_words_stay_words(word):
    assert value(word) == word


def test_only_true_and_false_are_booleans():
    assert value("true") is True
    assert value("false") is False


@pytest.mark.parametrize(
    "text",
    [
        "12:30",
        "1:2:3",
        "0x10",
        "0o17",
        "017",
        "1_000",
        "2026-11-25",
        ".inf",
        ".nan",
        "1.2.3",
        "+",
        ".",
        "e5",
    ],
)
def test_what_is_no_decimal_number_stays_text(text):
    assert value(text) == text


@pytest.mark.parametrize(
    ("text", "number"),
    [("0", 0), ("-3", -3), ("4.5", 4.5), (".5", 0.5), ("5.", 5.0), ("1e3", 1000.0), ("+7", 7)],
)
def test_decimal_numbers(text, number):
    assert value(text) == number
    assert type(value(text)) is type(number)


def test_quoted_numbers_are_text():
    assert value('"12"') == "12"


def test_keys_are_always_text():
    assert list(parse_yaml("on: 1\n5: 2\ntrue: 3\n", FILE).data) == ["on", "5", "true"]


def test_every_value_has_its_line():
    document = parse_yaml("a: 1\nb:\n  c: [1,\n    2]\n  d: x\n", FILE)
    assert document.line(("a",)) == 1
    assert document.line(("b", "c", 1)) == 4
    assert document.line(("b", "d")) == 5
    assert document.line(("b", "nothing")) == 2
    assert document.where(("b", "d")) == "a.yaml:5"


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("a: 1\nb: 2\na: 3\n", 3, "`a` is there twice (first in line 1)"),
        ("a: {x: 1, x: 2}\n", 1, "`x` is there twice"),
        ("a: 1\n\tb: 2\n", 2, "a tab"),
        ("a: b: c\n", 1, "a second `:` in one line"),
        ("a: &one 1\nb: *one\n", 2, "aliases"),
        ("a: !!python/object/apply:os.getcwd []\n", 1, "tags such as"),
        ("a: !!int 3\n", 1, "tags such as"),
        ("a: 1\n---\nb: 2\n", 2, "second document"),
        ('a: 1\nb: "x\nc: 3\n', 2, "a quote that isn't closed"),
        ("a: {b: 1\nc: 2\n", 1, "a `{` that isn't closed"),
        ("a: [1, 2\nb: 3\n", 1, "a `[` that isn't closed"),
        ("a: 1\nb\n", 3, "a line without a `:`"),
        ("a: @x\n", 1, "begins with such a sign needs quotes"),
        ('a: "\\q"\n', 1, "use single quotes"),
        ('a: "\\ud800"\n', 1, "a character that can't be read"),
        ('"\\x07": 1\n', 1, "a character that can't be read"),
        ("b: 1\n- a\n", 2, "look at indenting, brackets and quotes"),
        ("a: 1\nb: \x07\n", 2, "a character that can't be read"),
        ("", 1, "empty"),
        ("# only a comment\n", 1, "empty"),
        ("? [a]\n: 1\n", 1, "a key must be a plain word"),
        ("a: " + "[" * 60 + "]" * 60 + "\n", 1, "nested too deep"),
    ],
)
def test_refusals_name_file_line_and_reason(text, line, words):
    with pytest.raises(ConfigError) as caught:
        parse_yaml(text, FILE)
    message = str(caught.value)
    assert message.startswith(f"a.yaml:{line}: "), message
    assert words in message
    assert "\n" not in message


@pytest.mark.parametrize(
    ("line", "mended"),
    [
        ("A: {note: IC2: leg 4}", 'A: {note: "IC2: leg 4"}'),
        ("A: {note: IC2: leg 4, kind: rail}  # x", 'A: {note: "IC2: leg 4", kind: rail}  # x'),
        ("A: {note: 'it's here'}", 'A: {note: "it\'s here"}'),
        ('A: {note: "bat}', 'A: {note: "bat"}'),
        ("A: {note: #5}", 'A: {note: "#5"}'),
        ("A: {note: [x}", 'A: {note: "[x"}'),
        ("A: {note: *x}", 'A: {note: "*x"}'),
        ("name: Pim: the Snail", 'name: "Pim: the Snail"'),
        ("name: @home # mine", 'name: "@home" # mine'),
    ],
)
def test_a_text_that_needs_quotes_is_shown_with_them(line, mended):
    with pytest.raises(ConfigError) as caught:
        parse_yaml(f"a: 1\n{line}\nb: 2\n", FILE)
    assert str(caught.value) == (
        "a.yaml:2: a text with a comma, a colon or another sign needs quotes: "
        f"write `{mended}`"
    )
    parse_yaml(f"a: 1\n{mended}\nb: 2\n", FILE)


@given(st.text(min_size=1, max_size=40))
def test_a_written_text_is_read_as_it_was(text):
    try:
        parse_yaml(f"x: {quoted(text)}", FILE)
    except ConfigError as error:
        assert "can't be read" in str(error)
        return
    document = parse_yaml(f"{{x: {written(text)}, list: [{written(text)}]}}", FILE)
    assert document.data == {"x": text, "list": [text]}


def test_a_missing_file_says_how_to_make_one(tmp_path):
    with pytest.raises(ConfigError, match=r"there is no .*toy\.yaml.*padsweep new"):
        read_yaml(tmp_path / "toy.yaml")


def test_a_file_that_is_not_utf8_names_the_line(tmp_path):
    file = tmp_path / "toy.yaml"
    file.write_bytes(b"a: 1\nb: \xe9\n")
    with pytest.raises(ConfigError, match=r"toy\.yaml:2: not UTF-8"):
        read_yaml(file)


def test_a_huge_file_is_not_parsed(tmp_path):
    file = tmp_path / "toy.yaml"
    file.write_bytes(b"a" * 1_000_001)
    with pytest.raises(ConfigError, match="wrong file"):
        read_yaml(file)


@given(st.text(max_size=80))
def test_any_text_parses_or_gives_one_line(text):
    try:
        parse_yaml(text, FILE)
    except ConfigError as error:
        assert "\n" not in str(error)
        assert str(error).startswith("a.yaml:")


@given(st.floats(allow_nan=False, allow_infinity=False, min_value=-1e12, max_value=1e12))
def test_numbers_come_back_as_written(number):
    assert value(repr(number)) == number
