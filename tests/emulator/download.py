"""Downloads of a memory that the journal's own code has filled on the host: how well the line is used,
and cables pulled at chance moments."""

import random
import threading

from machine import Machine, run

# Sectors that every download of the filled memory holds at least, and bytes of one.
SECTOR = 4096
PAYLOAD_MIN = 0.95
MOUNT_MAX_MS = 2000


def download(bench, megabytes, pulls, seed=2):
    stage = bench.stage("quiet")
    flash, archive = bench.folder / "full.flash", bench.folder / "full.pwa"
    filled = bench.tool("fill", flash, int(megabytes * 2**20))
    clock_ms = filled["end_ms"] + 60_000
    machine = Machine(bench.image, flash, clock_ms=clock_ms, scenario=stage)
    machine.wait("enumerated")
    machine.wait("converting")
    machine.say("until 2")
    machine.wait("reached")
    machine.say("zero")
    before = machine.figures()
    done = run(bench.program, "collect", "--out", archive, "--port", machine.port, tries=3)
    after = machine.figures()
    bench.check("filled memory: collected", done.returncode == 0, done.stderr.strip()[-200:])
    kept = bench.tool("archive", archive, flash)
    seconds = (after["atMs"] - before["atMs"]) / 1000
    line = after["line"]
    payload = kept["sectors"] * SECTOR
    share = payload / line["bytes"]
    rate = payload / (seconds - line["hostMs"] / 1000)
    bench.check("payload on the wire at least 95 %", share >= PAYLOAD_MIN, f"{share * 100:.1f} %")
    bench.tell("payload on the wire", f"{share * 100:.1f} % of {line['bytes']} bytes", "95 %")
    bench.tell("download", f"{payload / 2**20:.2f} MiB in {seconds:.1f} s of device time, "
               f"{rate / 1000:.0f} kB/s; line idle {line['idleMs']:.0f} ms, at most "
               f"{line['longestMs']:.1f} ms at a time; waiting for the host {line['hostMs']:.0f} ms")
    bench.check("every byte as it stands in the flash",
                kept["differing"] == 0 and kept["damaged"] == 0, str(kept))

    chance = random.Random(seed)
    pulled, told = bench.folder / "pulled.pwa", []
    for pull in range(pulls + 1):
        attempt = {}
        last = pull == pulls

        def collect():
            attempt["done"] = run(bench.program, "collect", "--out", pulled, "--port", machine.port)

        if last:
            collect()
            break
        # Each time a part of what is left.
        machine.say(f"unplug {int(payload * chance.uniform(0.05, 0.8 / pulls))}")
        thread = threading.Thread(target=collect)
        thread.start()
        machine.unplugged()
        thread.join()
        if attempt["done"].returncode != 1:
            told.append(f"exit {attempt['done'].returncode} with the cable pulled")
        machine.plug()
    done = attempt["done"]
    kept = bench.tool("archive", pulled, flash) if done.returncode == 0 else {}
    bench.check(f"{pulls} cables pulled, gone on with, and every byte as it stands in the flash",
                not told and done.returncode == 0 and "earlier attempt" in done.stdout
                and kept["differing"] == 0 and kept["damaged"] == 0 and kept["lost"] == 0,
                "; ".join(told) or done.stderr.strip()[-200:] or str(kept))
    same = archive.read_bytes()[2 * SECTOR:-64]
    bench.check("the pulled download begins with the same bytes as the one in one go",
                pulled.read_bytes()[2 * SECTOR:2 * SECTOR + len(same)] == same)
    bench.check("frames lost while downloading: none", machine.figures()["overruns"] == 0
                and kept.get("lost") == 0, str(kept.get("lost")))
    machine.stop()


def mounting(bench):
    """A ring of 16 MiB that has gone round."""
    stage = bench.stage("quiet")
    flash = bench.folder / "round.flash"
    filled = bench.tool("fill", flash, 0)
    machine = Machine(bench.image, flash, clock_ms=filled["end_ms"] + 60_000, scenario=stage)
    first = machine.wait("converting")
    machine.stop()
    bench.check("a full 16 MiB is mounted within 2 s", first["mountMs"] <= MOUNT_MAX_MS,
                f"{first['mountMs']:.0f} ms, {filled['sectors_used']} sectors")
    bench.tell("mounting 16 MiB, full", f"{first['mountMs']:.0f} ms", "2 s")
