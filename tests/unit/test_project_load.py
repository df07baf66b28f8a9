"""Loading a project folder: every refusal names file, line and the nearest right word."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.errors import ConfigError, SafetyRefusal
from rig.project import load_project, new_project, path_ohm, worst_current_ma
from rig.project.hints import closest, quantity
from rig.project.models import letters

TOY = """\
name: Humming Kettle
supply:
  volts: 4.5
  source: cells
pads:
  A: {note: battery minus, kind: rail}
  B: {note: long leg of C2}
  C:
keys:
  red: {press_ms: 100}
  blue:
on: [red]
"""

RIG = """\
bench: hardware
lead_ohm: 1500
switch: reed
switch_ohm: 0.2
series_ohm: [0, 33000]
current_limit_ma: 2.0
controller: {port: /dev/ttyUSB0}
sound: {device: USB Audio}
timings:
  tail_ms: 400
sweep: {keys: [blue]}
"""


def write(folder, toy=TOY, rig=RIG):
    (folder / "toy.yaml").write_text(toy, encoding="utf-8")
    (folder / "rig.yaml").write_text(rig, encoding="utf-8")
    return folder


def refusal(folder, which, old, new):
    """Load with one text changed and give the error."""
    texts = {"toy": TOY, "rig": RIG}
    assert old in texts[which]
    texts[which] = texts[which].replace(old, new, 1)
    with pytest.raises(ConfigError) as caught:
        load_project(write(folder, texts["toy"], texts["rig"]))
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 300 + len(str(folder))
    return caught.value


def test_a_good_folder_loads(tmp_path):
    project = load_project(write(tmp_path))
    assert list(project.toy.pads) == ["A", "B", "C"]
    assert project.toy.pads["A"].kind == "rail"
    assert project.toy.pads["C"].note == ""
    assert project.toy.keys["red"].press_ms == 100
    assert project.toy.keys["blue"].press_ms == 120
    assert project.toy.on == ["red"]
    assert project.rig.controller.baud == 250_000
    assert project.rig.timings.tail_ms == 400
    assert project.rig.timings.dwell_ms == 1200
    assert project.rig.timings.lead_in_ms == 400
    assert project.sweep_keys == ["blue"]


def test_without_a_choice_the_first_key_is_swept(tmp_path):
    rig = RIG.replace("sweep: {keys: [blue]}\n", "")
    assert load_project(write(tmp_path, rig=rig)).sweep_keys == ["red"]


WRONG = [
    # file, text, its replacement, line, words of the message
    ("toy", "volts: 4.5", "volts: 4.5 V", 3, "write 4.5 (no units"),
    ("toy", "volts: 4.5", "volts: 4,5", 3, "write 4.5"),
    ("toy", "volts: 4.5", "volts: 4500 mV", 3, "write 4.5"),
    ("toy", "volts: 4.5", 'volts: "4.5"', 3, "write 4.5"),
    ("toy", "volts: 4.5", "volts: 4.5 A", 3, "not A"),
    ("toy", "volts: 4.5", "volts: 12:30", 3, "must be a number, is 12:30"),
    ("toy", "volts: 4.5", "volts: true", 3, "must be a number, is true"),
    ("toy", "volts: 4.5", "volts:", 3, "must be a number, is empty"),
    ("toy", "volts: 4.5", "volts: -3", 3, "must be above 0"),
    ("toy", "volts: 4.5", "volts: .inf", 3, "must be a number"),
    ("toy", "volts: 4.5", "volts: 1e999", 3, "volts"),
    ("toy", "volts: 4.5", "voltage: 4.5", 3, "unknown `voltage`: did you mean volts?"),
    ("toy", "  volts: 4.5\n", "", 2, "`volts` is missing in supply"),
    ("toy", "source: cells", "source: cell", 4, "did you mean cells?"),
    ("toy", "source: cells", "source: solar", 4, "there is only: cells, bench"),
    ("toy", "name: Humming Kettle", "name: 5", 1, 'write it in quotes, `name: "5"`'),
    ("toy", "name: Humming Kettle", "nmae: x", 1, "unknown `nmae`: did you mean name?"),
    ("toy", "kind: rail", "kind: rial", 6, "did you mean rail?"),
    ("toy", "note: battery minus,", "notes: x,", 6, "unknown `notes`: did you mean note?"),
    ("toy", "kind: rail", "forbidden: yes", 6, "must be true or false, is yes"),
    ("toy", "  B:", "  A:", 7, "`A` is there twice (first in line 6)"),
    ("toy", "  B:", "  b:", 7, "write B"),
    ("toy", "  B:", "  D:", 7, "pad D stands where B is expected"),
    ("toy", "  B: {note: long leg of C2}", "  B: 3", 7, "must hold `key: value` lines"),
    ("toy", "  red: {press_ms: 100}", "  red: {press_ms: 0.1 s}", 10, "write 100"),
    ("toy", "  red: {press_ms: 100}", "  red: {press_ms: 99.5}", 10, "must be a whole number"),
    ("toy", "  red: {press_ms: 100}", "  red: {press_ms: 1}", 10, "at least 5"),
    ("toy", "  red: {press_ms: 100}", '  "red,blue": {}', 10, "can't be a name"),
    ("toy", "on: [red]", "on: [rd]", 12, "no key rd: did you mean red?"),
    ("toy", "on: [red]", "on: red", 12, "write [red]"),
    ("toy", "on: [red]", "on: [red]\ncontains: none", 13, "write []"),
    ("toy", "battery minus,", "battery minus, left,", 6,
     'write `A: {note: "battery minus, left", kind: rail}`'),
    ("toy", "battery minus,", "minus, left, 3,", 6,
     'needs quotes: write `A: {note: "minus, left, 3", kind: rail}`'),
    ("toy", "battery minus,", "battery: minus,", 6,
     'write `A: {note: "battery: minus", kind: rail}`'),
    ("toy", "battery minus,", "battery minus, leg: 4,", 6, "a note with a comma needs quotes"),
    ("toy", "{note: battery minus, kind: rail}", "battery", 6, 'write `A: {note: "battery"}`'),
    ("toy", "  red: {press_ms: 100}\n  blue:", "  [red, blue]", 9, "such as `red:`, is"),
    ("toy", "  red: {press_ms: 100}", "  red: {press_ms: 0.1}", 10, "if seconds were meant write 100"),
    ("toy", "on: [red]", "on: [red]\nlongest_phrase_s: 1300", 13,
     "if milliseconds were meant write 1.3"),
    ("toy", "name: Humming Kettle", 'name: "Humming\\nKettle"', 1, "name must be one line"),
    ("toy", "on: [red]", "on: [true]", 12, "write it in quotes"),
    ("toy", "on: [red]", "on: [red]\nlongest_phrase_s: 4 s", 13, "write 4"),
    ("toy", "on: [red]", "on: [red]\ncontains: [litium]", 13, "did you mean lithium?"),
    ("rig", "bench: hardware", "bench: hardwear", 1, "did you mean hardware?"),
    ("rig", "bench: hardware", "bench: simulated", 1, "needs a part `simulated:`"),
    ("rig", "controller: {port: /dev/ttyUSB0}\n", "", 1, "needs a part `controller:`"),
    ("rig", "sound: {device: USB Audio}\n", "", 1, "needs a part `sound:`"),
    ("rig", "USB Audio}", "USB Audio, marker_channel: 1}", 8, "both on channel 1"),
    ("rig", "lead_ohm: 1500", "lead_ohm: 1.5k", 2, "write 1500"),
    ("rig", "lead_ohm: 1500", "lead_ohm: 1.5 kohm", 2, "write 1500"),
    ("rig", "lead_ohm: 1500", "lead_ohm: 1k5", 2, "write a number of ohm"),
    ("rig", "lead_ohm: 1500", "lead_ohms: 1500", 2, "did you mean lead_ohm?"),
    ("rig", "switch: reed", "switch: read", 3, "did you mean reed?"),
    ("rig", "switch: reed", "switch: reed\nswitch_rail_v: 5", 4, "no supply rails"),
    ("rig", "[0, 33000]", "[0, 33k]", 5, "series_ohm[1] must be a number, is 33k: write 33000"),
    ("rig", "[0, 33000]", "[0, 33000, 0]", 5, "0 ohm is there twice"),
    ("rig", "[0, 33000]", "[0, 6.8, 33, 150]", 5, ("0 and 6.8 ohm are one path beside leads of "
     "1500 ohm (3000.4 and 3007.2 ohm): take one of them out, or if kilo-ohms were meant write "
     "series_ohm: [0, 6800, 33000, 150000]")),
    ("rig", "[0, 33000]", "[0, 6,8, 33, 150]", 5, ("a decimal comma makes two values of one, write "
     "series_ohm: [0, 6800, 33000, 150000]")),
    ("rig", "[0, 33000]", "[0, 6,8k, 33k]", 5, ("a decimal comma makes two values of one: write "
     "series_ohm: [0, 6800, 33000]")),
    ("rig", "[0, 33000]", "[0, 6,8, # in k\n  33, 150]", 5, "take one of them out, or if"),
    ("rig", "series_ohm: [0, 33000]", "# series_ohm: [0, 6,8]\nseries_ohm: [0, 5]", 6,
     "take one of them out, or if kilo-ohms were meant write series_ohm: [0, 5000]"),
    ("rig", "[0, 33000]", "[0, 33,000]", 5, "write 33000, not 33,000"),
    ("rig", "[0, 33000]", "[0, 33000, 34000]", 5, "33000 and 34000 ohm are one path"),
    ("rig", "[0, 33000]", "[0, 100, 33000]", 5, "(3000.4 and 3100.4 ohm): take one of them out"),
    ("rig", "[0, 33000]", "[]", 5, "must have at least 1"),
    ("rig", "[0, 33000]", "[1,2,3,4,5,6,7,8,9]", 5, "must have at most 8"),
    ("rig", "[0, 33000]", "33000", 5, "must be a list"),
    ("rig", "tail_ms: 400", "tail_ms: 0.5 s", 10, "write 500"),
    ("rig", "tail_ms: 400", "tail_ms: 60000", 10, "at most 10000"),
    ("rig", "tail_ms: 400", "lead_in_ms: 349", 10,
     ("lead_in_ms must be at least 350, is 349: a shorter one is over before it is heard whether "
     "the toy lives")),
    ("rig", "tail_ms: 400", "tial_ms: 400", 10, "did you mean tail_ms?"),
    ("rig", "keys: [blue]", "keys: [blu]", 11, "no key blu in toy.yaml: did you mean blue?"),
    ("rig", "keys: [blue]", "keys: [blue, blue]", 11, "key blue is there twice"),
    ("rig", "keys: [blue]", "keys: []", 11, "must have at least 1"),
    ("rig", "current_limit_ma: 2.0", "current_limit_ma: 2 mA", 6, "write 2"),
    ("rig", "keys: [blue]", "keys: [blue], false_discovery: 5", 11, "for 5 % write 0.05"),
    ("rig", "port: /dev/ttyUSB0", "port: /dev/ttyUSB0, pads: 20", 7, "must be a multiple of 8"),
    ("rig", "port: /dev/ttyUSB0", "port: /dev/ttyUSB0, reset_line: no", 7, "write false"),
    ("rig", "USB Audio}", "USB Audio, rate_hz: 44.1}", 8, "if kHz was meant write 44100"),
]  # fmt: skip


@pytest.mark.parametrize(("which", "old", "new", "line", "words"), WRONG)
def test_wrong_values(tmp_path, which, old, new, line, words):
    error = refusal(tmp_path, which, old, new)
    assert str(error).startswith(f"{tmp_path / which}.yaml:{line}: "), str(error)
    assert words in str(error)
    assert type(error) is ConfigError
    assert error.exit_code == 2


UNSAFE = [
    ("toy", "volts: 4.5", "volts: 230", 3, "a supply of 230 V is refused"),
    ("toy", "volts: 4.5", "volts: 230 V", 3, "a supply of 230 V is refused"),
    ("toy", "volts: 4.5", "volts: 12.1", 3, "up to 12 V d.c. only"),
    ("toy", "source: cells", "source: adaptor", 4, "mains adaptors"),
    ("toy", "source: cells", "source: wall-wart", 4, "mains adaptors"),
    ("toy", "source: cells", "source: USB", 4, "mains adaptors"),
    ("toy", "source: cells", "source: mains", 4, "mains are refused"),
    ("toy", "source: cells", "source: Li-ion", 4, "lithium"),
    ("toy", "source: cells", "source: lipo", 4, "lithium"),
    ("toy", "source: cells", "source: cells\n  charger: true", 5, "charger"),
    ("toy", "on: [red]", "contains: [lithium]", 12, "lithium"),
    ("toy", "on: [red]", "contains: [charger]", 12, "charger"),
    ("toy", "on: [red]", "contains: [flash]", 12, "flash"),
    ("toy", "on: [red]", "contains:\n  - inverter", 13, "inverter"),
    ("toy", "on: [red]", "contains: [mains]", 12, "mains"),
    ("rig", "lead_ohm: 1500", "lead_ohm: 470", 2, "fit at least 1200 ohm in each lead"),
    ("rig", "lead_ohm: 1500", "lead_ohm: 0", 2, "fit at least 1200 ohm in each lead"),
    ("rig", "current_limit_ma: 2.0", "current_limit_ma: 5.1", 6, "accept_higher_current: true"),
    ("rig", "current_limit_ma: 2.0", "current_limit_ma: 10.1", 6, "the most is 10 mA"),
    ("rig", "current_limit_ma: 2.0", "current_limit_ma: 11\naccept_higher_current: true", 6,
     "the most is 10 mA"),
    ("rig", "current_limit_ma: 2.0", "current_limit_ma: 1.5", 2, "the limit is 1.5 mA"),
    ("rig", "current_limit_ma: 2.0", "current_limit_ma: 0.002", 6, "if A was meant write 2"),
    ("rig", "lead_ohm: 1500", "lead_ohm: 1.5", 2, "if kilo-ohms were meant write 1500"),
]  # fmt: skip


@pytest.mark.parametrize(("which", "old", "new", "line", "words"), UNSAFE)
def test_unsafe_set_ups(tmp_path, which, old, new, line, words):
    error = refusal(tmp_path, which, old, new)
    assert str(error).startswith(f"{tmp_path / which}.yaml:{line}: "), str(error)
    assert words in str(error)
    assert type(error) is SafetyRefusal
    assert error.exit_code == 3


@pytest.mark.parametrize(
    ("switch", "volts", "source", "refused"),
    [
        ("multiplexer", 4.5, "cells", False),
        ("multiplexer", 4.8, "cells", True),  # fresh: 5.12 V
        ("multiplexer", 5, "bench", False),
        ("crosspoint", 12, "bench", False),
        ("crosspoint", 12, "cells", True),
        ("reed", 12, "cells", False),
    ],
)
def test_an_analog_switch_passes_only_its_own_supply(tmp_path, switch, volts, source, refused):
    toy = TOY.replace("volts: 4.5", f"volts: {volts}").replace("cells", source)
    rig = RIG.replace("switch: reed", f"switch: {switch}").replace("1500", "3900")
    folder = write(tmp_path, toy, rig)
    if refused:
        with pytest.raises(SafetyRefusal, match=rf"rig\.yaml:3: the {switch} passes only"):
            load_project(folder)
    else:
        load_project(folder)


def test_current_above_5_ma_can_be_accepted(tmp_path):
    rig = RIG.replace("current_limit_ma: 2.0", "current_limit_ma: 6\naccept_higher_current: true")
    assert load_project(write(tmp_path, rig=rig)).rig.current_limit_ma == 6


def test_the_lead_resistor_that_is_asked_for_is_enough(tmp_path):
    for volts in (1.5, 3, 4.5, 6, 9, 12):
        toy = TOY.replace("volts: 4.5", f"volts: {volts}")
        with pytest.raises(SafetyRefusal) as caught:
            load_project(write(tmp_path, toy, RIG.replace("1500", "10")))
        least = re.search(r"at least (\d+) ohm", str(caught.value)).group(1)
        load_project(write(tmp_path, toy, RIG.replace("1500", least)))


def test_missing_folder_and_files(tmp_path):
    with pytest.raises(ConfigError, match="there is no folder"):
        load_project(tmp_path / "none")
    with pytest.raises(ConfigError, match=r"there is no .*toy\.yaml"):
        load_project(tmp_path)
    write(tmp_path)
    with pytest.raises(ConfigError) as caught:
        load_project(tmp_path / "toy.yaml")
    assert str(caught.value).endswith(
        f"is a file: give the folder that it lies in, --project {tmp_path}"
    )


def test_more_pads_than_channels(tmp_path):
    pads = "".join(f"  {letter}:\n" for letter in letters(33))
    toy = re.sub(r"pads:\n(  .*\n)+", "pads:\n" + pads, TOY)
    with pytest.raises(ConfigError, match="24 channels for pads, Y would be one more"):
        load_project(write(tmp_path, toy))


@pytest.mark.parametrize(
    ("swept", "on", "refused"),
    [
        ("key1", "key7", None),
        ("key8", "key1", r"rig\.yaml:11: key key8 has no socket: the controller has 8"),
        ("key1", "key11", r"toy\.yaml:22: key key11 has no socket: .* make different sounds"),
    ],
)
def test_of_twelve_keys_those_that_are_pressed_need_a_socket(tmp_path, swept, on, refused):
    keys = "".join(f"  key{number}:\n" for number in range(12))
    toy = re.sub(r"keys:\n(  .*\n)+", "keys:\n" + keys, TOY).replace("on: [red]", f"on: [{on}]")
    folder = write(tmp_path, toy, RIG.replace("[blue]", f"[{swept}]"))
    if refused is None:
        assert load_project(folder).sweep_keys == [swept]
    else:
        with pytest.raises(ConfigError, match=refused):
            load_project(folder)


def test_a_pad_that_the_simulated_board_does_not_have(tmp_path):
    rig = RIG.replace("bench: hardware", "bench: simulated") + "simulated: {seed: 1, pads: 2}\n"
    with pytest.raises(ConfigError, match=r"toy\.yaml:8: pad C isn't on the board"):
        load_project(write(tmp_path, rig=rig))


def test_of_several_mistakes_the_first_is_told_and_the_rest_counted(tmp_path):
    error = refusal(tmp_path, "toy", "  volts: 4.5\n  source: cells", "  volts: x\n  source: y")
    assert str(error).endswith("(and 1 more)")
    assert ":3: " in str(error)


@given(
    st.sampled_from([TOY, RIG]), st.integers(0, 300), st.sampled_from(list("{}[]:,#\"'-x 7\n\t&*!"))
)
def test_a_file_with_one_character_changed_loads_or_gives_one_line(
    tmp_path_factory, text, place, character
):
    place %= len(text)
    changed = text[:place] + character + text[place + 1 :]
    folder = tmp_path_factory.mktemp("project")
    toy, rig = (changed, RIG) if text is TOY else (TOY, changed)
    try:
        load_project(write(folder, toy, rig))
    except ConfigError as error:
        assert "\n" not in str(error)
        assert re.match(r".*(toy|rig)\.yaml:\d+: ", str(error)), str(error)


def test_letters_go_on_after_z():
    assert letters(29)[24:] == ["Y", "Z", "AA", "AB", "AC"]
    assert letters(0) == []


@given(st.integers(1, 700))
def test_letters_are_all_different(count):
    assert len(set(letters(count))) == count


@pytest.mark.parametrize(
    ("text", "field", "number"),
    [
        ("1.5k", "lead_ohm", 1500), ("2 MΩ", "series_ohm", 2e6), ("500 us", "tail_ms", 0.5),
        ("2 mA", "current_limit_ma", 2), ("0.002 A", "current_limit_ma", 2),
        ("48 kHz", "rate_hz", 48000), ("40 dB", "room_db", 40), ("3 V", "tail_ms", None),
        ("fast", "tail_ms", None), ("7", "seed", 7),
    ],
)  # fmt: skip
def test_values_written_with_units(text, field, number):
    assert quantity(text, field) == (None if number is None else pytest.approx(number))


@given(st.text(alphabet="abcdefgh", min_size=3, max_size=10), st.data())
def test_one_wrong_letter_still_finds_the_word(word, data):
    place = data.draw(st.integers(0, len(word) - 1))
    wrong = word[:place] + "z" + word[place + 1 :]
    assert closest(wrong, [word, "quite-another-zzz"]) == word


def by_hand(tmp_path, replaced):
    """Load a by-hand project in whose rig.yaml texts were replaced."""
    folder = tmp_path / "toy"
    new_project(folder, 4, by_hand=True)
    file = folder / "rig.yaml"
    text = file.read_text()
    for old, new in replaced.items():
        assert old in text
        text = text.replace(old, new)
    file.write_text(text)
    return load_project(folder)


def test_by_hand_the_tips_resistor_is_the_whole_path(tmp_path):
    project = by_hand(tmp_path, replaced={"[10000]": "[100000, 10000]"})
    assert [path_ohm(project.rig, one) for one in project.rig.series_ohm] == [100_000, 10_000]
    assert project.rig.timings.dwell_ms == 2000
    assert worst_current_ma(project) == pytest.approx(0.48)


@pytest.mark.parametrize(
    ("replaced", "said", "line"),
    [
        ({"[10000]": "[0]"}, "a bare wire lets any number of mA flow", 10),
        ({"[10000]": "[1000]"}, "put a resistor of at least 2400 ohm between the tips", 10),
        ({"[10000]": "10000"}, "path_ohm must be a list", 10),
        ({"[10000]": "[10000, 10000]"}, "10000 ohm is there twice", 10),
        ({"[10000]": "[-5]"}, "path_ohm[0] must be at least 0", 10),
        ({"take_ms: 2000": "take_ms: 20"}, "take_ms must be at least 500", 11),
        ({"keep: all": "lead_ohm: 1500\nkeep: all"}, "`lead_ohm` belongs to a bench with", 21),
        ({"keep: all": "switch: reed\nkeep: all\nlead_ohm: 1"},
         "`switch`, `lead_ohm` belong to a bench with switches: take them out", 21),
        ({"[10000]": "[10000, 10200]"}, "10000 and 10200 ohm are one path: take one", 10),
        ({"[10000]": "[10]"}, "if kilo-ohms were meant write 10000", 10),
        ({"[10000]": "[10,000]"}, "write 10000, not 10,000", 10),
        ({"keep: all": "guard: {}\nkeep: all"}, "`guard` belongs to a bench with", 21),
    ],
)
def test_by_hand_says_what_is_wrong_and_where(tmp_path, replaced, said, line):
    with pytest.raises(ConfigError) as caught:
        by_hand(tmp_path, replaced=replaced)
    assert said in str(caught.value)
    assert f"rig.yaml:{line}:" in str(caught.value)


def test_by_hand_needs_a_sound_input_and_nothing_else(tmp_path):
    text = "sound:\n  device: default     # part of the input's name; default is what the " \
        "computer records from\n  rate_hz: 48000\n  sound_channel: 1\n"
    with pytest.raises(ConfigError, match="needs a part `sound:`"):
        by_hand(tmp_path, replaced={text: ""})
    least = "bench: by-hand\nsound: {device: default}\n"
    (tmp_path / "toy" / "rig.yaml").write_text(least)
    rig = load_project(tmp_path / "toy").rig
    assert (rig.by_hand.path_ohm, rig.by_hand.take_ms) == ([10_000.0], 2000)
    assert rig.series_ohm == [10_000.0]
