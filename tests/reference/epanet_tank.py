"""Run counts and energy against a hydraulic solver that decides by itself when the pump runs.

Reference: EPANET 2.3.5 (package `owa-epanet`, MIT), solved when the check runs. The pump's status
changes between hydraulic steps are the solver's own; the program only gets the series.
Networks: data/small-pump-tank.inp and the pressure tank below, written for these checks; data/Net1.inp,
example network 1 of the EPANET manual, under the licence beside it.
"""

import numpy as np
import pandas as pd
from common import DATA, analyse, close, main, seconds, stamp
from epanet import toolkit as en

SITE = """[supply]
nominal_v = {volts}
frequency_hz = 50
[motor]
rated_current_a = {rated}
[control]
kind = "pressure-switch"
cut_in_bar = {cut_in}
cut_out_bar = {cut_out}
"""
# Density of water × standard gravity, bar a metre.
BAR_PER_M = 0.0980665
BAR_PER_PSI = 0.0689476
# Power factor of the motors (ours: only the power comes from the solver).
POWER_FACTOR = 0.8


# A pressure tank of 100 l with 1.8 bar of air: the solver knows open tanks only, but takes any curve of
# volume over level, and so that of Boyle's law with the level as pressure head.
PRESSURE_TANK = """
[RESERVOIRS]
WELL 0
[TANKS]
;ID Elev Init Min Max Diam MinVol VolCurve
TK 0 30 {min} 60 1 0 BOYLE
[JUNCTIONS]
J1 0 0
TAP 0 0.25 DAY
[PIPES]
P1 J1 TK 2 50 130 0 Open
P2 J1 TAP 5 40 130 0 Open
[PUMPS]
PU WELL J1 HEAD C1
[CURVES]
{pump}
{curve}
[PATTERNS]
DAY 0.0 0.0 0.1 0.0 0.3 1.0 2.0 1.8 0.0 0.9 0.8 0.9
DAY 1.1 0.0 0.8 0.0 1.0 1.4 1.9 2.0 1.4 0.9 0.0 0.3
[CONTROLS]
LINK PU OPEN IF NODE TK BELOW {cut_in}
LINK PU CLOSED IF NODE TK ABOVE {cut_out}
[ENERGY]
Global Efficiency 50
[TIMES]
Duration 24:00
Pattern Timestep 1:00
[OPTIONS]
Units LPS
Headloss H-W
Accuracy 0.00001
[END]
"""
TANK_L, PRECHARGE_BAR, CUT_IN_BAR, CUT_OUT_BAR = 100.0, 1.8, 2.2, 3.6
ATMOSPHERE_BAR = 1.01325


def solve(inp, pump, node, folder, step_s=60):
    """The solver's steps: start s, length s, flow, power kW, pressure at `node` (file's units)."""
    project = en.createproject()
    en.open(project, str(DATA / inp), str(folder / "solver.rpt"), "")
    link, point = en.getlinkindex(project, pump), en.getnodeindex(project, node)
    en.settimeparam(project, en.HYDSTEP, step_s)
    en.openH(project)
    en.initH(project, en.NOSAVE)
    steps = []
    while True:
        at = en.runH(project)
        values = [
            en.getlinkvalue(project, link, what) for what in (en.FLOW, en.ENERGY, en.STATUS)
        ] + [en.getnodevalue(project, point, en.PRESSURE)]
        length = en.nextH(project)
        if length <= 0:
            break
        steps.append((at, length, *values))
    en.closeH(project)
    en.close(project)
    en.deleteproject(project)
    return pd.DataFrame(steps, columns=["t", "dt", "flow", "kw", "status", "pressure"])


def each_second(steps, bar_per_unit, volts):
    """The table the program reads: a row sums up the second before it."""
    every = steps.loc[steps.index.repeat(steps.dt)].reset_index(drop=True)
    watts = np.where(every.status > 0, every.kw * 1000, 0)
    return pd.DataFrame({
        "time": [stamp(n + 1) for n in range(len(every))],
        "voltage_v": volts,
        "current_a": (watts / (volts * POWER_FACTOR)).round(3),
        "power_w": watts.round(1),
        "pressure_bar": (every.pressure * bar_per_unit).round(4),
    })


def events(steps):
    """Start and stop seconds of the solver's pump; the first start is that of the record."""
    on = steps.status > 0
    change = on.astype(int).diff().fillna(on.astype(int).iloc[0])
    return steps.t[change == 1].tolist(), steps.t[change == -1].tolist()


