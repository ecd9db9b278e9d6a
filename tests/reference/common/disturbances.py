"""Waveforms of voltage events from outside.

A measured three-phase dip with its currents (COMTRADE record `test_data2` in the source archive of
`pyComtrade` 0.2.0, GPL-3.0) and labelled disturbances made by `pqdpy` 0.1.0; both fetched when a check
runs, nothing of them kept.
"""

import sys
import types

import numpy as np

from . import fetch_source


def half_cycle_rms(wave, per_cycle):
    """r.m.s. over one cycle, renewed each half cycle; the first ends with the first cycle."""
    half = per_cycle // 2
    ends = range(per_cycle, len(wave) + 1, half)
    return np.array([np.sqrt(np.mean(np.square(wave[end - per_cycle : end]))) for end in ends])


def cycle_means(wave, per_cycle):
    """Mean of each whole cycle."""
    return wave[: len(wave) // per_cycle * per_cycle].reshape(-1, per_cycle).mean(axis=1)


def measured_dip(folder):
    """Phase voltages of the measured record, kV, phase currents, kA, and frames a cycle."""
    base = next(fetch_source("pyComtrade", "0.2.0", folder).glob("*/examples/test_data2"))
    lines = (base / "test2.cfg").read_text().splitlines()
    analog, digital = (int(n[:-1]) for n in lines[1].split(",")[1:])
    words = -(-digital // 16)
    layout = np.dtype([("n", "<u4"), ("us", "<u4"), ("a", "<i2", analog), ("d", "<u2", words)])
    data = np.fromfile(base / "test2.dat", layout)
    assert len(data) == 13_248 and 5760 == int(lines[2 + analog + digital + 2].split(",")[0])
    scale = [[float(x) for x in line.split(",")[5:7]] for line in lines[2 : 2 + analog]]
    channels = [data["a"][:, n] * scale[n][0] + scale[n][1] for n in range(analog)]
    return channels[:3], channels[3:6], 5760 // 60


def synthetic(make, folder):
    """200 waveforms of one class of `pqdpy`, 640 points at 3200 Hz, 50 Hz, undisturbed peak 1."""
    if "pqdpy" not in sys.modules:
        # Two of its modules are enough; the package itself asks to be installed.
        source = next(fetch_source("pqdpy", "0.1.0", folder).glob("*/**/synthetic.py"))
        sys.modules["pqdpy"] = types.ModuleType("pqdpy")
        sys.modules["pqdpy"].__path__ = [str(source.parent)]
    from pqdpy import synthetic as source

    np.random.seed(2026)
    waves = [np.asarray(s["Values"]) for s in getattr(source, make)(signals_quant=200)]
    assert all(len(wave) == 640 for wave in waves)
    return waves
