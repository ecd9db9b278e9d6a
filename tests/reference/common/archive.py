"""A reader of archives written from shared-protocol/FORMAT.md alone, to show that the page is enough.

Bits, integers and checks are Python's own: struct, zlib.crc32, hashlib. Numbers in brackets are
sections of FORMAT.md.
"""

import collections
import hashlib
import struct
import zlib

M32 = 0xFFFFFFFF
SECTOR, PAGE, HEAD = 4096, 1024, 8192


class Postcard:
    """Reads the postcard wire format 1.0."""

    def __init__(self, data):
        self.data, self.at = data, 0

    def raw(self, n):
        self.at += n
        assert self.at <= len(self.data), "postcard ends early"
        return self.data[self.at - n : self.at]

    def u8(self):
        return self.raw(1)[0]

    def uint(self):
        value = shift = 0
        while True:
            byte = self.u8()
            value |= (byte & 0x7F) << shift
            shift += 7
            if byte < 0x80:
                return value

    def sint(self):
        return unzigzag(self.uint())

    def text(self):
        return bytes(self.raw(self.uint()))


def unzigzag(v):
    return (v >> 1) ^ -(v & 1)


def wrap32(v):
    return ((v + 0x8000_0000) & M32) - 0x8000_0000


class Bits:
    """A payload as a string of bits, most significant first [3]."""

    def __init__(self, payload):
        self.text = format(int.from_bytes(payload, "big"), f"0{8 * len(payload)}b")
        self.at = 0

    def take(self, n):
        self.at += n
        assert self.at <= len(self.text), "payload ends early"
        return int(self.text[self.at - n : self.at], 2) if n else 0

    def left(self):
        return len(self.text) - self.at

    def rice(self, context):
        """A(c, u) [3.1]."""
        a, n = context
        k = next(k for k in range(21) if k == 20 or (n << k) >= a - (a >> 2) - (a >> 4))
        q = 0
        while q < 10 and self.take(1):
            q += 1
        if q < 10:
            u = (q << k) | self.take(k)
            a += u
        else:
            u = self.take(self.take(5) + 1)
            a += 4 << k
        context[:] = (a // 2, 12) if n == 23 else (a, n + 1)
        return u

    def delta(self, context):
        return unzigzag(self.rice(context))

    def distance(self, context, mean):
        """D(c, m, u) [3.1]; the mean is a list of one."""
        p = (mean[0] + 8) >> 4
        u = self.rice(context)
        if u <= 2 * p:
            u = p + unzigzag(u)
        mean[0] += max(-64, min(64, 16 * min(u, 65535) - mean[0])) >> 2
        return u

    def time(self, since):
        """T(t, from) [3.1]."""
        return since + unzigzag(self.take(self.take(6)))


class PageDecoder:
    """The state of a page [3.2] and its records [3.3] to [3.5]."""

    def __init__(self, base_ms):
        self.end, self.count, self.rest = base_ms, 1, 0
        self.last = dict.fromkeys(("u", "c", "s", "p", "f", "flags"), 0)
        self.contexts = collections.defaultdict(lambda: [4, 1])
        self.means = collections.defaultdict(lambda: [0])
        self.block, self.point = (0, 0, 0, 0, 0, 0), [0, 0, 0]

    def record(self, bits):
        head = 0
        while head < 4 and bits.take(1):
            head += 1
        if head < 3:
            return "interval", self.interval(bits, head)
        return ("capture", self.capture(bits)) if head == 3 else ("mark", self.mark(bits))

    def interval(self, bits, head):
        context, last = self.contexts, self.last
        start, late = self.end, 0
        if head == 2:
            start = bits.time(self.end) if bits.take(1) else self.end
            last["flags"] = bits.take(8)
        if head > 0:
            self.count += bits.delta(context["count", self.count == 1])
            last["f"] += bits.delta(context["f"])
            late = bits.delta(context["span"])
        hertz = last["f"] if last["f"] >= 1000 else 5000
        cycles = 12 if hertz >= 5500 else 10
        expected = (self.count * (cycles * 10**8 // hertz) + self.rest) & M32
        span = (expected // 1000 + late) & M32
        self.rest = max(0, min(999, wrap32(expected - 1000 * span)))
        self.end = start + span
        row = [self.end, span, self.count]
        for c in "ucs":
            mean = last[c] = wrap32(last[c] + bits.delta(context[c]))
            low = bits.distance(context[c, "low"], self.means[c, "low"])
            high = bits.distance(context[c, "high"], self.means[c, "high"])
            row += [mean, wrap32(mean - low), wrap32(mean + high)]
        last["p"] = wrap32(last["p"] + bits.delta(context["p"]))
        return (*row, last["p"], last["f"], last["flags"])

    def capture(self, bits):
        number, index, start, step_us, trigger, before = self.block
        if bits.take(1):
            index = (index + before) & 0xFFFF
            start += before * step_us // 1000
            step_us += bits.delta(self.contexts["step"])
            start += bits.delta(self.contexts["start"])
        else:
            number, index, start = bits.take(16), bits.take(16), bits.time(self.end)
            step_us, trigger = bits.take(16), bits.take(8)
            self.point = [self.last[c] for c in "ucp"]
        points = []
        for _ in range(32 if bits.take(1) else bits.take(5)):
            deltas = [bits.delta(self.contexts["point", n]) for n in range(3)]
            self.point = [wrap32(p + d) for p, d in zip(self.point, deltas)]
            points.append(self.point)
        self.block = (number, index, start, step_us, trigger, len(points))
        return number, index, start, step_us, trigger, points

    def mark(self, bits):
        time = bits.time(self.end)
        return time, bytes(bits.take(8) for _ in range(bits.take(8)))


def read_header(file):
    """Head of an archive [4], as a dictionary."""
    assert file[:8] == b"PWARCH1\n" and zlib.crc32(file[: HEAD - 4]) == u32(file, HEAD - 4)
    card = Postcard(file[12 : 12 + u32(file, 8)])
    head = {"protocol": card.uint(), "device": card.raw(8), "firmware": card.raw(3)}
    head |= {"boot": card.uint(), "clock_ms": card.sint(), "clock_good": card.u8()}
    head |= {"first": card.uint(), "last": card.uint(), "snapshot_ms": card.sint()}
    head |= {"host_ms": card.sint(), "site": card.text(), "nominal_dv": card.uint()}
    head |= {"nominal_hz": card.u8(), "rated_ma": card.uint(), "running_ma": card.uint()}
    head |= {"transducer": card.uint(), "low_mbar": card.sint(), "high_mbar": card.sint()}
    head["thresholds"] = [card.uint() for _ in range(4)]
    head["deadbands"] = [card.uint() for _ in range(4)]
    head |= {"merge_max_s": card.u8(), "captures_per_hour": card.uint(), "when_full": card.uint()}
    head["lamps"] = [card.text() for _ in range(card.uint())]
    head["site_text"] = card.text()
    head |= {"calibrated_ms": card.sint(), "calibrated_by": card.text(), "standard": card.text()}
    for channel in ("voltage", "current"):
        head[channel] = card.uint(), card.sint(), card.sint(), card.sint()
    for channel in ("signal", "transducer_supply"):
        head[channel] = card.uint(), card.sint()
    head["key"] = card.raw(32)
    # Statement and signature, field by field as in §6.
    head["seal"] = read_seal(card) if card.u8() else None
    head |= {"collected_by": card.text(), "program": card.raw(3)}
    assert card.at == len(card.data), "the head has bytes left over"
    return head


def read_seal(card):
    """A seal [6]: statement, then the two halves of the signature."""
    statement = {"device": card.raw(8), "boot": card.uint(), "occasion": card.uint()}
    statement |= {"sector": card.uint(), "chain": card.raw(32), "time_ms": card.sint()}
    return statement | {"papers": card.raw(32), "signature": card.raw(64)}


def u32(data, at):
    return struct.unpack_from("<I", data, at)[0]


def verify_trailer(file, head):
    """Trailer [4]: number of sectors and hash of all before."""
    body, trailer = file[:-64], file[-64:]
    assert trailer[:8] == b"PWARCEND" and trailer[12:32] == bytes(20)
    sectors = (len(body) - HEAD) // SECTOR
    assert u32(trailer, 8) == sectors == head["last"] - head["first"] + 1
    assert trailer[32:] == hashlib.sha256(body).digest(), "the archive's hash differs"


def read_sectors(file, head):
    """All records in order; asserts every check of sector, page and chunk, and the hash chain."""
    previous, records = None, []
    for n, sequence in enumerate(range(head["first"], head["last"] + 1)):
        sector = file[HEAD + n * SECTOR : HEAD + (n + 1) * SECTOR]
        magic, version, align, _, number = struct.unpack_from("<8sHBBI", sector)
        assert (magic, version, number) == (b"PWSECTOR", 1, sequence)
        assert zlib.crc32(sector[:92]) == u32(sector, 92) and sector[16:24] == head["device"]
        assert previous is None or sector[24:56] == previous, f"chain broken before {sequence}"
        previous = hashlib.sha256(sector).digest()
        for page in range(4):
            records += read_page(sector[page * PAGE :][:PAGE], page, sequence, align)
    return records


def read_page(data, page, sequence, align):
    """Records of a page [2.2]; a damaged one is an assertion."""
    area = 96 if page == 0 else 0
    if data[area:] == b"\xff" * (PAGE - area):
        return []
    magic, version, number, sector, base_ms = struct.unpack_from("<2sBBIq", data, area)
    assert (magic, version, number, sector) == (b"PG", 1, page, sequence)
    assert zlib.crc32(data[area : area + 20]) == u32(data, area + 20)
    decoder, records, at = PageDecoder(base_ms), [], area + 24
    while True:
        at = -(-at // align) * align
        if at == PAGE or data[at] == 0xFF:
            break
        n, told_in = data[at], 1
        if n >= 240:
            n, told_in = (data[at] - 240) * 256 + data[at + 1], 2
        assert (1 <= n < 240) if told_in == 1 else (240 <= n < 1024), "no length"
        end = at + told_in + n
        assert end + 4 <= PAGE, "a chunk that does not fit"
        address = struct.pack("<IBH", sequence, page, at)
        assert zlib.crc32(address + data[at:end]) == u32(data, end), (sequence, page, at)
        bits = Bits(data[at + told_in : end])
        while bits.left() >= 8:
            records.append(decoder.record(bits))
        assert "1" not in bits.text[bits.at :], "fill is not 0"
        at = end + 4
    assert data[at:].strip(b"\xff") == b"", "bytes behind the last chunk"
    return records
