"""The emulated board and the real program, for the checks of this folder."""

import json
import os
import pathlib
import pty
import queue
import select
import struct
import subprocess
import threading
import time
import tty

HERE = pathlib.Path(__file__).parent
# Longest wait for anything, s; a machine that is slow is no failure.
PATIENCE_S = 2400


class Stopped(Exception):
    """The board stopped before what was waited for."""


class Machine:
    """The emulated board, its serial port a pseudo-terminal."""

    def __init__(self, image, flash, clock_ms=None, scenario=HERE / "scenario.json", **options):
        control, self.control = os.pipe()
        self.told, told = os.pipe()
        _, variables = sizes(pathlib.Path(image).with_suffix(".elf"))
        options = {"variables": variables, **options}
        arguments = ["node", str(HERE / "machine.js"), str(control), str(told), str(image),
                     str(flash), str(scenario)]
        if clock_ms is not None:
            arguments.append(str(clock_ms))
        self.process = subprocess.Popen(
            arguments, pass_fds=[control, told], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
            env={**os.environ, "EMULATOR_OPTIONS": json.dumps(options)},
        )
        os.close(control)
        os.close(told)
        # The numbers of closed descriptors are given out anew: none is closed while a thread uses it.
        self.reading, self.writing = threading.Lock(), threading.Lock()
        self.open()
        self.events = queue.Queue()
        for work in (self.read_events, self.to_host, self.from_host):
            threading.Thread(target=work, daemon=True).start()

    def open(self):
        near, self.far = pty.openpty()
        tty.setraw(self.far)
        os.set_blocking(near, False)
        self.port = os.ttyname(self.far)
        self.near = near

    def close(self):
        near, far, self.near, self.far = self.near, self.far, None, None
        with self.reading, self.writing:
            for end in (near, far):
                if end is not None:
                    os.close(end)

    def unplugged(self):
        """Waits for the cable to be pulled: whoever has the port open is hung up on."""
        self.wait("unplugged")
        self.close()

    def plug(self):
        """Puts it in again, under another name."""
        self.open()
        self.say("plug")
        self.wait("enumerated")

    def read_events(self):
        with os.fdopen(self.told) as lines:
            for line in lines:
                self.events.put(json.loads(line))
        self.events.put({"event": "gone"})

    def to_host(self):
        while data := os.read(self.process.stdout.fileno(), 65536):
            # What comes while the cable is pulled is lost.
            while data and self.near is not None:
                with self.writing:
                    near = self.near
                    if near is not None and select.select([], [near], [], 0.1)[1]:
                        data = data[os.write(near, data):]

    def from_host(self):
        while self.process.poll() is None:
            data = b""
            with self.reading:
                near = self.near
                if near is not None and select.select([near], [], [], 0.1)[0]:
                    data = os.read(near, 4096)
            if near is None:
                time.sleep(0.01)
            try:
                self.process.stdin.write(data)
                self.process.stdin.flush()
            except BrokenPipeError:
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
                raise Stopped(f"the emulated board stopped ({event}) before '{name}'")

    def figures(self):
        self.say("figures")
        return self.wait("figures")

    def stop(self):
        self.process.kill()
        self.process.wait()
        self.close()
        os.close(self.control)


def run(program, *arguments, tries=1):
    """Runs the program, more than once where the board may still be starting; with more patience than
    it has for a real board, for the emulated one may be slow."""
    if "--port" in arguments:
        arguments = *arguments, "--patience", 20
    for _ in range(tries):
        done = subprocess.run(
            [program, *map(str, arguments)], capture_output=True, text=True, timeout=PATIENCE_S
        )
        if done.returncode == 0:
            break
        time.sleep(0.5)
    return done


def symbols(image):
    """Addresses by (mangled) name of an ELF image."""
    elf = pathlib.Path(image).read_bytes()
    at, = struct.unpack_from("<I", elf, 32)
    size, count = struct.unpack_from("<HH", elf, 46)
    sections = [struct.unpack_from("<10I", elf, at + n * size) for n in range(count)]
    table = next(section for section in sections if section[1] == 2)
    texts = sections[table[6]][4]
    found = {}
    for n in range(table[5] // 16):
        name, value = struct.unpack_from("<II", elf, table[4] + n * 16)
        found[elf[texts + name : elf.index(b"\0", texts + name)].decode()] = value
    return found


def sizes(image):
    """Bytes of flash and RAM that an ELF image takes, the stack not counted."""
    elf = pathlib.Path(image).read_bytes()
    at, = struct.unpack_from("<I", elf, 28)
    size, count = struct.unpack_from("<HH", elf, 42)
    flash = ram = 0
    for n in range(count):
        kind, _, virtual, _, in_file, in_memory = struct.unpack_from("<6I", elf, at + n * size)
        if kind == 1:
            flash += in_file
            if virtual >= 0x2000_0000:
                ram = max(ram, virtual + in_memory - 0x2000_0000)
    return flash, ram
