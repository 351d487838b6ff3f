"""Makes tests/data/wedge/fit.json: a wedge's lightness values and their fit by scipy.optimize.least_squares.

The response model is written here from the README, apart from the Rust sources. Run: python make_wedge_fit.py
"""
import json
from pathlib import Path

import numpy as np
from scipy.optimize import least_squares

POWERS = [8.0, 6.2, 4.8, 3.7, 2.8, 2.1]
SPEEDS = [6.0, 9.0, 13.0, 20.0, 30.0]
PITCH, BEAM, V0 = 0.0836, 0.12, 12.5
Y_UNMARKED = 0.03
TRUTH = dict(y_marked=0.62, x_half=2.3, rise=5.5, s=0.78, y_char=0.12, x_char=8.1, char_rise=7.0)


def lightness(y):
    return np.where(y > 216 / 24389, 116 * np.cbrt(y) - 16, y * 24389 / 27)


def ripple():
    """Exposure between the lines of a solid, at eight places across a pitch, relative to its mean."""
    sigma = BEAM / 4 / PITCH
    at = (np.arange(8) + 0.5) / 8 - 0.5
    lines = np.arange(-3, 4)
    return (np.exp(-((at[:, None] - lines) ** 2) / (2 * sigma**2)) / (np.sqrt(2 * np.pi) * sigma)).sum(axis=1)


def model(p, dose, speed):
    y_marked, x_half, rise, s, y_char, x_char, char_rise = np.exp(p[0]), np.exp(p[1]), np.exp(p[2]), p[3], np.exp(p[4]), np.exp(p[5]), np.exp(p[6])
    x = (dose * (speed / V0) ** (1 - s))[:, None] * ripple()
    y = Y_UNMARKED + (y_marked - Y_UNMARKED) / (1 + (x_half / x) ** rise)
    y = y + (y_char - y) / (1 + (x_char / x) ** char_rise)
    return lightness(y.mean(axis=1))


# What is expected of char, with standard deviations in natural logarithms: its look, its steepness, and how much
# later it comes than the mark. The expected response is that of the Rust test beside the fit.
CHAR_LOOK, CHAR_RISE, CHAR_LATER = (0.10, 0.7), (8.0, 0.3), (9.0 / 2.2, 0.4)


def beforehand(p):
    return np.array([
        (p[4] - np.log(CHAR_LOOK[0])) / CHAR_LOOK[1],
        (p[6] - np.log(CHAR_RISE[0])) / CHAR_RISE[1],
        (p[5] - p[1] - np.log(CHAR_LATER[0])) / CHAR_LATER[1],
    ])


def main():
    rng = np.random.default_rng(20261125)
    power, speed = (a.ravel() for a in np.meshgrid(POWERS, SPEEDS, indexing="ij"))
    dose = power / (speed * PITCH)
    t = TRUTH
    start = np.array([np.log(t["y_marked"]), np.log(t["x_half"]), np.log(t["rise"]), t["s"], np.log(t["y_char"]), np.log(t["x_char"]), np.log(t["char_rise"])])
    seen = np.round(model(start, dose, speed) + rng.normal(0, 0.3, dose.size), 3)
    error = np.full(dose.size, 0.5)
    fit = least_squares(lambda p: np.concatenate([(model(p, dose, speed) - seen) / error, beforehand(p)]), start, method="lm", xtol=1e-14, ftol=1e-14)
    cov = np.linalg.inv(fit.jac.T @ fit.jac) * max(1.0, 2 * fit.cost / (dose.size - 7))
    sd = np.sqrt(np.diag(cov))
    p = fit.x
    value = [np.exp(p[0]), np.exp(p[1]), np.exp(p[2]), p[3], np.exp(p[4]), np.exp(p[5]), np.exp(p[6])]
    unc = [v * e if i != 3 else e for i, (v, e) in enumerate(zip(value, sd))]
    names = ["y_marked", "x_half", "rise", "schwarzschild", "y_char", "x_char", "char_rise"]
    out = {
        "source": "tests/outside/make_wedge_fit.py, scipy.optimize.least_squares (method lm)",
        "pitch_mm": PITCH, "beam_mm": BEAM, "v0": V0, "y_unmarked": Y_UNMARKED, "error": 0.5,
        "dose": dose.tolist(), "speed": speed.tolist(), "lightness": seen.tolist(),
        "cost": 2 * fit.cost,
        "fit": {n: [float(v), float(u)] for n, v, u in zip(names, value, unc)},
    }
    path = Path(__file__).parent.parent / "data" / "wedge" / "fit.json"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(json.dumps(out, indent=1) + "\n")
    print(out["fit"], out["cost"])


if __name__ == "__main__":
    main()
