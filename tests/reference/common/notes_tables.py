"""The tables of hardware-notes that are made and not written: name → lines of Markdown.

A page holds them between `<!-- table: NAME -->` and `<!-- end of table -->`.
"""

import math
import re

from common import board, budget

BLOCK = re.compile(r"(<!-- table: ([\w-]+) -->\n).*?(<!-- end of table -->)", re.S)


def si(value, unit, digits=4):
    """A value with a prefix of steps of a thousand."""
    if value == 0:
        return f"0 {unit}"
    power = math.floor(math.log10(abs(value)) / 3 + 1e-9)
    prefix = {-4: "p", -3: "n", -2: "µ", -1: "m", 0: "", 1: "k", 2: "M"}[power]
    text = f"{value / 1000.0**power:.{digits}g}"
    return f"{text} {prefix}{unit}"


def signed(percent):
    """A deviation in per cent with its sign."""
    text = f"{percent:+.2f} %".replace("-", "−")
    return "0.00 %" if text[1:] == "0.00 %" else text


def table(head, rows):
    """Lines of a table."""
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    return lines + ["| " + " | ".join(row) + " |" for row in rows]


def arithmetic(*rows):
    """A table of calculations: what, formula, numbers, result."""
    return table(("quantity", "formula", "with numbers", "result"), rows)


def ranges():
    d, full, counts = board.design(), board.full_scales(), board.default_counts()
    half = d["converter"]["reference_v"] / 2
    v, i, s, t = d["voltage"], d["current"], d["signal"], d["supply_sense"]
    head = f"{v['head_v']:.3f} V ÷ {v['head_at_v']} V"
    clamp = f"{i['clamp_v']:.3f} V ÷ {i['clamp_at_a']} A"
    rows = [
        ("line voltage", f"{half} V ÷ ({board.gain(v):.2f} × {head})", "voltage", 32768, counts[0], "V", "±"),
        ("motor current", f"{half} V ÷ ({board.gain(i):.2f} × {clamp})", "current", 32768, counts[1], "A", "±"),
        ("motor current, 2000:1 and 33 Ω", f"{half} V ÷ ({i['ring_burden_ohm']} Ω ÷ {i['ring_ratio']})",
         "ring", 32768, counts[1], "A", "±"),
        ("loop", f"3.3 V ÷ ({board.gain(s):.3f} × {s['shunt_ohm']} Ω)", "loop", 65536, counts[2], "A", "0 to "),
        ("ratiometric", f"3.3 V ÷ ({board.gain(s):.3f} × 0.5)", "ratiometric", 65536, None, "V", "0 to "),
        ("supply of a loop", f"3.3 V × ({si(t['loop_top_ohm'], 'Ω')} + {si(t['bottom_ohm'], 'Ω')}) ÷ "
         f"{si(t['bottom_ohm'], 'Ω')}", "loop supply", 65536, counts[3], "V", "0 to "),
        ("supply of a ratiometric transducer", f"3.3 V × ({si(t['ratio_top_ohm'], 'Ω')} + "
         f"{si(t['bottom_ohm'], 'Ω')}) ÷ {si(t['bottom_ohm'], 'Ω')}", "ratiometric supply", 65536, None, "V", "0 to "),
        ("the logger's own supply", f"3.3 V × ({si(t['own_top_ohm'], 'Ω')} + {si(t['bottom_ohm'], 'Ω')}) ÷ "
         f"{si(t['bottom_ohm'], 'Ω')}", "own supply", 65536, 10 / 65536, "V", "0 to "),
    ]  # fmt: skip
    return table(
        ("input", "end of range", "range", "a count", "code without calibration", "apart"),
        [
            (
                what,
                how,
                sign + si(full[name], unit),
                si(full[name] / n, unit, 5),
                si(default, unit, 5) if default else "another input",
                signed(100 * (full[name] / n / default - 1)) if default else "to be set",
            )
            for what, how, name, n, default, unit, sign in rows
        ],
    )


