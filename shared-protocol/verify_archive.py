#!/usr/bin/env python3
"""Checks an archive of a logger without the program that made it: what does the seal vouch for?

    pip install cryptography
    python3 verify_archive.py ARCHIVE [PUBLIC-KEY]

PUBLIC-KEY is the key known from elsewhere: 64 hex digits, or a PEM file. Written from FORMAT.md
alone; uses only Python and the library `cryptography`. Numbers in brackets are sections of FORMAT.md.

Exit: 0 nothing speaks against the file, 3 damage or forgery was found, 1 it cannot be read.
It checks head, hash chain, seal of the download, papers, end mark, and the seals of each hour: these
lie inside coded pages, and tell how far a damaged file can still be relied on.
"""

import hashlib
import re
import struct
import sys
import zlib
from collections import defaultdict
from datetime import datetime, timedelta
from pathlib import Path

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import (
    Encoding, PublicFormat, load_pem_public_key,
)

HEAD, SECTOR, PAGE, END = 8192, 4096, 1024, 64
# Position of the seal among the marks (src/record.rs).
SEAL = 15
sha256 = lambda data: hashlib.sha256(data).digest()


class Postcard:
    """Reads the postcard wire format 1.0, and remembers where it is."""

    def __init__(self, data):
        self.data, self.at = data, 0

    def raw(self, n):
        self.at += n
        if self.at > len(self.data):
            raise ValueError("the head ends early")
        return self.data[self.at - n : self.at]

    def uint(self):
        value = shift = 0
        while True:
            byte = self.raw(1)[0]
            value |= (byte & 0x7F) << shift
            shift += 7
            if byte < 0x80:
                return value

    def sint(self):
        value = self.uint()
        return (value >> 1) ^ -(value & 1)

    def text(self):
        return self.raw(self.uint())

    def since(self, start):
        return self.data[start : self.at]


def read_head(file):
    """Head of an archive [4]: src/archive.rs, src/settings.rs, src/calibration.rs, src/seal.rs."""
    if file[:8] != b"PWARCH1\n" or len(file) < HEAD:
        raise ValueError("this is not an archive")
    if zlib.crc32(file[: HEAD - 4]) != struct.unpack_from("<I", file, HEAD - 4)[0]:
        raise ValueError("the head is damaged")
    used = struct.unpack_from("<I", file, 8)[0]
    card, head = Postcard(file[12 : 12 + used]), {}
    # Identity: protocol, device, firmware, boot, clock, clock good.
    card.uint()
    head["device"] = card.raw(8)
    card.raw(3)
    head["boot"] = card.uint()
    card.sint(), card.raw(1)
    # Range of the snapshot.
    head["first"], head["last"], head["clock_ms"] = card.uint(), card.uint(), card.sint()
    head["host_ms"] = card.sint()
    # Settings: site, nominal V and Hz, rated and running mA, transducer, its ends, four thresholds,
    # four deadbands, longest interval, captures an hour, when full, lamps.
    start = card.at
    card.text(), card.uint(), card.raw(1), card.uint(), card.uint()
    card.uint(), card.sint(), card.sint()
    [card.uint() for _ in range(8)]
    card.raw(1), card.uint(), card.uint()
    [card.text() for _ in range(card.uint())]
    settings = card.since(start)
    site = card.text()
    # Calibration: made, by, reference, two alternating and two direct channels.
    start = card.at
    card.sint(), card.text(), card.text()
    for _ in range(2):
        card.uint(), card.sint(), card.sint(), card.sint()
    for _ in range(2):
        card.uint(), card.sint()
    calibration = card.since(start)
    parts = (settings, site, calibration)
    head["papers"] = sha256(b"".join(struct.pack("<I", len(p)) + p for p in parts))
    head["key"] = card.raw(32)
    head["seal"] = read_seal(card) if card.raw(1)[0] else None
    head["by"] = card.text().decode(errors="replace")
    card.raw(3)
    if card.at != len(card.data) or any(file[12 + used : HEAD - 4]):
        raise ValueError("the head has bytes left over")
    return head


