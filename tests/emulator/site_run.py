"""Ten minutes of an invented site on the shipping image: two starts, a dip, an interruption, a wire
off, a lamp flashing. Everything planted is found at its time, every record is the host's."""

import datetime
import json
import os

from machine import Machine, run

# An event's time may be off by this much, ms.
TOLERANCE_MS = 200
# Two runs of nearly a minute alone make more intervals; fewer would be no comparison.
RECORDS_MIN = 500
SECONDS = 600


def milliseconds(text):
    return datetime.datetime.fromisoformat(text).timestamp() * 1000


def near(times, expected):
    """The closest of the times, ms off."""
    return min((abs(milliseconds(t) - expected) for t in times), default=float("inf"))


def arm(bench, stage, flash, **options):
    """Arms a new board with a stage's site and lets its supply fail; what its clock shows then."""
    machine = Machine(bench.image, flash, scenario=stage, **options)
    machine.wait("enumerated")
    machine.wait("converting")
    armed = run(bench.program, "arm", "--site", stage / "site.toml", "--port", machine.port, tries=9)
    bench.check(f"{stage.name}: armed over USB", armed.returncode == 0, armed.stderr.strip())
    clock = machine.wait("clock-set")
    machine.say("fail")
    gone = machine.wait("cut")
    machine.stop()
    return clock["unixMs"] - clock["atMs"] + gone["atMs"]


def site(bench):
    stage = bench.stage("day")
    flash, archive = bench.folder / "day.flash", bench.folder / "day.pwa"
    clock_ms = arm(bench, stage, flash) + 5000
    before = bench.copy(flash)
    machine = Machine(bench.image, flash, clock_ms=int(clock_ms), scenario=stage)
    first = machine.wait("converting")
    machine.say("zero")
    machine.say(f"until {SECONDS}")
    machine.wait("reached")
    measured = machine.figures()
    share = measured["metering"] / measured["all"] * 100
    bench.tell("metering", f"{measured['metering'] / measured['frames']:.0f} cycles a frame, "
               f"{share:.1f} % of the core; all together "
               f"{measured['busy'] / measured['all'] * 100:.1f} %", "15 %")
    bench.check("metering takes at most 15 % of the core", share <= 15, f"{share:.1f} %")
    collected = run(bench.program, "collect", "--out", archive, "--port", machine.port, tries=3)
    bench.check("day: collected over USB", collected.returncode == 0, collected.stderr[-200:])
    after = machine.figures()
    machine.stop()
    bench.note_stack(after)
    bench.check("the flash chip was used as its kind allows", not after["violations"],
                "; ".join(after["violations"][:3]))
    bench.check("day: no conversion lost, none out of step",
                after["overruns"] == 0 and after["outOfStep"] == 0,
                f"{after['overruns']} of {after['conversions']}")
    bench.tell("conversions lost", f"{after['overruns']} of {after['conversions']}", "0")

    compared = bench.tool("replay", stage, before, archive, int(first["unixMs"]))
    bench.check(
        "day: every record is the host's, field by field",
        compared["same"] == compared["records"] >= RECORDS_MIN
        and compared["last_ms"] >= first["unixMs"] + (SECONDS - 12) * 1000,
        f"{compared['same']} of {compared['records']}: {compared.get('intervals')} intervals, "
        f"{compared.get('captures')} pieces of captures, {compared.get('marks')} marks; "
        f"{compared.get('first_difference') or 'no difference'}")

    analysed = run(bench.program, "analyse", archive, "--site", stage / "site.toml", "--json")
    bench.check("day: analysed", analysed.returncode == 0, analysed.stderr[-200:])
    result = json.loads(analysed.stdout or "{}")
    truth = json.loads((stage / "stage.json").read_text())
    findings = {finding["kind"]: finding for finding in result.get("findings", [])}
    runs = result.get("runs", [])
    pairs = []
    for expected in truth["runs"]:
        pairs.append(("run", "start", [r["start"] for r in runs], expected["start"]))
        pairs.append(("run", "stop", [r["stop"] for r in runs], expected["stop"]))
    for event in truth["events"]:
        times = findings.get(event["kind"], {"occurrences": []})["occurrences"]
        for end in ("start", "end"):
            pairs.append((event["kind"], end, [t[end] for t in times], event[end]))
    worst = 0
    for kind, end, times, at_ms in pairs:
        off = near(times, first["unixMs"] + at_ms)
        # A lamp is called steady, or dark, only after it has stood still for 2.5 s.
        lamp_end = kind == "lamp-flashing" and end == "end"
        worst = worst if lamp_end else max(worst, off)
        bench.check(f"day: {kind} at {at_ms / 1000:.1f} s, its {end}",
                    off <= (3000 if lamp_end else TOLERANCE_MS), f"{off:.0f} ms off")
    bench.tell("planted events", f"{len(pairs)} times, at most {worst:.0f} ms off", "200 ms")
    bench.check("day: as many runs as there were", len(runs) == len(truth["runs"]), str(len(runs)))
    bench.check("day: no gap in the record",
                [g for g in result.get("recording", {}).get("gaps", [])
                 if milliseconds(g["start"]) > first["unixMs"] + 1000] == [])
    os.remove(before)
