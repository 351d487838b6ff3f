"""Forward model of a wedge: what a burnt piece looks like, and what a phone makes of it.

Written apart from the Rust sources, from the model in the README alone: a Gaussian beam swept along each
dot, dose, Schwarzschild reciprocity, a rise and a char response; then a pinhole camera, lens blur, uneven
light, glare, photon and read-out noise, the sRGB curve and JPEG. Everything is seeded.

No real burn stands behind it: it proves that the reading finds what was put in, not that a coating behaves so.
"""
import math
import tomllib
from dataclasses import dataclass, field, replace
from pathlib import Path

import cv2
import numpy as np


@dataclass
class Truth:
    """What the machine and the coating truly do."""
    x_half: float = 2.2
    rise: float = 6.25
    x_char: float = 9.0
    char_rise: float = 8.0
    s: float = 0.8
    v0: float = 12.5
    y_unmarked: float = 0.03
    y_marked: float = 0.65
    y_char: float = 0.10
    beam_along: float = 0.12
    beam_across: float = 0.12
    grain: float = 0.03          # relative standard deviation of the sensitivity, correlated over 0.2 mm
    speckle: float = 0.01        # relative standard deviation of the looks, correlated over 0.1 mm
    lag_ms: float = 0.0          # the beam answers so much late: lines shift by v * lag along their direction


@dataclass
class Scene:
    """How the photo was taken."""
    size: tuple = (4000, 3000)
    fill: float = 0.80           # share of the photo's shorter side that the blank takes up
    tilt: float = 0.0            # degrees
    azimuth: float = 0.0         # degrees: direction of the tilt
    turn: float = 0.0            # degrees: how the piece lies before the camera
    shift: tuple = (0.0, 0.0)    # share of the photo's sides
    blur: float = 1.2            # px, standard deviation of the lens
    slope: tuple = (0.0, 0.0)    # change of the light over the photo's half side, relative
    bow: float = 0.0             # quadratic fall of the light towards the photo's corners, relative
    gain: float = 0.85           # linear light of the brightest look after exposure
    noise: float = 0.004         # read-out noise, linear light
    shot: float = 0.006          # photon noise at full light
    glare: list = field(default_factory=list)   # (x mm, y mm, radius mm, linear light)
    jpeg: int = 92
    white: tuple = ()            # (x mm, y mm, side mm, luminance) of a white card beside the piece
    background: float = 0.28
    k1: float = 0.0              # radial distortion of the lens at the photo's corner: below 0 a barrel, above a cushion
    tone: float = 0.0            # the phone's own S-curve on the coded value: slope 1 + tone in the middle, 1 - tone at the ends


def lightness(y):
    y = np.maximum(np.asarray(y, float), 0)
    return np.where(y > 216 / 24389, 116 * np.cbrt(y) - 16, y * 24389 / 27)


def number(text):
    return float(str(text).rstrip("%WJ/m2s"))


class Sheet:
    """wedge.toml and the dots beside it, as plain numbers."""

    def __init__(self, folder):
        folder = Path(folder)
        self.toml = tomllib.loads((folder / "wedge.toml").read_text())
        image = cv2.imread(str(folder / "dots.png"), cv2.IMREAD_GRAYSCALE)
        self.dots = image < 128
        t = self.toml
        self.mm = lambda key: float(t[key].removesuffix("mm"))
        self.pitch = (self.mm("pitch_along"), self.mm("pitch_across"))
        self.left, self.top = self.mm("left"), self.mm("top")
        shape = t["blank"].split(":")
        self.round = shape[0] == "round"
        if self.round:
            self.width = self.height = float(shape[1].removesuffix("mm"))
        else:
            self.width, self.height = map(float, shape[1].removesuffix("mm").split("x"))
        self.power = float(t["rated_power"].removesuffix("W"))
        self.patches = t.get("patch", [])
        self.combs = t.get("comb", [])
        self.marks = t["mark"]

    def dial(self, entry):
        """Power in W times passes, and speed in mm/s."""
        p = float(entry["power"].removesuffix("%")) / 100 * self.power * entry["passes"]
        return p, float(entry["speed"].removesuffix("mm/s"))

    def rect(self, patch):
        """Left, top, right, bottom in mm, y down from the blank's upper edge."""
        (x, y), (w, h) = patch["centre"], patch["size"]
        y = self.height - y
        return x - w / 2, y - h / 2, x + w / 2, y + h / 2


