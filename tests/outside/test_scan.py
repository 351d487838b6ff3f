"""Scan programs read by pygcode, a general-purpose RS-274 library: modal state, positions, dots.

The programs are the stored samples in tests/data/scan, which the Rust tests prove to be what is written today.
"""
import math
import pathlib
import re

import pytest

pygcode = pytest.importorskip("pygcode")
from pygcode import Line, Machine  # noqa: E402
from pygcode.gcodes import MODAL_GROUP_MAP  # noqa: E402

DATA = pathlib.Path(__file__).parent.parent / "data" / "scan"
PROGRAMS = ["lighthouse.nc", "lighthouse_switched.nc", "outline.nc", "outline_pointer.nc"]
PITCH = 25.4 / 304


def word(machine, group):
    """The word in force in a modal group, as text such as M03."""
    found = machine.mode.modal_groups[MODAL_GROUP_MAP[group]]
    return "" if found is None else str(found).strip()


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
        for r in range(rows):
            y = top - (r + 0.5) * PITCH
            for c in range(columns):
                x = left + (c + 0.5) * PITCH
                if min(x0, x1) - 0.002 <= x <= max(x0, x1) + 0.002 and (
                        min(y0, y1) - 0.002 <= y <= max(y0, y1) + 0.002):
                    dots[r][c] = "#"
    assert ["".join(r) for r in dots] == wanted


def test_the_outline_without_a_pointer_never_turns_the_beam_on():
    assert all(power == 0 for *_, power in moves("outline.nc")[0])
    walked = [m for m in moves("outline_pointer.nc")[0] if m[3] > 0]
    # Round a box of 48 x 40 dots and a circle of 30 mm.
    length = sum(math.dist(a, b) for _, a, b, _ in walked)
    assert abs(length - 2 * (48 + 40) * PITCH - math.pi * 30) < 0.4
    assert {power for *_, power in walked} == {1.0}
