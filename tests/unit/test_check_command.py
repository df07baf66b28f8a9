"""What `padsweep check` says of a project folder, and what it refuses to call ready."""

import itertools

import pytest
import typer
from screens import screen
from serial_peer import Peer
from typer.testing import CliRunner

from rig.bench import capture
from rig.bench.simulated.folder import new_simulated_project
from rig.cli import project as commands
from rig.errors import BenchError, ConfigError, LinkLost, MissingLibrary, SafetyRefusal
from rig.project import load_project, new_project
from rig.project.models import letters


class StandIn:
    """Takes the place of the sound library: lists the inputs that a test asks for."""

    class PortAudioError(Exception):
        pass

    def __init__(self, *inputs, refuses=None):
        self.inputs = [("an output", 0), *inputs]
        self.refuses = refuses
        self.asked = []

    def query_devices(self, kind=None):
        if kind == "input":
            raise self.PortAudioError("no default input device")
        return [{"name": name, "max_input_channels": count} for name, count in self.inputs]

    def check_input_settings(self, **asked):
        self.asked.append(asked)
        if self.refuses:
            raise self.PortAudioError(self.refuses)


@pytest.fixture(autouse=True)
def sound(monkeypatch):
    """Give what puts a sound library in place; at first one with two inputs."""

    def put(library):
        monkeypatch.setattr(capture, "_load", lambda: library)
        return library

    put(StandIn(("default", 2), ("USB Audio CODEC", 2)))
    return put


def run(*arguments):
    app = typer.Typer(pretty_exceptions_enable=False)
    commands.register(app)
    result = CliRunner().invoke(app, [str(a) for a in arguments])
    if result.exception and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert result.exit_code == 0, result.output
    return result.output


def test_the_template_loads_and_asks_for_its_port(tmp_path):
    project = new_project(tmp_path / "toy", pads=16)
    assert list(project.toy.pads) == letters(16)
    assert project.rig.bench == "hardware"
    text = (tmp_path / "toy" / "rig.yaml").read_text().replace("/dev/ttyUSB0", "/dev/no-such")
    (tmp_path / "toy" / "rig.yaml").write_text(text)
    with pytest.raises(BenchError) as caught:
        run("check", "--project", tmp_path / "toy")
    assert str(caught.value).startswith("there is no port /dev/no-such (controller in rig.yaml); ")
    assert "\n" not in str(caught.value)
    assert caught.value.exit_code == 5


@pytest.fixture
def controller():
    """A controller that is played by a script, with its own power as it should be."""
    peer = Peer()
    peer.replies |= {"MEASure:VOLTage:SUPPly?": "5.021", "SYSTem:FUSes?": "247,209,252,255"}
    yield peer
    peer.close()


@pytest.fixture
def hardware(tmp_path, controller):
    """Give a hardware project whose controller is there."""
    folder = tmp_path / "rig"
    new_project(folder)
    file = folder / "rig.yaml"
    file.write_text(file.read_text().replace("/dev/ttyUSB0", controller.port))
    return folder


def test_a_port_and_a_sound_input_that_are_there_pass(hardware, sound):
    library = sound(StandIn(("USB Audio CODEC", 2)))
    assert "ready: padsweep sweep" in run("check", "--project", hardware)
    assert library.asked == [
        {"device": 1, "channels": 2, "dtype": "float32", "samplerate": 48_000}
    ]


@pytest.mark.parametrize(
    ("library", "said"),
    [
        (StandIn(), "sound device 'USB Audio' isn't there (inputs there are: none)"),
        (StandIn(("Webcam", 2)), "(inputs there are: 'Webcam')"),
        (StandIn(("USB Audio", 1)), "has 1 input channel(s), channel 2 is asked for"),
        (StandIn(("USB Audio", 2), refuses="Invalid sample rate"), "at 48000 Hz (Invalid sample"),
    ],
)
def test_check_isn_t_ready_without_its_sound_input(hardware, sound, library, said):
    sound(library)
    with pytest.raises(BenchError) as caught:
        run("check", "--project", hardware)
    assert said in str(caught.value)
    assert "rig.yaml" in str(caught.value) and "\n" not in str(caught.value)


