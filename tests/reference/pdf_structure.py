"""The PDF report as other programs see it.

References: `pikepdf` 10 (qpdf) reads the file without a complaint and gives its structure;
`outloud` 0.2 checks the rules of PDF/UA-1 (ISO 14289-1) that a machine can check; `pdfminer.six`
takes out the text. That the file claims PDF/A-2a is checked from its metadata; its rules were
applied by the library that writes it.
"""

import hashlib
import json
import subprocess
import sys
from pathlib import Path

import pikepdf
from common import close, demo, main, run
from pdfminer.high_level import extract_text

SCENARIOS = ("overdrawn-well", "stiff-pump")


def pdfs(folder):
    for scenario in SCENARIOS:
        archive = demo(scenario, folder)
        out = folder / f"{scenario}.pdf"
        run("report", archive, "--out", out, folder=folder)
        yield scenario, archive, out


def elements(node):
    """Every element of the structure, parents first."""
    kids = node.get("/K", [])
    for kid in kids if isinstance(kids, pikepdf.Array) else [kids]:
        if isinstance(kid, pikepdf.Dictionary) and "/S" in kid:
            yield kid
            yield from elements(kid)


def text_of(pdf):
    return " ".join(extract_text(str(pdf)).split())


def check_structure(folder):
    for scenario, archive, out in pdfs(folder):
        with pikepdf.open(out) as pdf:
            assert not pdf.check_pdf_syntax(), pdf.check_pdf_syntax()
            assert not pdf.get_warnings()
            with pdf.open_metadata() as metadata:
                claims = [metadata[k] for k in ("pdfaid:part", "pdfaid:conformance", "pdfuaid:part")]
            assert claims == ["2", "A", "1"], claims
            root = pdf.Root
            assert root.MarkInfo.Marked and str(root.Lang) == "en"
            assert root.ViewerPreferences.DisplayDocTitle
            found = [str(element.S) for element in elements(root.StructTreeRoot)]
            for tag in ("/H1", "/H2", "/H3", "/P", "/L", "/Table", "/TH", "/TD", "/THead", "/Figure", "/TOC", "/Link"):
                assert tag in found, f"{tag} is missing"
            levels = [int(tag[2]) for tag in found if len(tag) == 3 and tag[1] == "H" and tag[2].isdigit()]
            assert levels[0] == 1 and all(b <= a + 1 for a, b in zip(levels, levels[1:])), levels
            for element in elements(root.StructTreeRoot):
                if element.S == "/Figure":
                    assert len(str(element.Alt)) > 20, "a picture without words"
                if element.S == "/TH":
                    attributes = element.A if isinstance(element.A, pikepdf.Dictionary) else element.A[0]
                    assert attributes.Scope in ("/Row", "/Column")
            with pdf.open_outline() as outline:
                titles = [item.title for item in outline.root]
            assert titles[0] == "Result" and "Findings" in titles and len(titles) > 8, titles
            for number, page in enumerate(pdf.pages):
                assert [round(float(x)) for x in page.mediabox] == [0, 0, 595, 842], number + 1
            fonts = {str(f.BaseFont) for page in pdf.pages for f in page.Resources.Font.values()}
            assert all("+" in font for font in fonts), f"embedded in part: {fonts}"
        pages = [" ".join(page.split()) for page in extract_text(str(out)).split("\f") if page.strip()]
        wanted = hashlib.sha256(archive.read_bytes()).hexdigest()
        for number, page in enumerate(pages):
            assert f"page {number + 1} of {len(pages)}" in page, f"no number on page {number + 1}"
            assert wanted in page.replace(" ", ""), f"no hash on page {number + 1}"


def check_page_one_has_the_verdict(folder):
    scenario, archive, out = next(iter(pdfs(folder)))
    first = " ".join(extract_text(str(out), page_numbers=[0]).split())
    for words in ("The pump loses its load, as when the source runs short", "Why the pump stopped",
                  "Ruled out by this record", "Not known", "Fitted by", "Collected by",
                  "The logger is no protective device."):
        assert words in first, f"not on page one: {words}"
    said = json.loads(run("analyse", archive, "--json", folder=folder))
    stops = " ".join(str(count) for count in said["stops"].values())
    for count in stops.split():
        assert count in first, f"{count} stops are not on page one"


def check_accessibility_rules(folder):
    for scenario, _, out in pdfs(folder):
        done = subprocess.run(
            [Path(sys.executable).parent / "outloud", "--layer", "conformance", "--fail-on", "warning", str(out)],
            capture_output=True, text=True, timeout=120,
        )
        assert done.returncode == 0, done.stdout + done.stderr
        print("  " + done.stdout.strip().splitlines()[0])


def check_same_bytes_but_for_the_moment(folder):
    archive = demo("healthy", folder)
    sizes = []
    for name in ("a.pdf", "b.pdf"):
        run("report", archive, "--out", name, folder=folder)
        sizes.append(len((folder / name).read_bytes()))
    close(sizes[0], sizes[1], 200, "size of the same report made twice, bytes")


main(globals())
