"""Round pieces: the program of a rotary read by a reader of a few lines written apart, and the pictures by numpy.

What a word of the rotary means is worked out here from the machine file's own numbers. Bounds without a source are this
project's own goals.
"""

import json
import math
import os
import re
import subprocess
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from scipy.ndimage import gaussian_filter

DOTWRIGHT = os.path.abspath(os.environ.get("DOTWRIGHT", "target/release/dotwright"))
ROOT = Path(__file__).resolve().parents[2]
DIAMETER, HEIGHT = 40.0, 50.0
GIRTH = math.pi * DIAMETER
CHUCK = "letter = 'A'\ndegrees_per_unit = 1\nsteps_per_turn = 6400\nunits_per_s = 180\nunits_per_s2 = 1200\n"
# A motor of the y axis that turns the piece once in 100 of its millimetres.
ON_Y = "letter = 'Y'\ndegrees_per_unit = 3.6\nsteps_per_turn = 8000\nunits_per_s = 90\nunits_per_s2 = 400\nto_the_left = true\n"
ROLLERS = "letter = 'B'\nmm_per_unit = 1\nsteps_per_mm = 80\nunits_per_s = 90\nunits_per_s2 = 400\nalong = 'y'\n"


def run(*words, cwd=None):
    return subprocess.run([DOTWRIGHT, *map(str, words)], capture_output=True, text=True, check=False, cwd=cwd)


def machine(folder, rotary):
    text = run("kit", "show", "diode-10w").stdout
    path = folder / "turner.toml"
    path.write_text(text + "\n[rotary]\n" + rotary if rotary else text)
    return path


def report(folder):
    return json.loads((folder / "report.json").read_text())


def dots_of(path):
    return np.asarray(Image.open(path).convert("L")) < 128


def read(text, round_letter, head_letter, mm_a_unit):
    """Stretches (from round, along, to round, along, S, mm/s, rapid), mm of surface. One move of one axis at a feed only."""
    at, s, on, feed, rapid, out = {round_letter: 0.0, head_letter: 0.0}, 0.0, False, 0.0, True, []
    for line in text.splitlines():
        if line.startswith("("):
            continue
        words = re.findall(r"([A-Z])(-?[\d.]+)", line)
        assert "".join(a + b for a, b in words) == line, line
        new = dict(at)
        for letter, value in words:
            value = float(value)
            if letter == "F":
                feed = value
            elif letter == "S":
                s = value
            elif letter == "M":
                on = value == 3 if value in (3, 5) else on
            elif letter == "G":
                rapid = value == 0 if value in (0, 1) else rapid
            else:
                assert letter in new, line
                new[letter] = value
        turned, moved = new[round_letter] != at[round_letter], new[head_letter] != at[head_letter]
        if turned or moved:
            assert rapid or not (turned and moved), line
            assert not (rapid and on and s > 0), line
            speed = feed / 60 * (mm_a_unit if turned else 1.0)
            p = (at[round_letter] * mm_a_unit, at[head_letter], new[round_letter] * mm_a_unit, new[head_letter])
            out.append((*p, s if on else 0.0, speed, rapid))
        at = new
    assert not on or s == 0
    return np.array(out, float)


def rebuilt(moves, facts, shape, lines, to_the_left=False):
    """The dots whose middles are swept with the beam on."""
    dots = np.zeros(shape, bool)
    along, across = facts["dots"]["pitch_along_mm"], facts["dots"]["pitch_across_mm"]
    px, py = (across, along) if lines == "y" else (along, across)
    left, top = facts["placement"]["left_mm"], HEIGHT - facts["placement"]["top_mm"]
    if lines == "y":
        # Lines lie at whole pitches from the seam, half a pitch at most from their place.
        left = (math.ceil(left / px - 1e-6) - 0.5) * px
    sign = -1 if to_the_left else 1
    for x0, y0, x1, y1, s, _, _ in moves[moves[:, 4] > 0]:
        (c0, c1), (r0, r1) = sorted([(sign * x0 - left) / px, (sign * x1 - left) / px]), sorted([(top - y0) / py, (top - y1) / py])
        if lines == "y":
            column = round((c0 + c1) / 2 - 0.5)
            assert abs((c0 + c1) / 2 - 0.5 - column) < 0.02
            dots[math.ceil(r0 - 0.5 - 1e-3):math.floor(r1 - 0.5 + 1e-3) + 1, column] = True
        else:
            row = round((r0 + r1) / 2 - 0.5)
            dots[row, math.ceil(c0 - 0.5 - 1e-2):math.floor(c1 - 0.5 + 1e-2) + 1] = True
    return dots


