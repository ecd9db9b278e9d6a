"""The hardware notes agree with the design file, with the code and with each other.

Tables are computed anew from hardware-notes/design.toml and uncertainty.toml, drawings are drawn
anew, links are followed. `hardware_notes.py --write` puts the computed tables into the pages, and
the budgets into uncertainty.json for the report.
References: the notes' own formulas here; error_budget.py and front_end.py check these by other means.
"""

import math
import re
import subprocess
import sys
import tomllib

from common import board, budget, main, notes_tables

PAGES = sorted(board.NOTES.glob("*.md"))
LINK = re.compile(r"(!?)\[([^\]]*)\]\(([^)\s]+)\)")


def anchors(page):
    """Anchors of a page's headings, as code hosts make them."""
    text = re.sub(r"```.*?```", "", page.read_text(), flags=re.S)
    heads = re.findall(r"^#+ (.+)$", text, re.M)
    plain = (re.sub(r"[`*]|\[([^\]]*)\]\([^)]*\)", r"\1", head) for head in heads)
    return {re.sub(r"[^\w\- ]", "", head.lower()).strip().replace(" ", "-") for head in plain}


def check_that_the_tables_are_what_the_design_gives(_):
    made, everywhere = notes_tables.tables(), []
    for page in PAGES:
        text = page.read_text()
        new, used = notes_tables.filled(text, made)
        everywhere += used
        for ours, theirs in zip(new.splitlines(), text.splitlines()):
            assert ours == theirs, f"{page.name} says\n{theirs}\nand should say\n{ours}"
        assert new == text, page.name
    assert sorted(everywhere) == sorted(made), set(everywhere) ^ set(made)
    print(f"  {len(made)} tables in {len(PAGES)} pages")
    kept = (board.NOTES / "uncertainty.json").read_text()
    assert kept == budget.for_the_report(), "uncertainty.json is stale: hardware_notes.py --write"


def check_that_the_drawings_are_what_the_script_draws(folder):
    subprocess.run([sys.executable, board.ROOT / "scripts/draw-hardware-notes", folder], check=True, capture_output=True)
    kept = {f.name: f.read_text() for f in (board.NOTES / "drawings").glob("*.svg")}
    drawn = {f.name: f.read_text() for f in folder.glob("*.svg")}
    assert kept.keys() == drawn.keys(), kept.keys() ^ drawn.keys()
    for name in drawn:
        assert kept[name] == drawn[name], f"{name}: run scripts/draw-hardware-notes"
    shown = {target for page in PAGES for _, _, target in LINK.findall(page.read_text())}
    assert {f"drawings/{name}" for name in drawn} <= shown, "a drawing that no page shows"


def check_links(_):
    pages = [*PAGES, board.ROOT / "README.md", board.ROOT / "DEVELOPERS.md"]
    count = 0
    for page in pages:
        for picture, words, target in LINK.findall(page.read_text()):
            if re.match(r"[a-z]+:", target):
                continue
            path, _, anchor = target.partition("#")
            file = (page.parent / path) if path else page
            assert file.exists(), f"{page.name}: no {target}"
            assert not picture or len(words) > 10, f"{page.name}: {target} has no text for who cannot see it"
            if anchor and file.suffix == ".md":
                assert anchor in anchors(file), f"{page.name}: no heading for {target}"
            count += 1
    index = {t.partition("#")[0] for _, _, t in LINK.findall((board.NOTES / "README.md").read_text())}
    missing = {page.name for page in PAGES} - index - {"README.md"}
    assert not missing, f"the index does not name {missing}"
    print(f"  {count} links")


def check_that_the_ranges_are_about_those_of_the_code(_):
    """Uncalibrated readings must be right enough to find a wrong fit by."""
    full, counts = board.full_scales(), board.default_counts()
    for name, per, count in zip(("voltage", "current", "loop", "loop supply"), (32768, 32768, 65536, 65536), counts):
        apart = full[name] / per / count - 1
        print(f"  {name}: {100 * apart:+.2f} %")
        assert abs(apart) < 0.02, name
    assert abs(full["ring"] / 32768 / counts[1] - 1) < 1e-3


