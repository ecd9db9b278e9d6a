"""Error budgets by the GUM (JCGM 100:2008): lines of hardware-notes/uncertainty.toml, their standard
uncertainties, the combined one by clause 5.1, effective degrees of freedom by annex G.4 (formula of
Welch and Satterthwaite), expanded with k = 2 (clauses from memory)."""

import json
import math
import re
import tomllib
from functools import cache

from common import board

# Harmonics of a poor supply, order → % of the fundamental: limits of EN 50160 (from memory).
HARMONICS = {3: 5.0, 5: 6.0, 7: 5.0, 9: 1.5, 11: 3.5, 13: 3.0}


def accuracy_row(name):
    """Figures of one row of the first table of accuracy.md."""
    row = re.search(rf"^\| {name} \|(.*)\|$", (board.NOTES / "accuracy.md").read_text(), re.M)
    return [float(x) for x in row[1].split("|")]


def droop():
    """How much filter and averaging take from the r.m.s. value of a wave with these harmonics, %.

    What they take from the fundamental is in the calibrated gain.
    """
    through = lambda hz: abs(board.analogue_response(hz)) * board.averaging_response(hz)  # noqa: E731
    full = kept = 1.0
    for order, percent in HARMONICS.items():
        square = (percent / 100) ** 2
        full += square
        kept += square * (through(order * 50) / through(50)) ** 2
    return 100 * (1 - math.sqrt(kept / full))


def spreads():
    """Wide codes narrower and wider than those that the code straightens."""
    by = board.design()["converter"]["wide_spread_lsb"]
    return (-by, by)


def against(channel, reference, values):
    """Largest deviation of the straightened converter's gain from that at the calibration point, %,
    with wide codes as far from the design's as they may be."""
    worst = 0.0
    for spread in spreads():
        gain = lambda rms: board.converter_gain(board.steps_of(channel, rms), spread)  # noqa: E731
        worst = max(worst, *(abs(gain(v) / gain(reference) - 1) for v in values))
    return 100 * worst


def bend(from_share, to_share):
    """Largest distance of the straightened converter from the line through two points of its range,
    in % of the distance between these, between them. Shares of the full range.

    A steady input may lie anywhere in a wide code; half a step at its ends is rounding, a line of
    its own.
    """
    codes, worst = 2 ** board.design()["converter"]["bits"], 0.0
    for spread in spreads():
        edges = [0.0, *board.staircase(spread)]
        points = [
            (x, board.straightened()[n] + 0.5)
            for n in range(codes - 1)
            for x in (min(edges[n] + 0.5, edges[n + 1]), max(edges[n + 1] - 0.5, edges[n]))
        ]
        first = min(points, key=lambda p: abs(p[0] - from_share * codes))
        last = min(points, key=lambda p: abs(p[0] - to_share * codes))
        slope = (last[1] - first[1]) / (last[0] - first[0])
        inside = [p for p in points if first[0] <= p[0] <= last[0]]
        off = max(abs(p[1] - first[1] - slope * (p[0] - first[0])) for p in inside)
        worst = max(worst, off / (last[1] - first[1]))
    return round(100 * worst, 6)


@cache
def names():
    """What the arithmetic of the lines may speak of."""
    d, full = board.design(), board.full_scales()
    codes = 2 ** d["converter"]["bits"]
    v, i, f, p = accuracy_row("all of these at once")
    counts = board.default_counts()
    apart = lambda name, n, count: 100 * abs(full[name] / n / count - 1)  # noqa: E731
    share = lambda part: 1 - 1 / board.gain(d[part])  # noqa: E731
    loop = full["loop"]
    ratio, supply = full["ratiometric"], full["ratiometric supply"]
    return {
        "span_k": d["temperature"]["span_k"],
        "share_v": share("voltage"),
        "share_i": share("current"),
        "share_s": share("signal"),
        "converter_v": against("voltage", 230, range(207, 254)),
        "converter_wide": against("voltage", 230, range(46, 341)),
        "converter_i": against("current", 8, range(2, 17)),
        "converter_start": against("current", 8, range(16, 69)),
        "converter_loop": bend(0.004 / loop, 0.020 / loop),
        "converter_ratio": bend(0.5 / ratio, 4.5 / ratio),
        "converter_supply": bend(4.5 / supply, 5.5 / supply),
        "loop_step_ua": loop / codes * 1e6,
        "loop_gain_na": loop / 65536 * 1e9,
        "ratio_step_mv": ratio / codes * 1e3,
        "supply_step_mv": supply / codes * 1e3,
        "droop": droop(),
        "arithmetic_v": v,
        "arithmetic_i": i,
        "arithmetic_f": f,
        "arithmetic_p": p,
        "apart_v": apart("voltage", 32768, counts[0]),
        "apart_i": apart("current", 32768, counts[1]),
        "apart_loop": apart("loop", 65536, counts[2]),
        "range_v": 500 / math.sqrt(2),
        "range_i": 100 / math.sqrt(2),
        "tan_phi": math.tan(math.acos(0.8)),
        "per_degree": 100 * math.pi / 180,
    }


