"""A bundle read by others: the zip by Python's zipfile, hashes by hashlib, captures by `comtrade`
(MIT), tables by `pyarrow` and `duckdb`, the seal by `cryptography` and, where it is there, openssl.
"""

import base64
import hashlib
import re
import shutil
import subprocess
import sys
import zipfile
import zlib
from datetime import timedelta, timezone

import comtrade
import duckdb
import pandas as pd
import pikepdf
import pyarrow.parquet as pq
from common import archive as reader
from common import demo, main, run
from pdfminer.high_level import extract_text


def unpack(archive, folder, *options):
    run("bundle", archive, "--trust", archive.parent / "known-loggers.toml", *options,
        "--out", "bundle.zip", "--replace", folder=folder)
    packed = zipfile.ZipFile(folder / "bundle.zip")
    assert packed.testzip() is None
    assert packed.namelist() == sorted(packed.namelist())
    out = folder / "bundle"
    shutil.rmtree(out, ignore_errors=True)
    packed.extractall(out)
    return out, packed


def check_that_everything_is_there_and_the_same_each_time(folder):
    archive = demo("supply-dips", folder)
    out, packed = unpack(archive, folder)
    first = (folder / "bundle.zip").read_bytes()
    unpack(archive, folder)
    assert (folder / "bundle.zip").read_bytes() == first, "two bundles of one record differ"
    sums = (out / "SHA256SUMS").read_text().splitlines()
    assert len(sums) == len(packed.namelist()) - 1
    for line in sums:
        wanted, name = line.split("  ")
        assert hashlib.sha256((out / name).read_bytes()).hexdigest() == wanted, name
    assert (out / "recording.pwa").read_bytes() == archive.read_bytes()
    needed = ["README.txt", "report.html", "report.pdf", "analysis.json", "site.toml",
              "verification.txt", "tables/runs.csv", "tables/marks.parquet"]
    for name in needed:
        assert (out / name).stat().st_size > 0, name
    print(f"  {len(packed.namelist())} files, {len(first)} bytes")


def check_the_seal_as_the_readme_says(folder):
    archive = demo("power-cuts", folder)
    out, _ = unpack(archive, folder)
    seal = out / "seal"
    done = subprocess.run(
        [sys.executable, "verify_archive.py", "recording.pwa", "seal/public-key.pem"],
        cwd=out, capture_output=True, text=True, timeout=60,
    )
    assert done.returncode == 0 and "verdict  proven" in done.stdout, done
    # By hand: the last sector's hash stands in the statement.
    record = (out / "recording.pwa").read_bytes()
    statement = (seal / "statement.bin").read_bytes()
    assert hashlib.sha256(record[-4160:-64]).digest() == statement[24:56]
    text = (out / "README.txt").read_text().replace("\\\n", "")
    commands = re.findall("^     (.*)$", text, re.M)
    openssl = [command for command in commands if command.startswith("openssl")]
    assert len(openssl) == 1, commands
    if shutil.which("openssl"):
        done = subprocess.run(openssl[0], shell=True, cwd=out, capture_output=True, text=True)
        assert "Verified Successfully" in done.stdout + done.stderr, done
    sums = [command for command in commands if command.startswith("sha256sum")]
    subprocess.run(sums[0], shell=True, cwd=out, check=True, capture_output=True)