def exposure_of(sheet, truth, entry):
    power, v = sheet.dial(entry)
    return power / (v * sheet.pitch[1]) * (v / truth.v0) ** (1 - truth.s)


def look(truth, x):
    # By exp and log, which numpy does for many values at once; powers it takes one by one.
    x = np.log(np.maximum(x, 1e-9))
    r = 1 / (1 + np.exp(np.minimum(truth.rise * (math.log(truth.x_half) - x), 80)))
    q = 1 / (1 + np.exp(np.minimum(truth.char_rise * (math.log(truth.x_char) - x), 80)))
    y = truth.y_unmarked + r * (truth.y_marked - truth.y_unmarked)
    return y + q * (truth.y_char - y)


def smooth_noise(rng, shape, sigma_px, sigma_y=None):
    n = rng.standard_normal(shape, dtype=np.float32)
    if sigma_px > 0.3:
        n = cv2.GaussianBlur(n, (0, 0), sigma_px, sigmaY=sigma_y or sigma_px)
        n /= n.std()
    return n


def burn(sheet, truth, rng, over=3):
    """Luminance of the burnt piece on a grid of `over` samples a dot along the lines and at least five across;
    returns it with the size of a sample in mm.

    Five: between lines 0.084 mm apart a beam of 0.12 mm leaves a ripple of 16 %; under a rise of 7 a mean of
    two samples a line is off by up to 2.4 L*, of three by 0.38, of four by 0.06, of five by 0.012.
    """
    h, w = sheet.dots.shape
    down = max(over, 5)
    px, py = sheet.pitch
    dose = np.where(sheet.dots, np.float32(exposure_of(sheet, truth, sheet.toml["signs"])), np.float32(0))
    for p in sheet.patches:
        l, t, r, b = sheet.rect(p)
        c0, c1 = round((l - sheet.left) / px), round((r - sheet.left) / px)
        r0, r1 = round((t - sheet.top) / py), round((b - sheet.top) / py)
        dose[r0:r1, c0:c1] = np.where(sheet.dots[r0:r1, c0:c1], exposure_of(sheet, truth, p), 0)
    fine = np.zeros((h * down, w * over), np.float32)
    # Lines deposit along their centre; a dot is swept over its whole pitch.
    fine[down // 2::down] = np.repeat(dose, over, axis=1) * down
    for c in sheet.combs:
        _, v = sheet.dial(c)
        for key, sign in (("rows_right", 1), ("rows_left", -1)):
            lo, hi = c[key]
            r0 = round((sheet.height - hi - sheet.top) / py) * down
            r1 = round((sheet.height - lo - sheet.top) / py) * down
            step = px / over
            x0 = c["middle"] - (c["side"] + 0.5) * c["step_left"] - 1.0
            x1 = c["middle"] + (c["side"] + 0.5) * c["step_left"] + 1.0
            a, b = int((x0 - sheet.left) / step), int((x1 - sheet.left) / step)
            part = np.where(fine[r0:r1, a:b] > 0, np.float32(exposure_of(sheet, truth, c) * down), 0)
            move = np.float32([[1, 0, sign * v * truth.lag_ms / 1000 / step], [0, 1, 0]])
            fine[r0:r1, a:b] = cv2.warpAffine(part, move, (b - a, r1 - r0))
    step = (px / over, py / down)
    sx, sy = truth.beam_along / 4 / step[0], truth.beam_across / 4 / step[1]
    x = cv2.GaussianBlur(fine, (0, 0), sx, sigmaY=sy, borderType=cv2.BORDER_CONSTANT)
    if truth.grain > 0:
        x *= np.exp(truth.grain * smooth_noise(rng, x.shape, 0.2 / step[0], 0.2 / step[1]))
    y = look(truth, x)
    if truth.speckle > 0:
        y = y * (1 + truth.speckle * smooth_noise(rng, y.shape, 0.1 / step[0], 0.1 / step[1]))
    return np.clip(y, 0, 1).astype(np.float32), step


def true_means(sheet, piece, steps, inset=0.4):
    """Mean luminance of each patch inside its edges: 0.4 mm is six times the beam's standard deviation of 0.03 mm
    and more, and leaves out little of the grain that the patch has."""
    out = []
    for p in sheet.patches:
        l, t, r, b = sheet.rect(p)
        i = min(inset, 0.25 * min(r - l, b - t))
        x0, x1 = (l + i - sheet.left) / steps[0], (r - i - sheet.left) / steps[0]
        y0, y1 = (t + i - sheet.top) / steps[1], (b - i - sheet.top) / steps[1]
        core = piece[round(y0):round(y1), round(x0):round(x1)]
        if p["pattern"] == "solid":
            out.append(float(core.mean()))
        else:  # lines and dots need not fill the core a whole number of times
            wy, wx = np.hanning(core.shape[0] + 2)[1:-1], np.hanning(core.shape[1] + 2)[1:-1]
            out.append(float(wy @ core @ wx / wy.sum() / wx.sum()))
    return np.array(out)


def true_grain(sheet, piece, steps, aperture=0.4, inset=0.4):
    """Standard deviation of L* through a square aperture, patch by patch."""
    nx, ny = round(aperture / steps[0]), round(aperture / steps[1])
    out = []
    for p in sheet.patches:
        l, t, r, b = sheet.rect(p)
        i = min(inset, 0.25 * min(r - l, b - t))
        x0, x1 = (l + i - sheet.left) / steps[0], (r - i - sheet.left) / steps[0]
        y0, y1 = (t + i - sheet.top) / steps[1], (b - i - sheet.top) / steps[1]
        core = piece[round(y0):round(y1), round(x0):round(x1)]
        h, w = core.shape[0] // ny * ny, core.shape[1] // nx * nx
        cells = core[:h, :w].reshape(h // ny, ny, w // nx, nx).mean(axis=(1, 3))
        out.append(float(lightness(cells).std()))
    return np.array(out)


def camera(sheet, scene):
    """Homography from mm (y down, from the blank's upper left corner) to photo pixels: a pinhole 4 blanks away."""
    w, h = scene.size
    size = max(sheet.width, sheet.height)
    distance = 3.5 * size
    a, t, z = np.radians([scene.azimuth, scene.tilt, scene.turn])
    about = lambda c, s: np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]])
    turn, side = about(np.cos(z), np.sin(z)), about(np.cos(a), np.sin(a))
    lean = np.array([[1, 0, 0], [0, np.cos(t), -np.sin(t)], [0, np.sin(t), np.cos(t)]])
    rot = side @ lean @ side.T @ turn
    focal = scene.fill * min(w, h) / size * distance
    k = np.array([[focal, 0, w * (0.5 + scene.shift[0])], [0, focal, h * (0.5 + scene.shift[1])], [0, 0, 1.0]])
    plane = np.column_stack([rot[:, 0], rot[:, 1], [0, 0, distance]])
    centre = np.array([[1, 0, -sheet.width / 2], [0, 1, -sheet.height / 2], [0, 0, 1.0]])
    m = k @ plane @ centre
    return m / m[2, 2]