@pytest.mark.parametrize(("volts", "is_low"), [("4.69", True), ("4.70", False), ("5.02", False)])
def test_the_controller_s_own_supply_is_told(hardware, controller, volts, is_low):
    controller.replies["MEASure:VOLTage:SUPPly?"] = volts
    told = run("check", "--project", hardware)
    assert f"\n5 V      the controller's own supply is at {volts} V\n" in told
    assert ("\ncaution  the controller's own supply should be 4.7 V or more" in told) == is_low
    assert "ready: padsweep sweep" in told


@pytest.mark.parametrize(("extended", "said"), [
    (0xFC, None), (0x04, None), (0xFD, "at 2.7 V (extended fuse 0xFD)"),
    (0xFF, "off (extended fuse 0xFF)"), (0xFE, "at 1.8 V (extended"), (0xF8, "undefined (ext"),
])  # fmt: skip
def test_a_brown_out_limit_out_of_the_chip_s_specification_is_a_caution(
    hardware, controller, extended, said
):
    controller.replies["SYSTem:FUSes?"] = f"247,209,{extended},255"
    told = run("check", "--project", hardware)
    (line,) = [one for one in told.splitlines() if "brown-out" in one] or [None]
    assert (line is None) == (said is None)
    if said:
        assert line.startswith(f"caution  the controller's brown-out detection is {said}")
        assert "efuse:w:0xFC:m" in line


@pytest.mark.parametrize(("query", "reply"), [
    ("SYSTem:FUSes?", "1,2,3"), ("SYSTem:FUSes?", "a,b,c,d"), ("MEASure:VOLTage:SUPPly?", "5,0"),
])
def test_a_reply_on_its_power_that_does_not_fit_is_refused(hardware, controller, query, reply):
    controller.replies[query] = reply
    with pytest.raises(LinkLost, match="doesn't fit the query"):
        run("check", "--project", hardware)


def test_a_port_where_another_device_is_isn_t_ready(hardware, controller):
    controller.replies["*IDN?"] = "Somebody,Multimeter,123,1.0"
    with pytest.raises(LinkLost, match="another device"):
        run("check", "--project", hardware)


def test_by_hand_check_asks_for_one_channel_only(tmp_path, sound):
    new_project(tmp_path / "toy", by_hand=True)
    library = sound(StandIn(("default", 1)))
    assert "ready" in run("check", "--project", tmp_path / "toy")
    assert library.asked[0]["channels"] == 1
    sound(StandIn(("Webcam", 1)))
    with pytest.raises(BenchError, match="sound device 'default' isn't there"):
        run("check", "--project", tmp_path / "toy")


def test_without_portaudio_check_says_what_to_install(tmp_path, monkeypatch):
    def missing():
        raise MissingLibrary("PortAudio isn't installed: ... libportaudio2")

    monkeypatch.setattr(capture, "_load", missing)
    new_project(tmp_path / "toy", by_hand=True)
    with pytest.raises(MissingLibrary, match="libportaudio2"):
        run("check", "--project", tmp_path / "toy")
    # A simulated bench needs no sound.
    new_simulated_project(tmp_path / "other", 7, 8)
    assert "ready" in run("check", "--project", tmp_path / "other")