def compare(steps, analysis):
    starts, stops = events(steps)
    end = int(steps.t.iloc[-1] + steps.dt.iloc[-1])
    runs = analysis["runs"]
    print(f"  {len(runs)} runs, solver {len(starts)} starts and {len(stops)} stops")
    assert len(runs) == len(starts), (len(runs), len(starts))
    if len(stops) < len(starts):
        stops.append(end)
    for run, start, stop in zip(runs, starts, stops):
        assert abs(seconds(run["start"]) - start) <= 1, (run["start"], start)
        assert abs(seconds(run["stop"]) - stop) <= 1, (run["stop"], stop)
    on_s = steps.dt[steps.status > 0].sum()
    close(sum(run["duration_s"] for run in runs), on_s, len(runs), "time on, s")
    kwh = (steps.kw * steps.dt).sum() / 3600
    close(analysis["statistics"]["energy_kwh"], kwh, kwh * 0.002, "energy, kWh")


def check_a_tank_filled_by_level_controls(folder):
    steps = solve("small-pump-tank.inp", "PU", "J1", folder)
    starts, stops = events(steps)
    on = steps.status > 0
    # What this network gave when it was written, so that another solver version is noticed.
    assert (len(starts) - 1, len(stops)) == (32, 33), (len(starts), len(stops))
    close(steps.dt[on].sum(), 12_781, 60, "solver's time on, s")
    close((steps.flow * steps.dt)[on].sum() / 1000, 20.245, 0.05, "solver's volume, m³")
    site = SITE.format(volts=230, rated=4.2, cut_in=2.1, cut_out=2.4)
    analysis = analyse(each_second(steps, BAR_PER_M, 230.0), site, folder)
    compare(steps, analysis)
    # The switching points learned from the record are those at which the solver switched.
    before = steps.pressure.shift(1).fillna(steps.pressure) * BAR_PER_M
    learned = analysis["statistics"]
    close(learned["cut_in_bar"], before[steps.t.isin(starts[1:])].median(), 0.02, "cut-in, bar")
    close(learned["cut_out_bar"], before[steps.t.isin(stops)].median(), 0.02, "cut-out, bar")
    # The tap of this network never closes wholly: the loss at rest is real.
    assert [cause["cause"] for cause in analysis["verdict"]][0] == "idle-draw", analysis["verdict"]


def pressure_tank(pump, within, folder):
    """Runs, drawdown and gas of the pressure tank with a pump of this curve (l/s, m)."""

    def water_l(bar):
        return TANK_L * (1 - (PRECHARGE_BAR + ATMOSPHERE_BAR) / (bar + ATMOSPHERE_BAR))

    heads = np.linspace(PRECHARGE_BAR / BAR_PER_M, 60, 400)
    inp = folder / "pressure-tank.inp"
    inp.write_text(PRESSURE_TANK.format(
        min=heads[0], cut_in=CUT_IN_BAR / BAR_PER_M, cut_out=CUT_OUT_BAR / BAR_PER_M,
        pump="\n".join(f"C1 {flow} {head}" for flow, head in pump),
        curve="\n".join(f"BOYLE {m:.5f} {water_l(m * BAR_PER_M) / 1000:.9f}" for m in heads),
    ))
    steps = solve(inp, "PU", "J1", folder, 1)
    on = steps.status > 0
    flow_lpm = np.average(steps.flow[on], weights=steps.dt[on]) * 60
    site = SITE.format(volts=230, rated=4.2, cut_in=CUT_IN_BAR, cut_out=CUT_OUT_BAR) + f"""
[pump]
rated_flow_lpm = {flow_lpm:.2f}
[tank]
volume_l = {TANK_L}
precharge_bar = {PRECHARGE_BAR}
"""
    analysis = analyse(each_second(steps, BAR_PER_M, 230.0), site, folder)
    compare(steps, analysis)
    learned = analysis["statistics"]
    starts, stops = events(steps)
    before = steps.pressure.shift(1).fillna(steps.pressure) * BAR_PER_M
    high, low = (before[steps.t.isin(at)].median() for at in (stops, starts[1:]))
    drawn = water_l(high) - water_l(low)
    close(learned["drawdown_l"], drawn, within * drawn, "drawdown, l")
    close(learned["effective_gas_volume_l"], TANK_L, within * TANK_L, "gas at precharge, l")
    return analysis


def check_the_gas_of_a_pressure_tank(folder):
    # The analysis takes the flow to be the same all along: nearly so of a steep curve, and of an
    # ordinary one (a fifth less at the cut-out than at the cut-in) only in the mean.
    pressure_tank(((0, 300), (0.7, 35), (0.75, 5)), 0.02, folder)
    pressure_tank(((0, 70), (0.7, 45), (1.2, 10)), 0.08, folder)


def check_example_network_1(folder):
    steps = solve("Net1.inp", "9", "10", folder)
    starts, stops = events(steps)
    # Seen at 60 s steps: one start at 22.78 h, one stop at 12.62 h, on for 831 of 1441 minutes.
    close(stops[0] / 3600, 12.62, 0.03, "solver's stop, h")
    close(starts[1] / 3600, 22.78, 0.03, "solver's start, h")
    site = SITE.format(volts=690, rated=150, cut_in=7, cut_out=9)
    compare(steps, analyse(each_second(steps, BAR_PER_PSI, 690.0), site, folder))


main(globals())
