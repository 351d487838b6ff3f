"""What a scan program leaves on a coated piece: a machine and a coating of known truth, written apart from the library.

It starts from the program alone. Its own reader takes RS-274 words (Kramer, Proctor and Messina, The NIST RS274NGC
Interpreter, 2000: modal groups, comments in parentheses and after a semicolon) with S as power, M3 or M4 on and M5 off,
which is controller practice and in no standard. Every G1 with power lays its energy along its path, the beam answers
some time late, a Gaussian beam spreads it over a raster of 0.02 mm, and the coating answers:

    X = sum over moves of P/v (v/v0)^(1-s), spread by the beam      J/mm2, Schwarzschild's exponent s
    r = 1/(1 + (x_half/X)^rise),  q = 1/(1 + (x_char/X)^char_rise)
    Y = unmarked + r (marked - unmarked), then towards charred by q   relative luminance

The library sums dots with tables of bits in units of a pitch; here nothing knows a dot or a pitch. Axes: x to the right and y up in mm in
machine coordinates; row 0 of a raster is the greatest y.

No real burn stands behind it: it proves that what was put in is found again, not that a coating behaves so.
"""
import re
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from scipy import sparse

STEP = 0.02  # mm a sample


# ---- the machine and the coating ---------------------------------------------------------------------------------------

@dataclass
class Truth:
    """What the machine and the coating truly do."""
    watts: float = 5.0             # at full scale
    beam_along: float = 0.12       # 1/e2 diameters, mm, along the move and across it
    beam_across: float = 0.12
    lag_ms: float = 0.0            # so much later than it is told does the beam switch
    power_curve: float = 1.0       # light = (S / full scale) ^ power_curve
    speed_off: float = 0.0         # the head goes so much faster than it is told, relative
    speed_most: float = 0.0        # firmware's limit, mm/s; 0: none
    power_most: float = 0.0        # firmware's limit, share of full scale; 0: none
    unmarked: float = 0.03
    marked: float = 0.65
    charred: float = 0.10
    x_half: float = 2.2            # J/mm2
    rise: float = 6.25
    x_char: float = 9.0
    char_rise: float = 8.0
    s: float = 0.8
    v0: float = 12.5               # mm/s
    grain: float = 0.02            # sensitivity: relative standard deviation, correlated over 0.2 mm
    speckle: float = 0.01          # look: the same over 0.1 mm
    streaks: float = 0.0           # brush streaks: relative standard deviation of the sensitivity, a few mm wide, long
    streak_angle: float = 90.0     # degrees from the x axis along which the brush went
    thicker: float = 0.0           # the coating needs so much more on one edge of the piece than in its middle, relative, and less on the other
    thicker_to: float = 0.0        # degrees: the direction in which it grows
    pinholes: int = 0              # holes in the coating, 0.1 to 0.6 mm: nothing to mark there

    def rise_at(self, x):
        return 1 / (1 + (self.x_half / np.maximum(x, 1e-9)) ** self.rise)

    def char_at(self, x):
        return 1 / (1 + (self.x_char / np.maximum(x, 1e-9)) ** self.char_rise)

    def look(self, x):
        y = self.unmarked + self.rise_at(x) * (self.marked - self.unmarked)
        return y + self.char_at(x) * (self.charred - y)

    def mark(self, y):
        """Mark fraction of a luminance (Murray-Davies)."""
        return (y - self.unmarked) / (self.marked - self.unmarked)

    def as_told(self):
        """The truth as it looks to one who believes the speeds of the program: an even error of speed is one of exposure."""
        return replace(self, x_half=self.x_half * (1 + self.speed_off) ** self.s,
                       x_char=self.x_char * (1 + self.speed_off) ** self.s, speed_off=0.0)


def lightness(y):
    """CIE L* of a relative luminance."""
    y = np.maximum(np.asarray(y, float), 0)
    return np.where(y > 216 / 24389, 116 * np.cbrt(y) - 16, y * 24389 / 27)


def luminance(l):
    l = np.asarray(l, float)
    return np.where(l > 8, ((l + 16) / 116) ** 3, l * 27 / 24389)


# ---- the reader of programs --------------------------------------------------------------------------------------------

WORD = re.compile(r"([A-Z])\s*([-+]?(?:\d+\.?\d*|\.\d+))")


@dataclass
class Moves:
    """Straight moves that had the beam on, one a row, in mm and mm/s; and how long all moves take without ramps."""
    x0: np.ndarray
    y0: np.ndarray
    x1: np.ndarray
    y1: np.ndarray
    speed: np.ndarray
    power: np.ndarray      # share of full scale
    scaled: np.ndarray     # M4: the controller scales power with speed, so a slower head does not burn deeper
    seconds: float

    def __len__(self):
        return len(self.x0)