def read_seal(card):
    """Seal [6]; the bytes under the signature are put together as the section has them."""
    device, boot, occasion, sector = card.raw(8), card.uint(), card.uint(), card.uint()
    chain, time_ms, papers, signature = card.raw(32), card.sint(), card.raw(32), card.raw(64)
    signed = b"PWSEAL1\n" + device + struct.pack("<HBBI", boot, occasion, 0, sector)
    signed += chain + struct.pack("<q", time_ms) + papers
    return {"device": device, "boot": boot, "occasion": occasion, "sector": sector, "chain": chain,
            "time_ms": time_ms, "papers": papers, "signature": signature, "signed": signed}


class Coded:
    """Records of one page [3], as far as it takes to come from one mark to the next."""

    def __init__(self):
        self.contexts, self.means = defaultdict(lambda: [4, 1]), defaultdict(int)
        self.count = 1

    def chunk(self, payload):
        """The marks of a chunk: postcard bytes of each."""
        self.bits, self.at, marks = bits_of(payload), 0, []
        while len(self.bits) - self.at >= 8:
            head = 0
            while head < 4 and self.take(1):
                head += 1
            if head < 3:
                self.interval(head)
            elif head == 3:
                self.capture()
            else:
                self.time()
                marks.append(bytes(self.take(8) for _ in range(self.take(8))))
        return marks

    def take(self, n):
        self.at += n
        if self.at > len(self.bits):
            raise ValueError("a chunk ends early")
        return int(self.bits[self.at - n : self.at], 2) if n else 0

    def rice(self, name):
        """A(c, u) [3.1]."""
        a, n = context = self.contexts[name]
        k = q = 0
        while k < 20 and (n << k) < a - (a >> 2) - (a >> 4):
            k += 1
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

    def delta(self, name):
        u = self.rice(name)
        return (u >> 1) ^ -(u & 1)

    def distance(self, name):
        """D(c, m, u) [3.1]."""
        p = (self.means[name] + 8) >> 4
        u = self.rice(name)
        if u <= 2 * p:
            u = p + ((u >> 1) ^ -(u & 1))
        self.means[name] += max(-64, min(64, 16 * min(u, 65535) - self.means[name])) >> 2

    def time(self):
        return self.take(self.take(6))

    def interval(self, head):
        """[3.3]; of its fields only what later codes depend on is kept."""
        if head == 2:
            if self.take(1):
                self.time()
            self.take(8)
        if head > 0:
            self.count += self.delta(("count", self.count == 1))
            self.rice("hertz")
            self.rice("span")
        for field in ("voltage", "current", "signal"):
            self.rice(field)
            self.distance((field, "low"))
            self.distance((field, "high"))
        self.rice("power")

    def capture(self):
        """[3.4]"""
        if self.take(1):
            self.rice("step")
            self.rice("start")
        else:
            self.take(32), self.time(), self.take(24)
        for _ in range(32 if self.take(1) else self.take(5)):
            [self.rice(("point", n)) for n in range(3)]


