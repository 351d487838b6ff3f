"""The files of a job, read by independent readers: Pillow, and pngcheck and libtiff's tools where installed.

The release binary is named by the environment variable DOTWRIGHT (default target/release/dotwright).
"""

import json
import os
import shutil
import subprocess

import numpy as np
import pytest
from PIL import Image, ImageDraw

DOTWRIGHT = os.environ.get("DOTWRIGHT", "target/release/dotwright")


@pytest.fixture(scope="module", params=["group4", "packbits"])
def job(request, tmp_path_factory):
    """A made-up drawing on a 90 mm coaster at 304 dpi, in every picture format."""
    root = tmp_path_factory.mktemp("job")
    art = Image.new("L", (800, 800), 255)
    pen = ImageDraw.Draw(art)
    for i in range(8):
        pen.ellipse((40 * i, 40 * i, 799 - 40 * i, 799 - 40 * i), fill=(i * 37) % 256)
    art.save(root / "rings.png")
    out = root / "out"
    line = [DOTWRIGHT, "prepare", str(root / "rings.png"), "--out", str(out), "--blank", "round:90mm"]
    line += ["--density", "304dpi", "--tiff", request.param, "--bmp", "--quiet"]
    # 3: the forecast may say stop; the pictures are written all the same.
    assert subprocess.run(line, check=False).returncode in (0, 3)
    return out, request.param


def dots(path):
    with Image.open(path) as picture:
        picture.load()
        return picture, np.asarray(picture.convert("L")) == 0


def test_all_formats_hold_the_same_dots(job):
    out, _ = job
    png, on = dots(out / "dots.png")
    assert png.mode == "1"
    report = json.loads((out / "report.json").read_text())
    assert (png.width, png.height) == (report["dots"]["columns"], report["dots"]["rows"])
    assert int(on.sum()) == report["dots"]["on_count"]
    for name in ("dots.tiff", "dots.bmp"):
        other, same = dots(out / name)
        # Pillow calls a two-colour BMP whose palette starts with white "P"; its header says how many bits it has.
        assert other.mode == "1" if name == "dots.tiff" else (out / name).read_bytes()[28:30] == b"\x01\x00"
        assert np.array_equal(on, same), name


def test_densities_are_read_back(job):
    out, _ = job
    # Check values U04, U07: 11969 px/m, read back as 304.0126 dpi; U08: 304/1 an inch; U10: as PNG.
    for name, dpi in (("dots.png", 304.0126), ("dots.bmp", 304.0126), ("dots.tiff", 304.0)):
        picture, _ = dots(out / name)
        assert picture.info["dpi"] == pytest.approx((dpi, dpi), abs=1e-4 * 304), name


def test_a_tiff_states_an_exact_fraction_and_its_packing(job):
    out, packing = job
    picture, _ = dots(out / "dots.tiff")
    tags = picture.tag_v2
    assert (tags[282].numerator, tags[282].denominator, tags[296]) == (304, 1, 2)
    assert tags[262] == 0  # white is zero: a 1 is black, the beam (check value U09)
    assert tags[259] == {"group4": 4, "packbits": 32773}[packing]


@pytest.mark.skipif(shutil.which("pngcheck") is None, reason="pngcheck is not installed")
def test_pngcheck_finds_no_fault(job):
    out, _ = job
    for name in ("dots.png", "proof.png", "density.png"):
        done = subprocess.run(["pngcheck", "-v", str(out / name)], capture_output=True, text=True, check=False)
        assert done.returncode == 0 and "No errors detected" in done.stdout, done.stdout
    done = subprocess.run(["pngcheck", "-v", str(out / "dots.png")], capture_output=True, text=True, check=True)
    assert "11969x11969 pixels/meter" in done.stdout and "1-bit grayscale" in done.stdout


@pytest.mark.skipif(shutil.which("tiffinfo") is None, reason="libtiff's tools are not installed")
def test_libtiff_reads_the_tiff(job, tmp_path):
    out, _ = job
    done = subprocess.run(["tiffinfo", "-D", str(out / "dots.tiff")], capture_output=True, text=True, check=True)
    assert "Resolution: 304, 304 pixels/inch" in done.stdout and done.stderr == ""
    plain = tmp_path / "plain.tiff"
    subprocess.run(["tiffcp", "-c", "none", str(out / "dots.tiff"), str(plain)], check=True)
    assert np.array_equal(dots(plain)[1], dots(out / "dots.png")[1])


def test_the_ticket_needs_nothing_from_elsewhere(job):
    out, _ = job
    if not (out / "ticket.html").exists():
        pytest.fail("no ticket.html was written")
    page = (out / "ticket.html").read_text()
    for forbidden in ("<script", "http:", "https:", "<link", "@import"):
        assert forbidden not in page


@pytest.mark.skipif(os.name != "posix" or not os.path.exists("/dev/shm"), reason="needs a Unix system")
def test_a_file_that_cannot_be_written_to_its_end_leaves_nothing_behind(tmp_path):
    """A limit on the file size stands for a full disk: writing fails half way through a file."""
    Image.effect_noise((600, 600), 80).save(tmp_path / "noise.png")
    out = tmp_path / "out"
    line = f"ulimit -f 16; trap '' XFSZ; exec '{os.path.abspath(DOTWRIGHT)}' prepare noise.png --out out --quiet"
    done = subprocess.run(["bash", "-c", line], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert done.returncode == 1, done.stderr
    assert "nothing was kept" in done.stderr
    assert not out.exists()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["noise.png"]
