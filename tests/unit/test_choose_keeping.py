"""What padsweep changes in picks.yaml, which a person or another padsweep may be changing too."""

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from rig import files
from rig.choose import keep, load_picks, note, remove, set_aside
from rig.choose.keeping import EditedMeanwhile, merge, retune
from rig.choose.picks import FIELDS, PICKS, Pick, pick_of, tidy_pair
from rig.errors import ConfigError
from rig.files import FileLock
from rig.project.changing import TRIES, lock_name

LOCK = lock_name(Path(PICKS))
MINE = """\
# my picks for the cow

# above: the best one, for the left ear
- pair: F-C   # beside: swapped leads
  # within
  note: 'growls'    # beside the note
  at_ohm: 4.70e3
# below the first

- {pair: A-B,   note: hiccup}  # in braces
-   pair: D-E
    note: >-   # folded
      a long
      story
    # within, at the end
# above the fourth
- pair: G-H
  note:   # nothing yet
  skip: true

# the end"""
ADDED = "\n- pair: J-K\n"
OTHERS = "CDEFGHIJKLMNOPQR"
KEEP_MANY = """
import sys, time
from dataclasses import replace
from pathlib import Path
from rig.choose import keep

really = Path.replace

def slowly(self, target):
    time.sleep(0.01)
    return really(self, target)

Path.replace = slowly
print("ready", flush=True)
sys.stdin.readline()
for letter in sys.argv[3]:
    keep(Path(sys.argv[1]), f"{sys.argv[2]}-{letter}", sys.argv[2])
"""


def write(folder, text):
    (folder / PICKS).write_bytes(text.encode())


def read(folder):
    return (folder / PICKS).read_bytes().decode()


@pytest.mark.parametrize(("act", "old", "new"), [
    (lambda at: keep(at, "J-K"), "# the end", "# the end" + ADDED),
    (lambda at: retune(at, Pick("C-F", at_ohm=4700.0), 5640.0), "4.70e3", "5640"),
    (lambda at: retune(at, Pick("A-B"), 36_000.0), "hiccup}", "hiccup, at_ohm: 36000}"),
    (lambda at: note(at, "C-F", "purrs"), "'growls'", '"purrs"'),
    (lambda at: keep(at, "C-F", "purrs"), "'growls'", '"purrs"'),
    (lambda at: note(at, "A-B", "burps"), "note: hiccup", 'note: "burps"'),
    (lambda at: note(at, "D-E", "short"), ">-   # folded\n      a long\n      story\n",
     '"short"   # folded\n'),
    (lambda at: note(at, "G-H", "a bell"), "note:   #", 'note: "a bell"   #'),
    (lambda at: set_aside(at, "C-F"), "4.70e3\n", "4.70e3\n  set_aside: true\n"),
    (lambda at: set_aside(at, "A-B"), "hiccup}", "hiccup, set_aside: true}"),
    (lambda at: set_aside(at, "D-E"), "      story\n", "      story\n    set_aside: true\n"),
    (lambda at: keep(at, "G-H"), "skip: true", "skip: false"),
    (lambda at: remove(at, "F-C"), MINE[MINE.index("- pair: F-C") : MINE.index("# below")], ""),
    (lambda at: remove(at, "A-B"), "- {pair: A-B,   note: hiccup}  # in braces\n", ""),
    (lambda at: remove(at, "D-E"), MINE[MINE.index("-   pair") : MINE.index("# above the f")], ""),
    (lambda at: remove(at, "G-H"), MINE[MINE.index("- pair: G-H") : MINE.index("\n# the end")], ""),
])  # fmt: skip
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("indent", ["", "  "])
def test_only_what_is_asked_for_changes_byte_for_byte(tmp_path, act, old, new, newline, mark,
                                                      indent):
    def laid_out(text):
        lines = [indent + line if line.strip() else line for line in text.split("\n")]
        return mark + newline.join(lines)

    assert MINE.count(old) == 1
    write(tmp_path, laid_out(MINE))
    act(tmp_path)
    assert read(tmp_path) == laid_out(MINE.replace(old, new))


def test_a_resistance_that_another_entry_has_is_there_once(tmp_path):
    write(tmp_path, "- {pair: A-B, at_ohm: 3600}\n- {pair: A-B, at_ohm: 36000, note: high}\n")
    before = read(tmp_path)
    retune(tmp_path, Pick("A-B", at_ohm=3600.0), 36_000.0)
    assert read(tmp_path) == before


def test_an_entry_that_has_gone_meanwhile_is_written_anew(tmp_path):
    write(tmp_path, "- pair: C-F\n")
    retune(tmp_path, Pick("A-B", at_ohm=3600.0, key="red", note="mine"), 4700.0)
    assert load_picks(tmp_path) == [Pick("C-F"), Pick("A-B", at_ohm=4700.0, key="red", note="mine")]