CASES = [
    (CHUCK, "A", "X", math.pi * DIAMETER / 360, "y", []),
    (CHUCK, "A", "X", math.pi * DIAMETER / 360, "x", ["--axis", "x"]),
    (ON_Y, "Y", "X", math.pi * DIAMETER / 100, "y", []),
    (ROLLERS, "B", "Y", 1.0, "y", []),
    (ROLLERS, "B", "Y", 1.0, "x", ["--axis", "x"]),
]


@pytest.mark.parametrize("rotary, letter, head, mm_a_unit, lines, more", CASES)
def test_the_program_marks_the_dots_by_a_reader_written_apart(tmp_path, rotary, letter, head, mm_a_unit, lines, more):
    out = tmp_path / "out"
    done = run("prepare", ROOT / "samples/emblem.svg", "--blank", f"cylinder:{DIAMETER:g}x{HEIGHT:g}mm", "--place", "30x30mm",
               "--machine", machine(tmp_path, rotary), "--out", out, *more)
    assert done.returncode == 0, done.stderr
    dots, facts = dots_of(out / "dots.png"), report(out)
    moves = read((out / "program.nc").read_text(), letter, head, mm_a_unit)
    assert (rebuilt(moves, facts, dots.shape, lines, "left" in rotary) == dots).all()
    # The dose is that of the speed of the surface under the beam.
    speed = facts["process"]["speed_mm_per_s"]["value"]
    assert np.allclose(moves[moves[:, 4] > 0, 5], speed, rtol=1e-4)
    if lines == "y":
        steps = {CHUCK: 6400, ON_Y: 8000, ROLLERS: 80 * GIRTH}[rotary] / GIRTH
        at = np.unique(moves[moves[:, 4] > 0, 0]) * steps
        # Within a twentieth of a step: three decimals of a degree are 0.018 steps here.
        assert np.abs(at - np.round(at)).max() < 0.05
        apart = set(np.round(np.diff(at)).astype(int)) - {0}
        assert min(apart) == facts["round"]["steps_a_line"]
    again = run("replay", out / "program.nc", "--machine", tmp_path / "turner.toml", "--against", out / "dots.png")
    assert again.returncode == 0 and "the same, every one" in again.stdout, again.stdout + again.stderr
    walk = read((out / "outline.nc").read_text(), letter, head, mm_a_unit)
    turned = np.abs(walk[:, [0, 2]]).max()
    assert walk[:, 4].max() == 0 and abs(turned - GIRTH) < 0.01
    assert walk[:, [1, 3]].min() >= 0 and walk[:, [1, 3]].max() <= HEIGHT


def test_unrolled_it_is_the_flat_piece_byte_for_byte(tmp_path):
    cylinder = ["--blank", f"cylinder:{DIAMETER:g}x{HEIGHT:g}mm"]
    common = [ROOT / "samples/harbour.jpg", "--place", "40x40mm", "--machine", machine(tmp_path, CHUCK), "--coating", "poster-paint"]
    assert run("prepare", *common, *cylinder, "--out", tmp_path / "round").returncode in (0, 3)
    facts = report(tmp_path / "round")["dots"]
    # Lines run along y on both.
    pitches = ["--pitch", f"{facts['pitch_along_mm']!r}mm", "--pitch-across", f"{facts['pitch_across_mm']!r}mm"]
    flat = ["--blank", f"rect:{GIRTH!r}x{HEIGHT:g}mm", "--axis", "y", *pitches]
    assert run("prepare", *common, *flat, "--out", tmp_path / "flat").returncode in (0, 3)
    assert (tmp_path / "round/dots.png").read_bytes() == (tmp_path / "flat/dots.png").read_bytes()