def voltage_head():
    v = board.design()["voltage"]
    r = v["transformer_primary_ohm"] * v["transformer_primaries"]
    half = 353.6
    top = v["divider_top_ohm"] * v["divider_tops"]
    bottom = v["divider_bottom_ohm"]
    difference = v["difference_feedback_ohm"] / v["difference_in_ohm"]
    share = bottom / (top + bottom)
    n = v["transformer_primaries"]
    return arithmetic(
        ("A: primary resistance", "n · R", f"{n} × {si(v['transformer_primary_ohm'], 'Ω')}", si(r, "Ω")),
        ("A: primary current at 230 V", "U ÷ R", f"230 V ÷ {si(r, 'Ω')}", si(230 / r, "A")),
        ("A: at the end of the range", "U ÷ R", f"{half} V ÷ {si(r, 'Ω')}", si(half / r, "A")),
        ("A: heat in each resistor then", "U² ÷ R ÷ n", f"({half} V)² ÷ {si(r, 'Ω')} ÷ {n}", si(half**2 / r / n, "W")),
        ("A: voltage across each then", "U ÷ n", f"{half} V ÷ {n}", si(half / n, "V")),
        ("A: impulse across each", "Û ÷ n", f"{si(v['impulse_v'], 'V')} ÷ {n}", si(v["impulse_v"] / n, "V")),
        ("A: output at 230 V", "U ÷ R · R_B", f"230 V ÷ {si(r, 'Ω')} × {v['transformer_burden_ohm']} Ω",
         si(230 / r * v["transformer_burden_ohm"], "V")),
        ("A: ratio", "R_B ÷ R", f"{v['transformer_burden_ohm']} Ω ÷ {si(r, 'Ω')}",
         f"{1000 * v['transformer_burden_ohm'] / r:.4f} mV/V"),
        ("B: divided voltage at 500 V", "Û · R2 ÷ (n·R1 + R2)", f"500 V × {bottom} Ω ÷ ({si(top, 'Ω')} + {bottom} Ω)",
         si(500 * share, "V")),
        ("B: heat in the whole divider at the end of the range", "U² ÷ R", f"({half} V)² ÷ {si(top, 'Ω')}",
         si(half**2 / top, "W")),
        ("B: ratio to the output", "share · gain · difference stage",
         f"{share:.4e} × {v['amplifier_gain']:.0f} × {si(v['difference_feedback_ohm'], 'Ω')} ÷ "
         f"{si(v['difference_in_ohm'], 'Ω')}", f"{1000 * share * v['amplifier_gain'] * difference:.4f} mV/V"),
        ("C: ratio", "as bought", f"{v['head_v']:.3f} V ÷ {v['head_at_v']} V",
         f"{1000 * v['head_v'] / v['head_at_v']:.4f} mV/V"),
    )  # fmt: skip


def current_input():
    d, c = board.design(), board.design()["current"]
    top = 100 / c["ring_ratio"]
    step = board.full_scales()["current"] / 2 ** (d["converter"]["bits"] - 1)
    return arithmetic(
        ("clamp at 8 A", "I · ratio", f"8 A × {c['clamp_v']:.3f} V ÷ {c['clamp_at_a']} A",
         si(8 * c["clamp_v"] / c["clamp_at_a"], "V")),
        ("gain", "1 + R_F ÷ R_G", f"1 + {si(c['feedback_ohm'], 'Ω')} ÷ {si(c['ground_ohm'], 'Ω')}",
         f"{board.gain(c):.3f}"),
        ("one step of the converter", "range ÷ 2¹¹", f"{board.full_scales()['current']:.2f} A ÷ 2048", si(step, "A")),
        ("other clamp: secondary peak at 100 A", "Î ÷ n", f"100 A ÷ {c['ring_ratio']}", si(top, "A")),
        ("other clamp: burden for ±1.65 V", "1.65 V ÷ î", f"1.65 V ÷ {si(top, 'A')}", si(1.65 / top, "Ω")),
        ("other clamp: heat in the burden at 70.7 A", "(I ÷ n)² · R",
         f"(70.7 A ÷ {c['ring_ratio']})² × {c['ring_burden_ohm']} Ω",
         si((70.7 / c["ring_ratio"]) ** 2 * c["ring_burden_ohm"], "W")),
    )  # fmt: skip