def read_program(text, full_scale=1000.0, rapid=100.0):
    """Moves with the beam on. What it does not know is an error, not a guess. Rapids go at `rapid` mm/s."""
    x = y = 0.0
    motion, absolute, scale, feed, s, on = 0, True, 1.0, None, 0.0, 0
    rows, seconds, offset = [], 0.0, np.zeros(2)
    for number, line in enumerate(text.splitlines(), 1):
        line = re.sub(r"\([^)]*\)", "", line).split(";")[0].strip().upper()
        if not line or line == "%":
            continue
        words = WORD.findall(line)
        if "".join(a + b for a, b in words) != re.sub(r"\s", "", line):
            raise ValueError(f"line {number}: cannot read {line!r}")
        to, dwell = {}, False
        for letter, value in words:
            v = float(value)
            if letter == "G":
                if v in (0, 1):
                    motion = int(v)
                elif v in (20, 21):
                    scale = 25.4 if v == 20 else 1.0
                elif v in (90, 91):
                    absolute = v == 90
                elif v == 4:
                    dwell = True
                elif v == 92:
                    raise ValueError(f"line {number}: offsets (G92) are not followed")
                elif v not in (17, 40, 49, 54, 61, 64, 80, 94, 91.1):
                    raise ValueError(f"line {number}: G{value} is not known")
            elif letter == "M":
                if v in (3, 4, 5):
                    on = int(v) if v != 5 else 0
                elif v not in (0, 2, 7, 8, 9, 30):
                    raise ValueError(f"line {number}: M{value} is not known")
            elif letter == "F":
                feed = v * scale / 60
            elif letter == "S":
                s = v
            elif letter in "XY":
                to[letter] = v * scale
            elif letter == "P" and dwell:
                seconds += v
            elif letter not in "ZNT":
                raise ValueError(f"line {number}: {letter}{value} is not known")
        if to and not dwell:
            nx = to.get("X", x if absolute else 0.0) + (0 if absolute else x)
            ny = to.get("Y", y if absolute else 0.0) + (0 if absolute else y)
            length = float(np.hypot(nx - x, ny - y))
            if motion == 1:
                if feed is None:
                    raise ValueError(f"line {number}: G1 before any F")
                seconds += length / feed
                if on and s > 0 and length > 0:
                    rows.append((x, y, nx, ny, feed, min(s / full_scale, 1.0), on == 4))
            else:
                if on == 3 and s > 0 and length > 0:
                    raise ValueError(f"line {number}: a rapid with the beam on")
                seconds += length / rapid
            x, y = nx, ny
    table = np.array(rows, float).reshape(-1, 7)
    return Moves(*table[:, :6].T, table[:, 6] > 0, seconds)


# ---- the burn ----------------------------------------------------------------------------------------------------------

@dataclass
class Raster:
    """A plane over the piece: `plane[i, j]` is at x = left + (j + 1/2) step, y = top - (i + 1/2) step."""
    plane: np.ndarray
    left: float
    top: float
    step: float = STEP

    def window(self, x0, y0, x1, y1):
        """The samples in a rectangle of machine coordinates (y up)."""
        j0, j1 = round((x0 - self.left) / self.step), round((x1 - self.left) / self.step)
        i0, i1 = round((self.top - y1) / self.step), round((self.top - y0) / self.step)
        return self.plane[max(i0, 0):max(i1, 0), max(j0, 0):max(j1, 0)]


def gaussian_taps(sigma, step, added=1 / 12):
    """Weights of a Gaussian for cells of `step`, less the variance that laying energy into cells has added already: a twelfth
    of a squared cell for exact shares, a sixth for shares between the nearest two."""
    s = np.sqrt(max(sigma ** 2 - added * step ** 2, (0.3 * step) ** 2)) / step
    n = int(np.ceil(4.5 * s))
    t = np.exp(-np.arange(-n, n + 1) ** 2 / (2 * s * s))
    return (t / t.sum()).astype(np.float32)


