"""The logger's board as hardware-notes/design.toml has it: derived quantities by plain formulas.

What the code says is read from the code: converter rates, counts, pins. Units are in the names, as
in the design file.
"""

import math
import re
import tomllib
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[3]
NOTES = ROOT / "hardware-notes"


@cache
def design():
    """Values of the design file."""
    return tomllib.loads((NOTES / "design.toml").read_text())


@cache
def sources():
    """Texts of the code that the notes speak of, path → text."""
    files = [f for part in ("firmware", "shared-protocol") for f in (ROOT / part).rglob("src/**/*.rs")]
    return {str(f.relative_to(ROOT)): f.read_text() for f in sorted(files)}


def found(pattern):
    """The one match of a pattern in the code."""
    matches = [m for text in sources().values() for m in re.finditer(pattern, text)]
    assert matches, f"nothing in the code matches {pattern}"
    assert len({m[0] for m in matches}) == 1, f"more than one thing matches {pattern}"
    return matches[0]


def constant(name):
    """Whole number that a Rust constant is set to."""
    return int(found(rf"const {name}: \w+ = ([\d_]+);")[1].replace("_", ""))


@cache
def rates():
    """Frames a second, conversions of a channel in a frame, channels; channel rate and step."""
    frames, over, channels = (constant(n) for n in ("FRAMES_PER_S", "OVERSAMPLE", "CHANNELS"))
    return {
        "frames_hz": frames,
        "over": over,
        "channel_hz": frames * over,
        "step_s": 1 / (frames * over * channels),
    }


@cache
def default_counts():
    """Worth of a count as the code takes it without calibration: V, A, A, V."""
    text = sources()["shared-protocol/src/calibration.rs"]
    whole = r"([\d_]+)"
    patterns = (
        rf"voltage: alternating\({whole}\)",
        rf"current: alternating\({whole}\)",
        rf"signal: Direct \{{ gain_nano: {whole}",
        rf"transducer_supply: Direct \{{ gain_nano: {whole}",
    )
    return [int(re.search(p, text)[1].replace("_", "")) / 1e9 for p in patterns]


def gain(part):
    """Gain of a non-inverting stage."""
    return 1 + part["feedback_ohm"] / part["ground_ohm"]


def full_scales():
    """Value at the end of each channel's range: name → value in V or A."""
    d = design()
    half = d["converter"]["reference_v"] / 2
    v, i, s, t = d["voltage"], d["current"], d["signal"], d["supply_sense"]
    divider = 0.5
    return {
        "voltage": half / (gain(v) * v["head_v"] / v["head_at_v"]),
        "current": half / (gain(i) * i["clamp_v"] / i["clamp_at_a"]),
        "ring": half / (i["ring_burden_ohm"] / i["ring_ratio"]),
        "loop": 2 * half / (gain(s) * s["shunt_ohm"]),
        "ratiometric": 2 * half / (gain(s) * divider),
        "loop supply": 2 * half * (1 + t["loop_top_ohm"] / t["bottom_ohm"]),
        "ratiometric supply": 2 * half * (1 + t["ratio_top_ohm"] / t["bottom_ohm"]),
        "own supply": 2 * half * (1 + t["own_top_ohm"] / t["bottom_ohm"]),
    }


def switch_s():
    """Longest time constant behind the switch of the supplies, s."""
    t = design()["supply_sense"]
    tops = (t["loop_top_ohm"], t["ratio_top_ohm"], t["own_top_ohm"])
    source = max(1 / (1 / top + 1 / t["bottom_ohm"]) for top in tops)
    return (source + t["filter_ohm"]) * t["filter_f"]


def stage():
    """Natural frequency (Hz) and quality of the second-order stage."""
    f = design()["filter"]
    c1, c2 = f["stage_feedback_f"], f["stage_ground_f"]
    return 1 / (2 * math.pi * f["stage_ohm"] * math.sqrt(c1 * c2)), 0.5 * math.sqrt(c1 / c2)


def corner(ohm, farad):
    """Corner of a first-order filter, Hz."""
    return 1 / (2 * math.pi * ohm * farad)


def analogue_response(hz):
    """Complex response from the connector to the converter's pin, by the stages' own formulas."""
    f = design()["filter"]
    f0, q = stage()
    s = 1j * hz / f0
    response = 1 / (1 + s / q + s * s)
    for ohm, farad in ((f["input_ohm"], f["input_f"]), (f["pin_ohm"], f["pin_f"])):
        response /= 1 + 1j * hz / corner(ohm, farad)
    return response


def averaging_response(hz):
    """Response of adding up the conversions of a frame, about their middle."""
    r = rates()
    x = math.pi * hz / r["channel_hz"]
    bottom = r["over"] * math.sin(x)
    if abs(bottom) < 1e-9:
        # At a whole multiple of the rate every conversion finds the same phase.
        return math.cos(r["over"] * x) / math.cos(x)
    return math.sin(r["over"] * x) / bottom