def signal_input():
    s, t = board.design()["signal"], board.design()["supply_sense"]
    fault = s["loop_supply_v"] / (s["shunt_ohm"] + s["guard_ohm"])
    heat = fault**2 * s["shunt_ohm"]
    total = s["shunt_ohm"] + s["guard_ohm"]
    clamp_v = 3.6
    return arithmetic(
        ("voltage the loop loses at 20 mA", "I · (R + R_guard)", f"20 mA × ({s['shunt_ohm']} Ω + {s['guard_ohm']} Ω)",
         si(0.020 * total, "V")),
        ("left for the transducer of 24 V", "U − drop", f"24 V − {si(0.020 * total, 'V')}", si(24 - 0.020 * total, "V")),
        ("heat in the shunt at 25 mA", "I² · R", f"(25 mA)² × {s['shunt_ohm']} Ω", si(0.025**2 * s["shunt_ohm"], "W")),
        ("24 V straight across the input", "U ÷ (R + R_guard)", f"24 V ÷ {total} Ω", si(fault, "A")),
        ("heat in the shunt until the guard opens", "I² · R", f"({si(fault, 'A')})² × {s['shunt_ohm']} Ω", si(heat, "W")),
        ("borne for 5 s", "rated · overload", f"{s['shunt_w']} W × {s['shunt_overload']}",
         si(s["shunt_w"] * s["shunt_overload"], "W")),
        ("current into the clamps then", "(I · R − 3.6 V) ÷ R_filter",
         f"({si(fault * s['shunt_ohm'], 'V')} − {clamp_v} V) ÷ {si(s['filter_ohm'], 'Ω')}",
         si((fault * s["shunt_ohm"] - clamp_v) / s["filter_ohm"], "A")),
        ("corner of the filter", "1 ÷ (2π·R·C)", f"1 ÷ (2π × {si(s['filter_ohm'], 'Ω')} × {si(s['filter_f'], 'F')})",
         si(board.corner(s["filter_ohm"], s["filter_f"]), "Hz")),
        ("load on a ratiometric output", "2 · R", f"2 × {si(s['ratio_ohm'], 'Ω')}", si(2 * s["ratio_ohm"], "Ω")),
        ("time constant behind the switch of the supplies", "(R1 ∥ R2 + R) · C",
         f"({si(t['loop_top_ohm'], 'Ω')} ∥ {si(t['bottom_ohm'], 'Ω')} + {si(t['filter_ohm'], 'Ω')}) × {si(t['filter_f'], 'F')}",
         si(board.switch_s(), "s")),
        ("24 V at the supply divider", "U · R2 ÷ (R1 + R2)",
         f"24 V × {si(t['bottom_ohm'], 'Ω')} ÷ ({si(t['loop_top_ohm'], 'Ω')} + {si(t['bottom_ohm'], 'Ω')})",
         si(24 * t["bottom_ohm"] / (t["loop_top_ohm"] + t["bottom_ohm"]), "V")),
    )  # fmt: skip


