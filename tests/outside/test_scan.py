"""Scan programs read by pygcode, a general-purpose RS-274 library, and by a reader of a few lines written
apart: modal state, positions, dots, times.

The programs are the stored samples in tests/data/scan, which the Rust tests prove to be what is written today.
"""
import json
import math
import os
import pathlib
import re
import subprocess
from functools import cache

import pytest

pygcode = pytest.importorskip("pygcode")
from pygcode import Line, Machine  # noqa: E402
from pygcode.gcodes import MODAL_GROUP_MAP  # noqa: E402

DATA = pathlib.Path(__file__).parent.parent / "data" / "scan"
PROGRAMS = ["lighthouse.nc", "lighthouse_along_y.nc", "lighthouse_switched.nc", "outline.nc", "outline_pointer.nc",
            "parts.nc", "hurried.nc", "hurried_early.nc"]
PITCH = 25.4 / 304
DOTWRIGHT = os.path.abspath(os.environ.get("DOTWRIGHT", "target/release/dotwright"))


def word(machine, group):
    """The word in force in a modal group, as text such as M03."""
    found = machine.mode.modal_groups[MODAL_GROUP_MAP[group]]
    return "" if found is None else str(found).strip()


@cache
def moves(name):
    """Every move: motion word, start, end, S while the beam is on; then the machine at the end."""
    machine, found = Machine(), []
    for text in (DATA / name).read_text().splitlines():
        line = Line(text)
        before = (machine.pos.X, machine.pos.Y)
        machine.process_block(line.block)
        after = (machine.pos.X, machine.pos.Y)
        spindle = word(machine, "spindle")
        speed = word(machine, "spindle_speed")
        power = float(speed[1:]) if spindle in ("M03", "M04") and speed else 0.0
        if after != before:
            found.append((word(machine, "motion"), before, after, power))
    return found, machine


@pytest.mark.parametrize("name", PROGRAMS)
def test_modes_are_stated_before_the_first_move_and_the_beam_is_off_at_the_end(name):
    text = (DATA / name).read_text()
    words = [w for w in text.splitlines() if w and not w.startswith("(")]
    assert words[0] == "G21G90G94G17M5S0"
    _, machine = moves(name)
    assert (word(machine, "units"), word(machine, "distance"), word(machine, "plane_selection")) == (
        "G21", "G90", "G17")
    assert word(machine, "spindle") == "M05"
    assert words[-1] == "M2"


@pytest.mark.parametrize("name", PROGRAMS)
def test_no_rapid_moves_with_the_beam_on(name):
    found, _ = moves(name)
    assert len(found) > 8
    assert all(power == 0 for motion, _, _, power in found if motion == "G00")
    assert all(motion in ("G00", "G01") for motion, *_ in found)


@pytest.mark.parametrize("name", PROGRAMS)
def test_the_limits_that_pygcode_does_not_enforce(name):
    # NISTIR 6556: 256 characters (3.3), plain numbers (3.3.2.1), S not negative (3.7.2), parentheses (3.3.4).
    for line in (DATA / name).read_text().splitlines():
        assert len(line) <= 256 and line.isascii()
        if line.startswith("("):
            assert line.count("(") == 1 and line.endswith(")") and line.count(")") == 1
        else:
            assert re.fullmatch(r"([A-Z]-?(\d+\.?\d*|\.\d+))+", line), line
            assert "S-" not in line


def mark(dots, a, b, left, top):
    """Marks the dots whose centre the beam passes from a to b."""
    (x0, x1), (y0, y1) = (sorted(ends) for ends in zip(a, b))
    for r, row in enumerate(dots):
        if y0 - 0.002 <= top - (r + 0.5) * PITCH <= y1 + 0.002:
            for c in range(len(row)):
                if x0 - 0.002 <= left + (c + 0.5) * PITCH <= x1 + 0.002:
                    row[c] = "#"


