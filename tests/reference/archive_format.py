"""The archive read by a second reader, written from FORMAT.md, and its rows against `export`.

References: zlib.crc32 (CRC-32/ISO-HDLC), hashlib (SHA-256), and the wire frames by the packages
`cobs` and `crcmod`. The check value of the CRC, CBF43926, is that of its published catalogue.
"""

import os
import pty
import subprocess
import threading
import tty
import zlib

import crcmod.predefined
import pandas as pd
from cobs import cobs
from common import archive as reader
from common import demo, main, program, run

# Tag of the mark from which recording counts.
ARMED = 7


def rows_of(file, sectors):
    """Rows of the first sectors as the export gives them, from the last arming on; in steps."""
    head = reader.read_header(file)
    reader.verify_trailer(file, head)
    head["last"] = min(head["last"], head["first"] + sectors - 1)
    intervals, kinds = [], {"interval": 0, "mark": 0, "capture": 0}
    for kind, record in reader.read_sectors(file, head):
        kinds[kind] += 1
        if kind == "interval":
            intervals.append(record)
        elif kind == "mark" and reader.Postcard(record[1]).uint() == ARMED:
            intervals.clear()
    names = ["end", "span", "count", "u", "u_min", "u_max", "c", "c_min", "c_max"]
    names += ["s", "s_min", "s_max", "power", "hz", "flags"]
    return head, kinds, pd.DataFrame(intervals, columns=names)


def compare(scenario, folder, sectors=1 << 32):
    archive = demo(scenario, folder)
    head, kinds, rows = rows_of(archive.read_bytes(), sectors)
    run("export", archive, "--out", "rows.csv", folder=folder)
    table = pd.read_csv(folder / "rows.csv")
    if sectors < 1 << 32:
        table = table[: len(rows)]
    print(f"  {scenario}: {kinds}, {head['last'] - head['first'] + 1} sectors")
    assert len(rows) == len(table) > 1000, (len(rows), len(table))
    assert kinds["capture"] > 0 and kinds["mark"] > 0
    end = (pd.to_datetime(table["time"]) - pd.Timestamp(0, tz="UTC")) // pd.Timedelta("1ms")
    assert (end == rows.end).all()
    # A span is cut to the row before.
    gap = rows.end.diff()
    assert (table.span_ms == rows.span.where(gap.isna() | (rows.span <= gap), gap)).all()
    fits = [("voltage{}_v", "u", 10), ("current{}_a", "c", 100)]
    assert head["transducer"] == 1  # a 4–20 mA loop, in steps of 2 µA
    fits.append(("loop{}_ma", "s", 500))
    for name, column, steps in fits:
        for part in ("", "_min", "_max"):
            # Written as 32-bit floats: back to whole steps.
            got = (table[name.format(part)] * steps).round().astype(int)
            assert (got == rows[column + part]).all(), name.format(part)
    assert (table.power_w.round().astype(int) == rows.power).all()
    assert ((table.frequency_hz * 100).round().astype(int) == rows.hz).all()
    low, high = head["low_mbar"] / 1000, head["high_mbar"] / 1000
    bar = low + (rows.s / 500 - 4) / 16 * (high - low)
    assert ((table.pressure_bar - bar).abs() < 1e-5 * (high - low)).all()


def check_rows_of_a_well_that_runs_dry(folder):
    compare("overdrawn-well", folder)


def check_rows_with_supply_cuts(folder):
    compare("power-cuts", folder, sectors=150)


def check_that_the_reader_sees_damage(folder):
    """A reader that lets a changed byte pass would prove nothing."""
    file = bytearray(demo("healthy", folder).read_bytes())
    head = reader.read_header(file)
    few = head | {"last": head["first"] + 8}
    assert reader.read_sectors(file, few)
    head_at, page_at, payload_at, blank_at = 8192 + 30, 8192 + 100, 8192 + 130, 8192 + 1000
    later_at, end_at = 8192 + 5 * 4096 + 1500, len(file) - 10
    for at in (head_at, page_at, payload_at, blank_at, later_at, end_at):
        file[at] ^= 4
        assert refused(reader.verify_trailer, file, head), f"byte {at} passes the trailer"
        if at != end_at:
            assert refused(reader.read_sectors, file, few), f"byte {at} passes the sectors"
        file[at] ^= 4


def refused(read, *arguments):
    try:
        read(*arguments)
    except AssertionError:
        return True
    return False


def check_frames_on_the_wire(folder):
    """A logger of another version, played by `cobs` and `crcmod`, is understood."""
    crc = crcmod.predefined.mkCrcFun("crc-32")
    assert crc(b"123456789") == zlib.crc32(b"123456789") == 0xCBF43926
    ours, theirs = pty.openpty()
    tty.setraw(theirs)
    asked = []

    def logger():
        buffer = b""
        try:
            while True:
                buffer += os.read(ours, 4096)
                while b"\0" in buffer:
                    frame, buffer = buffer.split(b"\0", 1)
                    if not frame:
                        continue
                    data = cobs.decode(frame)
                    assert crc(data[:-4]) == int.from_bytes(data[-4:], "little")
                    request = reader.Postcard(data[:-4])
                    number, tag = request.uint(), request.uint()
                    asked.append((tag, request.uint() if tag == 0 else None))
                    # Reply { id, Refused(Version(77)) }: tags 10 and 1.
                    body = varint(number) + bytes([10, 1, 77])
                    os.write(ours, cobs.encode(body + crc(body).to_bytes(4, "little")) + b"\0")
        except OSError:
            return  # the program has closed its end, and so have we

    thread = threading.Thread(target=logger, daemon=True)
    thread.start()
    done = subprocess.run(
        [program(), "collect", "--port", os.ttyname(theirs), "--out", "never.pwa"],
        cwd=folder, capture_output=True, text=True, timeout=60,
    )
    os.close(theirs)
    print(f"  asked {asked}, said: {done.stderr.strip()}")
    assert asked[0] == (0, 1), "the first request is Hello of protocol 1"
    assert done.returncode == 1 and "77" in done.stderr, done
    assert not (folder / "never.pwa").exists()


def varint(value):
    out = bytearray()
    while value >= 0x80:
        out.append(value & 0x7F | 0x80)
        value >>= 7
    return bytes(out + bytes([value]))


main(globals())
