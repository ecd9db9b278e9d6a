"""The logger's own metering, from frames to half waves and voltage events, against numpy and scipy.

The code that runs in the logger gets waveforms as converter counts (`firmware/core/examples/waveforms`)
and tells where each half wave lies and what it amounted to. Here the same stretches of the waveform are
integrated by numpy from the waveform itself; frequencies are fitted by `scipy.optimize.curve_fit`.
Events are found here by the rule of IEC 61000-4-30 clause 5.4 (from memory), in the same half cycles
and in others. Waveforms: formulas; a measured three-phase dip (`pyComtrade` 0.2.0, GPL-3.0, fetched when
the check runs); labelled disturbances made by `pqdpy` 0.1.0.
Tolerances are the project's own goals (hardware-notes/accuracy.md) unless said.
"""

import subprocess
from itertools import product

import numpy as np
from common import NotHere, main, program
from common.disturbances import cycle_means, half_cycle_rms, measured_dip, synthetic
from scipy.optimize import curve_fit
from scipy.signal import resample_poly

VOLT, AMPERE = 15.258789e-3, 3.051758e-3  # of one count
RANGE_V, RANGE_A = 353.6, 70.7  # r.m.s. of a sine (hardware-notes/channels.md)
RATE = 5000
# Orders and shares of a bad but real supply; the current has twice the share (common practice).
HARMONICS = {3: 0.10, 5: 0.08, 7: 0.06, 11: 0.03, 13: 0.03, 25: 0.01}
FREQUENCIES = ((50, 42.5), (50, 50.0), (50, 57.5), (60, 51.0), (60, 60.0), (60, 69.0))
# In the first second offsets are found.
SETTLED_S = 1.0
DENSE = 40  # points of the reference integral to a frame


def metered(nominal_hz, rate, volts, amperes, nominal_v=230):
    """Half waves (start s, length s, V r.m.s., A r.m.s., W) and events of frames in V and A."""
    example = program().parent / "examples/waveforms"
    if not example.is_file():
        raise NotHere(f"{example} is not built: cargo build --release --examples -p pumpwitness-core")
    counts = np.column_stack([np.round(volts / VOLT), np.round(amperes / AMPERE)])
    assert np.abs(counts).max() < 32_768
    done = subprocess.run(
        [example, str(nominal_hz), str(rate), str(nominal_v)], input=counts.astype("<i2").tobytes(),
        capture_output=True, check=True, timeout=120,
    )
    lines = [line.split(",") for line in done.stdout.decode().splitlines()]
    late_s = int(lines[0][1]) / 1e6
    halves = np.array([line[1:6] for line in lines if line[0] == "half"], float)
    length = halves[:, 1] / 1e6
    first = halves[0, 0] / rate - late_s - length[0]
    start = first + np.concatenate([[0], np.cumsum(length)[:-1]])
    told = [(line[1], int(line[2]) / 1e3 + first, int(line[3]), float(line[4]))
            for line in lines if line[0] == "event"]
    volts, amperes = np.sqrt(halves[:, 2]) / 1e3, np.sqrt(halves[:, 3]) / 1e3
    return np.column_stack([start, length, volts, amperes, halves[:, 4] / 1e3]), told


def converted(signal, seconds, step, noise, random):
    """Frames of a signal (a function of s): four conversions each of a 12-bit converter."""
    t = np.arange(int(seconds * RATE) * 4) / (4 * RATE)
    codes = np.round(signal(t) / (16 * step) + noise * random.standard_normal(len(t)))
    # A frame is their sum; its moment is their middle.
    return codes.reshape(-1, 4).sum(axis=1) * 4 * step, 1.5 / (4 * RATE)


def integrated(signal, halves):
    """Mean of a signal over each half wave, by numpy."""
    means = np.empty(len(halves))
    for n, (start, length) in enumerate(halves[:, :2]):
        count = int(np.ceil(length * RATE * DENSE))
        means[n] = signal(start + (np.arange(count) + 0.5) * length / count).mean()
    return means


def fitted_hz(wave, guess):
    """Frequency of the fundamental of a steady wave, by least squares."""
    at = np.arange(len(wave)) / RATE

    def sine(t, a, b, c, hz):
        return a * np.sin(2 * np.pi * hz * t) + b * np.cos(2 * np.pi * hz * t) + c

    return curve_fit(sine, at, wave, (325, 0, 0, guess))[0][-1]