def check_that_no_amplifier_clips_before_its_range(_):
    """What the isolating amplifier takes without distortion, at the end of the range."""
    v = board.design()["voltage"]
    top = v["divider_top_ohm"] * v["divider_tops"]
    peak = board.full_scales()["voltage"] * v["divider_bottom_ohm"] / (top + v["divider_bottom_ohm"])
    assert 0.9 * v["amplifier_linear_v"] < peak < v["amplifier_linear_v"], peak


def check_pins(_):
    """The pins of the drawing are those the board's program takes."""
    code = board.sources()["firmware/rp2040/src/main.rs"]
    taken = {int(n) for n in re.findall(r"p\.PIN_(\d+)", code)}
    drawing = (board.NOTES / "drawings/processor.svg").read_text()
    drawn = {int(n) for n in re.findall(r'font-weight="bold">(\d+)<', drawing)} | set(range(2, 10))
    assert taken == drawn, taken ^ drawn
    table = re.findall(r"^\| (\d+)(?: to (\d+))? \|", (board.NOTES / "image.md").read_text(), re.M)
    listed = {n for first, last in table for n in range(int(first), int(last or first) + 1)}
    assert taken == listed, taken ^ listed


def check_the_calibration_page(_):
    """Its files are TOML, its starting values those of the design, its worked examples right."""
    text = (board.NOTES / "calibration.md").read_text()
    start, ratio, whole = (tomllib.loads(block) for block in re.findall(r"```toml\n(.*?)```", text, re.S))
    full = board.full_scales()
    for got, name, counts in (
        (start["voltage"]["gain_v_per_count"], "voltage", 32768),
        (start["current"]["gain_a_per_count"], "current", 32768),
        (start["signal"]["gain_a_per_count"], "loop", 65536),
        (start["transducer_supply"]["gain_v_per_count"], "loop supply", 65536),
        (ratio["signal"]["gain_v_per_count"], "ratiometric", 65536),
        (ratio["transducer_supply"]["gain_v_per_count"], "ratiometric supply", 65536),
    ):
        assert abs(got / (full[name] / counts) - 1) < 1e-4, name
    volts = whole["voltage"]["points"][0]
    assert f"{15.310 * volts['reference_v'] / volts['logger_v']:.3f} mV" in text
    low, high = whole["signal"]["points"]
    slope = (high["reference_ma"] - low["reference_ma"]) / (high["logger_ma"] - low["logger_ma"])
    shift = low["reference_ma"] - slope * low["logger_ma"]
    assert f"{slope:.5f} |" in text and f"−{-shift * 1000:.2f} µA |" in text and f"{381 * slope:.2f} nA" in text
    assert f"| {-shift * 1e6 / (381 * slope):.0f} counts |" in text
    there, here = (math.degrees(math.acos(x["w"] / (x["v"] * x["a"]))) for x in (whole["phase"]["reference"], whole["phase"]["logger"]))
    assert f"| {there:.2f}° |" in text and f"| {here:.2f}° |" in text
    assert f"−{(there - here) / 360 / 50 * 1e6:.1f} µs |" in text


def check_that_every_line_rests_on_something(_):
    """Hold-up, insulation and heat: what the pages promise of the design."""
    h, d = board.hold_up(), board.design()
    assert h["plain_s"] > d["supply"]["flush_s"]
    assert h["old_s"] > h["wanted_s"]
    assert d["supply"]["monitor_v"] * (1 + d["supply"]["monitor_tolerance"]) < h["start_v"] + 2 * d["supply"]["ideal_diode_v"]
    assert board.switch_s() < 100e-6, "firmware/board/src/turn.rs counts on it"
    assert board.constant("FAILING_MV") == d["supply"]["monitor_v"] * 1000
    assert board.battery_years() > 5 and board.wrap_days()[1] > 20
    # The two channels' delays differ by less than what a calibration can take out.
    assert 2 * d["filter"]["capacitor_tolerance"] * board.delay_s() < board.constant("LATE_NS_MAX") * 1e-9


if sys.argv[1:] == ["--write"]:
    (board.NOTES / "uncertainty.json").write_text(budget.for_the_report())
    for note in PAGES:
        note.write_text(notes_tables.filled(note.read_text(), notes_tables.tables())[0])
else:
    main(globals())
