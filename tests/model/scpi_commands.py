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


def number(least: int, most: int, unit: str = "", usual: int = 0) -> tuple:
    """A number; with a unit (see UNITS) MINimum, MAXimum and DEFault too."""
    return ("number", least, most, unit, usual)


UNITS = {
    "ms": {"MS": 0, "S": 3, "US": -3},
    "s": {"S": 0, "MS": -3, "US": -6},
    "us": {"US": 0, "MS": 3, "S": 6},
    "mA": {"MA": 0, "A": 3, "UA": -3},
    "uA": {"UA": 0, "MA": 3, "A": 6},
    "mV": {"MV": 0, "V": 3, "UV": -3},
    "ohm": {"OHM": 0, "KOHM": 3, "MOHM": 6},
}
"""The suffixes that a quantity takes, by what a bare number is counted in: powers of ten."""


CHANNELS, PADS, BOOLEAN = ("channels",), ("pads", "NONE"), ("boolean",)

QUANTITIES = {
    "deadman_ms": (500, 10000, "ms", 3000),
    "closure_ms": (100, 10000, "ms", 10000),
    "hold_s": (1, 3600, "s", 60),
    "peak_ma": (10, 450, "mA", 300),
    "average_ma": (10, 450, "mA", 150),
    "blanking_ms": (0, 500, "ms", 100),
    "lead_ohm": (0, 65535, "ohm", 1500),
    "supply_mv": (1000, 12800, "mV", 4800),
    "pad_ua": (20, 10000, "uA", 2000),
    "low_ms": (10, 2000, "ms", 100),
    "low_lead_ohm": (0, 255, "ohm", 32),
}
"""Configured quantities: least, most, unit and default."""

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


def _quantity(pattern: str, name: str) -> list[Row]:
    return _both(pattern, name, (number(*QUANTITIES[name]),), "L", ("words?",))


_SERIES = (("numbers", 8, "", 0),)
_HOLDS = (("numbers", 2, "NONE"),)

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
    *_quantity("SYSTem:DMAN", "deadman_ms"),
    *_quantity("SYSTem:CLOSure:TIME", "closure_ms"),
    *_quantity("SYSTem:HOLD:TIME", "hold_s"),
    _ask("SYSTem:DRIVer", "driver"),
    *_both("SYSTem:CONFiguration:PADS", "pads", (number(8, 64),), "L"),
    *_both("SYSTem:CONFiguration:CLOSures", "closures", (number(1, 8),), "L"),
    *_both("SYSTem:CONFiguration:FORBidden", "forbidden", (PADS,), "L"),
    *_both("SYSTem:CONFiguration:RAILs", "rails", (PADS,), "L"),
    *_both("SYSTem:CONFiguration:RSERies", "rail_series", (("numbers", 8, "NONE"),), "L"),
    *_quantity("SYSTem:CONFiguration:LEADs", "lead_ohm"),
    *_quantity("SYSTem:CONFiguration:SUPPly", "supply_mv"),
    *_quantity("SYSTem:CONFiguration:LIMit", "pad_ua"),
    *_both("SYSTem:CONFiguration:BANK", "bank", (("quantities", 0, 6_500_000, "ohm"),), "L"),
    *_both("SYSTem:CONFigure:LOW:PADS", "low", (PADS,), "L"),
    *_quantity("SYSTem:CONFigure:LOW:LEADs", "low_lead_ohm"),
    *_both("SYSTem:CONFigure:LOW:LIMiter", "limiter", (BOOLEAN,), "L"),
    *_quantity("SYSTem:CONFigure:LOW:TIME", "low_ms"),
    Row("SYSTem:CONFiguration:SAVE", "save", (), "L"),
    Row("SYSTem:CONFiguration:DEFaults", "defaults", (), "L"),
    _ask("SYSTem:CONFiguration:STORed", "stored"),
    *_quantity("SOURce:CURRent:PROTection:LEVel", "peak_ma"),
    *_quantity("SOURce:CURRent:PROTection:AVERage", "average_ma"),
    *_quantity("SOURce:CURRent:PROTection:DELay", "blanking_ms"),
    _ask("SOURce:CURRent:PROTection:TRIPped", "current_tripped"),
    Row("SOURce:CURRent:PROTection:CLEar", "clear"),
    Row("STATus:PRESet", "preset"),
    *_status("OPERation", "operation"),
    *_status("QUEStionable", "questionable"),
    *_both("ROUTe:CLOSe", "close", (CHANNELS,), "", (CHANNELS,)),
    _ask("ROUTe:CLOSe:STATe", "close", "LT", (CHANNELS,)),
    Row("ROUTe:CLOSe:KEEP", "keep", (), ""),
    Row("ROUTe:OPEN", "open", (CHANNELS,), "L"),
    Row("ROUTe:OPEN:ALL", "open_all"),
    *_both("ROUTe:SERies", "series", _SERIES, ""),
    *_both("ROUTe:HOLD", "hold", _HOLDS, ""),
    Row("TOY:KEY:PRESs", "press", (("numbers", 8, ""),), ""),
    Row("TOY:KEY:RELease", "release", (("numbers", 8, "ALL"),), "L"),
    Row("TOY:RESet", "reset_line", (number(1, 2000, "ms", 100),), ""),
    *_both("OUTPut:[STATe]", "output", (BOOLEAN,), "LT"),
    Row("OUTPut:PROTection:CLEar", "clear"),
    _ask("OUTPut:PROTection:TRIPped", "tripped"),
    _ask("MEASure:VOLTage:[RAIL]", "rail"),
    _ask("MEASure:VOLTage:SUPPly", "own_supply"),
    _ask("MEASure:VOLTage:BUS#", "bus", ""),
    _ask("MEASure:CURRent", "current"),
    _ask("MEASure:CURRent:PEAK", "peak"),
    _ask("MEASure:RESistance", "resistance", ""),
    _ask("MEASure:FTIMe", "fall"),
    Row("TOUCh:CONNections", "connections", (("channels", "NONE"),), ""),
    Row("TOUCh:SERies", "touch_series", _SERIES, ""),
    Row("TOUCh:KEYS", "touch_keys", (("numbers", 8, "NONE"),), ""),
    Row("TOUCh:HOLD", "touch_hold", _HOLDS, ""),
    Row(
        "TOUCh:TIMing",
        "timing",
        tuple(
            number(least, most, "ms", usual)
            for least, most, usual in (
                (0, 10000, 60), (1, 5000, 120), (0, 10000, 240), (1, 10000, 1200), (0, 10000, 500)
            )
        ),
        "",
    ),
    Row("TOUCh:LIMit", "touch_limit", (("quantity or", 1, 450, "mA", 20, "NONE"),), ""),
    Row("TOUCh:INITiate", "initiate", (), "T"),
    Row("TOUCh:ARM", "arm", (), "T"),
    Row("TOUCh:CLOSe", "touch_close", (("quantity?", 0, 30_000_000, "us", -1),), "T"),
    _ask("TOUCh:STATe", "touch_state"),
    Row("TOUCh:END", "end"),
    Row("TOUCh:ABORt", "abort"),
    _ask("TOUCh:TIMeline", "timeline"),
]
"""Everything but SYSTem:BOOTs?, :FUSes? and :CRC?, whose answers depend on more than messages."""