def bend(scene, x, y, back=False):
    """Where the lens puts a pixel of the pinhole, or with `back` where the pinhole had it: p (1 + k1 r²), with r
    from the photo's middle in half diagonals (Brown 1966, first term)."""
    w, h = scene.size
    cx, cy, half = (w - 1) / 2, (h - 1) / 2, np.hypot(w, h) / 2
    u, v = (x - cx) / half, (y - cy) / half
    if not back:
        f = 1 + scene.k1 * (u * u + v * v)
        return cx + half * u * f, cy + half * v * f
    a, b = u, v
    for _ in range(8):
        f = 1 + scene.k1 * (a * a + b * b)
        a, b = u / f, v / f
    return cx + half * a, cy + half * b


def seen_at(scene, hom, x, y):
    """The photo's pixel that shows a place of the piece, mm."""
    p = hom @ [x, y, 1.0]
    return bend(scene, p[0] / p[2], p[1] / p[2])


def photograph(sheet, piece, steps, truth, scene, rng):
    """An 8-bit BGR photo and the true homography (mm to pixels)."""
    w, h = scene.size
    hom = camera(sheet, scene)
    # The piece on its blank on a bench.
    pad = 12.0
    nx = int((sheet.width + 2 * pad) / steps[0])
    ny = int((sheet.height + 2 * pad) / steps[1])
    bench = scene.background * (1 + 0.12 * smooth_noise(rng, (ny // 8, nx // 8), 6))
    table = cv2.resize(bench.astype(np.float32), (nx, ny), interpolation=cv2.INTER_LINEAR)
    x0, y0 = pad / steps[0], pad / steps[1]
    mask = np.zeros((ny, nx), np.uint8)
    if sheet.round:
        c = ((x0 + sheet.width / 2 / steps[0]), (y0 + sheet.height / 2 / steps[1]))
        cv2.ellipse(mask, (round(c[0]), round(c[1])), (round(sheet.width / 2 / steps[0]), round(sheet.height / 2 / steps[1])), 0, 0, 360, 1, -1)
    else:
        mask[round(y0):round(y0 + sheet.height / steps[1]), round(x0):round(x0 + sheet.width / steps[0])] = 1
    table[mask > 0] = truth.y_unmarked
    l, t = round(x0 + sheet.left / steps[0]), round(y0 + sheet.top / steps[1])
    inside = table[t:t + piece.shape[0], l:l + piece.shape[1]]
    np.copyto(inside, piece, where=mask[t:t + piece.shape[0], l:l + piece.shape[1]] > 0)
    # Where the first sample truly lies, after rounding to whole samples.
    ox, oy = sheet.left - l * steps[0], sheet.top - t * steps[1]
    if scene.white:
        wx, wy, side, lum = scene.white
        a, b = int((wx - side / 2 - ox) / steps[0]), int((wx + side / 2 - ox) / steps[0])
        c, d = int((wy - side / 2 - oy) / steps[1]), int((wy + side / 2 - oy) / steps[1])
        table[max(c, 0):d, max(a, 0):b] = lum
    to_mm = np.array([[steps[0], 0, ox + steps[0] / 2], [0, steps[1], oy + steps[1] / 2], [0, 0, 1.0]])
    m = hom @ to_mm
    # A photo's pixel gathers the light of all samples under it.
    samples = [1 / (np.hypot(*m[:2, i]) + 1e-12) for i in (0, 1)]
    if max(samples) > 1:
        table = cv2.GaussianBlur(table, (0, 0), 0.5 * samples[0], sigmaY=0.5 * samples[1])
    if scene.k1:
        x, y = bend(scene, *np.meshgrid(np.arange(w, dtype=np.float64), np.arange(h, dtype=np.float64)), back=True)
        inv = np.linalg.inv(m)
        q = [(inv[i, 0] * x + inv[i, 1] * y + inv[i, 2]) for i in range(3)]
        photo = cv2.remap(table, (q[0] / q[2]).astype(np.float32), (q[1] / q[2]).astype(np.float32), cv2.INTER_LINEAR,
                          borderMode=cv2.BORDER_CONSTANT, borderValue=scene.background)
    else:
        photo = cv2.warpPerspective(table, m, (w, h), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=scene.background)
    if scene.blur > 0.1:
        photo = cv2.GaussianBlur(photo, (0, 0), scene.blur)
    u = (np.arange(w, dtype=np.float32) - w / 2) / (w / 2)
    v = (np.arange(h, dtype=np.float32) - h / 2) / (w / 2)
    light = (1 + scene.slope[0] * u[None, :] + scene.slope[1] * v[:, None]
             - scene.bow * (u[None, :] ** 2 + v[:, None] ** 2))
    brightest = max(truth.y_unmarked, truth.y_marked)
    photo = photo * light * np.float32(scene.gain / brightest / max(1.0, 1 + abs(scene.slope[0]) * 0.6 + abs(scene.slope[1]) * 0.6))
    for gx, gy, radius, power in scene.glare:
        p = hom @ [gx, gy, 1.0]
        q = hom @ [gx + radius, gy, 1.0]
        cx, cy = p[:2] / p[2]
        s = np.hypot(*(q[:2] / q[2] - p[:2] / p[2]))
        d2 = ((np.arange(w) - cx)[None, :] ** 2 + (np.arange(h) - cy)[:, None] ** 2) / s ** 2
        photo = photo + np.float32(power) * np.exp(-d2 / 2).astype(np.float32)
    sigma = np.sqrt(scene.noise ** 2 + scene.shot ** 2 * np.maximum(photo, 0))
    out = np.empty((h, w, 3), np.uint8)
    tint = (0.97, 1.0, 0.99)  # blue, green, red
    for ch in range(3):
        lin = photo * tint[ch] + sigma * rng.standard_normal(photo.shape, dtype=np.float32)
        lin = np.clip(lin, 0, 1)
        srgb = np.where(lin <= 0.0031308, 12.92 * lin, 1.055 * np.power(lin, 1 / 2.4) - 0.055)
        if scene.tone:
            srgb = srgb - np.float32(scene.tone / (2 * np.pi)) * np.sin(np.float32(2 * np.pi) * srgb)
        out[..., ch] = np.round(255 * srgb)
    return out, hom


def save(photo, path, quality):
    cv2.imwrite(str(path), photo, [cv2.IMWRITE_JPEG_QUALITY, quality])


def random_truth(rng, lighter=True):
    """A coating and machine a reader cannot know beforehand."""
    t = Truth(
        x_half=float(rng.uniform(1.6, 3.0)), rise=float(rng.uniform(4.5, 8)),
        s=float(rng.uniform(0.65, 0.95)), char_rise=float(rng.uniform(6, 10)),
        grain=float(rng.uniform(0.01, 0.05)), speckle=float(rng.uniform(0.005, 0.02)))
    t = replace(t, x_char=t.x_half * float(rng.uniform(3.2, 4.8)))
    if lighter:
        return replace(t, y_marked=float(rng.uniform(0.5, 0.75)))
    return replace(t, y_unmarked=float(rng.uniform(0.55, 0.8)), y_marked=float(rng.uniform(0.04, 0.10)), y_char=0.02)


def random_scene(rng, size=(4000, 3000), glare=True):
    s = Scene(
        size=size, fill=float(rng.uniform(0.6, 0.8)), tilt=float(rng.uniform(0, 25)),
        azimuth=float(rng.uniform(0, 360)), turn=float(rng.choice([0, 90, 180, 270]) + rng.uniform(-12, 12)),
        shift=tuple(float(v) for v in rng.uniform(-0.03, 0.03, 2)),
        blur=float(rng.uniform(0.7, 2.2)) * min(size) / 3000,
        slope=tuple(float(v) for v in rng.uniform(-0.25, 0.25, 2)), bow=float(rng.uniform(0, 0.25)),
        gain=float(rng.uniform(0.6, 0.85)), noise=float(rng.uniform(0.002, 0.006)),
        shot=float(rng.uniform(0.004, 0.012)), jpeg=int(rng.integers(85, 97)))
    if glare and rng.random() < 0.3:
        s.glare = [(float(rng.uniform(10, 80)), float(rng.uniform(10, 80)), float(rng.uniform(2, 6)), float(rng.uniform(0.02, 0.5)))]
    return s
