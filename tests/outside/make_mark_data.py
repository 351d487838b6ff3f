#!/usr/bin/env python3
"""Makes tests/data/mark/*.txt: exposures and mark fractions that the Rust tests compare with.

make_mark_data.py FOLDER        (needs numpy and scipy; the random dots are seeded)

Everything here is worked out from the definition of the model, apart from the project's code:
  exposure   the irradiance of an elliptical Gaussian beam, 2 P / (pi wx wy) exp(-2 x^2/wx^2 - 2 y^2/wy^2), moved along
             each dot's one-pitch travel and integrated over time by numerical quadrature (scipy.integrate.quad), summed
             over dots and divided by the dose of a solid, P / (v pitch)
  mark       1 / (1 + (0.5 / e)^6.25), mean of 8 x 8 sample positions a dot, nothing outside the plane, dots up to the
             forecast's own reach (2.2 beam radii and a half pitch, rounded up) taken in
"""
import os
import sys

import numpy as np
from scipy.integrate import quad
from scipy.special import erf


def exposure_by_quadrature(dots, x, y, along, across):
    """Relative exposure at (x, y) pitches from the centre of dot (0, 0); P = v = pitch = 1."""
    wx, wy = along / 2, across / 2
    peak = 2 / (np.pi * wx * wy)
    total = 0.0
    for row, col in zip(*np.nonzero(dots)):
        f = lambda t: peak * np.exp(-2 * (x - t) ** 2 / wx**2 - 2 * (y - row) ** 2 / wy**2)
        total += quad(f, col - 0.5, col + 0.5, epsabs=1e-12, epsrel=1e-11, points=[x] if abs(x - col) < 0.5 else None)[0]
    return total


def mark(dots, along, across, over=8, exposure=1.0):
    """Mean mark fraction of each dot's cell; a solid's mean exposure is `exposure`."""
    at = (np.arange(over) + 0.5) / over - 0.5
    h, w = dots.shape
    rx, ry = (max(1, int(np.ceil(1.1 * d + 0.5))) for d in (along, across))
    b = np.pad(dots.astype(float), ((ry, ry), (rx, rx)))
    out = np.zeros((h, w))
    for px in at:
        row = 0
        for j in range(-rx, rx + 1):
            s = along / 4 * 2**0.5
            row = row + 0.5 * (erf((px - j + 0.5) / s) - erf((px - j - 0.5) / s)) * b[:, rx + j:rx + j + w]
        for py in at:
            e = 0
            for j in range(-ry, ry + 1):
                s = across / 4
                e = e + np.exp(-((py - j) ** 2) / (2 * s * s)) / ((2 * np.pi) ** 0.5 * s) * row[ry + j:ry + j + h]
            with np.errstate(divide="ignore", over="ignore"):
                out += 1 / (1 + (0.5 / (exposure * e)) ** 6.25)
    return out / over**2


def main():
    folder = sys.argv[1]
    os.makedirs(folder, exist_ok=True)
    rng = np.random.default_rng(20)
    with open(os.path.join(folder, "exposure.txt"), "w") as f:
        f.write("# made by tests/outside/make_mark_data.py: along across x y exposure; dots: rows of '#' and '.'\n")
        for along, across in ((1.0, 1.0), (1.436, 1.436), (2.0, 3.1), (2.5, 0.8)):
            dots = rng.random((9, 9)) < 0.5
            f.write("dots " + "/".join("".join(".#"[int(v)] for v in r) for r in dots) + "\n")
            for x, y in ((4.0, 4.0), (3.5625, 4.4375), (4.0625, 3.8125)):
                f.write(f"{along} {across} {x} {y} {exposure_by_quadrature(dots, x, y, along, across):.10f}\n")
    with open(os.path.join(folder, "mark.txt"), "w") as f:
        f.write("# made by tests/outside/make_mark_data.py: beam, dots, then one row of mark fractions a line\n")
        for along, across, cover in ((1.0, 1.0, 0.6), (1.436, 1.436, 0.5), (2.0, 2.0, 0.4), (3.0, 1.5, 0.3)):
            dots = rng.random((20, 27)) < cover
            f.write(f"beam {along} {across}\n")
            f.write("dots " + "/".join("".join(".#"[int(v)] for v in r) for r in dots) + "\n")
            for r in mark(dots, along, across):
                f.write(" ".join(f"{v:.6f}" for v in r) + "\n")


if __name__ == "__main__":
    main()