def exposure(moves, truth, box, step=STEP):
    """Effective exposure, J/mm2, over box = (x0, y0, x1, y1) mm as a Raster."""
    x0, y0, x1, y1 = box
    w, h = round((x1 - x0) / step), round((y1 - y0) / step)
    v = moves.speed * (1 + truth.speed_off)
    told = v.copy()
    if truth.speed_most:
        v = np.minimum(v, truth.speed_most)
    power = np.minimum(moves.power, truth.power_most) if truth.power_most else moves.power
    power = np.where(moves.scaled, power * v / told, power)
    energy = truth.watts * power ** truth.power_curve / v * (v / truth.v0) ** (1 - truth.s)   # J/mm of line
    length = np.hypot(moves.x1 - moves.x0, moves.y1 - moves.y0)
    late = v * truth.lag_ms / 1000
    ux, uy = (moves.x1 - moves.x0) / length, (moves.y1 - moves.y0) / length
    ax, ay = moves.x0 + ux * late - x0, y1 - (moves.y0 + uy * late)      # from the raster's upper left corner, y down
    bx, by = moves.x1 + ux * late - x0, y1 - (moves.y1 + uy * late)
    level, upright = np.abs(uy) < 1e-9, np.abs(ux) < 1e-9
    total = np.zeros((h, w), np.float32)
    if level.any():
        total += _lines(ax[level], bx[level], ay[level], energy[level], w, h, truth, step)
    if upright.any():
        total += _lines(ay[upright], by[upright], ax[upright], energy[upright], h, w, truth, step).T
    slanting = ~(level | upright)
    if slanting.any():
        total += _slanting(ax[slanting], ay[slanting], bx[slanting], by[slanting], energy[slanting], w, h, truth, step)
    return Raster(total, x0, y1, step)


def _lines(a, b, at, energy, w, h, truth, step):
    """Lines from a to b on rows at `at`, all in mm; exact shares of cells along, the beam's density across."""
    lo, hi = np.minimum(a, b) / step, np.maximum(a, b) / step
    rows, row = np.unique(np.round(at, 4), return_inverse=True)
    # A run adds a step up where it begins and one down where it ends, each shared between the two cells it lies in:
    # their running sum is the length of the run in each cell.
    change = np.zeros((len(rows), w + 3), np.float32)
    for edge, sign in ((lo, 1.0), (hi, -1.0)):
        edge = np.clip(edge, 0, w)
        cell = np.floor(edge).astype(int)
        part = edge - cell
        np.add.at(change, (row, cell), sign * energy * (1 - part))
        np.add.at(change, (row, cell + 1), sign * energy * part)
    lines = np.cumsum(change, axis=1, dtype=np.float32)[:, :w]
    taps = gaussian_taps(truth.beam_along / 4, step)
    lines = cv2.sepFilter2D(np.ascontiguousarray(lines), -1, taps, np.ones(1, np.float32), borderType=cv2.BORDER_CONSTANT)
    s = truth.beam_across / 4
    n = int(np.ceil(4.5 * s / step))
    first = np.floor(rows / step).astype(int)
    index = first[:, None] + np.arange(-n, n + 1)[None, :]
    away = (index + 0.5) * step - rows[:, None]
    weight = np.exp(-away ** 2 / (2 * s * s)) / (np.sqrt(2 * np.pi) * s)
    inside = (index >= 0) & (index < h)
    which = np.broadcast_to(np.arange(len(rows))[:, None], index.shape)
    spread = sparse.csr_matrix((weight[inside].astype(np.float32), (index[inside], which[inside])), shape=(h, len(rows)))
    return spread @ lines


def _slanting(ax, ay, bx, by, energy, w, h, truth, step):
    """Moves at an angle: points every quarter of a step, shared between four cells. Round beams only."""
    if abs(truth.beam_along - truth.beam_across) > 1e-9:
        raise ValueError("slanting moves are followed for round beams only")
    out = np.zeros((h + 2, w + 2), np.float64)
    for x0, y0, x1, y1, e in zip(ax, ay, bx, by, energy):
        length = np.hypot(x1 - x0, y1 - y0)
        n = max(int(np.ceil(4 * length / step)), 1)
        t = (np.arange(n) + 0.5) / n
        x, y = (x0 + t * (x1 - x0)) / step - 0.5, (y0 + t * (y1 - y0)) / step - 0.5
        keep = (x > -1) & (y > -1) & (x < w) & (y < h)
        x, y = x[keep], y[keep]
        i, j = np.floor(y).astype(int), np.floor(x).astype(int)
        fy, fx = y - i, x - j
        share = e * length / n / step ** 2
        for di, dj, part in ((0, 0, (1 - fy) * (1 - fx)), (0, 1, (1 - fy) * fx), (1, 0, fy * (1 - fx)), (1, 1, fy * fx)):
            np.add.at(out, (i + di + 1, j + dj + 1), share * part)
    taps = gaussian_taps(truth.beam_along / 4, step, 1 / 6)
    return cv2.sepFilter2D(out[1:-1, 1:-1].astype(np.float32), -1, taps, taps, borderType=cv2.BORDER_CONSTANT)


