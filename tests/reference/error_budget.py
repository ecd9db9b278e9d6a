"""The error budgets of hardware-notes by other means.

References: worked sums of the GUM (JCGM 100:2008; example H.1 as published, from memory), and
propagation of distributions by the Monte Carlo method (JCGM 101:2008) with numpy. Clause 8 (from
memory) asks that the ends of the 95 % interval agree within half a unit of the last digit of the
standard uncertainty. Where one even distribution outweighs the others, the interval of the GUM is
wider than the true one: 1.96 ÷ √3 ÷ 0.95 = 1.19 times, if it stood alone. That side is allowed as
much, the other is not.
"""

import math

import numpy as np
from common import budget, close, main

DRAWS = 1_000_000


def line(**entry):
    return budget.Line({"what": "", "basis": "", **entry})


def check_worked_sums(_):
    # Rectangular ±0.10, standard 0.05, certificate 0.03 with k = 2.
    u, _ = budget.combined([line(half="0.10"), line(expanded="2 * 0.05"), line(expanded="0.03")])
    close(u, 0.07784, 5e-6, "pressure example")
    # Voltage ±0.5 %, current ±1.0 %, phase ±0.5° at power factor 0.7.
    tangent = math.tan(math.acos(0.7)) * math.pi / 180 * 100
    u, _ = budget.combined([line(half="0.5"), line(half="1.0"), line(half=f"0.5 * {tangent}")])
    close(u, 0.82515, 5e-6, "power example")
    # H.1, end gauge: 25, 9.7, 2.9 and 16.6 nm; published as 32 nm.
    u, _ = budget.combined([line(expanded=f"2 * {x}") for x in (25, 9.7, 2.9, 16.6)])
    close(u, 31.67, 0.01, "end gauge, nm")


def check_degrees_of_freedom(_):
    """Example G.4.1 b of the GUM's annex G in form: one reading of few among others."""
    lines = [line(type_a="3", readings=9), line(expanded="2 * 1")]
    u, freedom = budget.combined(lines)
    close(u, math.sqrt(2), 1e-12, "combined")
    close(freedom, 8 * 2**2, 1e-9, "effective degrees of freedom")


def draws(rng, entry):
    """Values of one line, in its unit, before its weight."""
    if entry.kind == "even":
        return rng.uniform(-entry.half, entry.half, DRAWS)
    if entry.kind == "normal":
        return rng.normal(0, entry.u, DRAWS)
    # Mean of few readings: Student's t (JCGM 101, 6.4.9).
    return entry.u * rng.standard_t(entry.freedom, DRAWS)


def propagated(name, lines, rng):
    """Deviation of the result, %: factors multiplied and the phase through the cosine, not added."""
    factor, angle = np.ones(DRAWS), np.zeros(DRAWS)
    for entry in lines:
        x = draws(rng, entry)
        if name == "power" and entry.what.startswith("phase"):
            # The line's unit is % of power; back to an angle.
            angle += x / 100 / math.tan(math.acos(0.8))
        else:
            factor *= (1 + x / 100) ** entry.weight
    phi = math.acos(0.8)
    return 100 * (factor * np.cos(phi - angle) / math.cos(phi) - 1)


def check_against_the_monte_carlo_method(_):
    rng = np.random.default_rng(20_260_302)
    every = [(name, b) for way in (True, False) for name, b in budget.budgets(way).items()]
    for name, (title, unit, lines) in every:
        u, freedom = budget.combined(lines)
        assert freedom > 100, f"{name}: k = 2 is too small"
        values = propagated(name, lines, rng)
        low, high = np.quantile(values, (0.025, 0.975))
        # u stated with one digit.
        tolerance = 0.5 * 10.0 ** math.floor(math.log10(u))
        print(f"  {title}: ±{1.96 * u:.3f} by the GUM, {low:.3f} to {high:.3f} by Monte Carlo, {unit}")
        for end in (-low, high):
            assert end - 1.96 * u <= tolerance, f"{name}: the GUM's interval is too narrow"
            assert 1.96 * u - end <= max(tolerance, 0.19 / 1.19 * u * 1.96), f"{name}: and too wide"
        close(values.std(), u, 0.005 * u, "standard uncertainty")
        # What the notes state with k = 2 covers at least what it says.
        assert np.mean(np.abs(values) <= 2 * u) > 0.95, name


def check_that_the_largest_lines_matter(_):
    """A budget in which a doubled line goes unnoticed has not been summed."""
    for name, (_, _, lines) in budget.budgets().items():
        u, _ = budget.combined(lines)
        for entry in lines:
            others, _ = budget.combined([x for x in lines if x is not entry])
            assert abs(math.hypot(others, entry.part) - u) < 1e-12, (name, entry.what)


main(globals())
