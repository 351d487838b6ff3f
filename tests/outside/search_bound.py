#!/usr/bin/env python3
"""How much a longer search would gain: dots of `fitted` on 64 x 64 line pitches, searched on by annealing.

    search_bound.py [--passes 60] [--side 64] [--hot 0.3] [--only 4] PHOTO.png ...

The search here is written apart from the library: its forward model is that of the burn (a Gaussian beam swept over a pulse,
the response 1/(1 + (x_half/X)^rise)) on 4 x 4 samples a pulse's cell, its eye the two Gaussians of Kim and Allebach (2002,
constants from memory), its moves a toggle and swaps with all neighbours, and it goes on from the library's dots by simulated
annealing (S. Kirkpatrick, C. D. Gelatt and M. P. Vecchi, "Optimization by simulated annealing", Science 220, 1983). The
error is that of the whole square, with nothing beyond its border. Where the machine is not known for sure, it is the mean over
five: the planned one and those whose beam or exposure is off by so much either way. Prints the PSNR that the eye sees before
and after, as planned and as to be expected.
"""
import argparse
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
from numba import njit
from PIL import Image
from scipy.special import erf

HERE = Path(__file__).resolve().parent
PITCH, DISTANCE = 25.4 / 300, 300.0
OVER, ROWS = 4, 2
X_HALF, RISE = 0.5, 6.25  # of a solid's mean exposure, as `Burn::plain` of the library has them
TABLE, MOST = 4096, 3.0
# How often the beam may switch in a line pitch, its width in line pitches, how unsure beam and exposure are.
TRIED = ((1, 1.5, 0, 0), (2, 1.5, 0, 0), (3, 1.5, 0, 0), (2, 2.0, 0, 0), (2, 1.5, 0.1, 0.1), (2, 1.5, 0.03, 0.02))