def steady(nominal, hz, harmonics, offset, random):
    """Largest errors of intervals of 10 or 12 cycles: voltage and current, share of the range;
    power, share of the reading; frequency, Hz."""

    def wave(t, rms, lag, share):
        angle = 2 * np.pi * hz * t
        orders = [share * part * np.sin(n * angle + share * n) for n, part in harmonics.items()]
        return rms * np.sqrt(2) * (np.sin(angle - lag) + sum(orders))

    def volts(t):
        return wave(t, 230, 0, 1)

    def amps(t):
        return wave(t, 8, np.arccos(0.8), 2)

    v, middle = converted(lambda t: volts(t) + 3.5 * offset, 4, VOLT, 2, random)
    i, _ = converted(lambda t: amps(t) - 0.7 * offset, 4, AMPERE, 2, random)
    halves, told = metered(nominal, RATE, v, i)
    assert not told, told
    halves[:, 0] += middle
    per_interval = 24 if nominal == 60 else 20
    halves = halves[halves[:, 0] > SETTLED_S]
    halves = halves[: len(halves) // per_interval * per_interval]
    lengths = halves[:, 1].reshape(-1, per_interval)

    def mean(halves_means):
        return np.average(halves_means.reshape(-1, per_interval), axis=1, weights=lengths)

    def error(mine, signal):
        return np.abs(mine - np.sqrt(mean(integrated(lambda t: signal(t) ** 2, halves)))).max()

    power = mean(integrated(lambda t: volts(t) * amps(t), halves))
    return [
        error(np.sqrt(mean(halves[:, 2] ** 2)), volts) / RANGE_V,
        error(np.sqrt(mean(halves[:, 3] ** 2)), amps) / RANGE_A,
        np.abs(mean(halves[:, 4]) / power - 1).max(),
        np.abs(per_interval / 2 / lengths.sum(axis=1) - fitted_hz(v[RATE:], hz * 1.0005)).max(),
    ]


def check_steady_supplies(_):
    random = np.random.default_rng(2026)
    states = product(FREQUENCIES, ({}, HARMONICS), (0, 1))
    errors = [steady(*hz, harmonics, offset, random) for hz, harmonics, offset in states]
    voltage, current, power, hz = np.max(errors, axis=0)
    print(f"  voltage {voltage:.3%} of range, current {current:.3%}, power {power:.3%} of reading, "
          f"frequency {hz * 1e3:.1f} mHz")
    assert voltage <= 1e-3 and current <= 1e-3 and power <= 2e-3 and hz <= 0.010


def check_half_waves_of_a_start_and_a_dip(_):
    """Each half wave by itself, through what a motor's start and a fault on the line do."""
    random = np.random.default_rng(11)
    worst = np.zeros(2)
    for nominal, hz in FREQUENCIES:

        def volts(t, hz=hz):
            left = np.where((t > 2.013) & (t < 2.171), 0.55, 1.0)
            return left * 230 * np.sqrt(2) * np.sin(2 * np.pi * hz * t)

        def amps(t, hz=hz):
            since = (t - 1.4).clip(0)
            rms = 1.5 + 4.5 * (t > 1.4) * np.exp(-since / 0.25)
            # The direct component of a start dies away with the motor's own time constant.
            direct = 5 * (t > 1.4) * np.exp(-since / 0.02)
            return rms * np.sqrt(2) * np.sin(2 * np.pi * hz * t - 0.7) + direct

        v, middle = converted(volts, 4, VOLT, 0.5, random)
        i, _ = converted(amps, 4, AMPERE, 0.5, random)
        halves, told = metered(nominal, RATE, v, i)
        halves[:, 0] += middle
        halves = halves[halves[:, 0] > SETTLED_S]
        off_v = halves[:, 2] - np.sqrt(integrated(lambda t: volts(t) ** 2, halves))
        off_a = halves[:, 3] - np.sqrt(integrated(lambda t: amps(t) ** 2, halves))
        worst = np.maximum(worst, [np.abs(off_v).max() / RANGE_V, np.abs(off_a).max() / RANGE_A])
        (kind, begun, length, extreme), = told
        assert kind == "Dip" and abs(extreme - 230 * 0.55) <= 0.5, told
        assert abs(begun - 2.013) <= 1 / hz and abs(length / 2 / hz - 0.158) <= 1 / hz, told
    print(f"  farthest half wave: {worst[0]:.3%} of the voltage range, {worst[1]:.3%} of the current's")
    # A single half wave of a wave with a step in it: twice the goal for a cycle.
    assert worst[0] <= 2e-3 and worst[1] <= 2e-3, worst


def cycles_of(means, halves):
    """Means over one cycle, renewed each half cycle, from those over half waves."""
    energy, length = means * halves[:, 1], halves[:, 1]
    return (energy[1:] + energy[:-1]) / (length[1:] + length[:-1])


def by_rule(per_unit):
    """Events with hysteresis of 2 %, each kind by itself: kind, first and last cycle, extreme."""
    found = []
    for kind, sign, starts, ends in (
            ("Dip", 1, 0.90, 0.92), ("Swell", -1, 1.10, 1.08), ("Interruption", 1, 0.05, 0.07)):
        open_at = None
        for n, u in enumerate(sign * per_unit):
            if open_at is None and u < sign * starts:
                open_at = n
            elif open_at is not None and u >= sign * ends:
                extreme = sign * (sign * per_unit[open_at:n]).min()
                found.append((kind, open_at, n, extreme))
                open_at = None
        assert open_at is None, "an event without an end"
    return sorted(found)


def same_events(told, halves, cycles, grid, half_s, nominal_v):
    """The logger's events are those of the same cycles' values taken here, and nearly those of
    half cycles that begin anywhere."""
    here, elsewhere, told = by_rule(cycles / nominal_v), by_rule(grid / nominal_v), sorted(told)
    names = [[event[0] for event in events] for events in (told, here, elsewhere)]
    assert names[0] == names[1] == names[2], [len(n) for n in names]
    worst = 0.0
    for (_, start, length, extreme), mine, other in zip(told, here, elsewhere):
        # An event begins when its first cycle is complete. Marks are kept to the millisecond and
        # tenth of a volt; the standard allows 0.2 % of nominal.
        assert abs(start - halves[mine[1] + 1, :2].sum()) <= 2e-3, (start, mine)
        assert length == mine[2] - mine[1], (length, mine)
        assert abs(extreme / nominal_v - mine[3]) <= 0.002, (extreme, mine)
        assert abs(start - (other[1] + 2) * half_s) <= 2 * half_s, (start, other)
        assert abs(length - (other[2] - other[1])) <= 2, (length, other)
        worst = max(worst, abs(extreme / nominal_v - other[3]))
    print(f"  {len(told)} events; residual voltage by half cycles that begin elsewhere differs by at "
          f"most {worst:.2%} of nominal")


def played(hz, rate, volts, amps, per_cycle, nominal_v=230):
    """Frames through the logger's code; every cycle's voltage, and the events, are the waveform's."""
    halves, told = metered(hz, rate, volts, amps, nominal_v)
    at = np.arange(len(volts)) / rate
    halves = halves[(halves[:, 0] > SETTLED_S) & (halves[:, :2].sum(axis=1) < at[-1])]
    # Between frames the products run straight: the trapezoidal rule.
    square, power = (lambda t, w=wave: np.interp(t, at, w) for wave in (volts**2, volts * amps))
    theirs = np.sqrt(cycles_of(integrated(square, halves), halves))
    off_v = np.abs(np.sqrt(cycles_of(halves[:, 2] ** 2, halves)) - theirs).max()
    off_w = np.abs(cycles_of(halves[:, 4] - integrated(power, halves), halves)).max()
    same_events(told, halves, theirs, half_cycle_rms(volts, per_cycle), 0.5 / hz, nominal_v)
    print(f"  farthest of {len(theirs)} cycles: {off_v:.2f} V, {off_w:.1f} W")
    assert off_v <= 1e-3 * RANGE_V and off_w <= 1e-3 * RANGE_V * RANGE_A, (off_v, off_w)
    return told


def check_a_measured_dip(folder):
    waves, currents, per_cycle = measured_dip(folder)
    rate = 60 * per_cycle
    cycles = np.arange(-60, 0, 1 / per_cycle)
    for name, wave, current in zip("ABC", waves, currents):
        # Phase B carries a direct offset of the instrument that recorded it, 2 % of the voltage.
        wave, current = (w - np.median(cycle_means(w, per_cycle)) for w in (wave, current))
        wave = wave * 230 / np.median(half_cycle_rms(wave, per_cycle)[:20])
        current = current * 40 / np.abs(current).max()
        # Settled supply before the record, in step with it.
        first = wave[: 4 * per_cycle] * np.exp(-2j * np.pi * np.arange(4 * per_cycle) / per_cycle)
        before = 325.27 * np.cos(2 * np.pi * cycles + np.angle(first.sum()))
        print(f"  phase {name}:")
        told = played(60, rate, np.concatenate([before, wave]),
                      np.concatenate([np.zeros(len(before)), current]), per_cycle)
        assert len(told) == (name != "C")


def check_labelled_disturbances(folder):
    """200 each of sags, swells and interruptions, settled supply between them."""
    quiet = np.sin(2 * np.pi * np.arange(64 * 50) / 64)
    for make, least in (("sag", 195), ("swell", 195), ("interruption", 200), ("normal", 0)):
        waves = [quiet]
        for wave in synthetic(make, folder):
            waves += [wave, quiet[: 64 * 30]]
        # 120 V: the swells reach 1.8 times the nominal peak and must not clip.
        volts = resample_poly(np.concatenate(waves), 2, 1) * 120 * np.sqrt(2)
        print(f"  {make}:")
        told = played(50, 6400, volts, np.zeros(len(volts)), 128, 120)
        assert least <= len(told) <= 2 * least, len(told)


main(globals())
