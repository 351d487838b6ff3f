"""How art is read, judged on pieces that the weights were not fitted to, and what is marked of it.

The set is made by make_readings.py: pictures that come with scikit-image and scikit-learn, and emblems, lettering, sheets
of paper and screens drawn there. The part that is judged here shares no source with the part that was fitted. The goal,
97 of 100, is this project's own.
"""

import collections
import json
import os
import subprocess
import sys

import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFilter, ImageFont

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from make_readings import FONTS, anchor, compass, draw, lettered, make, seen, sheet_of, to_code, whale  # noqa: E402

DOTWRIGHT = os.environ.get("DOTWRIGHT", "target/release/dotwright")
# Built by the test command with the other examples.
PROGRAM = os.path.join(os.path.dirname(DOTWRIGHT), "examples", "reading_of")
KINDS = ["photo", "drawing", "paper"]


def judged(folder):
    """The pieces that were not fitted: where they lie, what each is, and how it is read."""
    rows = make(str(folder), held_alone=True)
    files = [str(folder / r["file"]) for r in rows]
    said = subprocess.run([PROGRAM] + files, check=True, capture_output=True, text=True).stdout.splitlines()
    return files, rows, [json.loads(line) for line in said]


def test_pieces_never_fitted_are_read_right_and_unsure_ones_ask(tmp_path):
    # One test, as the pieces take a while to make.
    pieces = judged(tmp_path)
    all_are_read_right(*pieces[1:])
    the_unsure_ask_and_show_both(pieces, tmp_path)


def all_are_read_right(rows, said):
    assert len(rows) >= 120 and len({r["sort"] for r in rows}) >= 12
    table = collections.Counter((r["label"], s["read_as"]) for r, s in zip(rows, said))
    print("is \\ read as", *KINDS)
    for kind in KINDS:
        print(f"{kind:12}", *(table[kind, k] for k in KINDS))
    wrong = [(r["file"], s["read_as"], round(s["sure"], 2)) for r, s in zip(rows, said) if r["label"] != s["read_as"]]
    print("wrong:", *wrong, sep="\n  ")
    sure = [(r, s) for r, s in zip(rows, said) if s["sure"] >= 0.8]
    print(len(sure), "of", len(rows), "at least 80 % sure")
    assert len(wrong) <= 0.03 * len(rows), wrong
    # What is said to be sure is: and it does not ask of everything.
    right = sum(r["label"] == s["read_as"] for r, s in sure)
    assert right >= 0.98 * len(sure) and len(sure) >= 0.85 * len(rows), (right, len(sure))
    assert all(0.33 <= s["sure"] <= 1 and s["why"] for s in said)


def the_unsure_ask_and_show_both(pieces, tmp_path):
    """Those that are hardest to tell ask, and those next to them that are sure do not."""
    order = sorted(zip(*pieces), key=lambda piece: piece[2]["sure"])
    unsure = [piece for piece in order if piece[2]["sure"] < 0.79]
    assert len(unsure) >= 3
    for file, _, said in unsure[:3] + [piece for piece in order if piece[2]["sure"] > 0.81][:2]:
        (tmp_path / "out").mkdir(exist_ok=True)
        out = tmp_path / "out" / os.path.basename(file)
        line = [DOTWRIGHT, "prepare", file, "--blank", "rect:20x20mm", "--margin", "1mm", "--out", str(out), "--quiet"]
        done = subprocess.run(line, capture_output=True, text=True)
        assert done.returncode in (0, 3), done.stderr
        report = json.loads((out / "report.json").read_text())
        assert report["art"]["read_as_sure_share"] == pytest.approx(said["sure"], abs=0.01)
        found = [f for f in report["findings"] if f["name"] == "reading-unsure"]
        assert bool(found) == (said["sure"] < 0.8)
        assert (out / "readings.png").exists() == bool(found)
        if found:
            assert "--read-as" in found[0]["remedies"][0]["text"]
            width, height = Image.open(out / "readings.png").size
            assert width > height


