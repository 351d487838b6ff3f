"""The forecast's reference numbers against outside libraries: is what the Rust tests compare with itself right?"""

import os
import sys
import time

import numpy as np
from scipy.ndimage import gaussian_filter
from scipy.signal import fftconvolve

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path.insert(0, HERE)
import make_mark_data as made  # noqa: E402

DATA = os.path.join(HERE, "..", "data", "mark")


def read_marks():
    with open(os.path.join(DATA, "mark.txt")) as f:
        lines = [line.rstrip("\n") for line in f if not line.startswith("#")]
    i = 0
    while i < len(lines):
        along, across = map(float, lines[i].split()[1:])
        dots = np.array([[c == "#" for c in row] for row in lines[i + 1][5:].split("/")])
        marks = np.array([[float(v) for v in line.split()] for line in lines[i + 2 : i + 2 + len(dots)]])
        yield along, across, dots, marks
        i += 2 + len(dots)


def test_stored_marks_come_from_a_two_dimensional_convolution():
    """The same marks by one FFT convolution on a grid of 8 x 8 a dot, with the kernel written down in two dimensions."""
    over = 8
    checked = 0
    for along, across, dots, marks in read_marks():
        # Dots as lines of points along their travel, 32 a dot; kernel: the beam's density (unit sum over a pitch).
        fine = 32
        reach = 5
        y = (np.arange(-reach * over, reach * over + 1)) / over
        x = (np.arange(-reach * fine, reach * fine + 1)) / fine
        sy, sx = across / 4, along / 4
        kernel = np.exp(-(y[:, None] ** 2) / (2 * sy**2) - x[None, :] ** 2 / (2 * sx**2)) / (2 * np.pi * sx * sy) / fine
        h, w = dots.shape
        # Sample rows lie at (i + 1/2)/8 - 1/2: half a step off the line's centre, so the kernel is shifted by it.
        kernel = np.exp(-((y + 0.5 / over)[:, None] ** 2) / (2 * sy**2) - x[None, :] ** 2 / (2 * sx**2))
        kernel /= 2 * np.pi * sx * sy * fine
        grid = np.zeros((h * over, w * fine))
        grid[over // 2 :: over] = np.repeat(dots, fine, axis=1)
        exposure = fftconvolve(grid, kernel, mode="same")
        # Samples along lie between the 32nds 4 i + 1 and 4 i + 2.
        e = 0.5 * (exposure[:, 1::4] + exposure[:, 2::4])
        e = np.maximum(e, 1e-12)
        m = (1 / (1 + (0.5 / e) ** 6.25)).reshape(h, over, w, over).mean(axis=(1, 3))
        # 32 points a dot instead of its travel, and linear between them: good to a few thousandths.
        assert np.abs(m - marks).max() < 6e-3, (along, across, np.abs(m - marks).max())
        checked += 1
    assert checked == 4


def test_stored_exposures_are_what_the_generator_gives():
    rows = open(os.path.join(DATA, "exposure.txt")).read().splitlines()
    dots = None
    for line in rows:
        if line.startswith("dots "):
            dots = np.array([[c == "#" for c in row] for row in line[5:].split("/")])
        elif not line.startswith("#"):
            along, across, x, y, want = map(float, line.split())
            assert abs(made.exposure_by_quadrature(dots, x, y, along, across) - want) < 1e-9


if __name__ == "__main__":
    # For scale: scipy's Gaussian filter over 1 Mdot at the dots' own grid (one sample a dot, no response).
    plane = (np.random.default_rng(1).random((1024, 1024)) < 0.45).astype(np.float32)
    best = min((lambda t: (gaussian_filter(plane, 0.36), time.perf_counter() - t)[1])(time.perf_counter()) for _ in range(10))
    print(f"scipy gaussian_filter, 1 sample a dot: {plane.size / best / 1e6:.1f} Mdot/s")