def lamp_input():
    c, lamp = board.design()["converter"], board.design()["lamp"]
    rows = []
    together = {}
    for name, inner in (("least", c["pull_up_min_ohm"]), ("most", c["pull_up_max_ohm"])):
        r = together[name] = 1 / (1 / lamp["pull_up_ohm"] + 1 / inner)
        rows.append((f"pull-up, {name}", "R ∥ R_chip", f"{si(lamp['pull_up_ohm'], 'Ω')} ∥ {si(inner, 'Ω')}", si(r, "Ω")))
    low, high = together["least"], together["most"]
    tau = low * lamp["stretch_f"]
    dark = lamp["dark_s"]
    rise = 3.3 * (1 - math.exp(-dark / tau))
    release = high * lamp["stretch_f"] * math.log(3.3 / (3.3 - c["high_v"]))
    need = (3.3 - c["low_v"]) / low
    seized = lamp["stretch_f"] * (3.3 - c["low_v"]) / (lamp["light_a"] - 3.3 / low)
    rows += [
        ("current that holds the input low", "(3.3 V − U_low) ÷ R", f"(3.3 V − {c['low_v']} V) ÷ {si(low, 'Ω')}",
         si(need, "A")),
        ("creeps up in the dark of half-wave light", "3.3 V · (1 − e^(−t ÷ RC))",
         f"3.3 V × (1 − e^(−{si(dark, 's')} ÷ ({si(low, 'Ω')} × {si(lamp['stretch_f'], 'F')})))", si(rise, "V")),
        ("goes high after the lamp goes out, at most", "R · C · ln(3.3 V ÷ (3.3 V − U_high))",
         f"{si(high, 'Ω')} × {si(lamp['stretch_f'], 'F')} × ln(3.3 ÷ 1.3)", si(release, "s")),
        ("goes low after the lamp lights, at most", "C · ΔU ÷ (I − 3.3 V ÷ R)",
         f"{si(lamp['stretch_f'], 'F')} × 2.5 V ÷ ({si(lamp['light_a'], 'A')} − {si(3.3 / low, 'A')})", si(seized, "s")),
    ]  # fmt: skip
    total = 2 * lamp["coupler_ohm"]
    for volts in lamp["lamp_v"]:
        current = (volts - 2 * lamp["coupler_led_v"]) / total
        rows.append((
            f"coupler across a lamp of {volts} V: current, heat in each resistor",
            "(U − 2·U_LED) ÷ 2R; I²·R",
            f"({volts} V − 2.4 V) ÷ {si(total, 'Ω')}",
            f"{si(current, 'A')}; {si(current**2 * lamp['coupler_ohm'], 'W')}",
        ))  # fmt: skip
    return arithmetic(*rows)


def filters():
    f, r = board.design()["filter"], board.rates()
    f0, q = board.stage()
    c1, c2, ohm = f["stage_feedback_f"], f["stage_ground_f"], f["stage_ohm"]
    delay = board.delay_s()
    apart = 2 * f["capacitor_tolerance"] * delay
    return arithmetic(
        ("conversions of one channel", "frames · 4", f"{r['frames_hz']} ÷ s × {r['over']}", f"{r['channel_hz']} ÷ s"),
        ("corner of the second-order stage", "1 ÷ (2π·R·√(C1·C2))",
         f"1 ÷ (2π × {si(ohm, 'Ω')} × √({si(c1, 'F')} × {si(c2, 'F')}))", si(f0, "Hz")),
        ("its quality", "½·√(C1 ÷ C2)", f"½ × √({si(c1, 'F')} ÷ {si(c2, 'F')})", f"{q:.3f}"),
        ("corner at the connector", "1 ÷ (2π·R·C)",
         f"1 ÷ (2π × {si(f['input_ohm'], 'Ω')} × {si(f['input_f'], 'F')})", si(board.corner(f["input_ohm"], f["input_f"]), "Hz")),
        ("corner at the pin", "1 ÷ (2π·R·C)",
         f"1 ÷ (2π × {si(f['pin_ohm'], 'Ω')} × {si(f['pin_f'], 'F')})", si(board.corner(f["pin_ohm"], f["pin_f"]), "Hz")),
        ("24 V at the connector: current into the clamps", "(24 V − 3.6 V) ÷ R", f"20.4 V ÷ {si(f['input_ohm'], 'Ω')}",
         si(20.4 / f["input_ohm"], "A")),
        ("delay at mains frequency", "1 ÷ (2π·f0·Q) + R·C + R·C",
         f"1 ÷ (2π × {f0:.0f} Hz × {q:.3f}) + {si(f['input_ohm'] * f['input_f'], 's')} + {si(f['pin_ohm'] * f['pin_f'], 's')}", si(delay, "s")),
        ("the same as an angle at 50 Hz", "360° · f · t", f"360° × 50 Hz × {si(delay, 's')}", f"{360 * 50 * delay:.2f}°"),
        ("largest difference between the channels", "2 · 2 % · delay", f"2 × {f['capacitor_tolerance']:.2f} × {si(delay, 's')}",
         si(apart, "s")),
        ("power wrong by that at power factor 0.7, if not calibrated", "2π·f·t · tan φ", f"2π × 50 Hz × {si(apart, 's')} × 1.02",
         f"{100 * 2 * math.pi * 50 * apart * math.tan(math.acos(0.7)):.2f} %"),
        ("current read after voltage", "1 ÷ (frames · conversions)", f"1 ÷ ({r['frames_hz']} × {r['over']} × 5)", si(r["step_s"], "s")),
        ("the same as an angle at 50 Hz", "360° · f · t", f"360° × 50 Hz × {si(r['step_s'], 's')}", f"{360 * 50 * r['step_s']:.2f}°"),
    )  # fmt: skip