def delay_s():
    """Delay of the analogue path at mains frequencies: the sum of its time constants."""
    f = design()["filter"]
    f0, q = stage()
    return (
        1 / (2 * math.pi * f0 * q)
        + f["input_ohm"] * f["input_f"]
        + f["pin_ohm"] * f["pin_f"]
    )


def widths(wide_by):
    """Widths of an ordinary and of a wide code, in steps of an even converter.

    All other codes are narrower by what the wide ones are wider, so that the ends stay.
    """
    c = design()["converter"]
    codes, wide = 2 ** c["bits"], len(c["wide_codes"])
    return (codes - wide * (1 + wide_by)) / (codes - wide), 1 + wide_by


def staircase(spread=0.0):
    """Thresholds of a converter with the design file's wide codes, in steps of an even converter.

    `spread`: how much wider than the design's its wide codes are.
    """
    c = design()["converter"]
    narrow, broad = widths(c["wide_by_lsb"] + spread)
    edges, at = [], 0.0
    for code in range(2 ** c["bits"] - 1):
        at += broad if code in c["wide_codes"] else narrow
        edges.append(at)
    return edges


@cache
def straightened():
    """What the code makes of each converter code, in steps: the middle of its width, less half a step
    (firmware/core/src/sampling.rs)."""
    edges = [0.0, *staircase(), 2.0 ** design()["converter"]["bits"]]
    return [(low + high) / 2 - 0.5 for low, high in zip(edges, edges[1:])]


@cache
def converter_gain(peak_steps, spread=None):
    """Gain of the converter for a sine of this amplitude about mid-scale, by its r.m.s. value: as the
    converter gives it, or (with `spread`) straightened for the design's widths while those of the chip
    differ by so much.

    Noise is spread evenly enough over a period to be left out: what is asked is the mean.
    """
    from bisect import bisect_right

    edges = staircase(spread or 0.0)
    made = range(len(edges) + 1) if spread is None else straightened()
    middle = 2 ** (design()["converter"]["bits"] - 1)
    points = 20_000
    values = [
        made[bisect_right(edges, middle + peak_steps * math.sin(2 * math.pi * (n + 0.5) / points))]
        for n in range(points)
    ]
    mean = sum(values) / points
    rms = math.sqrt(sum((x - mean) ** 2 for x in values) / points)
    return rms / (peak_steps / math.sqrt(2))


def steps_of(channel, rms):
    """Amplitude in converter steps of a sine of this r.m.s. value on an alternating channel."""
    half = 2 ** (design()["converter"]["bits"] - 1)
    return rms * math.sqrt(2) / full_scales()[channel] * half


def bridging_s(farad, from_v, to_v, ohm=0.0):
    """How long a capacitor feeds the load's current between two voltages, its resistance first."""
    load = design()["supply"]["load_a"]
    return farad * (from_v - to_v - load * ohm) / load


def hold_up():
    """Voltages, capacitances and times of the hold-up, worst case; s, V, F."""
    s = design()["supply"]
    start = s["usb_least_v"] - 3 * s["ideal_diode_v"]
    end = s["regulator_least_v"]
    new_f = s["cell_f"] / 2
    old_f = new_f * (1 - s["tolerance"]) * s["aged_capacity"]
    old_ohm = 2 * s["cell_esr_ohm"] * s["aged_esr"]
    plain_f = s["plain_f"] * (1 - s["tolerance"]) * s["plain_aged"]
    return {
        "start_v": start,
        "end_v": end,
        "needed_f": s["load_a"] * s["flush_s"] / (start - end),
        "plain_s": bridging_s(plain_f, start, end),
        "plain_f": plain_f,
        "new_f": new_f,
        "new_s": bridging_s(new_f, start, end, 2 * s["cell_esr_ohm"]),
        "old_f": old_f,
        "old_ohm": old_ohm,
        "old_s": bridging_s(old_f, start, end, old_ohm),
        "wanted_s": s["erase_s"] + s["flush_s"],
        "charge_s": 5 * s["charge_ohm"] * new_f,
        "charge_a": 5.0 / s["charge_ohm"],
    }


def battery_years():
    """Life of the clock's battery with its own discharge, years, by drain over the powered share."""
    c = design()["clock"]
    yearly = c["drain_a"] * 8766 * c["unpowered_share"] + c["self_discharge_per_year"] * c["battery_ah"]
    return c["battery_ah"] / yearly


def wrap_days():
    """Days in which a busy site fills the memory once, and years until its sectors wear out."""
    m = design()["memory"]
    days = m["bytes"] / m["bytes_per_day"]
    return days, days * m["erasures"] / 365.25