def prepared(art, tmp_path, name, *words, ext="png", **how):
    """The report, and the dots (True = beam on), of a piece 60 mm wide."""
    file = tmp_path / f"{name}.{ext}"
    (art if isinstance(art, Image.Image) else Image.fromarray(art)).save(file, **how)
    out = tmp_path / name
    line = [DOTWRIGHT, "prepare", str(file), "--blank", "rect:60x60mm", "--margin", "1mm", "--out", str(out), "--quiet", *words]
    done = subprocess.run(line, capture_output=True, text=True)
    assert done.returncode in (0, 3), done.stderr
    report = json.loads((out / "report.json").read_text())
    return report, np.asarray(Image.open(out / "dots.png").convert("L")) == 0, out


def wanted(report):
    return report["forecast"]["mean_wanted_share"]


@pytest.mark.parametrize("ink, ground", [((255, 255, 255), (0, 0, 0)), ((245, 240, 225), (15, 25, 60)), ((240, 210, 40), (255, 255, 255))])
def test_ink_is_what_differs_from_the_ground(ink, ground, tmp_path):
    plain = wanted(prepared(draw(whale, 900, [(0, 0, 0)], (255, 255, 255)), tmp_path, "plain")[0])
    report, dots, _ = prepared(draw(whale, 900, [ink], ground), tmp_path, "other")
    assert report["art"]["read_as"] == "drawing"
    assert abs(wanted(report) - plain) < 0.01, (wanted(report), plain)
    assert not dots[:20].any()


def test_one_bit_and_grey_lettering_want_the_same(tmp_path):
    """A half covered dot is half wanted, whether the file says so in grey or in the bits around it."""
    for name, art in (("name", lettered("Lantern Bay", 1, 4200, 1500, (0, 0, 0), (255, 255, 255))), ("compass", draw(compass, 2400, [(0, 0, 0)], (255, 255, 255)))):
        grey = art.convert("L")
        a = wanted(prepared(grey, tmp_path, f"grey-{name}")[0])
        b = wanted(prepared(grey.point(lambda v: 255 * (v > 127)).convert("1"), tmp_path, f"bits-{name}")[0])
        assert abs(a - b) < 0.01 * a + 0.001, (name, a, b)


@pytest.mark.parametrize("quality", [25, 60, 90])
def test_the_ripple_of_a_jpeg_marks_nothing(quality, tmp_path):
    art = draw(anchor, 800, [(0, 0, 0)], (255, 255, 255))
    clean = prepared(art, tmp_path, "clean")[0]
    report, dots, _ = prepared(art, tmp_path, "jpeg", ext="jpg", quality=quality)
    assert report["art"]["read_as"] == "drawing"
    assert abs(wanted(report) - wanted(clean)) < 0.006
    far = np.asarray(draw(anchor, dots.shape[0], [(0, 0, 0)], (255, 255, 255), 2.2).convert("L")) > 250
    # Along its lines the beam switches more often than lines lie apart.
    far = np.repeat(far, round(dots.shape[1] / dots.shape[0]), axis=1)
    columns = min(far.shape[1], dots.shape[1])
    assert dots[:, :columns][far[:, :columns]].mean() < 0.002