# ---- the coating -------------------------------------------------------------------------------------------------------

def noise(rng, shape, width, step):
    """Noise of mean 0 and deviation 1, correlated over `width` mm; made on a coarser grid where that is enough."""
    coarse = max(int(width / step / 2.5), 1)
    small = (-(-shape[0] // coarse) + 2, -(-shape[1] // coarse) + 2)
    n = rng.standard_normal(small, dtype=np.float32)
    n = cv2.GaussianBlur(n, (0, 0), max(width / step / coarse, 0.3))
    if coarse > 1:
        n = cv2.resize(n, (small[1] * coarse, small[0] * coarse), interpolation=cv2.INTER_LINEAR)[:shape[0], :shape[1]]
    else:
        n = n[:shape[0], :shape[1]]
    return (n - n.mean()) / n.std()


def sensitivity(truth, raster, rng):
    """How much more than the mean each place takes of the exposure, about 1; None where the coating is even."""
    h, w = raster.plane.shape
    log = None
    if truth.grain > 0:
        log = truth.grain * noise(rng, (h, w), 0.2, raster.step)
    if truth.streaks > 0:
        # Brush streaks: noise over 1.5 mm across the brush's way and 40 mm along it, on a grid of 0.25 mm, turned.
        side = int(np.hypot(h, w) * raster.step / 0.25) + 8
        s = rng.standard_normal((side, side), dtype=np.float32)
        s = cv2.GaussianBlur(s, (0, 0), 160, sigmaY=4, borderType=cv2.BORDER_REFLECT)
        s = (s - s.mean()) / s.std()
        k = raster.step / 0.25
        m = cv2.getRotationMatrix2D((side / 2, side / 2), truth.streak_angle, 1.0)
        # from this raster's samples to the streaks' grid
        place = np.vstack([m, [0, 0, 1]]) @ np.array([[k, 0, (side - w * k) / 2], [0, k, (side - h * k) / 2], [0, 0, 1]])
        s = cv2.warpAffine(s, place[:2], (w, h), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REFLECT)
        log = truth.streaks * s if log is None else log + truth.streaks * s
    if truth.thicker:
        u = np.linspace(-1, 1, w, dtype=np.float32)[None, :] * np.cos(np.radians(truth.thicker_to))
        v = np.linspace(1, -1, h, dtype=np.float32)[:, None] * np.sin(np.radians(truth.thicker_to))
        slope = -np.log1p(np.float32(truth.thicker) * (u + v))
        log = slope if log is None else log + slope
    return log


def burnt(moves, truth, box, rng, step=STEP):
    """The piece after cleaning: luminance and exposure as Rasters."""
    dose = exposure(moves, truth, box, step)
    x = dose.plane
    log = sensitivity(truth, dose, rng)
    lx = cv2.log(np.maximum(x, np.float32(1e-6)))
    if log is not None:
        lx += log
    del log
    holes(truth, dose, lx, rng)
    r = 1 / (1 + cv2.exp(np.clip(truth.rise * (np.float32(np.log(truth.x_half)) - lx), -40, 40).astype(np.float32)))
    y = truth.unmarked + r * np.float32(truth.marked - truth.unmarked)
    if np.isfinite(truth.x_char):
        q = 1 / (1 + cv2.exp(np.clip(truth.char_rise * (np.float32(np.log(truth.x_char)) - lx), -40, 40).astype(np.float32)))
        y += q * (np.float32(truth.charred) - y)
    if truth.speckle > 0:
        y *= 1 + np.float32(truth.speckle) * noise(rng, y.shape, 0.1, step)
    return Raster(np.clip(y, 0, 1, out=y), box[0], box[3], step), dose


def holes(truth, raster, plane, rng):
    """Where the coating has pinholes there is nothing that the beam could mark: no exposure counts there."""
    h, w = plane.shape
    for _ in range(truth.pinholes):
        j, i = int(rng.integers(0, w)), int(rng.integers(0, h))
        radius = max(int(rng.uniform(0.05, 0.3) / raster.step), 1)
        cv2.circle(plane, (j, i), radius, -14.0, -1)


def burn_file(path, truth, box, rng, step=STEP, full_scale=1000.0):
    """Burns the program of a file: luminance and exposure as Rasters."""
    return burnt(read_program(Path(path).read_text(), full_scale), truth, box, rng, step)