@pytest.mark.parametrize("name, to_blank", [
    ("lighthouse.nc", lambda x, y: (x, y)),
    # Zero in the middle of a blank of 30 mm, X to the left, Y downwards.
    ("lighthouse_switched.nc", lambda x, y: (15 - x, 15 - y)),
])
def test_the_dots_are_those_that_were_asked_for(name, to_blank):
    wanted = (DATA / "lighthouse.txt").read_text().split()
    rows, columns = len(wanted), len(wanted[0])
    left, top = (30 - columns * PITCH) / 2, (30 + rows * PITCH) / 2
    # The second machine's beam is 1 ms late: at 30 mm/s its marks land 0.03 mm further along the motion.
    lag = 0.03 if name == "lighthouse_switched.nc" else 0.0
    dots = [["."] * columns for _ in range(rows)]
    for motion, a, b, power in moves(name)[0]:
        if power == 0:
            continue
        length = math.dist(a, b)
        step = [lag * (q - p) / length for p, q in zip(a, b)]
        (x0, y0), (x1, y1) = (to_blank(p[0] + step[0], p[1] + step[1]) for p in (a, b))
        mark(dots, (x0, y0), (x1, y1), left, top)
    assert ["".join(r) for r in dots] == wanted


def test_the_outline_without_a_pointer_never_turns_the_beam_on():
    assert all(power == 0 for *_, power in moves("outline.nc")[0])
    walked = [m for m in moves("outline_pointer.nc")[0] if m[3] > 0]
    # Once round the circle that the margin of 2 mm leaves of a blank of 30 mm, in chords.
    length = sum(math.dist(a, b) for _, a, b, _ in walked)
    assert -0.15 < length - math.pi * 26 < 0, length
    middle = [sum(p[i] for _, p, _, _ in walked) / len(walked) for i in (0, 1)]
    assert all(abs(math.dist(p, middle) - 13) < 0.01 for _, p, _, _ in walked)
    assert {power for *_, power in walked} == {1.0}


# --- A reader written apart, after NISTIR 6556 and nothing else: no library, no code of the tool. ---


def stretches(name):
    """Every straight move of a program: rapid or not, start, end (mm), speed (mm/s), S while the beam is on.

    Words act in the standard's order (3.8): F, S, M, G, then the move. What no raster needs is an error.
    """
    at, feed, power, on, rapid, found, ended = (0.0, 0.0), 0.0, 0.0, False, None, [], False
    for line in (DATA / name).read_text().splitlines():
        words = re.findall(r"([A-Z])(-?[\d.]+)", re.sub(r"\([^)]*\)", "", line))
        assert not ended, "words after the end"
        values = {letter: float(number) for letter, number in words if letter in "FSXY"}
        feed, power = values.get("F", feed), values.get("S", power)
        for letter, number in words:
            assert letter in "FGMSXY", line
            if letter == "M":
                assert number in ("2", "3", "4", "5"), line
                on, ended = number in ("3", "4") if number != "2" else on, number == "2"
            elif letter == "G":
                assert number in ("0", "1", "17", "21", "90", "94"), line
                rapid = {"0": True, "1": False}.get(number, rapid)
        if "X" in values or "Y" in values:
            to = (values.get("X", at[0]), values.get("Y", at[1]))
            if to != at:
                found.append((rapid, at, to, feed / 60, power if on else 0.0))
            at = to
    assert ended and not (on and power > 0), "the beam is left on"
    return found


def rebuilt(name, to_blank, delay, rows=40, columns=48):
    """The dots that a program marks: those whose centre the beam passes, `delay` seconds late."""
    left, top = (30 - columns * PITCH) / 2, (30 + rows * PITCH) / 2
    dots = [["."] * columns for _ in range(rows)]
    for rapid, a, b, speed, power in stretches(name):
        if power == 0:
            continue
        assert not rapid
        shift = [delay * speed * (q - p) / math.dist(a, b) for p, q in zip(a, b)]
        (x0, y0), (x1, y1) = (to_blank(p[0] + shift[0], p[1] + shift[1]) for p in (a, b))
        mark(dots, (x0, y0), (x1, y1), left, top)
    return ["".join(r) for r in dots]


def plain(x, y):
    return x, y


@pytest.mark.parametrize("name, to_blank, delay", [
    ("lighthouse.nc", plain, 0.0),
    ("lighthouse_along_y.nc", plain, 0.0),
    ("lighthouse_switched.nc", lambda x, y: (15 - x, 15 - y), 0.001),
    ("parts.nc", plain, 0.002),
    ("hurried.nc", plain, 0.002),
    ("hurried_early.nc", plain, -0.001),
])
def test_a_reader_written_apart_finds_the_same_dots(name, to_blank, delay):
    assert rebuilt(name, to_blank, delay) == (DATA / "lighthouse.txt").read_text().split()


