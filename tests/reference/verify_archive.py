"""The stand-alone check of an archive (shared-protocol/verify_archive.py), written from FORMAT.md with
the general library `cryptography`, comes to the verdict of `verify`: on a sound archive and on
tampered ones.
"""

import hashlib
import json
import re
import runpy
import struct
import subprocess
import sys
import zlib

from common import HERE, demo, main, program

CHECKER = HERE.parents[1] / "shared-protocol/verify_archive.py"
HEAD, SECTOR, PAGE = 8192, 4096, 1024


def both(archive, trust):
    """Exit code and verdict of the program and of the stand-alone check."""
    said = subprocess.run(
        [program(), "verify", archive, "--trust", trust, "--json"], capture_output=True, text=True,
    )
    key = re.findall('key = "(.*)"', trust.read_text())
    alone = subprocess.run(
        [sys.executable, CHECKER, archive, *key], capture_output=True, text=True, timeout=60,
    )
    verdict = re.search("verdict  (.*)", alone.stdout)
    verification = json.loads(said.stdout)
    hours = [seal["result"] for seal in verification["seals"] if seal["occasion"] == "hour"]
    told = re.search("hourly   ([0-9]+) seals hold", alone.stdout)
    return (
        (said.returncode, verification["verdict"].replace("-", " "), hours.count("holds")),
        (
            alone.returncode,
            verdict.group(1) if verdict else "damage found",
            int(told.group(1)) if told else 0,
        ),
    )


def agree(archive, trust, code, verdict):
    program_says, check_says = both(archive, trust)
    print(f"  {archive.name}: {program_says[1:]}, {check_says[1:]}")
    assert program_says[:2] == check_says[:2] == (code, verdict), (program_says, check_says)
    # Where the head is damaged or bytes are out of place the check gives up; the program goes on by
    # what the pages say.
    if archive.name not in ("head.pwa", "remove.pwa"):
        assert program_says[2] == check_says[2], (program_says, check_says)
    return check_says[2]


def resealed(file):
    """With an end mark that fits what was changed."""
    body = bytes(file[:-64])
    end = b"PWARCEND" + struct.pack("<I", (len(body) - HEAD) // SECTOR) + bytes(20)
    return body + end + hashlib.sha256(body).digest()


def check_that_both_come_to_one_verdict(folder):
    archive = demo("power-cuts", folder)
    trust = archive.parent / "known-loggers.toml"
    nobody = folder / "nobody.toml"
    nobody.write_text("")
    assert agree(archive, trust, 0, "proven") > 150  # a week of hours, less the cuts
    agree(archive, nobody, 0, "sealed by unknown key")

    whole = archive.read_bytes()
    at = lambda sector, page=0: HEAD + sector * SECTOR + page * PAGE

    def tampered(name, change):
        file = bytearray(whole)
        file = change(file) or file
        path = folder / f"{name}.pwa"
        path.write_bytes(resealed(file))
        return agree(path, trust, 3, "damage found")

    def flip(file):
        file[at(5, 2) + 200] ^= 1

    def swap(file):
        file[at(5) : at(6)], file[at(6) : at(7)] = file[at(6) : at(7)], file[at(5) : at(6)]

    def repeat(file):
        file[at(5) : at(6)] = file[at(4) : at(5)]

    def blank(file):
        file[at(5, 1) : at(5, 2)] = bytes(PAGE)

    def remove(file):
        return file[: at(5, 1)] + file[at(5, 2) :]

    def header_with_a_check_that_fits(file):
        file[at(9) + 64] ^= 1
        file[at(9) + 92 : at(9) + 96] = struct.pack("<I", zlib.crc32(file[at(9) : at(9) + 92]))

    def settings_with_a_check_that_fits(file):
        name = file.index(b"Valley", 0, HEAD)
        file[name] ^= 1
        file[HEAD - 4 : HEAD] = struct.pack("<I", zlib.crc32(file[: HEAD - 4]))

    def cut_short_with_checks_that_fit(file):
        """Without its last sector, and the head says so too."""
        card = runpy.run_path(str(CHECKER))["Postcard"](bytes(file[12:HEAD]))
        # Identity, and the first sector.
        card.uint(), card.raw(11), card.uint(), card.sint(), card.raw(1), card.uint()
        start = card.at
        last = card.uint() - 1
        digits = [last >> 7 * n & 0x7F for n in range(card.at - start)]
        digits = [digit | 0x80 for digit in digits[:-1]] + digits[-1:]
        file[12 + start : 12 + card.at] = bytes(digits)
        file[HEAD - 4 : HEAD] = struct.pack("<I", zlib.crc32(file[: HEAD - 4]))
        return file[: -64 - SECTOR] + file[-64:]

    def forged_seal_with_checks_that_fit(file):
        """A bit of an hourly seal's signature, and the check of its chunk."""
        check = runpy.run_path(str(CHECKER))
        head = check["read_head"](bytes(file))
        begins = check["bits_of"](bytes([check["SEAL"]]) + head["device"])
        for index in range((len(file) - HEAD - 64) // PAGE):
            sector, page, base = head["first"] + index // 4, index % 4, HEAD + index * PAGE
            data, start = bytes(file[base : base + PAGE]), 96 if page == 0 else 0
            where = start + 24
            for payload in check["chunks_of"](data, start, page, sector, 1):
                width = 1 if len(payload) < 240 else 2
                end = where + width + len(payload)
                found = check["bits_of"](payload).find(begins)
                if found >= 0:
                    # Tag, device, boot, occasion, sector, chain, time and papers are within 100
                    # bytes; the signature's 64 follow.
                    bit = found + 8 * 120
                    file[base + where + width + bit // 8] ^= 0x80 >> bit % 8
                    address = struct.pack("<IBH", sector, page, where)
                    chunk = bytes(file[base + where : base + end])
                    file[base + end : base + end + 4] = struct.pack("<I", zlib.crc32(address + chunk))
                    return
                where = end + 4
        raise AssertionError("no seal in the record")

    changes = [flip, swap, repeat, blank, remove, forged_seal_with_checks_that_fit]
    changes += [header_with_a_check_that_fits, settings_with_a_check_that_fits]
    changes += [cut_short_with_checks_that_fit]
    holding = {change.__name__: tampered(change.__name__, change) for change in changes}
    assert holding["forged_seal_with_checks_that_fit"] == holding["flip"] - 1, holding
    (folder / "head.pwa").write_bytes(whole[:90] + bytes([whole[90] ^ 1]) + whole[91:])
    agree(folder / "head.pwa", trust, 3, "damage found")
    # Another key than the known one.
    other = folder / "other.toml"
    other.write_text(re.sub('key = ".*"', 'key = "' + "b" * 64 + '"', trust.read_text()))
    agree(archive, other, 3, "damage found")


main(globals())
