"""Runs ngspice (Debian's package, an independent circuit simulator) on a netlist."""

import re
import shutil
import subprocess


def ngspice(netlist: str) -> str:
    assert shutil.which("ngspice"), "ngspice is missing: apt-get install ngspice"
    run = subprocess.run(
        ["ngspice", "-b"], input=netlist, capture_output=True, text=True, check=False, timeout=60
    )
    said = run.stdout + run.stderr
    assert not re.search("error|singular|unable", said, re.IGNORECASE), said
    return run.stdout


def operating_points(netlist: str, nodes: list[str], options: str = "") -> list[float]:
    """Give the d.c. voltages of these nodes to 12 digits; the netlist has no `.end`."""
    prints = "\n".join(f"print v({node})" for node in nodes)
    said = ngspice(
        f"{netlist}\n{options}\n.control\nset numdgt=12\nop\n{prints}\n.endc\n.end\n"
    )
    found = dict(re.findall(r"v\((\w+)\) = (\S+)", said))
    return [float(found[node.lower()]) for node in nodes]


def measured(netlist: str, names: list[str]) -> list[float]:
    """Give what the netlist's `.meas` lines of these names found."""
    said = ngspice(netlist)
    found = dict(re.findall(r"^(\w+)\s*=\s*([-+.\deE]+)", said, re.MULTILINE))
    return [float(found[name]) for name in names]