@pytest.mark.parametrize("tool, depth", [("pencil", 0.3), ("pencil", 0.6), ("ink", 0.9)])
def test_paper_is_bare_and_strokes_are_kept(tool, depth, tmp_path):
    rng = np.random.default_rng(7)
    taken = sheet_of(anchor, rng, 1400, tool, depth)
    h, w = taken.shape
    y, x = np.linspace(0, 1, h)[:, None], np.linspace(0, 1, w)[None, :]
    shade = 0.75 * np.exp(-0.7 * (x - 0.3)) * (1 - 0.4 / (1 + np.exp((np.hypot(x - 0.9, y - 0.9) - 0.4) / 0.03)))
    rgb = ((1 - taken) * shade)[..., None] * np.array([1, 0.92, 0.78])
    rgb = to_code(rgb + rng.normal(0, 1, rgb.shape) * np.sqrt(1e-5 + 2e-4 * np.clip(rgb, 0, 1)))
    report, dots, _ = prepared(rgb, tmp_path, "sheet", ext="jpg", quality=85)
    assert report["art"]["read_as"] == "paper"
    rows, columns = dots.shape
    mark = np.asarray(Image.fromarray(dots.astype(np.float32)).resize((w // 4, h // 4), Image.BOX))
    cover = taken[: h // 4 * 4, : w // 4 * 4].reshape(h // 4, 4, w // 4, 4).mean((1, 3)) / depth
    bare, stroke = cover == 0, cover > 0.35
    assert mark[bare].mean() < 0.01, mark[bare].mean()
    # Pencil is broken by its own grain: two thirds of its darker places carry dots. Ink came to 94 of 100.
    assert (mark[stroke] > 0.25).mean() > (0.93 if tool == "ink" else 0.66), (mark[stroke] > 0.25).mean()


@pytest.mark.parametrize("seed", [3, 4, 5, 6])
def test_a_sheet_on_a_table_is_said_and_its_table_left_bare(seed, tmp_path):
    rng = np.random.default_rng(seed)
    photo = seen(sheet_of(compass, rng, 1400, "ink", 0.9), rng, table=True)
    report, dots, _ = prepared(photo, tmp_path, "table", "--read-as", "paper", ext="jpg", quality=88)
    found = {f["name"]: f for f in report["findings"]}
    assert "--crop" in found["sheet-edge"]["remedies"][0]["text"]
    rows, columns = dots.shape
    assert dots[: rows // 16].mean() < 0.005 and dots[:, : columns // 16].mean() < 0.005 and dots.any()
    # The crop that it names has nothing of the table in it, though the sheet lies askew.
    crop = found["sheet-edge"]["remedies"][0]["text"].split("--crop ")[1]
    report, dots, _ = prepared(photo, tmp_path, "alone", "--read-as", "paper", "--crop", crop, ext="jpg", quality=88)
    assert "sheet-edge" not in {f["name"] for f in report["findings"]}
    rows, columns = dots.shape[0] // 64, dots.shape[1] // 64
    edges = [dots[:rows], dots[-rows:], dots[:, :columns], dots[:, -columns:]]
    assert all(edge.mean() < 0.005 for edge in edges) and dots.any(), [edge.mean() for edge in edges]


def card():
    """Lettering in white on a gradient, as a program draws it."""
    y, x = np.mgrid[0:900, 0:900] / 900
    ground = np.stack([40 + 150 * y, 80 + 60 * x, 210 - 120 * x * y], -1).astype(np.uint8)
    name = np.asarray(lettered("Lantern Bay", 2, 800, 300, (0, 0, 0), (255, 255, 255)).convert("L"))
    top, left = (900 - name.shape[0]) // 2, (900 - name.shape[1]) // 2
    part = ground[top : top + name.shape[0], left : left + name.shape[1]]
    part[:] = (part * (name[..., None] / 255) + 255 * (1 - name[..., None] / 255)).astype(np.uint8)
    return ground


def sky():
    """What stands before a plain evening sky."""
    y, x = np.mgrid[0:800, 0:1200]
    picture = np.stack([255 + 0 * y, 120 + y / 10, 60 + y / 6], -1)
    picture[(y > 600) | (abs(x - 400) < (y - 250) / 14) & (y > 250)] = 12
    return to_code(np.clip(picture / 255, 0, 1) ** 2.2 + np.random.default_rng(1).normal(0, 1e-3, picture.shape))


def print_of_a_finger():
    """Soft ridges on paper, seen by a camera."""
    y, x = np.mgrid[0:1200, 0:1000].astype(float)
    r = np.hypot((x - 500) / 400, (y - 600) / 520)
    ridges = (0.5 + 0.5 * np.sin(95 * r + 2 * np.sin(y / 90))) * np.clip((1 - r) * 8, 0, 1)
    light = (0.75 - 0.25 * x / 1000) * (1 - 0.8 * ridges)
    return to_code(np.repeat((light + np.random.default_rng(2).normal(0, 0.012, light.shape))[..., None], 3, 2))


def portrait():
    """A head and shoulders in sepia on a light ground, with a crease."""
    y, x = np.mgrid[0:640, 0:800].astype(float)
    code = np.full(x.shape, 245.0)
    shapes = [(400, 570, 190, 150, 80), (400, 280, 88, 108, 100), (400, 300, 66, 86, 120)]
    shapes += [(374, 290, 11, 5, 40), (426, 290, 11, 5, 40), (400, 345, 20, 5, 80)]
    for cx, cy, rx, ry, tone in shapes:
        u, v = (x - cx) / rx, (y - cy) / ry
        beyond = (np.hypot(u, v) - 1) * min(rx, ry)
        code += (tone * (1 - 0.2 * u - 0.15 * v) - code) / (1 + np.exp(np.clip(beyond / 2, -50, 50)))
    code += (250 - code) * np.exp(-((x - 250 - y / 2) ** 2) / 2.25)
    code += np.random.default_rng(3).normal(0, 1.5, x.shape)
    return np.rint(np.clip(code[..., None] * [1, 0.9, 0.72], 0, 255)).astype(np.uint8)


def two_pens():
    """Brown card drawn on with a dark and a white pen, seen by a camera."""
    card = Image.new("RGB", (1100, 850), (175, 140, 100))
    pen = ImageDraw.Draw(card)
    font = ImageFont.truetype(os.path.join(FONTS, "DejaVuSerif.ttf"), 110)
    dark, white = (50, 35, 25), (250, 250, 248)
    for words, top, ink in [("Bon voyage", 60, dark), ("to captain Mo", 300, white), ("Pier 4, at six", 520, white)]:
        pen.text((120, top), words, font=font, fill=ink)
    y, x = np.mgrid[0:850, 0:1100]
    shade = 0.7 + 0.3 * (x / 1100 + y / 850) / 2
    seen = np.asarray(card) * shade[..., None] + np.random.default_rng(4).normal(0, 3, (850, 1100, 3))
    return np.rint(np.clip(seen, 0, 255)).astype(np.uint8)


HARD = [(card, "png"), (sky, "jpg"), (print_of_a_finger, "jpg"), (portrait, "jpg"), (two_pens, "jpg")]


@pytest.mark.parametrize("piece, ext", HARD)
def test_what_is_hard_to_tell_from_paper_is_asked_or_right(piece, ext, tmp_path):
    how = {"quality": 88} if ext == "jpg" else {}
    report = prepared(piece(), tmp_path, piece.__name__, ext=ext, **how)[0]
    right = piece is print_of_a_finger and report["art"]["read_as"] == "paper"
    assert right or "reading-unsure" in {f["name"] for f in report["findings"]}, report["art"]


def lined():
    """A scanned recipe on lined paper with a margin."""
    sheet = Image.new("RGB", (2400, 1800), (252, 252, 250))
    pen = ImageDraw.Draw(sheet)
    font = ImageFont.truetype(os.path.join(FONTS, "DejaVuSerif-Italic.ttf"), 150)
    for y in range(91, 1800, 130):
        pen.line([(0, y), (2400, y)], fill=(190, 190, 190), width=6)
    pen.line([(220, 0), (220, 1800)], fill=(205, 180, 180), width=5)
    for i, words in enumerate(["Two cups of flour,", "butter like an egg.", "Stir in the milk and", "leave it by the stove.", "Serve with plum jam."]):
        pen.text((260, 347 + 260 * i), words, font=font, fill=(20, 20, 20), anchor="ls", stroke_width=3)
    grain = np.random.default_rng(6).normal(0, 1.5, (1800, 2400, 1))
    return np.rint(np.clip(np.asarray(sheet.filter(ImageFilter.GaussianBlur(1))) + grain, 0, 255)).astype(np.uint8)


@pytest.mark.parametrize("quality", [88, 50])
def test_lined_paper_is_paper_and_its_lines_stay_bare(quality, tmp_path):
    report, dots, _ = prepared(lined(), tmp_path, "recipe", ext="jpg", quality=quality)
    assert report["art"]["read_as"] == "paper", report["art"]
    assert any("lines of its paper stay bare" in note for note in report["notes"]), report["notes"]
    # Left of the writing there are lines and the margin.
    beside, written = dots[:, : dots.shape[1] // 10], dots[:, dots.shape[1] // 8 :]
    assert not beside.any() and written.mean() > 0.02, (beside.mean(), written.mean())


def test_a_sketch_in_a_pdf_is_read_as_its_picture_is(tmp_path):
    sketch = Image.fromarray(seen(sheet_of(anchor, np.random.default_rng(5), 1400, "pencil", 0.5), np.random.default_rng(5)))
    alone, paged = (prepared(sketch, tmp_path, f"sketch-{ext}", ext=ext)[0]["art"] for ext in ("png", "pdf"))
    assert alone["read_as"] == paged["read_as"], (alone, paged)
