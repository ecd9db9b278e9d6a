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
SIXTY_RECORDS_MIN = 60
SIXTY_SECONDS = 60


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


def recorded(bench, stage, seconds, records_min):
    """A stage played to a board that was armed before, collected, and compared record by record with
    the core on the host. The archive, the clock at the first conversion, and the figures before and
    after the download."""
    name = stage.name
    flash, archive = bench.folder / f"{name}.flash", bench.folder / f"{name}.pwa"
    clock_ms = arm(bench, stage, flash) + 5000
    before = bench.copy(flash)
    machine = Machine(bench.image, flash, clock_ms=int(clock_ms), scenario=stage)
    first = machine.wait("converting")
    machine.say("zero")
    machine.say(f"until {seconds}")
    machine.wait("reached")
    measured = machine.figures()
    collected = run(bench.program, "collect", "--out", archive, "--port", machine.port, tries=3)
    bench.check(f"{name}: collected over USB", collected.returncode == 0, collected.stderr[-200:])
    after = machine.figures()
    machine.stop()
    bench.note_stack(after)
    bench.check(f"{name}: the flash chip was used as its kind allows", not after["violations"],
                "; ".join(after["violations"][:3]))
    bench.check(f"{name}: no conversion lost, none out of step",
                after["overruns"] == 0 and after["outOfStep"] == 0,
                f"{after['overruns']} of {after['conversions']}")
    compared = bench.tool("replay", stage, before, archive, int(first["unixMs"]))
    os.remove(before)
    bench.check(
        f"{name}: every record is the host's, field by field",
        compared["same"] == compared["records"] >= records_min
        and compared["last_ms"] >= first["unixMs"] + (seconds - 12) * 1000,
        f"{compared['same']} of {compared['records']}: {compared.get('intervals')} intervals, "
        f"{compared.get('captures')} pieces of captures, {compared.get('marks')} marks; "
        f"{compared.get('first_difference') or 'no difference'}")
    return archive, first["unixMs"], measured, after


def sixty(bench):
    """The same of a minute at 240 V and 60 Hz, a dip and a start in it."""
    recorded(bench, bench.stage("sixty"), SIXTY_SECONDS, SIXTY_RECORDS_MIN)


def site(bench):
    stage = bench.stage("day")
    archive, began_ms, measured, after = recorded(bench, stage, SECONDS, RECORDS_MIN)
    share = measured["metering"] / measured["all"] * 100
    bench.tell("metering", f"{measured['metering'] / measured['frames']:.0f} cycles a frame, "
               f"{share:.1f} % of the core; all together "
               f"{measured['busy'] / measured['all'] * 100:.1f} %", "15 %")
    bench.check("metering takes at most 15 % of the core", share <= 15, f"{share:.1f} %")
    bench.tell("conversions lost", f"{after['overruns']} of {after['conversions']}", "0")

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
        off = near(times, began_ms + at_ms)
        # A lamp is called steady, or dark, only after it has stood still for 2.5 s.
        lamp_end = kind == "lamp-flashing" and end == "end"
        worst = worst if lamp_end else max(worst, off)
        bench.check(f"day: {kind} at {at_ms / 1000:.1f} s, its {end}",
                    off <= (3000 if lamp_end else TOLERANCE_MS), f"{off:.0f} ms off")
    bench.tell("planted events", f"{len(pairs)} times, at most {worst:.0f} ms off", "200 ms")
    bench.check("day: as many runs as there were", len(runs) == len(truth["runs"]), str(len(runs)))
    bench.check("day: no gap in the record",
                [g for g in result.get("recording", {}).get("gaps", [])
                 if milliseconds(g["start"]) > began_ms + 1000] == [])
