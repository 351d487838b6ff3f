"""Gaps between marks that the head hurries across: the program as a controller written apart runs it (look_ahead.py).

Machines are drawn at random: accelerations of 100 to 10000 mm/s², 1 to 64 moves seen ahead, lag either way, lines along
either axis, one way or both, links of 1 to 30 kB/s. Marks must be at the marking speed over all of their way, the link must never be
late, the dots must be those of the picture, and the forecast of the time must be that of the ride.
"""
import json
import math
import os
import pathlib
import random
import subprocess

import numpy as np
import pytest
from PIL import Image

from look_ahead import Machine, read, ride

ROOT = pathlib.Path(__file__).resolve().parents[2]
DOTWRIGHT = os.path.abspath(os.environ.get("DOTWRIGHT", str(ROOT / "target/release/dotwright")))
DATA = ROOT / "tests/data/scan"
TOML = """
name = "drawn"
[laser]
power = "{power}W"
wavelength_nm = 450
beam_along = "0.12mm"
beam_across = "0.12mm"
[motion]
bed = "400x400mm"
steps_per_mm_x = 80
steps_per_mm_y = 80
acceleration_mm_per_s2 = {ax}
acceleration_y_mm_per_s2 = {ay}
top_speed = "{top}mm/s"
rapid_speed = "{rapid}mm/s"
lag_ms = {lag_ms}
gap_settle = "{gap_settle}mm"
[program]
full_scale_s = 1000
power_mode = "constant"
link_bytes_per_s = {link}
plans_ahead = {ahead}
{more}
"""