def attenuation():
    r = board.rates()
    rows = []
    for hz, what in (
        (50, "mains"), (550, "11th harmonic"), (1550, "31st harmonic"), (2500, "half the frame rate"),
        (4950, "beside the frame rate"), (9950, "beside twice the frame rate"), (16_000, "switching of a drive"),
        (19_950, "beside the conversion rate"), (39_950, "beside twice the conversion rate"),
    ):  # fmt: skip
        analogue, averaged = abs(board.analogue_response(hz)), abs(board.averaging_response(hz))
        lands = abs(hz - r["frames_hz"] * round(hz / r["frames_hz"]))
        both = 20 * math.log10(analogue * averaged)
        rows.append((
            f"{hz} Hz", what, f"{20 * math.log10(analogue):.1f} dB", f"{20 * math.log10(averaged):.1f} dB",
            f"{both:.1f} dB", f"{lands:.0f} Hz",
        ))  # fmt: skip
    rows = [[cell.replace("-", "−").replace("−0.0 dB", "0.0 dB") for cell in row] for row in rows]
    return table(("frequency", "what", "filter", "averaging of four", "together", "appears at"), rows)


def converter_gains():
    rows = []
    for channel, reference, values, unit in (
        ("voltage", 230, (23, 92, 161, 207, 253, 276, 322), "V"),
        ("current", 8, (1, 2, 4, 16, 24, 48, 68), "A"),
    ):
        def off(rms, spread=None):
            gain = lambda at: board.converter_gain(board.steps_of(channel, at), spread)  # noqa: E731
            return 100 * (gain(rms) / gain(reference) - 1)

        for rms in values:
            left = max((off(rms, spread) for spread in budget.spreads()), key=abs)
            rows.append((channel, f"{reference} {unit}", f"{rms} {unit}", signed(off(rms)), signed(off(rms, 0.0)),
                         signed(left)))  # fmt: skip
    return table(
        ("channel", "calibrated at", "reads", "wrong by, as converted", "straightened", "chip that differs"), rows
    )


def budget_table(name):
    _, unit, lines = budget.budgets()[name]
    u, freedom = budget.combined(lines)
    rows = []
    for line in lines:
        weight = f" × {line.weight}" if line.weight != 1 else ""
        rows.append((line.what, line.basis, line.arithmetic, line.spread, f"÷ {line.divisor}{weight}", f"{line.part:.3f}",
                     f"{100 * (line.part / u) ** 2:.0f} %"))  # fmt: skip
    more = 1 if unit == "Hz" else 0
    rows.append(("**combined**", "", "√ of the sum of squares", "", "", f"**{u:.{3 + more}f}**", "100 %"))
    rows.append(("**expanded, k = 2**", "", f"2 × {u:.{3 + more}f}", "", "", f"**{2 * u:.{2 + 2 * more}f}**", ""))
    return table(("line", "basis", f"arithmetic, {unit}", "spread", "divided", "u", "of u²"), rows)