def test_a_closed_seam_comes_out_even(tmp_path):
    done = run("prepare", ROOT / "samples/harbour.jpg", "--blank", f"cylinder:{DIAMETER:g}x{HEIGHT:g}mm:closed", "--place", "cover",
               "--machine", machine(tmp_path, CHUCK), "--coating", "poster-paint", "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    facts = report(tmp_path / "out")
    assert facts["round"]["steps_a_line"] * facts["dots"]["columns"] == 6400 and facts["round"]["seam"] == "closed"
    dots = dots_of(tmp_path / "out/dots.png")
    assert dots[:, 0].any() and dots[:, -1].any()


def test_a_border_goes_on_across_a_closed_seam(tmp_path):
    for seam in ("", ":closed"):
        out = tmp_path / f"out{seam.strip(':')}"
        assert run("prepare", "--border", "1mm", "--blank", f"cylinder:40x20mm{seam}", "--machine", machine(tmp_path, CHUCK),
                   "--surface", "glass", "--coating", "poster-paint", "--out", out).returncode in (0, 3)
        dots = dots_of(out / "dots.png")
        # Two rings have as many dots on near the seam as anywhere; a frame has an upright there.
        ends, middle = dots[:, 2:8].mean(), dots[:, dots.shape[1] // 2:][:, :6].mean()
        assert (ends > 0.8) if not seam else (abs(ends - middle) < 0.05 and ends < 0.3), (seam, ends, middle)


def test_a_job_of_a_round_piece_run_again_is_the_same(tmp_path):
    assert run("prepare", ROOT / "samples/emblem.svg", "--blank", "cylinder:40x50mm", "--place", "20x20mm",
               "--machine", machine(tmp_path, CHUCK), "--out", tmp_path / "a").returncode == 0
    assert run("prepare", "--job", tmp_path / "a/job.toml", "--out", tmp_path / "b").returncode == 0
    for one in sorted((tmp_path / "a").iterdir()):
        assert one.read_bytes() == (tmp_path / "b" / one.name).read_bytes(), one.name


def test_the_picture_of_the_round_piece_is_the_unrolled_one_bent(tmp_path):
    """Seen from the side, what lies x beside the middle is R asin(x/R) further round."""
    assert run("prepare", ROOT / "samples/harbour.jpg", "--blank", "cylinder:40x50mm", "--place", "cover", "--screen",
               "floyd-steinberg", "--machine", machine(tmp_path, CHUCK), "--coating", "poster-paint", "--out", tmp_path / "out"
               ).returncode in (0, 3)
    facts, dots = report(tmp_path / "out"), dots_of(tmp_path / "out/dots.png")
    px, py = facts["dots"]["pitch_along_mm"], facts["dots"]["pitch_across_mm"]
    soft = gaussian_filter(dots.astype(float), [0.4 / py, 0.4 / px])
    seen = np.asarray(Image.open(tmp_path / "out/round.png").convert("L")).astype(float)
    gap = seen.shape[1] // 40
    across = (seen.shape[1] - 4 * gap) // 3
    mm = DIAMETER / across
    rows = round(HEIGHT / mm)
    for i, turn in enumerate([-1 / 3, 0, 1 / 3]):
        view = seen[gap:gap + rows, gap + i * (across + gap):][:, :across]
        s = (np.arange(across) + 0.5) / across * 2 - 1
        keep = np.abs(s) < 0.9
        place = (GIRTH * (0.5 + turn + np.arcsin(s) / (2 * math.pi)) - facts["placement"]["left_mm"]) / px
        row = ((np.arange(rows) + 0.5) * mm - facts["placement"]["top_mm"]) / py
        inside_x, inside_y = (place > 8) & (place < dots.shape[1] - 8) & keep, (row > 8) & (row < dots.shape[0] - 8)
        wanted = soft[np.ix_(row[inside_y].astype(int), place[inside_x].astype(int))]
        found = gaussian_filter((view / 255) ** 2.2, 0.4 / mm)[np.ix_(inside_y, inside_x)]
        found = found / (0.35 + 0.65 * np.sqrt(1 - s[inside_x] ** 2))
        assert np.corrcoef(wanted.ravel(), found.ravel())[0, 1] > 0.97, i


def test_a_wedge_is_drawn_on_a_strip_along_the_piece(tmp_path):
    turner = machine(tmp_path, CHUCK)
    done = run("wedge", "draw", "--kind", "exposure", "--blank", "cylinder:90x80mm", "--machine", turner, "--coating", "poster-paint",
               "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    text = (tmp_path / "out/wedge.nc").read_text()
    moves = read(text, "A", "X", math.pi * 90 / 360)
    lit = moves[moves[:, 4] > 0]
    # It runs along the piece and takes no more of its girth than a photo shows, 40 degrees.
    assert (lit[:, 0] == lit[:, 2]).all() and lit[:, 0].min() >= 0 and lit[:, 0].max() <= math.pi * 10
    assert lit[:, [1, 3]].min() >= 0 and lit[:, [1, 3]].max() <= 80
    steps = np.unique(lit[:, 0]) * 6400 / (math.pi * 90)
    assert np.abs(steps - np.round(steps)).max() < 0.05
    again = run("replay", tmp_path / "out/wedge.nc", "--machine", turner, "--against", tmp_path / "out/dots.png")
    assert again.returncode == 0 and "the same, every one" in again.stdout, again.stdout + again.stderr


# Diameters at the foot and at the top, and the height. Half the difference is the short side of a right triangle.
CONES = [(50.0, 64.0, 70.0, "", ""), (64.0, 44.0, 60.0, ":closed", "to_the_left = true\n")]
BAR = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 40 50"><path d="M4 0h6v50h-6z"/><path d="M30 0h6v50h-6z"/></svg>'


def mantle(foot, top, height):
    """The way up the mantle, and the radius at a place of it."""
    slant = math.hypot(height, (top - foot) / 2)
    return slant, lambda up: (foot + (top - foot) * np.asarray(up) / slant) / 2


@pytest.mark.parametrize("foot, top, height, seam, way", CONES)
def test_a_cone_has_the_same_dose_all_over_and_its_marks_where_they_should_be(tmp_path, foot, top, height, seam, way):
    out, art = tmp_path / "out", tmp_path / "bars.svg"
    art.write_text(BAR)
    words = [art, "--blank", f"cone:{foot:g}x{top:g}x{height:g}mm{seam}", "--place", "40x50mm", "--at", "12mm,2mm", "--machine",
             machine(tmp_path, CHUCK + way), "--coating", "poster-paint"]
    done = run("prepare", *words, "--out", out)
    assert done.returncode == 0, done.stderr
    dots, facts = dots_of(out / "dots.png"), report(out)
    slant, radius = mantle(foot, top, height)
    # A degree is more of a millimetre where the piece is wider, so words become places only with that of the head.
    moves = read((out / "program.nc").read_text(), "A", "X", 1.0)
    lit = moves[moves[:, 4] > 0]
    assert (lit[:, 1] == lit[:, 3]).all()
    # The surface passes at the same speed at every height, by 2 pi r a turn; lines lie equally far apart.
    speed = lit[:, 5] / 360 * 2 * np.pi * radius(lit[:, 1])
    assert np.allclose(speed, facts["process"]["speed_mm_per_s"]["value"], rtol=1e-4)
    rows = np.unique(lit[:, 1])
    px, py = facts["dots"]["pitch_along_mm"], facts["dots"]["pitch_across_mm"]
    assert np.abs(np.diff(rows) / py - np.round(np.diff(rows) / py)).max() < 0.02
    # The dots: mm of surface from the line opposite the seam, which lies half a turn from the zero.
    found = np.zeros(dots.shape, bool)
    left, up = facts["placement"]["left_mm"], slant - facts["placement"]["top_mm"]
    for a0, y, a1, _, s, _, _ in lit:
        at = [(np.radians(-a if way else a) - np.pi) * radius(y) + np.pi * max(foot, top) / 2 for a in (a0, a1)]
        c0, c1 = sorted((v - left) / px for v in at)
        row = round((up - y) / py - 0.5)
        found[row, math.ceil(c0 - 0.5 - 2e-2):math.floor(c1 - 0.5 + 2e-2) + 1] = True
    assert (found == dots).all()
    # An upright bar runs straight up the piece: its middle is at the same angle in every line; 17 mm beside the middle at
    # half the height of the art, where art has its size, and 9 mm: 12 - 13 and 12 + 13.
    middle = (np.arange(dots.shape[1]) + 0.5) * px + left - np.pi * max(foot, top) / 2
    ups = up - (np.arange(dots.shape[0]) + 0.5) * py
    angles = middle[None, :] / radius(ups)[:, None]
    half = radius(slant / 2 + 2)
    for beside in (-1.0, 25.0):
        near = dots & (np.abs(angles - beside / half) < 6 / half)
        inner = near[40:-40]
        of = (angles[40:-40] * inner).sum(1) / inner.sum(1)
        assert np.abs(of * half - beside).max() < 0.15, np.abs(of * half - beside).max()
        # ... and takes as much of a turn in all of them: 6 mm there.
        wide = inner.sum(1) * px / radius(ups[40:-40])
        assert np.ptp(wide[:-1]) / wide.mean() < 0.15 and abs(wide.mean() * half - 6) < 0.2, (np.ptp(wide), wide.mean() * half)
    again = run("replay", out / "program.nc", "--machine", tmp_path / "turner.toml", "--against", out / "dots.png", "--json")
    read_back = json.loads(again.stdout)["replay"]
    assert again.returncode == 0 and read_back["difference"]["same"]
    assert read_back["beam_on_outside_blank"]["count"] == 0
    # A walk round the piece: a whole turn at either end, and up along the seam.
    walk = read_turns((out / "outline.nc").read_text())
    turned = -walk[:, 0] if way else walk[:, 0]
    assert turned.min() > -0.01 and abs(turned.max() - 360) < 0.01
    assert walk[:, 1].min() == 0 and abs(walk[:, 1].max() - slant) < 0.01
    # A job run again is the same.
    assert run("prepare", "--job", out / "job.toml", "--out", tmp_path / "b").returncode == 0
    for one in sorted(out.iterdir()):
        assert one.read_bytes() == (tmp_path / "b" / one.name).read_bytes(), one.name


def read_turns(text):
    """All places of a program, degrees and mm along; the beam stays off."""
    at, out = {"A": 0.0, "X": 0.0}, []
    for line in text.splitlines():
        if line.startswith("("):
            continue
        for letter, value in re.findall(r"([A-Z])(-?[\d.]+)", line):
            assert letter != "S" or float(value) == 0
            if letter in at:
                at[letter] = float(value)
        out.append((at["A"], at["X"]))
    return np.array(out)


@pytest.mark.parametrize("foot, top, height", [c[:3] for c in CONES])
def test_the_cut_of_a_cone_is_its_sector_in_true_size(tmp_path, foot, top, height):
    """The sides are the slant; the arcs are the girths; both lie on circles about one point (similar triangles)."""
    assert run("prepare", ROOT / "samples/emblem.svg", "--blank", f"cone:{foot:g}x{top:g}x{height:g}mm", "--screen", "floyd-steinberg",
               "--machine", machine(tmp_path, CHUCK), "--out", tmp_path / "out").returncode in (0, 3)
    svg = (tmp_path / "out/cut.svg").read_text()
    paths = [np.array([[float(v) for v in p.split()] for p in d.split("L")]) for d in re.findall(r'<path d="M([^"h]*)"', svg)]
    outline, slant = paths[0], math.hypot(height, (top - foot) / 2)
    wide, high = re.search(r'width="([\d.]+)mm" height="([\d.]+)mm"', svg).groups()
    assert f'viewBox="0 0 {wide} {high}"' in svg and outline[:, 0].max() < float(wide) and outline[:, 1].max() < float(high)
    apart = np.hypot(*np.diff(outline, axis=0).T)
    corners = [0, *np.flatnonzero(np.isclose(apart, slant, atol=1e-2)), len(outline) - 1]
    assert len(corners) == 4, "two straight sides"
    first, second = corners[1], corners[2]
    arcs = outline[:first + 1], outline[first + 1:second + 1]
    for arc, across in zip(arcs, (foot, top)):
        assert abs(np.hypot(*np.diff(arc, axis=0).T).sum() - np.pi * across) < 0.02
        # The radius by the area under the chord: of three points of a circle.
        (ax, ay), (bx, by), (cx, cy) = arc[0], arc[len(arc) // 2], arc[-1]
        a, b, c = math.dist((bx, by), (cx, cy)), math.dist((ax, ay), (cx, cy)), math.dist((ax, ay), (bx, by))
        area = abs((bx - ax) * (cy - ay) - (cx - ax) * (by - ay)) / 2
        assert abs(a * b * c / (4 * area) / (across / abs(top - foot) * slant) - 1) < 1e-3
    # The line opposite the seam is upright, in the middle.
    front = paths[2]
    assert np.ptp(front[:, 0]) < 1e-3 and abs(front[0, 0] - float(wide) / 2) < 0.01


BAD = [
    (["prepare", ROOT / "samples/emblem.svg", "--blank", "cylinder:73x100mm"], None, "has no rotary"),
    (["wedge", "draw", "--blank", "cylinder:73x100mm"], None, "has no rotary"),
    (["wedge", "draw", "--blank", "cylinder:3x100mm"], CHUCK, "too small for a wedge"),
    (["prepare", ROOT / "samples/emblem.svg", "--blank", "cone:90x60x100mm", "--axis", "y"], CHUCK, "draw together"),
    (["prepare", ROOT / "samples/emblem.svg", "--blank", "cone:90x60x100mm"], ROLLERS, "runs off to one side"),
    (["prepare", ROOT / "samples/emblem.svg", "--blank", "cone:90x20x10mm"], CHUCK, "the rotary is tilted by 74.1°"),
    (["wedge", "draw", "--blank", "cone:90x60x100mm"], CHUCK, "a wedge runs along a piece"),
    (["prepare", ROOT / "samples/emblem.svg", "--blank", "cylinder:73x500mm"], CHUCK, "the bed is"),
    (["prepare", ROOT / "samples/emblem.svg", "--blank", "cylinder:73x100mm"], CHUCK.replace("'A'", "'X'"), "follows along the piece"),
    (["prepare", ROOT / "samples/emblem.svg", "--blank", "cylinder:73x100mm"], CHUCK.replace("degrees", "turns"), "unknown field"),
]


@pytest.mark.parametrize("words, rotary, said", BAD)
def test_what_cannot_be_turned_is_one_sentence_and_nothing_written(tmp_path, words, rotary, said):
    done = run(*words, "--machine", machine(tmp_path, rotary), "--out", tmp_path / "out")
    assert done.returncode in (1, 2) and said in done.stderr, done.stderr
    assert not (tmp_path / "out").exists()
    if done.returncode == 1:
        assert len(done.stderr.strip().splitlines()) == 1


def test_a_cylinder_lies_on_no_tray(tmp_path):
    (tmp_path / "order.toml").write_text(
        f"blank = 'cylinder:73x100mm'\n[piece]\nmachine = '{machine(tmp_path, CHUCK)}'\n[[piece.layer]]\ntext = 'Fog'\n")
    done = run("tray", tmp_path / "order.toml", "--out", tmp_path / "out")
    assert done.returncode == 1 and "lies on no tray" in done.stderr, done.stderr
    assert not (tmp_path / "out").exists()


def test_a_program_of_a_rotary_needs_a_machine_that_has_one(tmp_path):
    assert run("prepare", ROOT / "samples/emblem.svg", "--blank", "cylinder:40x50mm", "--place", "20x20mm",
               "--machine", machine(tmp_path, CHUCK), "--out", tmp_path / "out").returncode == 0
    done = run("replay", tmp_path / "out/program.nc")
    assert done.returncode == 1 and "has no rotary" in done.stderr, done.stderr
