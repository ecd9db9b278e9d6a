"""The same statistics and event lists by a straightforward pandas/numpy script, timed.

Both read the same 30-day Parquet file: the seven days of an invented site, repeated with later
times. The script finds runs, stop levels, voltage events and the statistics that the analysis
prints; where both give a figure they must agree. It does less than the analysis: no reasons of
stops, no tank physics, no causes. The times are printed and decide nothing.
Reference: `pandas` 2.3 with `numpy`, columns as arrays, no loop over rows.
"""

import json
import resource
import time
from datetime import timedelta

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
from common import EPOCH_S, close, demo, main, run, seconds

DAYS = 30
NOMINAL_V, DIP, END, GONE = 230.0, 0.90, 0.92, 0.05


def thirty_days(folder):
    """Path of the Parquet file, and of its site file."""
    archive = demo("overdrawn-well", folder)
    run("export", archive, "--out", "week.parquet", folder=folder)
    week = pq.read_table(folder / "week.parquet").to_pandas()
    # Whole days, so that the rhythm of the day goes on.
    period = (week.time.iloc[-1] - week.time.iloc[0]).ceil("D")
    parts = [week.assign(time=week.time + n * period) for n in range(-(-DAYS // period.days))]
    table = pd.concat(parts, ignore_index=True)
    table = table[table.time < table.time.iloc[0] + timedelta(days=DAYS)]
    path = folder / "month.parquet"
    schema = pq.read_schema(folder / "week.parquet").remove_metadata()
    pq.write_table(pa.Table.from_pandas(table, schema, preserve_index=False), path)
    return path, folder / "demo/site.toml"


def stretches(inside):
    """First and last row of each stretch of True."""
    edge = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]).astype(int)))
    return edge[::2], edge[1::2] - 1


def list_runs(frame):
    """Runs with the figures the analysis gives of each."""
    level = 0.5 * frame.current_a[frame.current_a > 1].median()
    first, last = stretches((frame.current_a > level).to_numpy())
    end_ms, start_ms = frame.end_ms.to_numpy(), frame.start_ms.to_numpy()
    runs = pd.DataFrame({"start_ms": start_ms[first], "stop_ms": end_ms[last]})
    number = np.repeat(np.arange(len(first)), last - first + 1)
    rows = np.concatenate([np.arange(a, b + 1) for a, b in zip(first, last)])
    groups = frame.iloc[rows].groupby(number)
    runs["peak_a"] = groups.current_max_a.max()
    runs["current_a"] = groups.current_a.median()
    runs["start_bar"], runs["stop_bar"] = groups.pressure_bar.first(), groups.pressure_bar.last()
    return runs


def list_dips(frame):
    """Dips and interruptions with hysteresis: below 92 % with a row below 90 % among them."""
    low = frame.voltage_min_v.to_numpy() / NOMINAL_V
    first, last = stretches(low < END)
    events = pd.DataFrame({
        "start_ms": frame.start_ms.to_numpy()[first],
        "end_ms": frame.end_ms.to_numpy()[last],
        "extreme": [low[a : b + 1].min() for a, b in zip(first, last)],
    })
    events = events[events.extreme < DIP]
    return events[events.extreme >= GONE], events[events.extreme < GONE]


