"""Run counts and energy against a hydraulic solver that decides by itself when the pump runs.

Reference: EPANET 2.3.5 (package `owa-epanet`, MIT), solved when the check runs. The pump's status
changes between hydraulic steps are the solver's own; the program only gets the series.
Networks: data/small-pump-tank.inp, written for these checks; data/Net1.inp, example network 1 of the
EPANET manual, under the licence beside it.
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


def solve(inp, pump, node, folder):
    """The solver's steps: start s, length s, flow, power kW, pressure at `node` (file's units)."""
    project = en.createproject()
    en.open(project, str(DATA / inp), str(folder / "solver.rpt"), "")
    link, point = en.getlinkindex(project, pump), en.getnodeindex(project, node)
    en.settimeparam(project, en.HYDSTEP, 60)
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


def check_example_network_1(folder):
    steps = solve("Net1.inp", "9", "10", folder)
    starts, stops = events(steps)
    # Seen at 60 s steps: one start at 22.78 h, one stop at 12.62 h, on for 831 of 1441 minutes.
    close(stops[0] / 3600, 12.62, 0.03, "solver's stop, h")
    close(starts[1] / 3600, 22.78, 0.03, "solver's start, h")
    site = SITE.format(volts=690, rated=150, cut_in=7, cut_out=9)
    compare(steps, analyse(each_second(steps, BAR_PER_PSI, 690.0), site, folder))


main(globals())
