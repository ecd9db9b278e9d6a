"""Runs and starts in measured currents of motors, against numpy and scipy.

Measured data, in the package `sktime` 1.2.0 (BSD-3-Clause; the licence of the data itself is not
stated, so the package is fetched when the check runs and nothing of it is kept):

- ACSF1 (Gisler et al., WoSSPA 2013): an hour each of appliances at the socket in rows of 10 s. Its four
  quantities stand by turns: reactive power, active power, voltage, current (told apart by what they do:
  the description does not say), all by one straight line of the real ones. The line is found again from
  no current being 0 and the mean voltage being the nominal 230 V of the country of origin.
- PLAID (Gao et al., BuildSys 2014): switch-on transients of appliances, a quantity derived from the
  current, unit unknown. Its ripple has twice the 60 Hz of the supply, which gives the time scale.

Runs are found here by half the median of the current while it flows, and `scipy.ndimage.label`.
"""

import numpy as np
import pandas as pd
from common import analyse, fetch_wheel, main, seconds, stamp
from scipy import ndimage

SITE = """[supply]
nominal_v = 230
frequency_hz = 50
[motor]
rated_current_a = {rated}
"""
ROW_S = 10


def series_of(path):
    """Label and values of each series of a file in the package's text form."""
    for line in path.read_text(encoding="utf-8-sig").splitlines():
        if line and line[0] not in "#@":
            values, label = line.rsplit(":", 1)
            yield label, np.array([float(value) for value in values.split(",")])


def hours(folder, label):
    """Voltage V, current A, power W of every measured hour of a class."""
    data = fetch_wheel("sktime", "1.2.0", folder) / "sktime/datasets/data/ACSF1"
    for name in ("ACSF1_TRAIN.ts", "ACSF1_TEST.ts"):
        for _, values in (one for one in series_of(data / name) if one[0] == label):
            _, watts, volts, amps = values.reshape(-1, 4).T
            zero = np.quantile(amps, 0.02)
            unit = 230 / (volts.mean() - zero)
            yield (volts - zero) * unit, (amps - zero) * unit, (watts - zero) * unit


def switched(amps):
    """Rows in which the appliance is on, where its current has but two levels; else None."""
    usual = np.median(amps[amps > 0.1])
    on = amps > 0.5 * usual
    # A third level (a lamp, a fan) or a row shared by on and off leaves open what a run is.
    between = (amps > 0.15 * usual) & (amps < 0.75 * usual)
    clear = not between.any() and np.quantile(amps[on], 0.95) < 2 * usual
    return on if clear else None


def compared(folder, label, hours_least, runs_least):
    """Compares every clear hour of a class."""
    clear = total = 0
    for volts, amps, watts in hours(folder, label):
        on = switched(amps)
        if on is None:
            continue
        table = pd.DataFrame({
            "time": [stamp((row + 1) * ROW_S) for row in range(len(amps))],
            "voltage_v": volts.round(2), "current_a": amps.clip(0).round(4),
            "power_w": watts.clip(0).round(2),
        })
        site = SITE.format(rated=round(float(np.median(amps[on])), 2))
        analysis = analyse(table, site, folder)
        wanted = [(rows.start, rows.stop) for (rows,) in ndimage.find_objects(ndimage.label(on)[0])]
        runs = analysis["runs"]
        assert len(runs) == len(wanted), (len(runs), wanted)
        for run, (first, last) in zip(runs, wanted):
            assert abs(seconds(run["start"]) - first * ROW_S) <= ROW_S / 2, (run["start"], first)
            stop = run["stop"] or stamp(len(amps) * ROW_S)
            assert abs(seconds(stop) - last * ROW_S) <= ROW_S / 2, (stop, last)
        kwh = watts.clip(0).sum() * ROW_S / 3.6e6
        got = analysis["statistics"]["energy_kwh"]
        assert abs(got - kwh) <= 0.002 * kwh, (got, kwh)
        clear, total = clear + 1, total + len(runs)
    print(f"  class {label}: {total} runs in {clear} hours")
    assert clear >= hours_least and total >= runs_least


def check_an_hour_each_of_appliances(folder):
    # Fridges and freezers: compressors. Then two classes of heaters in bursts of a row or two.
    compared(folder, "0", 15, 30)
    compared(folder, "3", 3, 20)
    compared(folder, "8", 4, 25)


ON_A, HELD_S, FINE_S = 5.0, 20.0, 0.01


def transients(folder, label):
    """Switch-on transients of a class: mean over each period of the ripple, steady value 5 A."""
    data = fetch_wheel("sktime", "1.2.0", folder) / "sktime/datasets/data/PLAID"
    for name in ("PLAID_TRAIN.ts", "PLAID_TEST.ts"):
        for _, wave in (one for one in series_of(data / name) if one[0] == label):
            settled = wave[-len(wave) // 4 :]
            spectrum = np.abs(np.fft.rfft(settled - settled.mean()))
            period = len(settled) / spectrum.argmax() if spectrum.any() else 0
            steady = settled.mean()
            if not 3 < period < 30 or wave[:5].max() > 0.05 * steady:
                continue  # no ripple to tell the time by, or on from the beginning
            ends = np.arange(0, len(wave), period)
            total = np.interp(ends, np.arange(len(wave) + 1), np.concatenate([[0], wave.cumsum()]))
            yield np.diff(total) / period / steady * ON_A


def starts_of(folder, label, least):
    """All transients of a class in a row, each held on and followed by a rest."""
    times, amps, wanted, now = [], [], [], 0.0

    def add(values, row_s):
        nonlocal now
        for value in values:
            now += row_s
            times.append(now)
            amps.append(value)

    held = int(HELD_S / 0.2)
    for rows in transients(folder, label):
        add(np.zeros(held), 0.2)
        began = [now + FINE_S * np.argmax(rows > share * ON_A) for share in (0.1, 0.5)]
        add(rows, FINE_S)
        add(np.full(held, ON_A), 0.2)
        wanted.append((began, now, rows.max()))
    add(np.zeros(held), 0.2)
    table = pd.DataFrame({
        "time": [stamp(t) for t in times],
        "voltage_v": 230.0,
        "current_a": np.clip(amps, 0, None).round(4),
    })
    runs = analyse(table, SITE.format(rated=ON_A), folder)["runs"]
    assert len(runs) == len(wanted) >= least, (len(runs), len(wanted))
    for run, (start, stop, peak) in zip(runs, wanted):
        # Some rise in steps, a blower before a compressor: then the start is in between.
        first, half = start
        assert first - 2 * FINE_S <= seconds(run["start"]) <= half + 2 * FINE_S, (run["start"], start)
        assert abs(seconds(run["stop"]) - stop) <= FINE_S, (run["stop"], stop)
        assert abs(run["peak_current_a"] - peak) <= 1e-3, (run["peak_current_a"], peak)
        assert abs(run["running_current_a"] - ON_A) <= 0.01 * ON_A, run
    times = np.median([run["peak_current_a"] for run in runs]) / ON_A
    print(f"  class {label}: {len(runs)} starts, median inrush {times:.2f} times the steady current")


def check_starts_of_motors(folder):
    # Air conditioners, fans, vacuum cleaners.
    starts_of(folder, "0", 50)
    starts_of(folder, "2", 50)
    starts_of(folder, "9", 20)


main(globals())
