"""What `compare` says, against scipy: rank sums, exact rate tests, their correction, quantiles.

References: `scipy.stats.mannwhitneyu(method="asymptotic")`, `scipy.stats.binomtest` (p and the exact
interval of Clopper and Pearson), Holm's correction by `statsmodels.stats.multitest.multipletests`,
`numpy.quantile`. The runs compared are those that `analyse` lists, so that only the statistics are
tested here. Two records of the same site of which nothing differs but chance must not differ.
"""

import json

import numpy as np
from common import analyse, close, main, run, seconds, stamp
from scipy import stats
from statsmodels.stats.multitest import multipletests

SITE = """[supply]
nominal_v = 230
frequency_hz = 50
phases = 1
[motor]
rated_current_a = 7
[control]
kind = "pressure-switch"
cut_in_bar = 2.0
cut_out_bar = 3.5
"""


def record(folder, name, first_day, days, run_s, rest_s, current_a, seed):
    """A table of one row a second: runs of about `run_s`, rests of about `rest_s`."""
    random = np.random.default_rng(seed)
    rows, at, end = [], first_day * 86400, (first_day + days) * 86400
    while at < end:
        for on, length in ((True, random.normal(run_s, run_s / 8)),
                           (False, random.normal(rest_s, rest_s / 5))):
            for n in range(max(int(length), 5)):
                share = n / max(length, 5)
                bar = 2.0 + 1.5 * share if on else 3.5 - 1.5 * share
                amperes = random.normal(current_a, 0.05) if on else 0.0
                rows.append(f"{stamp(at)},{random.normal(230, 0.5):.2f},{max(amperes, 0):.3f},{bar:.3f}")
                at += 1
    path = folder / name
    path.write_text("time,voltage_v,current_a,pressure_bar\n" + "\n".join(rows) + "\n")
    return path


def compared(folder, first, second):
    (folder / "site.toml").write_text(SITE)
    said = run("compare", first, second, "--site", folder / "site.toml", "--json", folder=folder)
    return json.loads(said)


def samples(folder, table):
    """Run lengths, rests and currents of complete runs, and starts by whole day, as numpy sees them."""
    found = analyse(table, SITE, folder)
    start, end = seconds(found["recording"]["start"]), seconds(found["recording"]["end"])
    runs = found["runs"]
    whole = [r for r in runs if r["stop_reason"] and seconds(r["start"]) > start]
    lengths = np.array([r["duration_s"] for r in whole])
    rests = np.array([seconds(b["start"]) - seconds(a["stop"]) for a, b in zip(runs, runs[1:])])
    currents = np.array([r["running_current_a"] for r in runs])
    days = int((end - start) // 86400)
    day = np.array([int((seconds(r["start"]) - start) // 86400) for r in runs])
    return lengths, rests, currents, np.bincount(day[day < days], minlength=days)


def check_statistics_against_scipy(folder):
    tables = [record(folder, "a.csv", 0, 2.2, 60, 900, 7.0, 1), record(folder, "b.csv", 3, 3.2, 75, 1300, 7.05, 2)]
    said = compared(folder, *tables)
    a, b = (samples(folder, table) for table in tables)
    measures = {measure["what"]: measure for measure in said["measures"]}
    for what, n in (("run-length", 0), ("rest", 1), ("running-current", 2)):
        measure = measures[what]
        assert (measure["first"]["count"], measure["second"]["count"]) == (len(a[n]), len(b[n])), what
        close(measure["first"]["median"], np.median(a[n]), 2e-3, f"{what}, first median")
        close(measure["second"]["nine_tenths"], np.quantile(b[n], 0.9), 2e-3, f"{what}, second 0.9")
        wanted = stats.mannwhitneyu(a[n], b[n], method="asymptotic").pvalue
        close(np.log10(measure["p"] + 1e-300), np.log10(wanted + 1e-300), 0.01, f"{what}, log p")
        boot = stats.bootstrap((a[n], b[n]), lambda x, y, axis: np.median(y, axis) - np.median(x, axis),
                               method="percentile", n_resamples=4000, rng=3)
        low, high = boot.confidence_interval
        # Two seeds; and lengths are whole rows of a second, so medians move in steps.
        within = 0.25 * (high - low) + (1.0 if n < 2 else 2e-3)
        close(measure["interval"][0], low, within, f"{what}, lower end")
        close(measure["interval"][1], high, within, f"{what}, upper end")
    starts = next(rate for rate in said["rates"] if rate["what"] == "starts")
    assert (starts["first"], starts["second"]) == (a[3].sum(), b[3].sum()), starts
    assert starts["clustering"] == 1.0, "evenly running pumps have no clusters"
    share = len(b[3]) / (len(a[3]) + len(b[3]))
    exact = stats.binomtest(int(b[3].sum()), int(a[3].sum() + b[3].sum()), share)
    close(starts["p"], exact.pvalue, 1e-6, "starts, p")
    bounds = exact.proportion_ci(0.95, "exact")
    odds = [p / (1 - p) * len(a[3]) / len(b[3]) for p in bounds]
    close(starts["interval"][0], odds[0], 1e-4, "starts, lower ratio")
    close(starts["interval"][1], odds[1], 1e-4, "starts, upper ratio")
    tests = [(r["p"], r["p_adjusted"]) for r in said["rates"]]
    tests += [(m["p"], m["p_adjusted"]) for m in said["measures"] if m["p"] is not None]
    holm = multipletests([p for p, _ in tests], method="holm")[1]
    for (_, got), wanted in zip(tests, holm):
        close(got, wanted, 1e-9, "p corrected")
    assert measures["run-length"]["judged"] == "changed"
    assert measures["running-current"]["judged"] in ("slight", "not-seen"), "0.7 % is no change"


def check_alike_records_do_not_differ(folder):
    changed = 0
    for seed in range(3):
        tables = [record(folder, f"{side}{seed}.csv", 4 * n, 2.2, 60, 900, 7.0, 100 + 2 * seed + n)
                  for n, side in enumerate("ab")]
        said = compared(folder, *tables)
        changed += sum(x["judged"] == "changed" for x in said["rates"] + said["measures"])
        assert said["overall"] in ("nothing-wrong", "remains"), said["overall"]
    assert changed == 0, f"{changed} differences where only chance differs"


def check_short_records_say_so(folder):
    tables = [record(folder, "a.csv", 0, 0.05, 60, 900, 7.0, 1), record(folder, "b.csv", 1, 0.05, 60, 900, 7.0, 2)]
    said = compared(folder, *tables)
    assert all(m["judged"] == "too-little" for m in said["measures"]), said["measures"]
    assert not said["rates"], "without a whole day no rate is compared"
    assert sum("short" in caveat for caveat in said["caveats"] if isinstance(caveat, dict)) == 2


main(globals())
