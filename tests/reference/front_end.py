"""The front end of hardware-notes by other means than the notes' formulas.

References: nodal analysis of the drawn circuit and numpy's linear algebra; scipy.signal for the
filter in frequency and time and for sampling; a random simulation of the converter; scipy.integrate
for the discharge of the hold-up.
"""

import math

import numpy as np
from common import board, budget, close, main
from scipy import integrate, signal


def nodal(hz):
    """Response of the drawn circuit without its gain, by nodal analysis; amplifiers ideal.

    Nodes: 0 connector filter, 1 and 2 of the second-order stage, 3 its output, 4 the pin.
    """
    f = board.design()["filter"]
    s = 2j * math.pi * hz
    g_in, g, g_pin = 1 / f["input_ohm"], 1 / f["stage_ohm"], 1 / f["pin_ohm"]
    y = np.zeros((5, 5), complex)
    b = np.zeros(5, complex)
    y[0, 0], b[0] = g_in + s * f["input_f"], g_in
    # Node 1: from the first amplifier's output (node 0's voltage), to node 2, and to the output.
    c1, c2 = f["stage_feedback_f"], f["stage_ground_f"]
    y[1, 0], y[1, 1], y[1, 2], y[1, 3] = -g, 2 * g + s * c1, -g, -s * c1
    y[2, 1], y[2, 2] = -g, g + s * c2
    # The second amplifier holds its output at node 2's voltage.
    y[3, 2], y[3, 3] = -1, 1
    y[4, 3], y[4, 4] = -g_pin, g_pin + s * f["pin_f"]
    return np.linalg.solve(y, b)[4]


def transfer():
    """The same as polynomials, for scipy.signal."""
    f = board.design()["filter"]
    f0, q = board.stage()
    w = 2 * math.pi * f0
    bottom = np.array([1 / w**2, 1 / (q * w), 1.0])
    for ohm, farad in ((f["input_ohm"], f["input_f"]), (f["pin_ohm"], f["pin_f"])):
        bottom = np.polymul(bottom, [ohm * farad, 1.0])
    return [1.0], bottom


def check_the_filter(_):
    top, bottom = transfer()
    for hz in (1.0, 50.0, 550.0, 2321.0, 5000.0, 19_950.0, 40_000.0):
        ours, theirs = board.analogue_response(hz), nodal(hz)
        assert abs(ours - theirs) < 1e-9, (hz, ours, theirs)
        _, spectrum = signal.freqs(top, bottom, [2 * math.pi * hz])
        assert abs(ours - spectrum[0]) < 1e-9, hz
    delay = -np.angle(nodal(50.0)) / (2 * math.pi * 50)
    close(board.delay_s() * 1e6, delay * 1e6, 0.2, "delay at 50 Hz, µs")


