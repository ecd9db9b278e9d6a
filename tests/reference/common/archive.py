"""A reader of archives written from shared-protocol/FORMAT.md alone, to show that the page is enough.

Bits, integers and checks are Python's own: struct, zlib.crc32, hashlib. Numbers in brackets are
sections of FORMAT.md.
"""

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

    def rice(self, context):
        """A(c, u) [3.1]."""
        a, n = context
        k = next(k for k in range(21) if k == 20 or (n << k) >= a)
        q = 0
        while q < 12 and self.take(1):
            q += 1
        u = (q << k) | self.take(k) if q < 12 else self.take(self.take(5) + 1)
        a, n = a + min(u, 12 << k), n + 1
        if n == 32:
            a, n = max(a // 2, 1), 16
        context[:] = a, n
        return u

    def delta(self, context):
        return unzigzag(self.rice(context))

    def time(self, since):
        """T(t, from) [3.1]."""
        return since + unzigzag(self.take(self.take(6)))


class PageDecoder:
    """The state of a page [3.2] and its records [3.3] to [3.5]."""

    FIELDS = ["span"] + [c + s for c in "ucs" for s in ("mean", "low", "high")] + ["p", "f", "flags"]

    def __init__(self, base_ms):
        self.end, self.span, self.count = base_ms, 200, 1
        self.last = dict.fromkeys(("u", "c", "s", "p", "f", "flags"), 0)
        self.contexts = {field: [4, 1] for field in self.FIELDS}

    def record(self, bits):
        if not bits.take(1):
            return "interval", self.interval(bits)
        return ("mark", self.mark(bits)) if bits.take(1) else ("capture", self.capture(bits))

    def interval(self, bits):
        context, last = self.contexts, self.last
        start = self.end
        if bits.take(1):
            start, self.count = bits.time(self.end), bits.take(16)
        self.span = (self.span + bits.delta(context["span"])) & M32
        self.end = start + self.span
        row = [self.end, self.span, self.count]
        for c in "ucs":
            mean = last[c] = wrap32(last[c] + bits.delta(context[c + "mean"]))
            low = wrap32(mean - bits.rice(context[c + "low"]))
            row += [mean, low, wrap32(mean + bits.rice(context[c + "high"]))]
        for c in "pf":
            last[c] = wrap32(last[c] + bits.delta(context[c]))
            row.append(last[c])
        last["flags"] ^= bits.rice(context["flags"])
        return (*row, last["flags"])

    def capture(self, bits):
        number, index, start = bits.take(16), bits.take(16), bits.time(self.end)
        step_us, trigger, points = bits.take(16), bits.take(8), []
        contexts, point = [[4, 1] for _ in range(3)], [0, 0, 0]
        for _ in range(bits.take(6)):
            point = [wrap32(p + bits.delta(c)) for p, c in zip(point, contexts)]
            points.append(point)
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
    assert card.at == len(card.data), "the head has bytes left over"
    return head


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
        if at + 3 > PAGE or data[at : at + 2] == b"\xff\xff":
            break
        n, count = struct.unpack_from("<HB", data, at)
        assert 1 <= n <= PAGE - at - 7 and count, "a chunk that does not fit"
        payload = data[at + 3 : at + 3 + n]
        address = struct.pack("<IBHHB", sequence, page, at, n, count)
        assert zlib.crc32(address + payload) == u32(data, at + 3 + n), (sequence, page, at)
        bits = Bits(payload)
        records += [decoder.record(bits) for _ in range(count)]
        assert "1" not in bits.text[bits.at :] and len(bits.text) - bits.at < 8, "fill is not 0"
        at += 3 + n + 4
    assert data[at:].strip(b"\xff") == b"", "bytes behind the last chunk"
    return records
