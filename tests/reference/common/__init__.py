"""What the checks share: running the program as a user does, and telling times.

A check is a file of functions `check_*`; each raises where the program and the reference differ.
Exit codes are those `scripts/test` knows: 0 fine, 1 failed, 77 cannot be done here.
"""

import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
import traceback
from datetime import datetime, timezone
from pathlib import Path

HERE = Path(__file__).resolve().parent.parent
DATA = HERE / "data"
# Start of every series whose source only counts seconds.
EPOCH_S = int(datetime(2026, 3, 2, tzinfo=timezone.utc).timestamp())


class NotHere(Exception):
    """The check cannot be done on this machine."""


def program():
    """Path of the program under test."""
    named = os.environ.get("PUMPWITNESS")
    path = Path(named) if named else HERE.parents[1] / "target/release/pumpwitness"
    if not path.is_file():
        sys.exit(f"{path} is missing: build it first, or use scripts/test")
    return path


def run(*arguments, folder="."):
    """Standard output of the program; its error text where it did not end well."""
    done = subprocess.run(
        [program(), *map(str, arguments)], cwd=folder, capture_output=True, text=True, timeout=120
    )
    assert done.returncode == 0, f"{arguments}: exit {done.returncode}\n{done.stderr}"
    return done.stdout


def analyse(table, site, folder):
    """The analysis of a table (path, or rows as a data frame) at a site (TOML text)."""
    site_path = Path(folder) / "site.toml"
    site_path.write_text(site)
    if not isinstance(table, (str, Path)):
        frame, table = table, Path(folder) / "table.csv"
        frame.to_csv(table, index=False)
    return json.loads(run("analyse", table, "--site", site_path, "--json", folder=folder))


def demo(scenario, folder):
    """Path of the archive of an invented site."""
    run("demo", "--scenario", scenario, "--out", "demo", folder=folder)
    return Path(folder) / "demo/recording.pwa"


def stamp(seconds):
    """RFC 3339 time, to the millisecond, of seconds since `EPOCH_S`."""
    moment = datetime.fromtimestamp(EPOCH_S, timezone.utc).timestamp() + round(seconds, 3)
    return datetime.fromtimestamp(moment, timezone.utc).strftime("%Y-%m-%dT%H:%M:%S.%f")[:-3] + "Z"


def seconds(text):
    """Seconds since `EPOCH_S` of an RFC 3339 time."""
    return datetime.fromisoformat(text.replace("Z", "+00:00")).timestamp() - EPOCH_S


def fetch_source(name, version, folder):
    """Unpacks the source archive of a package into `folder`, without installing it."""
    return fetch(name, version, folder, "--no-binary")


def fetch_wheel(name, version, folder):
    """The same of a package's built form, for those whose data is only there, or without a build."""
    return fetch(name, version, folder, "--only-binary")


def fetch(name, version, folder, form):
    # Nothing but this one package: no other comes with it.
    done = subprocess.run(
        [sys.executable, "-m", "pip", "download", "-q", "--disable-pip-version-check", "--no-deps",
         form, ":all:", "-d", folder, f"{name}=={version}"],
        capture_output=True, text=True, timeout=120,
    )
    ends = (".zip", ".whl", ".tar.gz")
    found = [path for path in Path(folder).iterdir() if path.name.endswith(ends)]
    if not found:
        raise NotHere(f"{name} {version} cannot be fetched: {done.stderr.strip()[-200:]}")
    shutil.unpack_archive(found[0], folder, "gztar" if found[0].suffix == ".gz" else "zip")
    return Path(folder)


def close(got, wanted, within, what):
    """Asserts that two figures lie within `within` of each other."""
    assert abs(got - wanted) <= within, f"{what}: {got} and not {wanted} ± {within}"
    print(f"  {what}: {got:.6g} (reference {wanted:.6g})")


def main(checks):
    """Runs the functions named `check_*` of a module's globals and ends the process."""
    failed = skipped = 0
    functions = [(n, f) for n, f in checks.items() if n.startswith("check_") and callable(f)]
    assert functions, "no check in this file"
    for name, function in functions:
        began = time.monotonic()
        with tempfile.TemporaryDirectory() as folder:
            try:
                function(Path(folder))
                word = "ok"
            except NotHere as why:
                skipped, word = skipped + 1, f"skipped: {why}"
            except Exception:  # every difference is told, then the next check runs
                failed, word = failed + 1, "FAILED"
                traceback.print_exc()
        print(f"{name[6:].replace('_', ' ')}: {word} ({time.monotonic() - began:.1f} s)", flush=True)
    sys.exit(1 if failed else 77 if skipped else 0)