def summary():
    rows = []
    for name, (title, unit, lines) in budget.budgets().items():
        u, _ = budget.combined(lines)
        without, _ = budget.combined(budget.budgets(calibrated=False)[name][2])
        largest = max(lines, key=lambda line: line.part).what
        more = 2 if unit == "Hz" else 0
        rows.append((title, f"{u:.{2 + more}f}", f"±{2 * u:.{1 + more}f} {unit}", largest,
                     f"±{2 * without:.{1 + more}f} {unit}"))  # fmt: skip
    return table(("quantity", "u", "U (k = 2)", "largest line", "U without calibration"), rows)


def uncalibrated():
    """What stands in place of the calibration's lines where there is none."""
    rows = []
    for title, _, lines in budget.budgets(calibrated=False).values():
        own = {line.what for line in budget.budgets()[budget_named(title)][2]}
        for line in lines:
            if line.what not in own and not any(line.what == row[1] for row in rows):
                rows.append((title, line.what, line.basis, line.arithmetic, f"{line.part:.3f}"))
    return table(("budget", "line", "basis", "arithmetic", "u"), rows)


def budget_named(title):
    return next(name for name, b in budget.budgets().items() if b[0] == title)


def supply():
    s, h = board.design()["supply"], board.hold_up()
    start, end, load = f"{h['start_v']:.2f} V", f"{h['end_v']:.2f} V", si(s["load_a"], "A")
    low, high = (s["monitor_v"] * (1 + sign * s["monitor_tolerance"]) for sign in (-1, 1))
    return arithmetic(
        ("monitor trips between", "4.2 V ± 2 %", f"{s['monitor_v']} V × (1 ± {s['monitor_tolerance']})", f"{low:.2f} to {high:.2f} V"),
        ("least voltage behind the three ideal diodes", "U_USB − 3·U_D", f"{s['usb_least_v']} V − 3 × {si(s['ideal_diode_v'], 'V')}", start),
        ("least capacitance for 20 ms", "I·t ÷ (U1 − U2)", f"{load} × {si(s['flush_s'], 's')} ÷ ({start} − {end})", si(h["needed_f"], "F")),
        ("small: 3.3 mF, at its end of life", "C · (1 − 20 %) · 80 %", f"{si(s['plain_f'], 'F')} × 0.8 × {s['plain_aged']}", si(h["plain_f"], "F")),
        ("small: bridges", "C·(U1 − U2) ÷ I", f"{si(h['plain_f'], 'F')} × ({start} − {end}) ÷ {load}", si(h["plain_s"], "s")),
        ("wanted with an erasure ahead", "t_erase + t_flush", f"{s['erase_s']:.0f} s + {si(s['flush_s'], 's')}", si(h["wanted_s"], "s")),
        ("large: two cells of 1 F in series", "C ÷ 2", "1 F ÷ 2", si(h["new_f"], "F")),
        ("large: bridges, new", "C·(U1 − U2 − I·ESR) ÷ I", f"{si(h['new_f'], 'F')} × ({start} − {end} − {load} × {2 * s['cell_esr_ohm']:.1f} Ω) ÷ {load}",
         f"{h['new_s']:.1f} s"),
        ("large: at its end of life", "C · (1 − 20 %) · 70 %", f"{si(h['new_f'], 'F')} × 0.8 × {s['aged_capacity']}", si(h["old_f"], "F")),
        ("large: series resistance then", "2 · ESR · 3", f"2 × {s['cell_esr_ohm']} Ω × {s['aged_esr']:.0f}", si(h["old_ohm"], "Ω")),
        ("large: bridges then", "C·(U1 − U2 − I·ESR) ÷ I", f"{si(h['old_f'], 'F')} × ({start} − {end} − {load} × {si(h['old_ohm'], 'Ω')}) ÷ {load}",
         f"{h['old_s']:.1f} s"),
        ("energy in it, full", "½·C·U²", f"½ × {si(h['new_f'], 'F')} × (5 V)²", f"{0.5 * h['new_f'] * 25:.2f} J"),
        ("charging current, at most", "U ÷ R", f"5 V ÷ {s['charge_ohm']} Ω", si(h["charge_a"], "A")),
        ("full (99 %) after", "5·R·C", f"5 × {s['charge_ohm']} Ω × {si(h['new_f'], 'F')}", f"{h['charge_s']:.0f} s"),
        ("own 24 V supply at 20 mA takes from 5 V", "U·I ÷ (η·5 V)", f"24 V × 20 mA ÷ ({s['loop_converter_efficiency']} × 5 V)",
         si(24 * 0.020 / s["loop_converter_efficiency"] / 5, "A")),
    )  # fmt: skip


