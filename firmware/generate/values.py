"""Values written as people write them."""

from __future__ import annotations

_PREFIXES = ((1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n"), (1e-12, "p"))


def engineering(value: float, unit: str) -> str:
    """Write a value with a prefix, three figures at most: 1500, 'Ω' is '1.5 kΩ'."""
    if value == 0:
        return f"0 {unit}"
    for size, prefix in _PREFIXES:
        if abs(value) >= size * (1 - 1e-9) and not (unit == "Ω" and size < 1):
            return f"{value / size:.3g} {prefix}{unit}"
    return f"{value:.3g} {unit}"
