"""The one table of commands and the one of errors, in the firmware, its protocol page and
the host."""

from __future__ import annotations

import re
import subprocess
import sys

from emulator import FIRMWARE


def test_the_table_of_errors_and_the_hosts_copy_are_current():
    """Both are made of errors.def."""
    script = FIRMWARE / "generate" / "errors.py"
    done = subprocess.run(
        [sys.executable, str(script), "--check"], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_every_error_in_the_sources_has_its_row():
    rows = set(re.findall(r"^ERROR\((-?\d+),", (FIRMWARE / "errors.def").read_text(), re.MULTILINE))
    sources = "".join(path.read_text() for path in sorted(FIRMWARE.glob("*.c")))
    sources = re.sub(r"/\*.*?\*/", "", sources, flags=re.DOTALL)
    used = set(re.findall(r"(?<![\w.])(-[1-5]\d\d|1(?:0[1-9]|1[0-4]))(?![\w.])", sources))
    assert used == rows


def test_no_node_is_longer_than_the_12_characters_of_the_standard():
    # IEEE 488.2: a program mnemonic has at most 12 characters (memory).
    assert max(len(node) for header in commands() for node in re.findall(r"[A-Za-z]+", header)) <= 12


def commands():
    """Give what commands.def declares: header (queries with '?') to its marks."""
    source = (FIRMWARE / "commands.def").read_text().split("*/")[1]
    rows = re.findall(r'^(\w+)\("([^"]+)", .*?(\w+)\)$', source, re.MULTILINE)
    assert len(rows) == source.count('"') / 2
    found = {}
    for kind, pattern, allowed in rows:
        marks = {"0": "", "WHILE_LATCHED": "L", "WHILE_TOUCHING": "T", "ALWAYS": "L T"}[allowed]
        if kind != "QUERY":
            found[pattern] = marks
        if kind != "COMMAND":
            found[pattern + "?"] = "L T" if kind == "BOTH" else marks
    return found


def test_the_protocols_table_and_the_table_of_handlers_agree():
    protocol = (FIRMWARE / "PROTOCOL.md").read_text().split("## Errors")[0]
    documented = {}
    for line in protocol.splitlines():
        if not line.startswith("| `"):
            continue
        names, _, marks = (cell.strip() for cell in re.split(r"(?<!\\)\|", line)[1:-1])
        headers = [name.split()[0] for name in re.findall(r"`([^`]+)`", names)]
        for header in headers:
            if ":" in header or header.startswith("*"):
                beside_command = header.endswith("?") and header[:-1] in headers
                documented[header.replace("\\|", "|")] = "L T" if beside_command else marks
    assert documented == commands()
