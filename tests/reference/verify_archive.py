"""The stand-alone check of an archive (shared-protocol/verify_archive.py), written from FORMAT.md with
the general library `cryptography`, comes to the verdict of `verify`: on a sound archive and on
tampered ones.
"""

import hashlib
import json
import re
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
    return (
        (said.returncode, json.loads(said.stdout)["verdict"].replace("-", " ")),
        (alone.returncode, verdict.group(1) if verdict else "damage found"),
    )


def agree(archive, trust, code, verdict):
    program_says, check_says = both(archive, trust)
    print(f"  {archive.name}: {program_says[1]}, {check_says[1]}")
    assert program_says == check_says == (code, verdict), (program_says, check_says)


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
    agree(archive, trust, 0, "proven")
    agree(archive, nobody, 0, "sealed by unknown key")

    whole = archive.read_bytes()
    at = lambda sector, page=0: HEAD + sector * SECTOR + page * PAGE

    def tampered(name, change):
        file = bytearray(whole)
        file = change(file) or file
        path = folder / f"{name}.pwa"
        path.write_bytes(resealed(file))
        agree(path, trust, 3, "damage found")

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

    changes = [flip, swap, repeat, blank, remove]
    changes += [header_with_a_check_that_fits, settings_with_a_check_that_fits]
    for change in changes:
        tampered(change.__name__, change)
    (folder / "head.pwa").write_bytes(whole[:90] + bytes([whole[90] ^ 1]) + whole[91:])
    agree(folder / "head.pwa", trust, 3, "damage found")
    # Another key than the known one.
    other = folder / "other.toml"
    other.write_text(re.sub('key = ".*"', 'key = "' + "b" * 64 + '"', trust.read_text()))
    agree(archive, other, 3, "damage found")


main(globals())