def test_check_says_what_will_be_swept(tmp_path):
    made = run("new", tmp_path / "toy", "--simulated", "--seed", "7", "--pads", "24")
    assert f"next: padsweep check --project {tmp_path / 'toy'}" in made
    lines = run("check", "--project", tmp_path / "toy").splitlines()
    told = {line.split()[0]: line for line in lines}
    assert "24, A to X: 22 signal, 2 rail" in told["pads"]
    assert "276" in told["pairs"]  # 24 * 23 / 2
    # 276 pairs at 4 paths, less the one path at which the two rails may not meet.
    counted = "about 1,143: 1,103 of pairs, 24 of leads alone and 16 of the baseline, 2.1 s each"
    assert counted in told["touches"]
    assert "about 39 min" in told["time"]  # 1,143 * 2.06 s
    assert told["path"].split(None, 1)[1] == (
        "153 kΩ, 36 kΩ, 9.8 kΩ, 3 kΩ, high to low; path is all the resistance between two pads: "
        "both leads, switch and series value"
    )
    assert "at most 1.60 mA" in told["current"]
    assert lines[-1] == f"ready: padsweep sweep --project {tmp_path / 'toy'}"


def test_check_names_what_is_left_out_and_warns(tmp_path):
    new_simulated_project(tmp_path / "toy", 7, 8)
    file = tmp_path / "toy" / "toy.yaml"
    text = file.read_text()
    rail = next(line for line in text.splitlines() if "kind: rail" in line)
    signal = next(line for line in text.splitlines() if "note:" in line and "rail" not in line)
    letter = signal.split(":")[0].strip()
    text = text.replace(signal, f'  {letter}: {{note: "beside the charger", forbidden: true}}')
    file.write_text(text.replace(rail, rail.replace("battery", "speaker")))
    out = run("check", "--project", tmp_path / "toy")
    assert f"forbidden: {letter}" in out
    assert f"left out: 7 as pad {letter} is forbidden" in out
    assert "pairs    21" in out
    assert f'caution  the note of pad {letter} speaks of "charger"' in out


def test_check_refuses_a_supply_of_230_volts(tmp_path):
    new_simulated_project(tmp_path / "toy", 7, 8)
    file = tmp_path / "toy" / "toy.yaml"
    volts = f"volts: {load_project(tmp_path / 'toy').toy.supply.volts:g}"
    file.write_text(file.read_text().replace(volts, "volts: 230"))
    with pytest.raises(SafetyRefusal, match="a supply of 230 V is refused"):
        run("check", "--project", tmp_path / "toy")


def test_the_by_hand_template_loads_and_checks(tmp_path):
    said = run("new", tmp_path / "toy", "--by-hand", "--pads", 6)
    assert "rig.yaml" in said
    project = load_project(tmp_path / "toy")
    assert (project.rig.bench, project.rig.series_ohm) == ("by-hand", [10_000.0])
    assert list(project.toy.pads) == letters(6)
    assert "channel" not in (tmp_path / "toy" / "toy.yaml").read_text()
    told = run("check", "--project", tmp_path / "toy")
    assert "by hand, sound from default" in told
    assert "10 kΩ; path is all the resistance between two pads: what is between your tips" in told
    assert "about 8 min" in told  # 15 pairs and 16 clean presses at 15 s
    assert "batteries only, no adaptor" in told
    assert "ready: padsweep sweep" in told


def test_check_compares_the_files_with_the_invented_toy(tmp_path):
    folder = tmp_path / "toy"
    new_simulated_project(folder, 7, 8)
    toy, rig = (folder / "toy.yaml").read_text(), (folder / "rig.yaml").read_text()
    key = next(iter(load_project(folder).toy.keys))

    def refused(name, text):
        (folder / name).write_text(text)
        with pytest.raises(ConfigError) as caught:
            run("check", "--project", folder)
        (folder / "toy.yaml").write_text(toy)
        (folder / "rig.yaml").write_text(rig)
        return str(caught.value).removeprefix(f"{folder}/")

    line = toy.splitlines().index(f"  {key}:") + 1
    assert refused("toy.yaml", toy.replace(f"  {key}:", f"  {key}x:")) == (
        f"toy.yaml:{line}: the invented toy has no key {key}x: did you mean {key}?"
    )
    assert "that is another toy" in refused("rig.yaml", rig.replace("seed: 7", "seed: 8"))
    notes = "\n".join(f"  {letter}: {{forbidden: true}}" for letter in letters(8))
    nothing = toy[: toy.index("pads:")] + f"pads:\n{notes}\n" + toy[toy.index("\nkeys:"):]
    assert "no two pads may be bridged: pad A is forbidden" in refused("toy.yaml", nothing)
    volts = f"volts: {load_project(folder).toy.supply.volts:g}"
    (folder / "toy.yaml").write_text(toy.replace(volts, "volts: 1.5"))
    assert "caution  the invented toy's supply in volts is" in run("check", "--project", folder)