def check_captures_against_a_second_reader(folder):
    archive = demo("supply-dips", folder)
    out, _ = unpack(archive, folder)
    file = archive.read_bytes()
    head = reader.read_header(file)
    blocks = [r for kind, r in reader.read_sectors(file, head) if kind == "capture"]
    points = [(number, start + (n * step_us) / 1000, point)
              for number, _, start, step_us, _, points in blocks
              for n, point in enumerate(points)]
    configurations = sorted((out / "captures").glob("*.cfg"))
    assert len(configurations) > 10
    read = 0
    for path in configurations[:30]:
        record = comtrade.Comtrade()
        record.load(str(path), str(path.with_suffix(".dat")))
        assert record.rev_year == "2013" and record.frequency == 50.0 and record.ft == "ASCII"
        assert record.analog_channel_ids == ["voltage", "current", "active power"]
        assert [c.uu for c in record.cfg.analog_channels] == ["V", "A", "W"]
        start = record.start_timestamp.replace(tzinfo=timezone.utc)
        assert start <= record.trigger_timestamp.replace(tzinfo=timezone.utc)
        kind = path.stem.split("-", 1)[1]
        for n in range(record.total_samples):
            _, at_ms, (dv, ca, w) = points[read]
            read += 1
            got = start + timedelta(seconds=float(record.time[n]))
            assert abs(got.timestamp() * 1000 - at_ms) < 0.01, (path.name, n)
            for channel, value in zip(record.analog, (dv / 10, ca / 100, w)):
                assert abs(channel[n] - value) < 1e-3 + abs(value) * 1e-6, (path.name, n)
        assert kind in ("start", "dip", "swell", "interruption", "sensor-loss")
    rows = sum(path.read_text().count("\n") for path in (out / "captures").glob("*.dat"))
    assert rows == len(points), (rows, len(points))
    print(f"  {len(configurations)} captures, {read} samples")


def check_tables_by_two_readers(folder):
    archive = demo("supply-dips", folder)
    out, _ = unpack(archive, folder)
    for name in ("rows", "runs", "marks"):
        csv = pd.read_csv(out / f"tables/{name}.csv")
        table = pq.read_table(out / f"tables/{name}.parquet")
        assert table.column_names == list(csv.columns) and table.num_rows == len(csv) > 5, name
        path = out / f"tables/{name}.parquet"
        (count,) = duckdb.sql(f"select count(*) from '{path}'").fetchall()[0]
        assert count == len(csv)
    runs = pq.read_table(out / "tables/runs.parquet").to_pandas()
    length = (runs.stop - runs.start).dt.total_seconds()
    assert ((length - runs.duration_s).abs() < 0.01).all()


def everything_in(path):
    """The bytes of a file, and of all that is packed inside it."""
    data = path.read_bytes()
    yield data
    if path.suffix == ".pdf":
        with pikepdf.open(path) as pdf:
            for part in pdf.objects:
                yield part.read_bytes() if isinstance(part, pikepdf.Stream) else str(part).encode()
        # Words are drawn as numbers of glyphs: a reader turns them back.
        yield extract_text(path).encode()
    elif path.suffix == ".html":
        for block in re.findall(rb"[A-Za-z0-9+/=]{64,}", data):
            try:
                packed = base64.b64decode(block + b"=" * (-len(block) % 4))
            except ValueError:
                continue
            yield packed
            for window in (15, -15, 31):  # zlib, bare, gzip
                try:
                    yield zlib.decompress(packed, window)
                except zlib.error:
                    continue
    elif path.suffix == ".parquet":
        table = pq.read_table(path)
        yield str(table.schema.metadata).encode()
        yield table.to_pandas().to_csv().encode()


def check_that_private_leaves_no_name(folder):
    archive = demo("supply-dips", folder)
    site = (archive.parent / "site.toml").read_text()
    name = re.search('name = "(.*)"', site).group(1)
    named = folder / "named.toml"
    extra = f'name = "{name}"\ncustomer = "Xenophon Quill"\naddress = "Nowhere Lane 7"'
    named.write_text(site.replace(f'name = "{name}"', extra))
    out, _ = unpack(archive, folder, "--site", named)
    assert "Xenophon Quill" in (out / "site.toml").read_text()
    out, packed = unpack(archive, folder, "--site", named, "--private")
    assert "recording.pwa" not in packed.namelist()
    assert "NAMES LEFT OUT" in (out / "README.txt").read_text()
    looked = 0
    for path in (path for path in out.rglob("*") if path.is_file()):
        for data in everything_in(path):
            looked += 1
            for word in (name, "Xenophon", "Nowhere Lane"):
                for coding in ("utf-8", "utf-16-le", "utf-16-be"):
                    assert word.encode(coding) not in data, f"{word} in {path.name}"
    print(f"  {looked} pieces of {len(packed.namelist())} files")
    assert looked > len(packed.namelist()) + 100, "nothing packed was unpacked"
    _, packed = unpack(archive, folder, "--private", "--keep-archive")
    assert "recording.pwa" in packed.namelist()


main(globals())