def eye(radius=12, n=512):
    """Point spread on squares of a pitch, sum 1."""
    degree = np.degrees(PITCH / DISTANCE)
    f = np.fft.fftfreq(n) / degree
    f2 = f[:, None] ** 2 + f[None, :] ** 2
    lobe = lambda k, s: k * s * s * np.exp(-2 * np.pi**2 * s * s * f2)
    p = np.fft.fftshift(np.fft.ifft2(np.sqrt(lobe(43.2, 0.0219) + lobe(38.7, 0.0598))).real)
    p = p[n // 2 - radius:n // 2 + radius + 1, n // 2 - radius:n // 2 + radius + 1]
    return p / p.sum()


def autocorrelation(p):
    n = 2 * p.shape[0] - 1
    return np.fft.fftshift(np.fft.ifft2(np.abs(np.fft.fft2(p, (n, n))) ** 2).real)


def patch(beam, fine):
    """Exposure that one pulse adds: [rows, samples across, cells along, samples along]."""
    reach = 2 * fine
    s = beam / 4
    inside = (np.arange(OVER) + 0.5) / OVER - 0.5
    y = np.arange(-ROWS, ROWS + 1)[:, None] + inside[None, :]
    x = (np.arange(-reach, reach + 1)[:, None] + inside[None, :]) / fine
    half = 0.5 / fine
    along = 0.5 * (erf((x + half) / (s * 2**0.5)) - erf((x - half) / (s * 2**0.5)))
    across = np.exp(-y * y / (2 * s * s)) / ((2 * np.pi) ** 0.5 * s)
    return (across[:, :, None, None] * along[None, None]).astype(np.float64)


@njit(cache=True)
def response(table, x):
    at = x * (TABLE / MOST)
    i = int(at)
    if i >= TABLE:
        return table[TABLE]
    return table[i] + (at - i) * (table[i + 1] - table[i])


@njit(cache=True)
def change(dots, x, table, pulse, fine, row, column, out):
    """Marks of the pitches around a pulse that is switched, less those of now, by each machine; the first pitch's column."""
    height, width = dots.shape
    sign = 1.0 - 2.0 * dots[row, column]
    reach = 2 * fine
    first = (column - reach) // fine
    out[:] = 0.0
    for i in range(-ROWS, ROWS + 1):
        r = row + i
        if r < 0 or r >= height:
            continue
        for j in range(-reach, reach + 1):
            c = column + j
            if c < 0 or c >= width:
                continue
            for k in range(x.shape[0]):
                d = 0.0
                for q in range(OVER):
                    for p in range(OVER):
                        e = x[k, r, q, c, p]
                        more = pulse[k, i + ROWS, q, j + reach, p]
                        if more > 1e-7:
                            d += response(table, max(e + sign * more, 0.0)) - response(table, e)
                out[k, i + ROWS, c // fine - first] += d
    out /= OVER * OVER * fine
    return first


@njit(cache=True)
def cost(out, first, row, seen, acf):
    """What the change adds to the squared error that the eye sees, in the mean over the machines."""
    m = acf.shape[0] // 2
    all_ = 0.0
    for o in range(out.shape[0]):
        for i in range(out.shape[1]):
            for j in range(out.shape[2]):
                v = out[o, i, j]
                if v == 0.0:
                    continue
                s = 2.0 * seen[o, row + i - ROWS, first + j]
                for k in range(out.shape[1]):
                    for n in range(out.shape[2]):
                        if out[o, k, n] != 0.0:
                            s += out[o, k, n] * acf[m + k - i, m + n - j]
                all_ += v * s
    return all_ / out.shape[0]


@njit(cache=True)
def make(dots, x, pulse, fine, row, column, out, first, seen, acf):
    height, width = dots.shape
    sign = 1.0 - 2.0 * dots[row, column]
    dots[row, column] = 1 - dots[row, column]
    reach = 2 * fine
    for i in range(-ROWS, ROWS + 1):
        r = row + i
        if 0 <= r < height:
            for j in range(-reach, reach + 1):
                c = column + j
                if 0 <= c < width:
                    for k in range(x.shape[0]):
                        for q in range(OVER):
                            for p in range(OVER):
                                x[k, r, q, c, p] = max(x[k, r, q, c, p] + sign * pulse[k, i + ROWS, q, j + reach, p], 0.0)
    m = acf.shape[0] // 2
    for o in range(out.shape[0]):
        for i in range(out.shape[1]):
            for j in range(out.shape[2]):
                v = out[o, i, j]
                if v != 0.0:
                    r0, c0 = row + i - ROWS, first + j
                    for r in range(max(0, r0 - m), min(seen.shape[1], r0 + m + 1)):
                        for c in range(max(0, c0 - m), min(seen.shape[2], c0 + m + 1)):
                            seen[o, r, c] += v * acf[m + r - r0, m + c - c0]


@njit(cache=True)
def anneal(dots, x, table, pulse, fine, seen, acf, passes, hot, seed):
    np.random.seed(seed)
    height, width = dots.shape
    pitches = (4 * fine) // fine + 2
    one = np.zeros((x.shape[0], 2 * ROWS + 1, pitches))
    two = np.zeros((x.shape[0], 2 * ROWS + 1, pitches))
    gained = 0.0
    for n in range(passes):
        # From hot to cold, and the last tenth greedy.
        t = 0.0 if n >= 0.9 * passes else hot * 0.01 ** (n / (0.9 * passes))
        for _ in range(height * width):
            row, column = np.random.randint(height), np.random.randint(width)
            first = change(dots, x, table, pulse, fine, row, column, one)
            d = cost(one, first, row, seen, acf)
            if np.random.random() < 0.5:
                if d < 0 or (t > 0 and np.random.random() < np.exp(-d / t)):
                    make(dots, x, pulse, fine, row, column, one, first, seen, acf)
                    gained += d
                continue
            r, c = row + np.random.randint(-1, 2), column + np.random.randint(-fine, fine + 1)
            if r < 0 or r >= height or c < 0 or c >= width or dots[r, c] == dots[row, column]:
                continue
            make(dots, x, pulse, fine, row, column, one, first, seen, acf)
            second = change(dots, x, table, pulse, fine, r, c, two)
            d2 = cost(two, second, r, seen, acf)
            if d + d2 < 0 or (t > 0 and np.random.random() < np.exp(-(d + d2) / t)):
                make(dots, x, pulse, fine, r, c, two, second, seen, acf)
                gained += d + d2
            else:
                back = change(dots, x, table, pulse, fine, row, column, one)
                make(dots, x, pulse, fine, row, column, one, back, seen, acf)
    return gained


def exposures(dots, pulses, fine):
    return np.stack([exposure(dots, pulse, fine) for pulse in pulses])


def exposure(dots, pulse, fine):
    height, width = dots.shape
    reach = 2 * fine
    x = np.zeros((height + 2 * ROWS, OVER, width + 2 * reach, OVER))
    for r, c in zip(*np.nonzero(dots)):
        x[r:r + 2 * ROWS + 1, :, c:c + 2 * reach + 1] += pulse
    return np.ascontiguousarray(x[ROWS:-ROWS, :, reach:-reach])


def seen_error(dots, wanted, x, table, fine, acf):
    """The correlation of each machine's error with the eye's; the PSNR of the planned one and of the mean squared error."""
    marks = np.interp(x, np.linspace(0, MOST, TABLE + 1), table).mean((2, 4))
    errors = marks.reshape(*marks.shape[:2], -1, fine).mean(3) - wanted
    h, w = wanted.shape
    n = (h + acf.shape[0], w + acf.shape[1])
    m = acf.shape[0] // 2
    seen = [np.fft.irfft2(np.fft.rfft2(error, n) * np.fft.rfft2(acf, n), n)[m:m + h, m:m + w] for error in errors]
    squares = [(s * e).sum() / e.size for s, e in zip(seen, errors)]
    return np.ascontiguousarray(np.stack(seen)), -10 * np.log10(np.array([squares[0], np.mean(squares)]))


def found(wanted, fine, beam, unsure=(0, 0), screen="fitted"):
    program = os.environ.get("DOTWRIGHT_SCREENS", str(HERE.parents[1] / "target/release/examples/screen_dots"))
    tones = np.repeat(wanted, fine, axis=1).astype("<f4")
    words = [f"beam={beam * fine},{beam}", f"pitch={PITCH / fine},{PITCH}", f"switches={fine}"]
    if any(unsure):
        words.append(f"unsure={unsure[0]},{unsure[1]}")
    h, w = tones.shape
    bits = subprocess.run([program, screen, str(w), str(h)] + words, input=tones.tobytes(), capture_output=True, check=True).stdout
    return np.unpackbits(np.frombuffer(bits, np.uint8).reshape(h, -1), axis=1)[:, :w].astype(np.int64)


def gain(wanted, fine, beam, unsure, passes, hot, seed=1):
    """PSNR of the library's dots, as planned and to be expected, and after annealing on."""
    table = np.concatenate([[0.0], 1 / (1 + (X_HALF / (np.arange(1, TABLE + 1) * MOST / TABLE)) ** RISE)])
    machines = [(1, 1)]
    if any(unsure):
        machines += [(1 - unsure[0], 1), (1 + unsure[0], 1), (1, 1 - unsure[1]), (1, 1 + unsure[1])]
    pulses = np.stack([patch(b * beam, fine) * e for b, e in machines])
    acf = autocorrelation(eye())
    dots = found(wanted, fine, beam, unsure)
    x = exposures(dots, pulses, fine)
    seen, before = seen_error(dots, wanted, x, table, fine, acf)
    anneal(dots, x, table, pulses, fine, seen, acf, passes, hot * 10 ** (-before[0] / 10), seed)
    return before, seen_error(dots, wanted, exposures(dots, pulses, fine), table, fine, acf)[1]


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("photos", nargs="+")
    ask.add_argument("--passes", type=int, default=60)
    ask.add_argument("--side", type=int, default=64)
    ask.add_argument("--hot", type=float, default=0.3, help="temperature to begin with, times the squared error a pitch as planned")
    ask.add_argument("--only", type=int, nargs="*", help="numbers of the cases to try, from 0; all otherwise")
    a = ask.parse_args()
    for fine, beam, *unsure in [TRIED[i] for i in a.only] if a.only else TRIED:
        rows = []
        for photo in a.photos:
            p = np.asarray(Image.open(photo).convert("L")).astype(float) / 255
            linear = np.where(p <= 0.04045, p / 12.92, ((p + 0.055) / 1.055) ** 2.4)
            t, l = (linear.shape[0] - a.side) // 2, (linear.shape[1] - a.side) // 2
            rows.append(gain(linear[t:t + a.side, l:l + a.side], fine, beam, unsure, a.passes, a.hot))
        rows = np.array(rows)  # photo, before or after, planned or to be expected
        print(f"switched every 1/{fine}, beam {beam}, unsure by {unsure[0]:.0%} and {unsure[1]:.0%}: "
              + "; ".join(f"{what} " + "  ".join(f"{b:.1f} -> {e:.1f}" for b, e in rows[:, :, k]) + f" dB, mean gain {np.diff(rows[:, :, k]).mean():.2f} dB"
                          for k, what in enumerate(["planned", "to expect"]) if k == 0 or any(unsure)), flush=True)


if __name__ == "__main__":
    sys.exit(main())