BANK = "[0, 6800, 33000, 150000, 1500, 15000, 470000, 2200000]"
LIKELY = [
    ("rig.yaml", BANK, "[0, 2200]", "only 1.7 times the lowest"),
    ("rig.yaml", BANK, "[0]", "one path alone"),
    ("rig.yaml", BANK, "[1000000, 4700000]", "the lowest path is 1 MΩ"),
    ("rig.yaml", "dwell_ms: 1200", "dwell_ms: 50", "in a dwell_ms of 50 it can hardly be told"),
    ("rig.yaml", "average_ma: 150", "average_ma: 400", "average_ma of 400 never acts"),
    ("rig.yaml", "baud: 250000", "baud: 9600", "the controller speaks at 250000 baud"),
    ("rig.yaml", "switch_ohm: 0.2", "switch_ohm: 200", "much for a reed contact"),
    ("rig.yaml", "keep: all", "by_hand: {}", "doesn't read the part `by_hand:`"),
    ("toy.yaml", "press_ms: 120", "press_ms: 12", "key red is pressed for 12 ms"),
    ("toy.yaml", 'B: {note: ""}', 'B: {note: "battery plus"}', "by its note B may be a rail"),
    ("toy.yaml", 'C: {note: ""}', 'C: {note: "crystal, left leg"}', "C may be a clock"),
]


@pytest.mark.parametrize(("file", "old", "new", "said"), LIKELY)
def test_likely_slips_are_cautions(hardware, file, old, new, said):
    text = (hardware / file).read_text()
    assert old in text and said not in run("check", "--project", hardware)
    (hardware / file).write_text(text.replace(old, new, 1))
    cautions = [line for line in run("check", "--project", hardware).splitlines()
                if line.startswith("caution")]  # fmt: skip
    assert any(said in line for line in cautions), cautions


def test_check_says_which_keys_have_a_socket(hardware):
    file = hardware / "toy.yaml"
    keys = "".join(f"  k{number}:\n" for number in range(8))
    file.write_text(file.read_text().replace("\non: []", f"{keys}\non: []"))
    assert "the controller's 8 sockets are for red, blue, k0, k1, k2, k3, k4, k5\n" in run(
        "check", "--project", hardware
    )


def test_lines_of_check_fold_behind_their_labels(tmp_path):
    new_simulated_project(tmp_path / "toy", 7, 24)
    lines = commands.report(load_project(tmp_path / "toy"), None)
    for line, width in itertools.product(lines, (60, 80, 132)):
        folded = commands.folded(line, width).splitlines()
        assert all(len(one) <= width for one in folded)
        assert all(one[:9].isspace() and one[9] != " " for one in folded[1:])
        assert " ".join(" ".join(folded).split()) == " ".join(line.split()), "nothing is cut"


def test_on_a_terminal_the_report_is_folded_and_in_a_pipe_it_is_not(tmp_path):
    folder = tmp_path / "toy"
    new_simulated_project(folder, 7, 24)
    piped = run("check", "--project", folder).splitlines()
    shown = screen(["check", "--project", "toy"], 60, tmp_path)
    joined: list[str] = []
    for line in shown:
        if line.startswith(" " * commands.LABEL):
            joined[-1] += " " + line.strip()
        else:
            joined.append(line)
    assert len(shown) > len(joined)
    assert joined == [*piped[:-1], "ready: padsweep sweep --project toy"]
