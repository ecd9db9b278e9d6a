#!/usr/bin/env python3
"""Runs the shipping image in the emulator and reaches it with the real program through a
pseudo-terminal: ten minutes of an invented site, a minute of another at 60 Hz, supply cuts in the
middle of flash operations, downloads with the cable pulled. Closes with a table of what was measured and "N passed, N failed".

Usage: run.py [--all] PROGRAM TOOL IMAGE.uf2

TOOL is this folder's own program; IMAGE.elf lies beside IMAGE.uf2. --all cuts and pulls more often.
"""

import json
import pathlib
import queue
import shutil
import subprocess
import sys
import tempfile
import threading
import time

import download
import machine
import power_cuts
import site_run

FLASH_MAX, RAM_MAX = 256 * 1024, 128 * 1024


class Bench:
    """Where the parts of the run get their stages from and put what they saw."""

    def __init__(self, program, tool, image, folder):
        self.program, self.made_by, self.image, self.folder = program, tool, image, folder
        self.results, self.table, self.stack = [], {}, (0, RAM_MAX)
        self.lock = threading.Lock()

    def check(self, what, passed, detail=""):
        with self.lock:
            self.results.append(bool(passed))
            verdict = "pass" if passed else "FAIL"
            print(f"{verdict}  {what}{f': {detail}' if detail else ''}", flush=True)

    def tell(self, what, measured, goal=""):
        self.table[what] = (measured, goal)

    def tool(self, *arguments):
        done = machine.run(self.made_by, *arguments)
        if done.returncode != 0:
            raise machine.Stopped(f"{' '.join(map(str, arguments))}: {done.stderr.strip()}")
        return json.loads(done.stdout)

    def stage(self, name):
        folder = self.folder / name
        if not folder.exists():
            self.tool("waves", name, folder)
        return folder

    def copy(self, file, name=None):
        return shutil.copy(file, self.folder / (name or f"{file.name}.before"))

    def note_stack(self, figures):
        deep, unused = self.stack
        self.stack = max(deep, figures["stackBytes"]), min(unused, figures["ramUnused"])

    def part(self, name, work, *arguments):
        began = time.monotonic()
        try:
            work(self, *arguments)
        except (machine.Stopped, queue.Empty, OSError, KeyError, ValueError,
                subprocess.TimeoutExpired) as error:
            self.check(f"{name} goes to its end", False, f"{type(error).__name__}: {error}")
        print(f"      {name}: {time.monotonic() - began:.0f} s", flush=True)


def main():
    arguments = sys.argv[1:]
    everything = "--all" in arguments
    program, tool, image = [argument for argument in arguments if argument != "--all"]
    folder = pathlib.Path(tempfile.mkdtemp(prefix="pumpwitness-emulator-"))
    bench = Bench(program, tool, image, folder)
    flash, ram = machine.sizes(pathlib.Path(image).with_suffix(".elf"))
    bench.tell("image", f"{flash} bytes", "256 KiB")
    bench.check("the image fits 256 KiB", flash <= FLASH_MAX, f"{flash} bytes")

    # Two at a time: the long one, and all others.
    def others():
        bench.part("cuts", power_cuts.power_cuts, 48 if everything else 8)
        bench.part("download", download.download, 1.5, 8 if everything else 3)
        bench.part("mounting", download.mounting)
        bench.part("sixty", site_run.sixty)

    beside = threading.Thread(target=others)
    beside.start()
    bench.part("site", site_run.site)
    beside.join()

    deep, unused = bench.stack
    bench.tell("variables", f"{ram} bytes")
    bench.tell("variables and stack at its deepest", f"{ram + deep} bytes, {unused} never touched",
               "128 KiB")
    # A stack that reached the variables would have left no gap; a kilobyte is for what was not met.
    bench.check("variables and stack fit the RAM with room to spare", deep and unused >= 1024,
                f"{unused} bytes")
    print("\n| | measured | goal |\n|---|---|---|")
    for what, (measured, goal) in bench.table.items():
        print(f"| {what} | {measured} | {goal} |")
    failed = bench.results.count(False)
    print(f"\n{len(bench.results) - failed} passed, {failed} failed")
    if failed:
        print(f"files in {folder}")
    else:
        shutil.rmtree(folder)
    return failed != 0


if __name__ == "__main__":
    sys.exit(main())