def frames(wave, seconds, late_s=0.0):
    """Frames of a wave (function of time) through filter, conversions and averaging."""
    r = board.rates()
    over = 32  # steps of the simulation in a conversion period
    t = np.arange(int(seconds * r["channel_hz"]) * over) / (r["channel_hz"] * over)
    _, filtered, _ = signal.lsim(transfer(), wave(t), t)
    at = int(round(late_s * r["channel_hz"] * over))
    converted = filtered[at::over]
    converted = converted[: len(converted) // r["over"] * r["over"]]
    return converted.reshape(-1, r["over"]).mean(axis=1)[200:]


def amplitude(series, hz):
    """Amplitude of one frequency in frames, by least squares."""
    t = np.arange(len(series)) / board.rates()["frames_hz"]
    design = np.column_stack([np.cos(2 * math.pi * hz * t), np.sin(2 * math.pi * hz * t), np.ones(len(t))])
    solution, *_ = np.linalg.lstsq(design, series, rcond=None)
    return math.hypot(*solution[:2])


def check_sampling(_):
    """A tone appears where, and as strong as, the table of sampling.md says."""
    for hz in (50, 550, 4950, 9950, 16_000, 19_950):
        lands = abs(hz - 5000 * round(hz / 5000))
        series = frames(lambda t, hz=hz: np.sin(2 * math.pi * hz * t), 0.3)
        got = 20 * math.log10(amplitude(series, lands))
        wanted = 20 * math.log10(abs(board.analogue_response(hz)) * abs(board.averaging_response(hz)))
        # The steps of the simulation blur the deep nulls a little.
        close(got, wanted, 0.05, f"{hz} Hz as {lands} Hz, dB")


def check_that_an_alias_keeps_its_power(_):
    """Why aliasing hardly matters to r.m.s. values: away from the mains' own lines powers add."""
    hz, share = 16_000, 0.2
    series = frames(lambda t: np.sin(2 * math.pi * 50 * t) + share * np.sin(2 * math.pi * hz * t), 0.44)[:2000]
    main_part = abs(board.analogue_response(50) * board.averaging_response(50))
    alias = share * abs(board.analogue_response(hz) * board.averaging_response(hz))
    close(np.sqrt(np.mean(series**2)), math.sqrt((main_part**2 + alias**2) / 2), 1e-5, "r.m.s. with a drive's switching")


def check_the_harmonics_lost(_):
    wave = lambda t: np.sin(2 * math.pi * 50 * t) + sum(  # noqa: E731
        p / 100 * np.sin(2 * math.pi * 50 * n * t + n) for n, p in budget.HARMONICS.items()
    )
    series = frames(wave, 0.44)[:2000]
    truth = math.sqrt((1 + sum((p / 100) ** 2 for p in budget.HARMONICS.values())) / 2)
    fundamental = abs(board.analogue_response(50) * board.averaging_response(50))
    got = np.sqrt(np.mean(series**2)) / fundamental
    close(100 * (1 - got / truth), budget.droop(), 0.001, "lost from the r.m.s. value, %")
    assert abs(fundamental - 1) < 2e-4


def check_power_with_channels_apart(_):
    """The channels' difference in delay as the notes have it, through simulated waves."""
    apart = 2 * board.design()["filter"]["capacitor_tolerance"] * board.delay_s()
    phi = math.acos(0.7)
    t = np.arange(200_000) / 1e6
    v, w = np.sin(2 * math.pi * 50 * t), 2 * math.pi * 50
    on_time = np.mean(v * np.sin(w * t - phi))
    late = np.mean(v * np.sin(w * (t - apart) - phi))
    close(100 * abs(late / on_time - 1), 100 * w * apart * math.tan(phi), 0.005, "power off, %")


def check_the_converter(_):
    """Gain of the converter with its wide codes, by random phases and the noise it is said to have:
    as converted, and as the code straightens it."""
    rng = np.random.default_rng(11)
    for spread in (None, 0.0, *budget.spreads()):
        edges = np.array(board.staircase(spread or 0.0))
        assert len(edges) == 4095 and abs(edges[-1] - 4095) < 1.0
        made = np.arange(4096.0) if spread is None else np.array(board.straightened())
        middle = 2048 + rng.uniform(-0.5, 0.5)
        for channel, rms in (("voltage", 230), ("voltage", 92), ("voltage", 322), ("current", 8), ("current", 24)):
            peak = board.steps_of(channel, rms)
            phase = rng.uniform(0, 2 * math.pi, 2_000_000)
            noise = rng.normal(0, board.design()["converter"]["noise_lsb"], len(phase))
            values = made[np.searchsorted(edges, middle + peak * np.sin(phase) + noise)]
            # Powers of noise and rounding come off: the gain is asked, not the floor.
            rms_steps = math.sqrt(np.var(values) - np.var(noise))
            got = rms_steps / (peak / math.sqrt(2))
            close(got, board.converter_gain(peak, spread), 6e-4, f"{channel} {rms} {spread}")
            if spread == 0.0:
                close(got, 1.0, 6e-4, f"{channel} {rms} straightened")


def check_what_the_code_straightens(_):
    """The code's own integers, read from it, against the widths of the design file."""
    c = board.design()["converter"]
    assert board.constant("WIDE_BY_PERMILLE") == 1000 * c["wide_by_lsb"]
    log2, half = board.constant("WIDE_LOG2"), board.constant("WIDE_HALF")
    assert [half + (n << log2) for n in range(board.constant("WIDE_COUNT"))] == c["wide_codes"]
    narrow, broad = board.widths(c["wide_by_lsb"])
    for code, value in enumerate(board.straightened()):
        passed = ((code + half - 1) >> log2) + ((code + half) >> log2)
        assert abs(narrow * code + (broad - narrow) / 2 * passed - value) < 0.01, code


def check_the_hold_up(_):
    load, h = board.design()["supply"]["load_a"], board.hold_up()

    def lasts(farad, ohm):
        """Seconds until the voltage at the load has fallen to the end."""
        low = lambda t, q: q[0] / farad - load * ohm - h["end_v"]  # noqa: E731
        low.terminal = True
        run = integrate.solve_ivp(lambda t, q: [-load], (0, 60), [farad * h["start_v"]], events=low, max_step=0.01)
        return run.t_events[0][0]

    close(h["plain_s"] * 1e3, lasts(h["plain_f"], 0) * 1e3, 0.1, "small capacitor, ms")
    close(h["old_s"], lasts(h["old_f"], h["old_ohm"]), 0.01, "large one at its end, s")


main(globals())
