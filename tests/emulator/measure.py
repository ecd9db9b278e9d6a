#!/usr/bin/env python3
"""What the shipping image takes, measured in the emulator and held against its goals: flash, variables
and stack, the meter's share of the processor, the longest stretch of work between two half waves, the
time a memory takes to mount, conversions lost.

Usage: measure.py PROGRAM IMAGE.uf2      exit 1 when a goal is missed
"""

import pathlib
import sys
import tempfile

from machine import HERE, Machine, Stopped, run, sizes

PROGRAM, IMAGE = sys.argv[1:3]
FLASH_MAX, RAM_MAX = 256 * 1024, 128 * 1024
# The stack may come as near to the variables as this, bytes.
SPARE = 4096
missed = []


def tell(what, value, goal="", met=True):
    if not met:
        missed.append(what)
    print(f"{what:52} {value:>16}   {goal}{'' if met else '   MISSED'}", flush=True)


def main():
    folder = pathlib.Path(tempfile.mkdtemp(prefix="pumpwitness-measure-"))
    flash, ram = sizes(pathlib.Path(IMAGE).with_suffix(".elf"))
    tell("program", f"{flash} B", "at most 256 KiB", flash <= FLASH_MAX)
    tell("variables", f"{ram} B")
    deepest = lost = 0
    now = None
    # The first start makes the device's key, the second finds a record, the third a large memory.
    for start, log2 in ((1, 24), (2, 24), (3, 25)):
        machine = Machine(IMAGE, folder / f"flash{log2}.bin", now, flashLog2=log2)
        machine.wait("enumerated")
        armed = run(PROGRAM, "arm", "--site", HERE / "site.toml", "--port", machine.port, tries=8)
        if armed.returncode:
            raise SystemExit(f"arm: {armed.stderr.strip()}")
        clock = machine.wait("clock-set")
        mounted = machine.figures()["firstConversionMs"]
        machine.say("begin")
        machine.wait("begun")
        machine.say("until 30")
        machine.wait("reached")
        at_work = machine.figures()
        machine.say("zero")
        collected = run(PROGRAM, "collect", "--replace", "--out", folder / "site.pwa", "--port",
                        machine.port, tries=4)
        if collected.returncode:
            raise SystemExit(f"collect: {collected.stderr.strip()}")
        after = machine.figures()
        machine.stop()
        now = int(clock["unixMs"] - clock["atMs"] + after["atMs"] + 2000)
        deepest, lost = max(deepest, after["stackBytes"]), lost + after["overruns"]
        tell(f"start {start}, {2 ** (log2 - 20)} MiB: first conversion after", f"{mounted:.0f} ms",
             "2 s for 16 MiB", mounted <= 2000 * 2 ** (log2 - 24))
        if start == 1:
            share = at_work["metering"] / at_work["all"] * 100
            cycles = at_work["metering"] / at_work["frames"]
            tell("metering", f"{cycles:.0f} cycles", "of each frame")
            tell("metering, share of 125 MHz", f"{share:.1f} %", "at most 15 %", share <= 15)
            tell("all work while recording", f"{at_work['busy'] / at_work['all'] * 100:.1f} %")
            tell("longest work without a rest, recording",
                 f"{at_work['longestMs']:.0f} ms", "half waves wait 800 ms", at_work["longestMs"] < 700)
        if start == 2:
            tell("longest work without a rest, downloading", f"{after['longestMs']:.0f} ms",
                 "half waves wait 800 ms", after["longestMs"] < 700)
    tell("stack at its deepest, interrupts included", f"{deepest} B")
    tell("variables and stack", f"{ram + deepest} B", f"at most 128 KiB, {SPARE} B to spare",
         ram + deepest <= RAM_MAX - SPARE)
    tell("conversions lost", f"{lost}", "none", lost == 0)


try:
    main()
except Stopped as error:
    missed.append(str(error))
if missed:
    sys.exit(f"measure: missed: {', '.join(missed)}")