def prepare(folder, art, machine, *options):
    """Runs the job; its report, the moves of its program and its dots."""
    (folder / "machine.toml").write_text(machine)
    out = folder / "out"
    done = subprocess.run([DOTWRIGHT, "prepare", str(ROOT / "samples" / art), "--machine", str(folder / "machine.toml"),
                           "--out", str(out), "--replace", *options], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    report = json.loads((out / "report.json").read_text())
    dots = np.asarray(Image.open(out / "dots.png").convert("L")) < 128
    return report, read((out / "program.nc").read_text()), dots


def swept(report, moves, dots, lag, blank_height):
    """The dots whose centre a mark passes, `lag` seconds late."""
    placed = report["placement"]
    along, across = placed["true_width_mm"] / dots.shape[1], placed["true_height_mm"] / dots.shape[0]
    left, top = placed["left_mm"], blank_height - placed["top_mm"]
    found = np.zeros_like(dots)
    for m in moves:
        if m.power <= 0:
            continue
        (x0, y0), (x1, y1) = (tuple(p[i] + lag * m.feed * m.way[i] for i in (0, 1)) for p in (m.a, m.b))
        c0, c1 = sorted(((x0 - left) / along - 0.5, (x1 - left) / along - 0.5))
        r0, r1 = sorted(((top - y0) / across - 0.5, (top - y1) / across - 0.5))
        columns = slice(max(math.ceil(c0 - 0.03), 0), math.floor(c1 + 0.03) + 1)
        rows = slice(max(math.ceil(r0 - 0.03), 0), math.floor(r1 + 0.03) + 1)
        found[rows, columns] = True
    return found


@pytest.mark.parametrize("seed", range(12))
def test_a_random_machine_marks_at_the_marking_speed_alone(tmp_path, seed):
    rng = random.Random(seed)
    ahead = rng.choice([1, 2, 3, 5, 8, 15, 15, 32, 64])
    ax, ay = (round(10 ** rng.uniform(2, 4)) for _ in "xy")
    axis = rng.choice("xy")
    # The speed from which the head can stop within the marks that the controller sees, by a rough count.
    a = ax if axis == "x" else ay
    speed = max(min(0.7 * math.sqrt(2 * a * 0.0875 * max((ahead - 1) // 4, 0.5)), 40.0), 1.0)
    speed = float(f"{speed:.2f}")
    top = round(max(speed * rng.uniform(1.0, 8.0), 20.0), 1)
    numbers = dict(ax=ax, ay=ay, top=top, rapid=round(top * rng.choice([1.0, 3.0]), 1), ahead=ahead,
                   lag_ms=rng.choice([0.0, 2.0, -1.5, 0.7]), gap_settle=rng.choice([0, 0, 0.1]),
                   link=rng.choice([0, 1500, 4000, 11520, 30000]), power=round(5 * speed / 12.5, 3),
                   more=rng.choice(["", "", "moves_per_s = 150"]))
    art, size = rng.choice([("harbour.jpg", "22x16mm"), ("name-tag.svg", "36x18mm"), ("emblem.svg", "24x24mm")])
    trim = rng.choice(["0mm", "0.02mm"])
    options = ["--blank", f"rect:{size}", "--margin", "1mm", "--power", "90%", "--speed", f"{speed}mm/s", "--axis", axis,
               "--direction", rng.choice(["both", "one"]), "--trim", trim, "--screen", "floyd-steinberg",
               # Some of these machines are asked for more than they take in; what they ride is then not held against them.
               "--accept", "link-starved", "--accept", "short-sighted"]
    report, moves, dots = prepare(tmp_path, art, TOML.format(**numbers), *options)
    lag = numbers["lag_ms"] / 1000
    assert (swept(report, moves, dots, lag, float(size[:-2].split("x")[1])) == dots).all()
    machine = Machine(acceleration=(ax, ay), top=(top, top), rapid=(numbers["rapid"],) * 2, ahead=ahead,
                      link=numbers["link"] or None, lag=lag)
    result = ride(moves, machine)
    starved = [f["name"] for f in report["findings"] if f["name"] in ("link-starved", "short-sighted")]
    if not starved:
        assert result.off == [], (numbers, result.off[:5])
        assert result.dry == 0, numbers
        assert abs(result.seconds - report["times"]["total_s"]) < 0.01 * result.seconds, (numbers, result.seconds)
    parts = report["times"]
    assert abs(sum(parts[k] for k in ("beam_on_s", "gaps_s", "run_up_s", "approach_s")) - parts["total_s"]) < 1e-6


def test_the_same_dots_in_less_time_and_no_more_beam(tmp_path):
    numbers = dict(ax=500, ay=500, top=100, rapid=100, lag_ms=0, gap_settle=0, link=11520, power=5, more="")
    options = ["--blank", "rect:60x40mm", "--screen", "floyd-steinberg"]
    fast, moves, dots = prepare(tmp_path, "name-tag.svg", TOML.format(ahead=15, **numbers), *options)
    slow, before, same = prepare(tmp_path, "name-tag.svg", TOML.format(ahead=0, **numbers), *options)
    assert (dots == same).all()
    assert abs(fast["times"]["beam_on_s"] - slow["times"]["beam_on_s"]) < 1e-6
    assert fast["times"]["total_s"] < 0.9 * slow["times"]["total_s"]
    assert {m.power for m in moves} == {m.power for m in before}
    # Where nothing is known of the controller, every G1 has one feed.
    assert len({m.feed for m in before if not m.rapid}) == 1


def test_dots_on_fewer_lines_take_less_time_and_are_the_dots_that_are_swept(tmp_path):
    """The default and a share of the time that was asked for, against dots on all lines: as the controller rides them."""
    numbers = dict(ax=500, ay=500, top=100, rapid=100, lag_ms=1.0, gap_settle=0, link=11520, power=5, more="", ahead=15)
    options = ["--blank", "rect:62x42mm", "--place", "cover", "--read-as", "photo"]
    machine = Machine(lag=0.001)
    seconds, lines, means = {}, {}, {}
    for time in ("100%", "auto", "85%", "1%"):
        report, moves, dots = prepare(tmp_path, "harbour.jpg", TOML.format(**numbers), *options, "--time", time)
        assert (swept(report, moves, dots, 0.001, 42.0) == dots).all(), time
        result = ride(moves, machine)
        assert result.off == [] and result.dry == 0, time
        seconds[time], lines[time] = result.seconds, dots[1::2].sum() / dots.sum()
        means[time] = report["forecast"]["mean_mark_share"]
        assert abs(result.seconds - report["times"]["total_s"]) < 0.01 * result.seconds
    assert 0.45 < lines["100%"] < 0.55 and lines["1%"] < lines["auto"] < 0.3
    assert seconds["auto"] < 0.82 * seconds["100%"]
    assert 0.83 * seconds["100%"] < seconds["85%"] < 0.852 * seconds["100%"]
    assert seconds["1%"] < seconds["auto"], "the quickest that is left where so little is asked for"
    # The lines that stay make up for those that do not.
    assert max(means.values()) - min(means.values()) < 0.004, means


@pytest.mark.parametrize("name, lag", [("hurried.nc", 0.002), ("hurried_early.nc", -0.001)])
def test_a_controller_that_sees_too_little_is_found_out(name, lag):
    """The stored samples hold on a machine that sees as far as they were made for; the simulation is no rubber stamp."""
    far = Machine(acceleration=(500, 500), top=(150, 150), rapid=(150, 150), ahead=15, lag=lag)
    near = Machine(acceleration=(500, 500), top=(150, 150), rapid=(150, 150), ahead=2, lag=lag)
    slow = Machine(acceleration=(500, 500), top=(150, 150), rapid=(150, 150), ahead=15, lag=lag, link=400.0, store=16.0)
    late = Machine(acceleration=(500, 500), top=(150, 150), rapid=(150, 150), ahead=15, lag=lag + 0.02)
    moves = read((DATA / name).read_text())
    assert len({m.feed for m in moves if not m.rapid}) == 2
    result = ride(moves, far)
    assert result.off == [] and result.dry == 0
    assert ride(moves, near).off and ride(moves, late).off
    assert ride(moves, slow).dry > 0
