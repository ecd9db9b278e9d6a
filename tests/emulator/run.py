#!/usr/bin/env python3
"""Runs the shipping image in the emulator and reaches it with the real program through a
pseudo-terminal: arm, minutes of waves with planted events, collect, analyse; then cuts the supply in
the middle of flash operations and collects again.

Usage: run.py PROGRAM IMAGE.uf2      ends with "N passed, N failed"
"""

import datetime
import json
import os
import pathlib
import pty
import queue
import select
import subprocess
import sys
import tempfile
import threading
import time
import tty

HERE = pathlib.Path(__file__).parent
PROGRAM, IMAGE = sys.argv[1:3]
SCENARIO = json.loads((HERE / "scenario.json").read_text())
# An event's time may be off by this much.
TOLERANCE_MS = 200
PATIENCE_S = 900
results = []


def check(what, passed, detail=""):
    results.append(passed)
    print(f"{'pass' if passed else 'FAIL'}  {what}{f': {detail}' if detail else ''}", flush=True)


class Machine:
    """The emulated board, its serial port a pseudo-terminal."""

    def __init__(self, flash, clock_ms=None):
        control, self.control = os.pipe()
        self.told, told = os.pipe()
        arguments = ["node", str(HERE / "machine.js"), str(control), str(told), IMAGE, flash,
                     str(HERE / "scenario.json")]
        if clock_ms is not None:
            arguments.append(str(clock_ms))
        self.process = subprocess.Popen(
            arguments, pass_fds=[control, told], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        )
        os.close(control)
        os.close(told)
        self.near, self.far = pty.openpty()
        tty.setraw(self.far)
        self.port = os.ttyname(self.far)
        self.events = queue.Queue()
        for work in (self.read_events, self.to_host, self.from_host):
            threading.Thread(target=work, daemon=True).start()

    def read_events(self):
        with os.fdopen(self.told) as lines:
            for line in lines:
                self.events.put(json.loads(line))
        self.events.put({"event": "gone"})

    def to_host(self):
        while data := os.read(self.process.stdout.fileno(), 65536):
            while data:
                data = data[os.write(self.near, data):]

    def from_host(self):
        while self.process.poll() is None:
            if select.select([self.near], [], [], 0.1)[0]:
                try:
                    self.process.stdin.write(os.read(self.near, 4096))
                    self.process.stdin.flush()
                except OSError:
                    return

    def say(self, command):
        os.write(self.control, f"{command}\n".encode())

    def wait(self, name):
        """The next event of that name; ends the run when it does not come."""
        until = time.monotonic() + PATIENCE_S
        while True:
            event = self.events.get(timeout=max(0.1, until - time.monotonic()))
            if event["event"] == name:
                return event
            if event["event"] in ("gone", "watchdog"):
                raise SystemExit(f"the emulated board stopped ({event}) before '{name}'")

    def figures(self):
        self.say("figures")
        return self.wait("figures")

    def stop(self):
        self.process.kill()
        self.process.wait()


def program(*arguments, tries=1):
    for _ in range(tries):
        done = subprocess.run([PROGRAM, *arguments], capture_output=True, text=True, timeout=PATIENCE_S)
        if done.returncode == 0:
            break
        time.sleep(0.5)
    return done


def milliseconds(text):
    return datetime.datetime.fromisoformat(text).timestamp() * 1000


def near(times, expected):
    """The closest of the times, ms off."""
    return min((abs(milliseconds(t) - expected) for t in times), default=float("inf"))