def chunks_of(data, start, page, name, align):
    """Payloads of the chunks of a page [2.2], up to the first check that fails."""
    at = -(-(start + 24) // align) * align
    while at < PAGE - 5 and data[at] != 0xFF:
        n, width = data[at], 1
        if n >= 240:
            n, width = (data[at] - 240) * 256 + data[at + 1], 2
        end = at + width + n
        if n == 0 or end + 4 > PAGE:
            return
        address = struct.pack("<IBH", name, page, at)
        if zlib.crc32(address + data[at:end]) != struct.unpack_from("<I", data, end)[0]:
            return
        yield data[at + width : end]
        at = -(-(end + 4) // align) * align


def bits_of(data):
    return format(int.from_bytes(data, "big"), f"0{8 * len(data)}b")


def seals_in(sector, name, device):
    """Seals of this logger among the records of a sector."""
    begins = bits_of(bytes([SEAL]) + device)
    for page in range(4):
        data = sector[page * PAGE : (page + 1) * PAGE]
        start = 96 if page == 0 else 0
        own = b"PG\x01" + bytes([page]) + struct.pack("<I", name)
        if data[start : start + 8] != own:
            continue
        if zlib.crc32(data[start : start + 20]) != struct.unpack_from("<I", data, start + 20)[0]:
            continue
        chunks = list(chunks_of(data, start, page, name, sector[10] or 1))
        # Most pages hold no seal, and decoding takes its time: does this one show how a seal begins?
        if not any(begins in bits_of(chunk) for chunk in chunks):
            continue
        coded = Coded()
        try:
            for card in (Postcard(mark) for chunk in chunks for mark in coded.chunk(chunk)):
                if card.uint() == SEAL:
                    yield read_seal(card)
        except ValueError:
            continue


def signed_by(seal, key):
    try:
        Ed25519PublicKey.from_public_bytes(key).verify(seal["signature"], seal["signed"])
        return True
    except (InvalidSignature, ValueError):
        return False


def hourly(sectors, head, key):
    """What the seals of each hour say: sentences on those that are wrong, sentences on those that
    hold, and the sectors that one of them vouches for, followed back along the chain."""
    wrong, right, anchored = [], [], set()
    hashes = [sha256(sector) for sector in sectors]
    seals = [seal for n, sector in enumerate(sectors)
             for seal in seals_in(sector, head["first"] + n, head["device"])]
    for seal in seals:
        n, when = seal["sector"] - head["first"], utc(seal["time_ms"])
        if not signed_by(seal, key):
            wrong.append(f"the hourly seal of {when} is forged or damaged, or by another key")
        elif seal["device"] != head["device"]:
            wrong.append(f"the hourly seal of {when} was made by another logger")
        elif 0 <= n < len(sectors) and hashes[n] != seal["chain"]:
            wrong.append(f"sector {seal['sector']} is not what the logger sealed at {when}")
        elif 0 <= n < len(sectors):
            anchored.add(n)
            right.append(f"up to sector {seal['sector']}, {when}")
    reached, vouched = False, set()
    for n in reversed(range(len(sectors))):
        follows = n + 1 < len(sectors) and sectors[n + 1][24:56] == hashes[n]
        reached = n in anchored or (reached and follows)
        if reached:
            vouched.add(head["first"] + n)
    return wrong, right, vouched


def utc(ms):
    """A moment as people read it; ms since 1970."""
    try:
        return (datetime(1970, 1, 1) + timedelta(milliseconds=ms)).isoformat(" ", "seconds") + " UTC"
    except OverflowError:
        return f"{ms} ms"


def check(file, known=None):
    """Verdict, what was found (a list of sentences, empty for a sound file), what the seals of each
    hour say, and the sectors they vouch for."""
    head, found = read_head(file), []
    count = head["last"] - head["first"] + 1
    body, end = file[: HEAD + count * SECTOR], file[HEAD + count * SECTOR :]
    if len(end) != END or end[:8] != b"PWARCEND" or end[12:32] != bytes(20):
        found.append("the file has not the length its head gives, or no end mark")
    elif struct.unpack_from("<I", end, 8)[0] != count or end[32:] != sha256(body):
        found.append("the hash in the end mark is not that of the file")
    sectors = [body[HEAD + n * SECTOR : HEAD + (n + 1) * SECTOR] for n in range(count)]
    # The chain [2.1]: each header names the hash of the sector before.
    broken = []
    for n, sector in enumerate(sectors):
        name = head["first"] + n
        if len(sector) < SECTOR:
            found.append(f"sector {name} is not whole in the file")
            break
        fits = sector[:8] == b"PWSECTOR" and sector[12:16] == struct.pack("<I", name)
        fits = fits and sector[16:24] == head["device"]
        if not fits or zlib.crc32(sector[:92]) != struct.unpack_from("<I", sector, 92)[0]:
            found.append(f"the header of sector {name} is damaged, or of another place or logger")
        elif n and sector[24:56] != sha256(sectors[n - 1]):
            broken.append(name - 1)
        for page in range(4):
            if not any(sector[page * PAGE : (page + 1) * PAGE]):
                found.append(f"page {page} of sector {name} is missing")
    # A sector torn by a loss of power may read differently later: no proof of editing. The program
    # looks closer.
    found += [f"sector {name} is not what the next one names" for name in broken]

    key, right, vouched = known or head["key"], [], set()
    if any(key):
        whole = [sector for sector in sectors if len(sector) == SECTOR]
        wrong, right, vouched = hourly(whole, head, key)
        found += wrong
    verdict = judge(head, sectors, known, found, vouched)
    return verdict, found, right, vouched


def judge(head, sectors, known, found, vouched):
    """The verdict; adds to what was found what the seal of the download says."""
    key, seal = known or head["key"], head["seal"]
    if known and head["key"] != known:
        found.append("the key in the file is not the one known for this logger")
    if seal is None or not any(key):
        if known:
            found.append("the key of this logger is known, but there is no seal of it in the file")
        sealed = "sealed by unknown key" if vouched else "unproven"
        return "damage found" if found else sealed
    if not signed_by(seal, key):
        found.append("the seal of the download is forged or damaged: its signature is wrong")
    elif seal["device"] != head["device"]:
        found.append("the seal was made by another logger")
    else:
        if seal["papers"] != head["papers"]:
            found.append("settings, site text or calibration are not those that were sealed")
        n = seal["sector"] - head["first"]
        if 0 <= n < len(sectors) and sha256(sectors[n]) != seal["chain"]:
            found.append(f"sector {seal['sector']} is not what was sealed")
        # Head and seal of a download are asked for in one go.
        if seal["occasion"] == 1 and (seal["boot"], seal["sector"]) != (head["boot"], head["last"]):
            found.append("the seal of the download names another start of the logger, or another last "
                         "sector, than the head")
        if not found and (seal["sector"] != head["last"] or seal["occasion"] != 1):
            return "partly proven" if known else "sealed by unknown key"
    if found:
        return "damage found"
    return "proven" if known else "sealed by unknown key"


def ranges(numbers):
    """Whole numbers as stretches: 3 to 7, 9."""
    parts, numbers = [], sorted(numbers)
    for n in numbers:
        if parts and parts[-1][1] == n - 1:
            parts[-1][1] = n
        else:
            parts.append([n, n])
    return ", ".join(str(a) if a == b else f"{a} to {b}" for a, b in parts)


def known_key(text):
    """A key of 64 hex digits, or in a PEM file."""
    if re.fullmatch("[0-9a-fA-F]{64}", text):
        return bytes.fromhex(text)
    key = load_pem_public_key(Path(text).read_bytes())
    return key.public_bytes(Encoding.Raw, PublicFormat.Raw)


def main(arguments):
    if len(arguments) not in (1, 2):
        print(__doc__)
        return 2
    try:
        file = Path(arguments[0]).read_bytes()
        known = known_key(arguments[1]) if len(arguments) == 2 else None
        verdict, found, hours, vouched = check(file, known)
        head = read_head(file)
    except (OSError, ValueError) as error:
        print(f"{arguments[0]}: {error}")
        return 3 if "damaged" in str(error) else 1
    print(f"SHA-256  {hashlib.sha256(file).hexdigest()}")
    print(f"logger   {head['device'].hex()}")
    print(f"sectors  {head['first']} to {head['last']}")
    print(f"key      {head['key'].hex() if any(head['key']) else 'none'}")
    print(f"hourly   {len(hours)} seals hold" + (f", the last {hours[-1]}" if hours else ""))
    if vouched:
        print(f"they vouch for sectors {ranges(vouched)}")
    print(f"verdict  {verdict}")
    for sentence in found:
        print(f"  - {sentence}")
    if verdict == "sealed by unknown key":
        print("Whose key that is, the file cannot say: compare it with one had from the logger itself.")
    return 3 if found else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
