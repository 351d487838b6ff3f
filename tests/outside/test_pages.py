"""Pages as they come out of a printer: one sheet of A4 or Letter, printed by Chromium, counted by pypdf.

Nothing here is ours but the pages: what a browser makes of them is found out by printing them to PDF.
"""

import os
import shutil
import subprocess
import unicodedata

import pytest

pypdf = pytest.importorskip("pypdf")

PROGRAM = os.environ.get("DOTWRIGHT", "target/release/dotwright")
ROOT = os.path.join(os.path.dirname(__file__), "..", "..")
SAMPLES = os.path.join(ROOT, "samples")
BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")
PAPERS = ("A4", "Letter")

pytestmark = pytest.mark.skipif(BROWSER is None, reason="chromium is not installed (Debian: apt-get install chromium)")


def run(*args):
    done = subprocess.run([PROGRAM, *map(str, args)], capture_output=True, text=True)
    assert done.returncode in (0, 3), done.stderr
    return done.returncode


def printed(page, paper):
    """The page as a PDF on that paper; the paper is said in the copy that is printed."""
    text = page.read_text().replace("</head>", f"<style>@page {{ size: {paper}; }}</style></head>")
    copy = page.with_name(f"{page.stem}-{paper}.html")
    copy.write_text(text)
    pdf = copy.with_suffix(".pdf")
    subprocess.run(
        [BROWSER, "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
         f"--user-data-dir={page.parent / 'browser'}", f"--print-to-pdf={pdf}", copy.resolve().as_uri()],
        check=True, capture_output=True, timeout=120,
    )
    return pypdf.PdfReader(pdf)


def sheets(page, paper):
    """How many sheets, and the words on each."""
    reader = printed(page, paper)
    width, height = (float(v) / 72 * 25.4 for v in reader.pages[0].mediabox[2:])
    want = {"A4": (210, 297), "Letter": (215.9, 279.4)}[paper]
    assert abs(width - want[0]) < 1 and abs(height - want[1]) < 1, "the browser printed on another paper"
    # Letters that the font joins, such as fi, come apart again.
    return [" ".join(unicodedata.normalize("NFKC", p.extract_text()).split()) for p in reader.pages]


JOBS = {
    # A photo on glass with everything assumed.
    "photo": ["harbour.jpg", "--blank", "round:90mm", "--place", "cover"],
    # Mirrored, with a long step list and the longest cautions.
    "mirrored": ["harbour.jpg", "--blank", "round:90mm", "--mirror", "--coating", "zinc-spray"],
    # A drawing on stone, no coating.
    "slate": ["emblem.svg", "--blank", "slate-coaster-100", "--coating", "bare-slate"],
    # A tag that is wide and low.
    "tag": ["name-tag.svg", "--blank", "metal-tag-60", "--coating", "black-anodised-aluminium"],
    # Many findings at once.
    "found": ["harbour.jpg", "--blank", "rect:98x98mm", "--margin", "0.1mm", "--pitch", "0.13mm", "--speed", "6mm/s",
              "--accept", "over-burn", "--run-up", "0.1mm"],
}


@pytest.mark.parametrize("job", JOBS)
def test_a_ticket_is_one_sheet(tmp_path, job):
    out = tmp_path / "out"
    args = JOBS[job]
    run("prepare", os.path.join(SAMPLES, args[0]), *args[1:], "--out", out, "--quiet")
    for paper in PAPERS:
        pages = sheets(out / "ticket.html", paper)
        assert len(pages) == 1, (paper, pages[1:])
        for words in ("Steps", "Clean", "Protect", "For your eyes, lungs and house", "come before this page"):
            assert words in pages[0], words
        assert "DO NOT BURN" not in pages[0]
        assert ("Mirrored" in pages[0]) == (job == "mirrored")
        # Only what this coating needs: stone and anodised metal are not coated.
        assert ("Mix" in pages[0]) == (job not in ("slate", "tag"))


def test_a_stopped_job_says_do_not_burn_on_at_most_two_sheets(tmp_path):
    out = tmp_path / "out"
    code = run("prepare", os.path.join(SAMPLES, "emblem.svg"), "--blank", "round:60mm", "--density", "608dpi",
               "--power", "90%", "--speed", "12.5mm/s", "--out", out, "--quiet")
    assert code == 3
    for paper in PAPERS:
        pages = sheets(out / "ticket.html", paper)
        assert len(pages) <= 2 and "DO NOT BURN" in pages[0], pages
        assert "Steps" not in " ".join(pages)


@pytest.mark.parametrize("kind", ["exposure", "tone", "timing"])
def test_a_wedge_ticket_is_one_sheet_with_the_coatings_steps(tmp_path, kind):
    out = tmp_path / "out"
    run("wedge", "draw", "--kind", kind, "--coating", "zinc-spray", "--out", out)
    for paper in PAPERS:
        pages = sheets(out / "ticket.html", paper)
        assert len(pages) == 1, (paper, pages[1:])
        for words in ("Shake the can", "metal fume fever", "finder marks", "Run dotwright wedge read PHOTO"):
            assert words in pages[0], words


def test_a_contact_sheet_prints_without_empty_sheets(tmp_path):
    out = tmp_path / "out"
    screens = ["threshold", "bayer", "blue-noise", "floyd-steinberg", "model-diffusion"]
    run("compare", os.path.join(SAMPLES, "harbour.jpg"), "--blank", "round:60mm", "--place", "cover",
        "--screens", ",".join(screens), "--out", out, "--quiet")
    for paper in PAPERS:
        pages = sheets(out / "contact-sheet.html", paper)
        # Six cells in rows of three: one sheet, or two where the second row does not fit.
        assert len(pages) <= 2 and all(pages), pages
        words = " ".join(pages)
        cells = words[words.index("Original"):]
        assert all(f"{s} at" in cells for s in screens)