def keeping():
    c, m = board.design()["clock"], board.design()["memory"]
    yearly = c["drain_a"] * 8766 * c["unpowered_share"]
    own = c["self_discharge_per_year"] * c["battery_ah"]
    days, years = board.wrap_days()
    boots = m["bytes"] // m["sector_bytes"] - 5
    return arithmetic(
        ("drawn from the clock's battery in a year, half of it unpowered", "I · t · share", f"{si(c['drain_a'], 'A')} × 8766 h × {c['unpowered_share']}",
         si(yearly, "Ah")),
        ("lost by itself in a year", "1 % of capacity", f"{c['self_discharge_per_year']} × {si(c['battery_ah'], 'Ah')}", si(own, "Ah")),
        ("life", "capacity ÷ yearly", f"{si(c['battery_ah'], 'Ah')} ÷ ({si(yearly, 'Ah')} + {si(own, 'Ah')})", f"{board.battery_years():.0f} years"),
        ("always unpowered", "capacity ÷ yearly", f"{si(c['battery_ah'], 'Ah')} ÷ ({si(2 * yearly, 'Ah')} + {si(own, 'Ah')})",
         f"{c['battery_ah'] / (2 * yearly + own):.1f} years"),
        ("clock chip off after 30 days", "ppm · t", f"{c['tcxo_ppm']:.0f} × 10⁻⁶ × 30 × 86 400 s", f"{c['tcxo_ppm'] * 1e-6 * 30 * 86400:.1f} s"),
        ("the processor's crystal off after 30 days", "ppm · t", f"{c['crystal_ppm']:.0f} × 10⁻⁶ × 30 × 86 400 s", f"{c['crystal_ppm'] * 1e-6 * 30 * 86400:.0f} s"),
        ("busy site: memory full after", "bytes ÷ daily bytes", f"{m['bytes']} ÷ {m['bytes_per_day']}", f"{days:.0f} days"),
        ("sectors worn out after", "erasures · days", f"{m['erasures']} × {days:.1f} days", f"{years:.0f} years"),
        ("starts after a cut without warning that fill the ring by themselves", "sectors − 5", f"{m['bytes']} ÷ {m['sector_bytes']} − 5", f"{boots}"),
        ("the same, each after a flushed power loss: a page each", "4 · sectors", f"4 · {boots}", f"{4 * boots}"),
    )  # fmt: skip


def tables():
    """Name → lines, for every table."""
    made = {
        "ranges": ranges,
        "voltage-head": voltage_head,
        "current-input": current_input,
        "signal-input": signal_input,
        "lamp-input": lamp_input,
        "filters": filters,
        "attenuation": attenuation,
        "converter-gains": converter_gains,
        "summary": summary,
        "uncalibrated": uncalibrated,
        "supply": supply,
        "keeping": keeping,
    }
    found = {name: make() for name, make in made.items()}
    return found | {f"budget-{name}": budget_table(name) for name in budget.budgets()}


def filled(text, made):
    """A page with its tables as they should be, and the names of those."""
    used = []

    def put(match):
        used.append(match[2])
        return match[1] + "\n".join(made[match[2]]) + "\n" + match[3]

    return BLOCK.sub(put, text), used
