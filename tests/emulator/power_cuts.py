"""The supply is cut in the middle of programs and erasures, bytes torn, and the image started again on
what is left: nothing older than ten seconds lost, nothing invented, mounted in time."""

import os
import random

from machine import Machine, run
from site_run import arm

LOSS_MAX_MS = 10_000
# With warning, what the hold-up of 20 ms has to save.
WARNED_LOSS_MAX_MS = 500
MOUNT_MAX_MS = 2000
# Cuts between two collections.
CHAIN = 4


def power_cuts(bench, count, seed=1):
    chance = random.Random(seed)
    stage = bench.stage("storm")
    flash, archive = bench.folder / "storm.flash", bench.folder / "storm.pwa"
    clock_ms = arm(bench, stage, flash) + 5000
    boots, told, worst, warned, mounts = [], [], 0, 0, []
    kinds = {"program": 0, "erase": 0}
    for number in range(count):
        before = bench.copy(flash, f"storm.before{number}")
        machine = Machine(bench.image, flash, clock_ms=int(clock_ms), scenario=stage)
        kind = "erase" if number % 3 == 0 else "program"
        order = f"cut {chance.randrange(2 if kind == 'erase' else 9)} {chance.random():.3f} {kind}"
        # Now and then the supply monitor warns first.
        warn = number % CHAIN == CHAIN - 1
        if not warn:
            machine.say(order)
            kinds[kind] += 1
        first = machine.wait("converting")
        mounts.append(first["mountMs"])
        if warn:
            order = "fail"
            machine.say(f"until {chance.uniform(11, 16):.3f}")
            machine.wait("reached")
            machine.say("fail")
        gone = machine.wait("cut")
        machine.stop()
        cut_ms = clock_ms + gone["atMs"]
        boots.append((order, before, first["unixMs"], cut_ms, warn))
        clock_ms = cut_ms + 5000
        if len(boots) < CHAIN and number + 1 < count:
            continue
        machine = Machine(bench.image, flash, clock_ms=int(clock_ms), scenario=stage)
        mounts.append(machine.wait("converting")["mountMs"])
        done = run(bench.program, "collect", "--replace", "--out", archive, "--port", machine.port,
                   tries=5)
        clock_ms += machine.figures()["atMs"] + 5000
        machine.stop()
        if done.returncode != 0:
            told.append(done.stderr.strip()[-200:])
        for order, before, boot_ms, cut_ms, warn in boots:
            seen = bench.tool("replay", stage, before, archive, int(boot_ms))
            os.remove(before)
            if seen["same"] != seen["records"]:
                told.append(f"{order}: {seen['first_difference']}")
            missing_ms = seen.get("missing_ms") or (boot_ms if not seen["records"] else cut_ms)
            lost = cut_ms - missing_ms
            worst = max(worst, lost)
            if warn:
                warned = max(warned, lost)
            if lost > (WARNED_LOSS_MAX_MS if warn else LOSS_MAX_MS):
                told.append(f"{order}: {lost:.0f} ms lost")
        boots = []
    bench.check(f"{count} supply cuts ({kinds['program']} in programs, {kinds['erase']} in "
                f"erasures, {count - sum(kinds.values())} with warning; seed {seed}): nothing "
                "invented, at most 10 s lost",
                not told, "; ".join(told[:3]) or f"at most {worst:.0f} ms, warned {warned:.0f} ms")
    bench.check("mounted within 2 s after every cut", max(mounts) <= MOUNT_MAX_MS,
                f"{max(mounts):.0f} ms at most")
    bench.tell("lost by supply cuts", f"{worst:.0f} ms at most in {count}; with warning "
               f"{warned:.0f} ms", "10 s")