def value(expression):
    """Value of a line's arithmetic."""
    assert re.fullmatch(r"[\w\s.*/+()-]+", expression), expression
    return eval(expression, {"__builtins__": {}}, names())  # our own file, checked above


def shown(expression):
    """The arithmetic with numbers in place of names, as a reader expects it."""
    text = re.sub(r"[a-z_]\w*(?![\w.])", lambda m: f"{names()[m[0]]:.3g}", expression.replace("1e4", "10000"))
    return text.replace("*", "×").replace("/", "÷")


class Line:
    """One line: what it is, its standard uncertainty in the budget's unit, and how it is spread."""

    def __init__(self, entry, weight=1, of=None):
        self.what = entry["what"] if of is None else f"{of}: {entry['what']}"
        self.basis = entry["basis"]
        self.shared = entry.get("shared", False)
        self.calibration = entry.get("calibration", False)
        self.ageing = entry.get("ageing", False)
        self.weight = weight
        self.freedom = math.inf
        if "half" in entry:
            self.kind, self.half = "even", value(entry["half"])
            self.arithmetic = shown(entry["half"])
            self.spread, self.divisor = f"±{self.half:.3f}", "√3"
            self.u = self.half / math.sqrt(3)
        elif "expanded" in entry:
            self.kind, expanded = "normal", value(entry["expanded"])
            self.arithmetic = shown(entry["expanded"])
            self.spread, self.divisor = f"U = {expanded:.3f}", "2"
            self.u = expanded / 2
        else:
            self.kind, s, n = "readings", value(entry["type_a"]), entry["readings"]
            self.arithmetic = f"{s:.3g}, {n} readings"
            self.spread, self.divisor = f"s = {s:.3f}", f"√{n}"
            self.u, self.freedom = s / math.sqrt(n), n - 1

    @property
    def part(self):
        """Contribution to the combined uncertainty."""
        return self.weight * self.u


def entries(b, calibrated):
    """Lines of one budget's own, of a calibrated logger or of another."""
    own = [entry for entry in b["lines"] if calibrated or not entry.get("calibration")]
    return own if calibrated else own + b.get("uncalibrated", [])


@cache
def budgets(calibrated=True):
    """Name → (title, unit, lines)."""
    file = tomllib.loads((board.NOTES / "uncertainty.toml").read_text())
    found = {}
    for name, b in file.items():
        own = [Line(entry) for entry in entries(b, calibrated)]
        leave = b.get("leave", [])
        if "from" in b:
            mine = {line.what: line for line in own}
            base = [line for line in found[b["from"]][2] if line.what not in leave]
            assert mine.keys() <= {line.what for line in base}, name
            own = [mine.get(line.what, line) for line in base]
        if "product" in b:
            together, seen = [], set()
            for factor in b["product"]:
                for entry in entries(file[factor], calibrated):
                    if entry["what"] in leave or entry["what"] in seen:
                        continue
                    if entry.get("shared"):
                        seen.add(entry["what"])
                        together.append(Line(entry, weight=len(b["product"])))
                    else:
                        together.append(Line(entry, of=factor))
            own = together + own
        found[name] = (b["title"], b["unit"], own)
    return found


def combined(lines):
    """Combined standard uncertainty and effective degrees of freedom."""
    u = math.sqrt(sum(line.part**2 for line in lines))
    fourth = sum(line.part**4 / line.freedom for line in lines)
    return u, (u**4 / fourth if fourth else math.inf)


def for_the_report():
    """Text of hardware-notes/uncertainty.json: the lines with their parts of the combined
    uncertainty, for a calibrated logger and for another."""
    file = tomllib.loads((board.NOTES / "uncertainty.toml").read_text())
    made = {}
    for name, (title, unit, _) in budgets().items():
        made[name] = {"title": title, "unit": unit}
        if "holds" in file[name]:
            made[name]["holds"] = file[name]["holds"]
        for key, calibrated in (("calibrated", True), ("uncalibrated", False)):
            lines = budgets(calibrated)[name][2]
            made[name][key] = {
                "u": round(combined(lines)[0], 5),
                "lines": [
                    {"what": x.what.removesuffix(" (accuracy.md)"), "basis": x.basis, "u": round(x.part, 5)}
                    | ({"ageing": True} if x.ageing else {})
                    for x in lines
                ],
            }
    text = json.dumps(made, ensure_ascii=False, indent=1)
    # A line of the file to a line of a budget.
    text = re.sub(r"\[\s+(\d+),\s+(\d+)\s+\]", r"[\1, \2]", text)
    return re.sub(r"\{\s+(\"what\"[^}]*?)\s+\}", lambda m: "{" + re.sub(r"\s*\n\s*", " ", m[1]) + "}", text) + "\n"
