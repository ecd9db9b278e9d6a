"""Part values from the design file, written as on a drawing."""

import math
import tomllib
from pathlib import Path

NOTES = Path(__file__).resolve().parents[2] / "hardware-notes"
DESIGN = tomllib.loads((NOTES / "design.toml").read_text())


def of(part, name):
    """A value with its unit, e.g. `19.6 kΩ`."""
    value = DESIGN[part][name]
    unit = {"ohm": "Ω", "f": "F", "a": "A", "v": "V", "w": "W"}[name.rsplit("_", 1)[-1]]
    power = math.floor(math.log10(value) / 3 + 1e-9)
    prefix = {-4: "p", -3: "n", -2: "µ", -1: "m", 0: "", 1: "k", 2: "M"}[power]
    return f"{value / 1000.0**power:.4g} {prefix}{unit}"
