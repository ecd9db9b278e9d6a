#!/usr/bin/env python3
"""The page at the panel against the shipping image: the real program serves its page for the emulated
board, and a browser finds the logger, sees wrong fits and has them put right, arms, waits, and fetches.

The browser's side is tests/browser/emulated.js; what it asks of the board (a sensor fitted wrongly or
rightly, time to pass) and what a technician would hear (the pump) goes through two pipes, as lines.

Usage: visit.py PROGRAM IMAGE.uf2      closes with "N passed, N failed"
"""

import json
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile
import threading
import time

from machine import HERE, Machine

PROGRAM, IMAGE = sys.argv[1:3]


def main():
    folder = pathlib.Path(tempfile.mkdtemp(prefix="pumpwitness-emulator-visit-"))
    board = Machine(IMAGE, folder / "flash.bin", int(time.time() * 1000), scenario=HERE / "visit.json")
    board.wait("enumerated")
    board.say("begin")
    board.wait("begun")
    asked, asks = os.pipe()
    hears, told = os.pipe()
    browser = subprocess.Popen(
        ["node", HERE.parent / "browser" / "emulated.js", PROGRAM, board.port, HERE / "site.toml", folder,
         str(asks), str(hears)],
        pass_fds=[asks, hears],
    )
    os.close(asks)
    os.close(hears)

    def pass_on():
        with os.fdopen(asked) as lines:
            for line in lines:
                board.say(line.strip())

    def tell():
        while True:
            event = board.events.get()
            try:
                os.write(told, f"{json.dumps(event)}\n".encode())
            except OSError:
                return
            if event["event"] in ("gone", "watchdog"):
                return

    for work in (pass_on, tell):
        threading.Thread(target=work, daemon=True).start()
    code = browser.wait()
    board.stop()
    shutil.rmtree(folder, ignore_errors=True)
    return code


if __name__ == "__main__":
    sys.exit(main())