def test_processes_that_keep_at_once_lose_nothing(tmp_path):
    processes = [
        subprocess.Popen([sys.executable, "-c", KEEP_MANY, tmp_path, letter, OTHERS], text=True,
                         stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        for letter in "AB"
    ]
    for one in processes:
        assert one.stdout.readline() == "ready\n"
    for one in processes:
        one.stdin.write("go\n")
        one.stdin.flush()
    assert [(one.communicate(timeout=300)[1], one.returncode) for one in processes] == [("", 0)] * 2
    kept = load_picks(tmp_path)
    for letter in "AB":
        mine = [one.pair for one in kept if one.note == letter]
        assert mine == [f"{letter}-{other}" for other in OTHERS]


def _save_meanwhile(monkeypatch, folder, texts):
    """Have a person's editor save the next of the texts whenever padsweep is about to replace."""
    really = files.write_whole

    def write_whole(path, content):
        really(path, content)
        if path.name.startswith(PICKS) and (text := next(texts, None)) is not None:
            write(folder, text)

    monkeypatch.setattr(files, "write_whole", write_whole)


def test_what_an_editor_saved_meanwhile_stays(tmp_path, monkeypatch):
    write(tmp_path, "- pair: A-B\n")
    _save_meanwhile(monkeypatch, tmp_path, iter(["- pair: A-B\n  note: mine\n- pair: D-E # new\n"]))
    keep(tmp_path, "A-B", "ours")
    assert read(tmp_path) == '- pair: A-B\n  note: "ours"\n- pair: D-E # new\n'


def test_a_file_that_was_removed_meanwhile_is_begun_anew(tmp_path, monkeypatch):
    write(tmp_path, "- pair: A-B\n")
    really = files.write_whole

    def write_whole(path, content):
        really(path, content)
        (tmp_path / PICKS).unlink(missing_ok=True)

    monkeypatch.setattr(files, "write_whole", write_whole)
    keep(tmp_path, "C-F")
    assert [one.pair for one in load_picks(tmp_path)] == ["C-F"]


def test_a_file_that_was_broken_meanwhile_is_told_in_one_line_and_left(tmp_path, monkeypatch):
    broken = "- pair: A-B\n  note: 'half\n"
    write(tmp_path, "- pair: A-B\n")
    _save_meanwhile(monkeypatch, tmp_path, iter([broken]))
    with pytest.raises(ConfigError, match=r"picks\.yaml:2: a text .* needs quotes") as told:
        keep(tmp_path, "C-F")
    assert "\n" not in str(told.value)
    assert read(tmp_path) == broken
    assert sorted(one.name for one in tmp_path.iterdir()) == [LOCK, PICKS]


def test_a_file_that_changes_all_the_time_is_left(tmp_path, monkeypatch):
    texts = [f"- pair: A-B\n  note: n{count}\n" for count in range(TRIES)]
    write(tmp_path, "- pair: A-B\n")
    _save_meanwhile(monkeypatch, tmp_path, iter(texts))
    with pytest.raises(ConfigError, match="something else changes it all the time"):
        keep(tmp_path, "C-F")
    assert read(tmp_path) == texts[-1]


def test_one_who_holds_it_too_long_is_told(tmp_path, monkeypatch):
    monkeypatch.setattr("rig.project.changing.WAIT_S", 0.05)
    with FileLock(tmp_path / LOCK), pytest.raises(ConfigError, match="another padsweep"):
        keep(tmp_path, "C-F")
    keep(tmp_path, "C-F")
    assert [one.pair for one in load_picks(tmp_path)] == ["C-F"]


def test_a_disk_that_refuses_is_told_in_one_line(tmp_path, monkeypatch):
    def refuses(path, content):
        raise OSError(28, "No space left on device")

    write(tmp_path, MINE)
    monkeypatch.setattr(files, "write_whole", refuses)
    with pytest.raises(ConfigError, match="can't be written: No space left on device") as told:
        keep(tmp_path, "J-K")
    assert "\n" not in str(told.value)
    assert read(tmp_path) == MINE


def test_a_note_that_couldnt_be_read_again_is_refused(tmp_path):
    write(tmp_path, MINE)
    with pytest.raises(ConfigError, match=r"a character that can't be read \(code U\+0007\)"):
        keep(tmp_path, "C-F", "rings\a")
    assert read(tmp_path) == MINE


READ = Pick("C-F", at_ohm=4700.0, note="growls")


@pytest.mark.parametrize(("was", "wanted", "old", "new"), [
    (READ, replace(READ, name="Bear"), "4.70e3\n", '4.70e3\n  name: "Bear"\n'),
    (READ, replace(READ, note="purrs"), "'growls'", '"purrs"'),
    (READ, replace(READ, control="toggle"), "4.70e3\n", '4.70e3\n  control: "toggle"\n'),
    (READ, replace(READ, set_aside=True), "4.70e3\n", "4.70e3\n  set_aside: true\n"),
    (None, Pick("K-J", at_ohm=3600.0, key="moo"), "# the end",
     '# the end\n- pair: J-K\n  at_ohm: 3600\n  key: "moo"\n'),
    # It was read before the note was written by hand: that stays, and so does the rest.
    (replace(READ, note=""), replace(READ, note="", name="Bear"), "4.70e3\n",
     '4.70e3\n  name: "Bear"\n'),
    (None, replace(READ, note=""), "", ""),
    (None, READ, "", ""),
    # One that was set aside as a pair is kept as a sound of it.
    (Pick("G-H", set_aside=True), Pick("G-H", at_ohm=3600.0), "  skip: true\n",
     "  skip: false\n  at_ohm: 3600\n"),
    (None, None, "", ""),
    (Pick("K-J"), None, "", ""),
])
def test_what_others_changed_since_it_was_read_stays(tmp_path, was, wanted, old, new):
    write(tmp_path, MINE)
    was, wanted = (one and replace(one, pair=tidy_pair(one.pair)) for one in (was, wanted))
    now = merge(tmp_path, was, wanted)
    assert read(tmp_path) == (MINE.replace(old, new) if old else MINE)
    there = load_picks(tmp_path, set_aside=True)
    assert now in there if wanted else now is None


@pytest.mark.parametrize(("was", "wanted", "theirs", "told"), [
    (replace(READ, note="hums"), replace(READ, note="purrs"), READ, "another note by now"),
    (replace(READ, note=""), replace(READ, note="purrs"), READ, "another note by now"),
    (None, replace(READ, note="purrs"), READ, "another note by now"),
    (replace(READ, note="hums"), None, READ, "another text by now"),
    (Pick("J-K", note="here"), Pick("J-K", note="there"), None, "was taken out"),
    (replace(READ, at_ohm=3600.0), replace(READ, at_ohm=3600.0, name="Bear"), None, "taken out"),
])
def test_where_both_changed_the_same_nothing_is_written_and_both_are_told(
    tmp_path, was, wanted, theirs, told
):
    write(tmp_path, MINE)
    with pytest.raises(EditedMeanwhile, match=told) as trouble:
        merge(tmp_path, was, wanted)
    assert (trouble.value.mine, trouble.value.theirs) == (wanted, theirs)
    assert "\n" not in str(trouble.value)
    assert read(tmp_path) == MINE


def test_of_two_versions_the_one_that_is_chosen_is_written(tmp_path):
    write(tmp_path, MINE)
    mine = replace(READ, note="purrs")
    with pytest.raises(EditedMeanwhile) as trouble:
        merge(tmp_path, replace(READ, note="hums"), mine)
    assert merge(tmp_path, trouble.value.theirs, trouble.value.mine) == mine
    assert read(tmp_path) == MINE.replace("'growls'", '"purrs"')


def test_an_entry_that_is_changed_is_taken_out_again_and_put_back(tmp_path):
    write(tmp_path, MINE)
    new = Pick("J-K", at_ohm=3600.0, note="hums")
    merge(tmp_path, None, new)
    assert merge(tmp_path, new, None) is None
    assert read(tmp_path) == MINE + "\n"


def test_what_an_editor_saves_while_a_change_is_merged_is_merged_too(tmp_path, monkeypatch):
    write(tmp_path, "- pair: A-B\n")
    _save_meanwhile(monkeypatch, tmp_path, iter(["- pair: A-B\n  note: mine\n"]))
    with pytest.raises(EditedMeanwhile, match="another note"):
        merge(tmp_path, Pick("A-B"), Pick("A-B", note="ours"))
    assert read(tmp_path) == "- pair: A-B\n  note: mine\n"


@pytest.mark.parametrize(("values", "told"), [
    ({}, "begins with its pair"),
    ({"pair": "C-F", "colour": "red"}, "unknown `colour`"),
    ({"pair": "C-F", "at_ohm": "much"}, "at_ohm must be a number"),
    ({"pair": "C-F", "control": "lever"}, "control can't be lever"),
    ({"pair": "C"}, "is one pad"),
])
def test_fields_that_make_no_pick_are_told(values, told):
    with pytest.raises(ConfigError, match=told):
        pick_of(values)


def test_fields_make_the_pick_that_the_file_would(tmp_path):
    write(tmp_path, MINE)
    for one in load_picks(tmp_path, set_aside=True):
        assert pick_of({name: getattr(one, name) for name in FIELDS}) == one