def test_lines_run_along_the_axis_that_was_asked_for():
    def ways(name):
        return {("x" if a[1] == b[1] else "y" if a[0] == b[0] else "slope", power)
                for _, a, b, _, power in stretches(name) if power > 0}

    assert ways("lighthouse.nc") == {("x", 900.0)}
    assert ways("lighthouse_along_y.nc") == {("y", 900.0)}
    assert ways("parts.nc") == {("x", 900.0), ("y", 400.0)}
    # One way only in the second part: every column of it is marked towards growing y.
    assert all(b[1] > a[1] for _, a, b, _, power in stretches("parts.nc") if power == 400)


def seconds(name, acceleration, rapid_speed):
    """Time from rest to rest over each chain of moves in one direction at one speed; (x, y) limits of each axis."""
    chains = []
    for rapid, a, b, speed, power in stretches(name):
        way = math.dist(a, b)
        step = tuple((q - p) / way for p, q in zip(a, b))
        last = chains[-1] if chains else None
        if last and last[0] == rapid and last[3] == speed and max(abs(p - q) for p, q in zip(last[1], step)) < 1e-6:
            chains[-1] = (rapid, step, last[2] + way, speed)
        else:
            chains.append((rapid, step, way, speed))
    total = 0.0
    for rapid, step, way, speed in chains:
        # Each axis does its share of a straight way; the one that is first at its limit sets the pace.
        shares = [(i, abs(step[i])) for i in (0, 1) if abs(step[i]) > 1e-9]
        a = min(acceleration[i] / share for i, share in shares)
        v = min(rapid_speed[i] / share for i, share in shares) if rapid else speed
        total += way / v + v / a if way >= v * v / a else 2 * math.sqrt(way / a)
    return total


MACHINE = """
name = "bench"
[laser]
power = "5W"
wavelength_nm = 450
beam_along = "0.12mm"
beam_across = "0.12mm"
[motion]
bed = "400x400mm"
steps_per_mm_x = 80
steps_per_mm_y = 80
acceleration_mm_per_s2 = 500
top_speed = "150mm/s"
rapid_speed = "150mm/s"
{more}
[program]
full_scale_s = 1000
power_mode = "constant"
"""


@pytest.mark.parametrize("name, more, acceleration, rapid_speed", [
    ("lighthouse.nc", "", (500, 500), (150, 150)),
    ("lighthouse_along_y.nc", 'acceleration_y_mm_per_s2 = 200\nrapid_speed_y = "60mm/s"', (500, 200), (150, 60)),
    ("parts.nc", "", (500, 500), (150, 150)),
    ("outline.nc", "", (500, 500), (150, 150)),
])
def test_the_tool_takes_the_same_time_for_a_program(tmp_path, name, more, acceleration, rapid_speed):
    machine = tmp_path / "bench.toml"
    machine.write_text(MACHINE.format(more=more))
    said = subprocess.run([DOTWRIGHT, "replay", str(DATA / name), "--machine", str(machine), "--json"],
                          capture_output=True, check=True)
    found = json.loads(said.stdout)["replay"]["seconds"]
    # Switching the beam ends a chain in the tool: nothing moves on through it in these programs.
    assert abs(found - seconds(name, acceleration, rapid_speed)) < 1e-6 * found


@pytest.mark.parametrize("header", ["M3S1000", "G0X100Y100", "G1X0F100", "M2", "$H"])
def test_a_machines_own_lines_cannot_burn_move_or_end(tmp_path, header):
    machine = tmp_path / "bench.toml"
    for key in ("header", "footer"):
        machine.write_text(MACHINE.format(more="") + f'{key} = ["{header}"]\n')
        for command in (["prepare", str(DATA.parent / "art" / "grey.png"), "--blank", "rect:20x20mm"], ["wedge", "draw"]):
            done = subprocess.run([DOTWRIGHT, *command, "--machine", str(machine), "--out", str(tmp_path / "out")],
                                  capture_output=True, text=True)
            assert done.returncode == 1 and f"{key} line '{header}'" in done.stderr, done
            assert not (tmp_path / "out").exists()
