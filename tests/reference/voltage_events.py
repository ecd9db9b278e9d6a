"""Dips, swells and interruptions against real and synthetic waveforms.

References: a measured three-phase voltage dip (COMTRADE record `test_data2` in the source archive of
`pyComtrade` 0.2.0, GPL-3.0, fetched when the check runs), and labelled disturbances made by `pqdpy`
0.1.0. The r.m.s. over one cycle, renewed each half cycle, is taken here with numpy, and events are
found here by the rule of IEC 61000-4-30 clause 5.4 (clause number from memory): below 90 % of the
reference (above 110 %), until back by 2 % hysteresis; below 5 % it is an interruption (EN 50160).
"""

import numpy as np
import pandas as pd
from common import analyse, close, main, seconds, stamp
from common.disturbances import half_cycle_rms, measured_dip, synthetic

NOMINAL_V = 230.0
SITE = """[supply]
nominal_v = 230
frequency_hz = {hz}
[motor]
rated_current_a = 5
"""
KINDS = ("voltage-dip", "voltage-swell", "interruption")
# Settled supply before and after each waveform, half cycles.
QUIET = 120


def events(per_unit, half_s):
    """Events of a series of half-cycle values: kind, start s, end s, extreme per unit."""
    found, open_ = [], None
    for n, u in enumerate(per_unit):
        if open_ is not None:
            low, first, extreme = open_
            if (u < 0.92) if low else (u > 1.08):
                open_ = (low, first, min(extreme, u) if low else max(extreme, u))
                continue
            kind = KINDS[2] if low and extreme < 0.05 else KINDS[0] if low else KINDS[1]
            found.append((kind, first * half_s, n * half_s, extreme))
            open_ = None
        if u < 0.9 or u > 1.1:
            open_ = (u < 0.9, n, u)
    assert open_ is None, "an event without an end"
    return found


def table(per_unit, half_s, per_row):
    """Rows of `per_row` half cycles: r.m.s. of them, least and largest."""
    whole = len(per_unit) // per_row * per_row
    rows = NOMINAL_V * np.asarray(per_unit[:whole]).reshape(-1, per_row)
    return pd.DataFrame({
        "time": [stamp((n + 1) * per_row * half_s) for n in range(len(rows))],
        "voltage_v": np.sqrt(np.mean(rows**2, axis=1)).round(3),
        "voltage_min_v": rows.min(axis=1).round(3),
        "voltage_max_v": rows.max(axis=1).round(3),
        "current_a": 0.0,
    })


def seen(analysis):
    """Events of an analysis, as those of `events`."""
    found = [
        (f["kind"], seconds(o["start"]), seconds(o["end"]), o["value"] / NOMINAL_V)
        for f in analysis["findings"] if f["kind"] in KINDS for o in f["occurrences"]
    ]
    return sorted(found, key=lambda event: event[1])


def compare(got, wanted, within_s):
    assert len(got) == len(wanted), (len(got), len(wanted), got[:5], wanted[:5])
    worst = 0.0
    for mine, reference in zip(got, wanted):
        assert mine[0] == reference[0], (mine, reference)
        assert abs(mine[3] - reference[3]) < 1e-4, (mine, reference)
        worst = max(worst, abs(mine[1] - reference[1]), abs(mine[2] - reference[2]))
    print(f"  {len(got)} events, farthest edge {worst * 1000:.0f} ms off")
    assert worst <= within_s, worst


def check_a_measured_dip(folder):
    waves, _, per_cycle = measured_dip(folder)
    half_s = 1 / 120
    # Residual voltage of each phase, as found once by hand from this record.
    for name, wave, residual in zip("ABC", waves, (0.714, 0.874, None)):
        rms = half_cycle_rms(wave, per_cycle)
        per_unit = rms / np.median(rms[:20])
        per_unit = np.concatenate([np.ones(QUIET), per_unit, np.ones(QUIET)])
        wanted = events(per_unit, half_s)
        assert len(wanted) == (0 if residual is None else 1), wanted
        for event in wanted:
            close(event[3], residual, 0.0006, f"residual of phase {name}")
        site = SITE.format(hz=60)
        # Times of rows are whole milliseconds: an edge may be one off.
        compare(seen(analyse(table(per_unit, half_s, 1), site, folder)), wanted, half_s)
        # The logger's own rows of 12 cycles: the edge is worked out from mean and extremes.
        compare(seen(analyse(table(per_unit, half_s, 24), site, folder)), wanted, 0.2)


def per_unit_of(make, folder):
    """200 waveforms of one class in a row, settled supply between them: half-cycle values."""
    parts = [np.ones(QUIET)]
    for wave in synthetic(make, folder):
        parts += [half_cycle_rms(wave, 64) * np.sqrt(2), np.ones(QUIET)]
    return np.concatenate(parts)


def disturbances(make, folder, at_least, kinds):
    per_unit = per_unit_of(make, folder)
    wanted = events(per_unit, 0.01)
    assert at_least <= len(wanted) <= 200, len(wanted)
    assert {event[0] for event in wanted} <= kinds
    compare(seen(analyse(table(per_unit, 0.01, 1), SITE.format(hz=50), folder)), wanted, 0.01)


def check_600_labelled_disturbances(folder):
    disturbances("sag", folder, 195, {"voltage-dip"})
    disturbances("swell", folder, 195, {"voltage-swell"})
    disturbances("interruption", folder, 200, {"voltage-dip", "interruption"})


def check_no_alarm_without_an_event(folder):
    for make in ("normal", "harmonics"):
        per_unit = per_unit_of(make, folder)
        assert not events(per_unit, 0.01)
        assert not seen(analyse(table(per_unit, 0.01, 1), SITE.format(hz=50), folder))


main(globals())
