"""The controller's commands as PROTOCOL.md has them: headers, parameters, when they may run."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product


@dataclass(frozen=True)
class Row:
    """One command or query.

    Parameters
    ----------
    pattern : str
        Its nodes; capitals are the short form, [NODe] may be left out, NODe# takes a suffix.
    name : str
        Of what it does in the model.
    takes : tuple
        Kinds of its parameters.
    allowed : str
        L while latched, T while a touch runs.
    commands, queries : bool
        Which forms this row is for.
    """

    pattern: str
    name: str
    takes: tuple = ()
    allowed: str = "LT"
    queries: bool = False

    @property
    def commands(self) -> bool:
        return not self.queries

    @property
    def common(self) -> bool:
        return self.pattern.startswith("*")

    def paths(self) -> list[tuple[str, ...]]:
        """Give the node patterns with and without what may be left out."""
        nodes = self.pattern.lstrip("*").split(":")
        choices = [[(n.strip("[]"),), ()] if n.startswith("[") else [(n,)] for n in nodes]
        return [sum(chosen, ()) for chosen in product(*choices)]


def number(least: int, most: int, unit: str = "") -> tuple:
    """A number; with a unit MINimum and MAXimum too."""
    return ("number", least, most, unit, bool(unit))


CHANNELS, PADS, BOOLEAN = ("channels",), ("pads", "NONE"), ("boolean",)

QUANTITIES = {
    "deadman_ms": (500, 10000),
    "closure_ms": (100, 10000),
    "peak_ma": (10, 450),
    "average_ma": (10, 450),
    "blanking_ms": (0, 2000),
}
"""Configured quantities: least and most."""

REGISTERS = {"ese": 0xFF, "sre": 0xBF} | {
    f"{register}.{field}": 0x7FFF
    for register in ("operation", "questionable")
    for field in ("event", "condition", "enable", "rise", "fall")
}
"""Registers that are set and read as numbers: the bits that they keep."""


def _both(pattern: str, name: str, takes: tuple, allowed: str, asks: tuple = ()) -> list[Row]:
    return [Row(pattern, name, takes, allowed), Row(pattern, name, asks, "LT", True)]


def _ask(pattern: str, name: str, allowed: str = "LT", asks: tuple = ()) -> Row:
    return Row(pattern, name, asks, allowed, True)


def _status(node: str, name: str) -> list[Row]:
    rows = [_ask(f"STATus:{node}:[EVENt]", f"{name}.event")]
    rows.append(_ask(f"STATus:{node}:CONDition", f"{name}.condition"))
    for field, of in (("ENABle", "enable"), ("PTRansition", "rise"), ("NTRansition", "fall")):
        rows += _both(f"STATus:{node}:{field}", f"{name}.{of}", (number(0, 65535),), "LT")
    return rows


def _quantity(pattern: str, name: str, unit: str) -> list[Row]:
    return _both(pattern, name, (number(*QUANTITIES[name], unit),), "L", ("words?",))


_SERIES = (number(0, 8),)

TABLE = [
    _ask("*IDN", "idn"),
    Row("*RST", "rst"),
    Row("*CLS", "cls"),
    _ask("*ESR", "esr"),
    *_both("*ESE", "ese", (number(0, 255),), "LT"),
    *_both("*SRE", "sre", (number(0, 255),), "LT"),
    _ask("*STB", "stb"),
    *_both("*OPC", "opc", (), "LT"),
    Row("*WAI", "wai"),
    _ask("*TST", "tst", "L"),
    _ask("SYSTem:ERRor:[NEXT]", "error"),
    _ask("SYSTem:ERRor:COUNt", "count"),
    _ask("SYSTem:VERSion", "version"),
    *_quantity("SYSTem:DMAN", "deadman_ms", "S"),
    *_quantity("SYSTem:CLOSure:TIME", "closure_ms", "S"),
    _ask("SYSTem:DRIVer", "driver"),
    *_both("SYSTem:CONFiguration:PADS", "pads", (number(8, 64),), "L"),
    *_both("SYSTem:CONFiguration:CLOSures", "closures", (number(1, 8),), "L"),
    *_both("SYSTem:CONFiguration:FORBidden", "forbidden", (PADS,), "L"),
    *_both("SYSTem:CONFiguration:RAILs", "rails", (PADS,), "L"),
    *_both("SYSTem:CONFiguration:RSERies", "rail_series", (("numbers", 8, "NONE"),), "L"),
    Row("SYSTem:CONFiguration:SAVE", "save", (), "L"),
    Row("SYSTem:CONFiguration:DEFaults", "defaults", (), "L"),
    _ask("SYSTem:CONFiguration:STORed", "stored"),
    *_quantity("SOURce:CURRent:PROTection:LEVel", "peak_ma", "A"),
    *_quantity("SOURce:CURRent:PROTection:AVERage", "average_ma", "A"),
    *_quantity("SOURce:CURRent:PROTection:DELay", "blanking_ms", "S"),
    _ask("SOURce:CURRent:PROTection:TRIPped", "current_tripped"),
    Row("SOURce:CURRent:PROTection:CLEar", "clear"),
    Row("STATus:PRESet", "preset"),
    *_status("OPERation", "operation"),
    *_status("QUEStionable", "questionable"),
    *_both("ROUTe:CLOSe", "close", (CHANNELS,), "", (CHANNELS,)),
    _ask("ROUTe:CLOSe:STATe", "close", "LT", (CHANNELS,)),
    Row("ROUTe:OPEN", "open", (CHANNELS,), "L"),
    Row("ROUTe:OPEN:ALL", "open_all"),
    *_both("ROUTe:SERies", "series", _SERIES, ""),
    Row("TOY:KEY:PRESs", "press", (("numbers", 8, ""),), ""),
    Row("TOY:KEY:RELease", "release", (("numbers", 8, "ALL"),), "L"),
    Row("TOY:RESet", "reset_line", (number(1, 2000, "S"),), ""),
    *_both("OUTPut:[STATe]", "output", (BOOLEAN,), "LT"),
    Row("OUTPut:PROTection:CLEar", "clear"),
    _ask("OUTPut:PROTection:TRIPped", "tripped"),
    _ask("MEASure:VOLTage:[RAIL]", "rail"),
    _ask("MEASure:VOLTage:BUS#", "bus", ""),
    _ask("MEASure:CURRent", "current"),
    _ask("MEASure:CURRent:PEAK", "peak"),
    _ask("MEASure:RESistance", "resistance", ""),
    _ask("MEASure:FTIMe", "fall"),
    Row("TOUCh:CONNections", "connections", (("channels", "NONE"),), ""),
    Row("TOUCh:SERies", "touch_series", _SERIES, ""),
    Row("TOUCh:KEYS", "touch_keys", (("numbers", 8, "NONE"),), ""),
    Row("TOUCh:HOLD", "touch_hold", (("numbers", 2, "NONE"),), ""),
    Row(
        "TOUCh:TIMing",
        "timing",
        tuple(
            number(least, most, "S")
            for least, most in ((0, 10000), (1, 5000), (0, 10000), (1, 10000), (0, 10000))
        ),
        "",
    ),
    Row("TOUCh:INITiate", "initiate", (), "T"),
    _ask("TOUCh:STATe", "touch_state"),
    Row("TOUCh:END", "end"),
    Row("TOUCh:ABORt", "abort"),
    _ask("TOUCh:TIMeline", "timeline"),
]
"""Everything but SYSTem:BOOTs? and :CRC?, whose answers depend on more than messages."""