def list_rests(frame, runs):
    """Loss of pressure in the quietest minute of each rest, bar a minute."""
    losses = []
    for stop, start in zip(runs.stop_ms, runs.start_ms.shift(-1).dropna()):
        rest = frame[frame.end_ms.searchsorted(stop + 20_000) : frame.start_ms.searchsorted(start)]
        if len(rest) < 4:
            continue
        minutes = rest.groupby((rest.end_ms - stop) // 60_000)
        ends = minutes[["end_ms", "pressure_bar"]].agg(["first", "last", "count"])
        ends = ends[ends["end_ms", "count"] > 2]
        taken = (ends["end_ms", "last"] - ends["end_ms", "first"]) / 60_000
        fall = (ends["pressure_bar", "first"] - ends["pressure_bar", "last"]) / taken
        losses.append(fall.min())
    return losses


def impedance(frame, runs):
    """Fall of the voltage over rise of the current at each start, ohm."""
    volts, amps = frame.voltage_v.to_numpy(), frame.current_a.to_numpy()
    low, high = frame.voltage_min_v.to_numpy(), frame.current_max_a.to_numpy()
    found = []
    for row in frame.end_ms.searchsorted(runs.start_ms, "right"):
        before, start = slice(max(row - 5, 0), max(row - 1, 1)), slice(row, row + 3)
        rise = high[start].max() - np.median(amps[before])
        if rise > 1:
            found.append((np.median(volts[before]) - low[start].min()) / rise)
    return float(np.median(found))


def summary(path):
    """What the analysis prints as statistics and lists."""
    frame = pd.read_parquet(path)
    frame["end_ms"] = frame.time.astype("int64")
    if str(frame.time.dtype).startswith("datetime64[ns"):
        frame["end_ms"] //= 1_000_000
    frame["start_ms"] = frame.end_ms - frame.span_ms
    runs = list_runs(frame)
    dips, gone = list_dips(frame)
    length = (runs.stop_ms - runs.start_ms) / 1000
    rest = (runs.start_ms.shift(-1) - runs.stop_ms).dropna() / 1000
    hours = runs.start_ms // 3_600_000
    weight = frame.span_ms.to_numpy()
    order = frame.voltage_v.to_numpy().argsort()
    part = weight[order].cumsum() / weight.sum()
    volts = frame.voltage_v.to_numpy()[order]
    minutes = frame.assign(square=frame.voltage_v**2 * frame.span_ms).groupby(frame.end_ms // 600_000)
    means = np.sqrt(minutes.square.sum() / minutes.span_ms.sum())
    return {
        "runs": len(runs),
        "list": runs.to_dict("records"),
        "dips": dips.to_dict("records"),
        "interruptions": gone.to_dict("records"),
        "run_s": length.quantile([0.1, 0.5, 0.9]).tolist(),
        "rest_s": rest.quantile([0.1, 0.5, 0.9]).tolist(),
        "running_h": length.sum() / 3600,
        "energy_kwh": (frame.power_w * frame.span_ms).sum() / 3.6e9,
        "peak_a": runs.peak_a.quantile([0.1, 0.5, 0.9]).tolist(),
        "current_a": runs.current_a.quantile([0.1, 0.5, 0.9]).tolist(),
        "starts_by_hour": hours.value_counts().sort_index().to_dict(),
        "voltage_v": [volts[part.searchsorted(q)] for q in (0.01, 0.05, 0.5, 0.95, 0.99)],
        "voltage_10min_v": means.quantile([0, 0.05, 0.95, 1]).tolist(),
        "cut_in_bar": runs.start_bar.median(),
        "cut_out_bar": runs.stop_bar.median(),
        "rest_loss_bar_per_min": list_rests(frame, runs),
        "supply_ohm": impedance(frame, runs),
    }


def least(work, turns):
    """Result, and least time of several turns, s: by the clock, and on all cores together."""

    def on_cores():
        return sum(sum(resource.getrusage(who)[:2]) for who in
                   (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))

    times, costs = [], []
    for _ in range(turns):
        began, before = time.perf_counter(), on_cores()
        result = work()
        times.append(time.perf_counter() - began)
        costs.append(on_cores() - before)
    return result, min(times), min(costs)


def check_figures_and_time_of_thirty_days(folder):
    path, site = thirty_days(folder)
    theirs, slow, slow_cost = least(lambda: summary(path), 1)
    text, fast, fast_cost = least(lambda: run("analyse", path, "--site", site, "--json"), 5)
    json.dumps(theirs, default=float)  # the script's lists are to be written too
    mine = json.loads(text)
    got = mine["statistics"]
    assert theirs["runs"] == len(mine["runs"]) > 100, (theirs["runs"], len(mine["runs"]))
    for reference, one in zip(theirs["list"], mine["runs"]):
        # A start or stop lies inside a row of 200 ms; the analysis looks for it there.
        for key in ("start", "stop"):
            off = seconds(one[key]) + EPOCH_S - reference[f"{key}_ms"] / 1000
            assert abs(off) <= 0.5, (key, one, reference)
    close(got["running_h"], theirs["running_h"], 0.5 * len(mine["runs"]) / 3600, "running, h")
    close(got["energy_kwh"], theirs["energy_kwh"], 1e-3 * theirs["energy_kwh"], "energy, kWh")
    for word, n in (("p10", 0), ("median", 1), ("p90", 2)):
        close(got[f"run_{word}_s"], theirs["run_s"][n], 0.5, f"run {word}, s")
        close(got[f"rest_{word}_s"], theirs["rest_s"][n], 0.5, f"rest {word}, s")
    for word, n in (("p01", 0), ("p05", 1), ("median", 2), ("p95", 3), ("p99", 4)):
        close(got[f"voltage_{word}_v"], theirs["voltage_v"][n], 0.3, f"voltage {word}, V")
    close(got["voltage_10min_p05_v"], theirs["voltage_10min_v"][1], 0.1, "10-minute p05, V")
    close(got["voltage_10min_p95_v"], theirs["voltage_10min_v"][2], 0.1, "10-minute p95, V")
    ohm = got["supply_impedance_ohm"]
    close(ohm, theirs["supply_ohm"], 0.2 * ohm, "supply impedance, ohm")
    rows = mine["recording"]["rows"]
    print(f"  {rows} rows: pandas {slow:.3f} s, on cores {slow_cost:.3f} s; pumpwitness with its "
          f"start {fast:.3f} s, on cores {fast_cost:.3f} s; ratio {slow / fast:.1f}, on cores "
          f"{slow_cost / fast_cost:.1f}")


main(globals())