def main():
    folder = pathlib.Path(tempfile.mkdtemp(prefix="pumpwitness-emulator-"))
    flash, archive = str(folder / "flash.bin"), str(folder / "site.pwa")
    site = str(HERE / "site.toml")
    began = time.monotonic()
    machine = Machine(flash)
    check("boots and enumerates", "atMs" in machine.wait("enumerated"))
    armed = program("arm", "--site", site, "--port", machine.port, tries=5)
    check("arm", armed.returncode == 0, armed.stderr.strip())
    clock = machine.wait("clock-set")
    machine.say("begin")
    origin = machine.wait("begun")["originMs"]
    at_ms = lambda second: clock["unixMs"] + origin + second * 1000 - clock["atMs"]

    machine.say(f"until {SCENARIO['length_s']}")
    machine.wait("reached")
    measured = machine.figures()
    per_frame = measured["metering"] / measured["frames"]
    share = measured["metering"] / measured["all"] * 100
    check("metering takes at most 15 % of the core", share <= 15,
          f"{per_frame:.0f} cycles a frame, {share:.1f} %; all together "
          f"{measured['busy'] / measured['all'] * 100:.1f} %")
    machine.say("zero")
    before = measured["toHostBytes"], measured["atMs"]
    collected = program("collect", "--out", archive, "--port", machine.port)
    check("collect", collected.returncode == 0, collected.stderr.strip()[-200:])
    after = machine.figures()
    seconds = (after["atMs"] - before[1]) / 1000
    size = os.path.getsize(archive) if os.path.exists(archive) else 0
    print(f"      download: archive {size} bytes, {after['toHostBytes'] - before[0]} on the wire in "
          f"{seconds:.2f} s of device time; flash: {after['flash']}")
    check("the flash chip was used as its kind allows", not after["violations"],
          "; ".join(after["violations"][:3]))
    # A stack that reached the variables would have left no gap; a kilobyte is for what was not met.
    check("variables and stack fit the RAM with room to spare", after["ramUnused"] >= 1024,
          f"stack {after['stackBytes']} bytes deep, {after['ramUnused']} of {after['ramBytes']} unused")

    analysed = program("analyse", archive, "--site", site, "--json")
    check("analyse", analysed.returncode == 0, analysed.stderr.strip()[-200:])
    result = json.loads(analysed.stdout or "{}")
    (folder / "analysis.json").write_text(analysed.stdout)
    starts = [run["start"] for run in result.get("runs", [])]
    stops = [run["stop"] for run in result.get("runs", [])]
    findings = {finding["kind"]: finding for finding in result.get("findings", [])}
    for event in SCENARIO["events"]:
        start, end = at_ms(event["from"]), at_ms(event["to"])
        if event["kind"] == "run":
            pairs = [("start", near(starts, start)), ("stop", near(stops, end))]
        else:
            kind = {"dip": "voltage-dip", "interruption": "interruption",
                    "loop-open": "transducer-open", "lamp": "lamp-flashing"}[event["kind"]]
            times = findings.get(kind, {"occurrences": []})["occurrences"]
            pairs = [("start", near([t["start"] for t in times], start)),
                     ("end", near([t["end"] for t in times], end))]
        # A lamp is called steady, or dark, only after it has stood still for 2.5 s.
        tolerance = 3000 if event["kind"] == "lamp" else TOLERANCE_MS
        for name, off in pairs:
            check(f"{event['kind']} at {event['from']} s: {name}", off <= tolerance, f"{off:.0f} ms off")
    check("runs counted", len(starts) == 2, str(len(starts)))
    check("no conversion lost, and no gap in the record",
          after["overruns"] == 0 and result.get("recording", {}).get("gaps") == [])

    # The supply fails with warning, then without it, in the middle of flash operations. The clock
    # goes on by its battery.
    now = clock["unixMs"] - clock["atMs"]
    # A download closes the sector, and the next record erases another first, which no hold-up
    # covers: the warning is tried where recording has gone on for a while.
    machine.say(f"until {(after['atMs'] - origin) / 1000 + 15}")
    machine.wait("reached")
    for command in ("fail", "cut 0", "cut 1", "cut 3"):
        machine.say(command)
        cut = machine.wait("cut")
        machine.stop()
        now += cut["atMs"]
        machine = Machine(flash, int(now + 5000))
        machine.wait("enumerated")
        again = program("collect", "--replace", "--out", archive, "--port", machine.port, tries=5)
        analysed = program("analyse", archive, "--site", site, "--json")
        result = json.loads(analysed.stdout or "{}")
        kept = len(result.get("runs", []))
        gaps = [milliseconds(gap["start"]) for gap in result.get("recording", {}).get("gaps", [])]
        lost = min((now - gap for gap in gaps if gap < now + 1000), key=abs, default=float("inf"))
        most = 500 if command == "fail" else 10_000
        check(f"supply gone ({command}): both runs kept, at most {most} ms lost",
              again.returncode == 0 and kept == 2 and lost <= most,
              f"{lost:.0f} ms lost {again.stderr.strip()[-200:]}")
        now += 5000
    machine.stop()
    print(f"      {time.monotonic() - began:.0f} s in all; files in {folder}")


try:
    main()
except (SystemExit, queue.Empty) as error:
    check("the run goes to its end", False, str(error) or "an event did not come")
print(f"{results.count(True)} passed, {results.count(False)} failed")
sys.exit(not all(results))
