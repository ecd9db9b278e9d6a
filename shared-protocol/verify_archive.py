#!/usr/bin/env python3
"""Checks an archive of a logger without the program that made it: what does the seal vouch for?

    pip install cryptography
    python3 verify_archive.py ARCHIVE [PUBLIC-KEY]

PUBLIC-KEY is the key known from elsewhere: 64 hex digits, or a PEM file. Written from FORMAT.md
alone; uses only Python and the library `cryptography`. Numbers in brackets are sections of FORMAT.md.

Exit: 0 nothing speaks against the file, 3 damage or forgery was found, 1 it cannot be read.
It checks head, hash chain, seal of the download, papers and end mark. The seals of each hour, which
tell how far a damaged file can still be relied on, lie inside coded pages; the program reads them.
"""

import hashlib
import re
import struct
import sys
import zlib
from pathlib import Path

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import (
    Encoding, PublicFormat, load_pem_public_key,
)

HEAD, SECTOR, PAGE, END = 8192, 4096, 1024, 64
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
    card.raw(3), card.uint(), card.sint(), card.raw(1)
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
    return {"device": device, "occasion": occasion, "sector": sector, "chain": chain,
            "papers": papers, "signature": signature, "signed": signed}


def signed_by(seal, key):
    try:
        Ed25519PublicKey.from_public_bytes(key).verify(seal["signature"], seal["signed"])
        return True
    except (InvalidSignature, ValueError):
        return False


def check(file, known=None):
    """Verdict and what was found: a list of sentences, empty for a sound file."""
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

    key, seal = known or head["key"], head["seal"]
    if known and head["key"] != known:
        found.append("the key in the file is not the one known for this logger")
    if seal is None or not any(key):
        if known:
            found.append("the key of this logger is known, but there is no seal of it in the file")
        return ("damage found" if found else "unproven"), found
    if not signed_by(seal, key):
        found.append("the seal of the download is forged or damaged: its signature is wrong")
    elif seal["device"] != head["device"]:
        found.append("the seal was made by another logger")
    else:
        if seal["papers"] != head["papers"]:
            found.append("settings, site text or calibration are not those that were sealed")
        if seal["sector"] != head["last"] or seal["occasion"] != 1:
            return ("damage found" if found else "partly proven"), found
        if sectors and sha256(sectors[-1]) != seal["chain"]:
            found.append(f"sector {head['last']} is not what was sealed")
    if found:
        return "damage found", found
    return ("proven" if known else "sealed by unknown key"), found


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
        verdict, found = check(file, known)
        head = read_head(file)
    except (OSError, ValueError) as error:
        print(f"{arguments[0]}: {error}")
        return 3 if "damaged" in str(error) else 1
    print(f"SHA-256  {hashlib.sha256(file).hexdigest()}")
    print(f"logger   {head['device'].hex()}")
    print(f"sectors  {head['first']} to {head['last']}")
    print(f"key      {head['key'].hex() if any(head['key']) else 'none'}")
    print(f"verdict  {verdict}")
    for sentence in found:
        print(f"  - {sentence}")
    if verdict == "sealed by unknown key":
        print("Whose key that is, the file cannot say: compare it with one had from the logger itself.")
    return 3 if found else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
