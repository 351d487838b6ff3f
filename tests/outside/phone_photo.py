"""A phone's photo of a burnt piece, with the truth behind it.

Takes the luminance of burn_model.py, lays it on a bench among clutter, and photographs it: a pinhole camera at arm's
length, a lens that bends, light that falls off, the edge of a shadow, a veil of reflected light, blur and defocus,
colour cast, noise, the phone's own tone curve and sharpening, JPEG. Everything is seeded.

`Shot` holds what was done; `draw_shot` draws one at random, with the named conditions in it; `doubtful` says whether a
fair reader should say that it does not trust the photo, and why.
"""
from dataclasses import dataclass, field

import cv2
import numpy as np


@dataclass
class Shot:
    """How the photo was taken."""
    size: tuple = (2000, 1500)
    fill: float = 0.78             # share of the shorter side that the piece's longer side takes up
    tilt: float = 0.0              # degrees from straight above
    azimuth: float = 0.0           # degrees: where the camera leans to
    turn: float = 0.0              # degrees: how the piece lies
    shift: tuple = (0.0, 0.0)      # share of the photo's sides
    mirrored: bool = False
    k1: float = 0.0                # radial distortion at the photo's corner
    blur: float = 0.9              # px, standard deviation of the lens, for 3 megapixels; scales with the size
    defocus: float = 0.0           # px, radius of an even disc, likewise
    slope: tuple = (0.0, 0.0)      # light over half the photo's width, relative
    bow: float = 0.1               # fall of the light towards the corners, relative
    shadows: list = field(default_factory=list)   # (angle degrees, distance from the middle mm, softness mm, light left)
    veils: list = field(default_factory=list)     # (x mm, y mm, radius mm, light), relative to the exposure of white; radius 0: everywhere
    white_at: float = 0.75         # coded light of luminance 0.65 (or of the bare piece, where that is lighter) under full light
    cast: tuple = (1.0, 1.0, 1.0)  # blue, green, red
    tone: float = 0.0              # the phone's S-curve: slope 1 + tone in the middle of the coded values, 1 - tone at the ends
    sharpen: float = 0.0           # unsharp mask of 1.5 px, amount
    noise: float = 0.004
    shot: float = 0.008
    jpeg: int = 90
    bench: str = "wood"            # wood, cloth or grey
    clutter: int = 0               # other coasters, rules and pens beside the piece
    covered: tuple = ()            # (x0, y0, x1, y1) mm: a sheet of paper over the piece
    card: tuple = ()               # (x, y, side) mm and luminance of a white card on the bench
    seed: int = 0


# ---- geometry ----------------------------------------------------------------------------------------------------------

class Lens:
    """From mm on the piece (y up, machine coordinates) to pixels of the photo."""

    def __init__(self, width, height, shot):
        w, h = shot.size
        self.size, self.k1 = (w, h), shot.k1
        side = max(width, height)
        far = 3.2 * side
        lean, way, lies = np.radians([shot.tilt, shot.azimuth, shot.turn])
        spin = lambda a: np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1.0]])
        tip = np.array([[1, 0, 0], [0, np.cos(lean), -np.sin(lean)], [0, np.sin(lean), np.cos(lean)]])
        flip = np.diag([-1.0 if shot.mirrored else 1.0, -1.0, 1.0])    # y up on the piece, down in the photo
        r = spin(way) @ tip @ spin(-way) @ spin(lies) @ flip
        centre = np.array([width / 2, height / 2])
        focal = shot.fill * min(w, h) / side * far
        k = np.array([[focal, 0, w * (0.5 + shot.shift[0])], [0, focal, h * (0.5 + shot.shift[1])], [0, 0, 1.0]])
        self.plane = k @ np.column_stack([r[:, 0], r[:, 1], r[:, :2] @ -centre + [0, 0, far]])
        self.back = np.linalg.inv(self.plane)

    def project(self, x, y):
        p = self.plane @ np.array([np.asarray(x, float), np.asarray(y, float), np.ones_like(np.asarray(x, float))])
        return self.bend(p[0] / p[2], p[1] / p[2])

    def bend(self, u, v):
        """Brown 1966, first radial term, from the photo's middle in half diagonals."""
        w, h = self.size
        cx, cy, half = (w - 1) / 2, (h - 1) / 2, np.hypot(w, h) / 2
        a, b = (u - cx) / half, (v - cy) / half
        f = 1 + self.k1 * (a * a + b * b)
        return cx + half * a * f, cy + half * b * f

    def straight(self, u, v):
        w, h = self.size
        cx, cy, half = (w - 1) / 2, (h - 1) / 2, np.hypot(w, h) / 2
        a, b = (u - cx) / half, (v - cy) / half
        r2 = a * a + b * b
        f = 1 + self.k1 * r2
        for _ in range(6):
            f = 1 + self.k1 * r2 / (f * f)
        return cx + half * a / f, cy + half * b / f

    def grid(self):
        """Where on the piece each pixel looks, mm: two planes."""
        w, h = self.size
        # The map is smooth: every eighth pixel, and between them linear, is within 0.01 px.
        u, v = np.meshgrid(np.arange(0, w + 8, 8, dtype=np.float64), np.arange(0, h + 8, 8, dtype=np.float64))
        u, v = self.straight(u, v) if self.k1 else (u, v)
        q = [self.back[i, 0] * u + self.back[i, 1] * v + self.back[i, 2] for i in range(3)]
        out = []
        for plane in (q[0] / q[2], q[1] / q[2]):
            fine = np.array([[1 / 8, 0, 0], [0, 1 / 8, 0]])
            out.append(cv2.warpAffine(plane.astype(np.float32), fine, (w, h), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
                                      borderMode=cv2.BORDER_REPLICATE))
        return out


# ---- what lies on the bench --------------------------------------------------------------------------------------------

BENCH_STEP = 0.25  # mm


def soft(rng, shape, sx, sy):
    n = cv2.GaussianBlur(rng.standard_normal(shape, dtype=np.float32), (0, 0), sx, sigmaY=sy)
    return (n - n.mean()) / n.std()


def bench(shot, width, height, rng):
    """The bench around the piece, blue, green, red in linear light; the piece's lower left corner lies at `origin` mm."""
    side = 2.6 * max(width, height)
    n = int(side / BENCH_STEP)
    tint = {"wood": (0.13, 0.24, 0.38), "cloth": (0.22, 0.20, 0.20), "grey": (0.28, 0.28, 0.28)}[shot.bench]
    if shot.bench == "wood":
        grain = soft(rng, (n, n), 60, 1.6) + 0.6 * soft(rng, (n, n), 120, 5)
        rows = np.arange(n) * BENCH_STEP
        boards = np.where(np.abs((rows + 17) % 70) < 0.8, -2.5, 0)[:, None]
        plane = np.exp(0.16 * grain + 0.5 * boards)
    elif shot.bench == "cloth":
        a = np.arange(n)
        plane = 1 + 0.15 * np.sin(a / 1.9)[:, None] * np.sin(a / 1.9)[None, :] + 0.05 * soft(rng, (n, n), 4, 4)
    else:
        plane = 1 + 0.05 * soft(rng, (n, n), 20, 20)
    table = np.clip(plane[..., None].astype(np.float32) * np.array(tint, np.float32), 0, 1)
    origin = np.array([side / 2 - width / 2, side / 2 - height / 2])
    px = lambda mm: int(round(mm / BENCH_STEP))
    for _ in range(shot.clutter):
        way, kind = rng.uniform(0, 2 * np.pi), rng.integers(0, 4)
        out = 0.62 * max(width, height) + rng.uniform(20, 45)
        x, y = side / 2 + out * np.cos(way), side / 2 + out * np.sin(way)
        if kind == 0:      # another coaster, dark, with a light pattern
            cv2.circle(table, (px(x), px(y)), px(rng.uniform(22, 40)), (0.03, 0.03, 0.03), -1, cv2.LINE_AA)
            for _ in range(int(rng.integers(2, 7))):
                cx, cy = x + rng.uniform(-14, 14), y + rng.uniform(-14, 14)
                cv2.circle(table, (px(cx), px(cy)), px(rng.uniform(2, 4)), (0.6, 0.6, 0.6), int(rng.choice([-1, 3])), cv2.LINE_AA)
        elif kind == 1:    # a square one with squares
            s = px(rng.uniform(20, 35))
            cv2.rectangle(table, (px(x) - s, px(y) - s), (px(x) + s, px(y) + s), (0.04, 0.035, 0.03), -1)
            for k in range(3):
                cv2.rectangle(table, (px(x) - s // 2 + k * s // 3, px(y) - s // 4), (px(x) - s // 2 + k * s // 3 + s // 4, px(y) + s // 4),
                              (0.5, 0.55, 0.55), -1)
        elif kind == 2:    # a steel rule
            c, d = np.cos(way + 1.3), np.sin(way + 1.3)
            a, b = (px(x - 70 * c), px(y - 70 * d)), (px(x + 70 * c), px(y + 70 * d))
            cv2.line(table, a, b, (0.5, 0.5, 0.5), px(14))
            for t in np.arange(-68, 68, 2.0):
                cv2.line(table, (px(x + t * c), px(y + t * d)), (px(x + t * c - 5 * d), px(y + t * d + 5 * c)), (0.05, 0.05, 0.05), 1, cv2.LINE_AA)
        else:              # a pen
            c, d = np.cos(way + 1.7), np.sin(way + 1.7)
            cv2.line(table, (px(x - 60 * c), px(y - 60 * d)), (px(x + 60 * c), px(y + 60 * d)), (0.35, 0.08, 0.06), px(6), cv2.LINE_AA)
    if shot.card:
        x, y, wide, light = shot.card
        col, row = px(x + origin[0]), px(side - y - origin[1])
        cv2.rectangle(table, (col - px(wide / 2), row - px(wide / 2)), (col + px(wide / 2), row + px(wide / 2)), (light,) * 3, -1)
    return table, origin


def mask_of(blank, width, height, x, y, edge):
    """Share of a pixel that the blank covers, for places in mm; `edge` is a pixel's size in mm."""
    if blank["shape"] == "round":
        inside = width / 2 - np.hypot(x - width / 2, y - height / 2)
    else:
        r = blank.get("corner", 0.0)
        dx, dy = np.abs(x - width / 2) - (width / 2 - r), np.abs(y - height / 2) - (height / 2 - r)
        inside = r - (np.hypot(np.maximum(dx, 0), np.maximum(dy, 0)) + np.minimum(np.maximum(dx, dy), 0))
    return np.clip(inside / edge + 0.5, 0, 1)


# ---- the photo ---------------------------------------------------------------------------------------------------------

def to_srgb(lin):
    return np.where(lin <= 0.0031308, 12.92 * lin, 1.055 * np.power(np.maximum(lin, 1e-9), 1 / 2.4) - 0.055)


def light_over(shot, lens, x, y, width, height):
    """Multiplied light at each pixel."""
    w, h = lens.size
    u = ((np.arange(w) - w / 2) / (w / 2)).astype(np.float32)[None, :]
    v = ((np.arange(h) - h / 2) / (w / 2)).astype(np.float32)[:, None]
    light = 1 + shot.slope[0] * u + shot.slope[1] * v - shot.bow * (u * u + v * v)
    for angle, away, softness, left in shot.shadows:
        a = np.radians(angle)
        d = (x - width / 2) * np.float32(np.cos(a)) + (y - height / 2) * np.float32(np.sin(a)) - np.float32(away)
        light = light * (left + (1 - left) / (1 + np.exp(np.clip(-1.7 * d / max(softness, 0.05), -40, 40))))
    return np.maximum(light, 0.02).astype(np.float32)


def photograph(raster, truth, blank, shot):
    """An 8-bit photo (blue, green, red) of the piece whose luminance is `raster`, and the Lens that took it."""
    rng = np.random.default_rng([shot.seed, 77])
    width, height = blank["width"], blank["height"]
    lens = Lens(width, height, shot)
    w, h = shot.size
    px_mm = lens_scale(lens, width, height)
    x, y = lens.grid()
    # The piece: gathered to about half a pixel, then softened by what a pixel gathers.
    fold = max(int(0.5 / px_mm / raster.step), 1)
    plane = raster.plane
    if fold > 1:
        r, c = plane.shape[0] // fold * fold, plane.shape[1] // fold * fold
        plane = cv2.resize(plane[:r, :c], (c // fold, r // fold), interpolation=cv2.INTER_AREA)
    step = raster.step * fold
    plane = cv2.GaussianBlur(plane, (0, 0), 0.4 / px_mm / step)
    at = lambda p, q: ((p - np.float32(raster.left)) / np.float32(step) - np.float32(0.5),
                       (np.float32(raster.top) - q) / np.float32(step) - np.float32(0.5))
    piece = cv2.remap(plane, *at(x, y), cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=truth.unmarked)
    table, origin = bench(shot, width, height, rng)
    around = cv2.remap(table, (x + np.float32(origin[0])) / np.float32(BENCH_STEP), (np.float32(table.shape[0] * BENCH_STEP) - (y + np.float32(origin[1]))) / np.float32(BENCH_STEP),
                       cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
    # A blank is some mm thick: it shades the bench beside it.
    shade = cv2.GaussianBlur(mask_of(blank, width, height, x - 2.5, y + 2.5, 1 / px_mm).astype(np.float32), (0, 0), 2.0 * px_mm)
    around *= (1 - 0.5 * shade)[..., None]
    cover = mask_of(blank, width, height, x, y, 1 / px_mm).astype(np.float32)
    if shot.covered:
        x0, y0, x1, y1 = shot.covered
        over = (x > x0) & (x < x1) & (y > y0) & (y < y1)
        piece = np.where(over, np.float32(0.75), piece)
        cover = np.where(over, 1, cover)
    light = light_over(shot, lens, x, y, width, height)
    gain = np.float32(shot.white_at / max(0.65, truth.unmarked))
    veil = np.zeros((h, w), np.float32)
    for vx, vy, radius, much in shot.veils:
        if radius <= 0:
            veil += np.float32(much * shot.white_at)
            continue
        veil += np.float32(much * shot.white_at) * np.exp(-((x - np.float32(vx)) ** 2 + (y - np.float32(vy)) ** 2) / np.float32(2 * radius ** 2))
    scale = np.sqrt(w * h / 3e6)
    blur, disc = shot.blur * scale, shot.defocus * scale
    photo = np.empty((h, w, 3), np.uint8)
    for c in range(3):
        lin = (piece * cover + around[..., c] * (1 - cover)) * light * gain + veil
        if disc > 0.5:
            n = int(np.ceil(disc))
            d = np.hypot(*np.mgrid[-n:n + 1, -n:n + 1])
            k = np.clip(disc + 0.5 - d, 0, 1).astype(np.float32)
            lin = cv2.filter2D(lin, -1, k / k.sum(), borderType=cv2.BORDER_REFLECT)
        if blur > 0.2:
            lin = cv2.GaussianBlur(lin, (0, 0), blur)
        lin = lin * np.float32(shot.cast[c])
        # Pixels of a phone share their neighbours' noise: it is soft over about a pixel.
        grain = cv2.GaussianBlur(rng.standard_normal((h, w), dtype=np.float32), (0, 0), 0.6) * np.float32(1.9)
        lin = lin + np.sqrt(np.float32(shot.noise ** 2) + np.float32(shot.shot ** 2) * np.maximum(lin, 0)) * grain
        code = to_srgb(np.clip(lin, 0, 1)).astype(np.float32)
        if shot.tone:
            code = code - np.float32(shot.tone / (2 * np.pi)) * np.sin(np.float32(2 * np.pi) * code)
        if shot.sharpen:
            code = code + np.float32(shot.sharpen) * (code - cv2.GaussianBlur(code, (0, 0), 1.5))
        photo[..., c] = np.clip(np.round(255 * code), 0, 255)
    return photo, lens


def lens_scale(lens, width, height):
    """Pixels a mm in the middle of the piece."""
    a = np.array(lens.project(width / 2, height / 2))
    b, c = np.array(lens.project(width / 2 + 0.5, height / 2)), np.array(lens.project(width / 2, height / 2 + 0.5))
    return float(np.hypot(*(b - a)) + np.hypot(*(c - a)))


def save(photo, path, quality):
    cv2.imwrite(str(path), photo, [cv2.IMWRITE_JPEG_QUALITY, int(quality)])


# ---- what is drawn at random -------------------------------------------------------------------------------------------

# Each photo has one or two of these beside its usual tilt, blur, light and noise; each comes as often as any other.
CONDITIONS = ("plain", "steep", "lens", "falloff", "shadow-soft", "shadow-hard", "veil-faint", "veil-even", "veil-strong",
              "s-curve", "cast", "defocus", "streaks", "pinholes", "thicker", "speed-off", "clutter", "noisy")


def draw_shot(rng, conditions, size, width, height, seed):
    """A Shot with the named conditions in it."""
    u = lambda a, b: float(rng.uniform(a, b))
    sign = lambda: float(rng.choice([-1, 1]))
    s = Shot(size=size, fill=u(0.70, 0.84), tilt=u(0, 15), azimuth=u(0, 360), turn=float(rng.choice([0, 90, 180, 270])) + u(-10, 10),
             shift=(u(-0.02, 0.02), u(-0.02, 0.02)), k1=u(-0.008, 0.008), blur=u(0.6, 1.1), slope=(u(-0.12, 0.12), u(-0.12, 0.12)),
             bow=u(0.02, 0.12), white_at=u(0.5, 0.8), cast=(u(0.94, 1.0), 1.0, u(0.95, 1.0)), tone=u(0, 0.02), sharpen=u(0, 0.3),
             noise=u(0.002, 0.004), shot=u(0.004, 0.010), jpeg=int(rng.integers(86, 97)), bench=str(rng.choice(["wood", "cloth", "grey"])),
             clutter=int(rng.integers(0, 3)), seed=seed)
    side = max(width, height)
    for c in conditions:
        if c == "steep":
            s.tilt, s.fill = u(22, 35), u(0.66, 0.74)
        elif c == "lens":
            s.k1 = sign() * u(0.018, 0.03)
        elif c == "falloff":
            s.slope, s.bow = (sign() * u(0.2, 0.35), sign() * u(0.1, 0.3)), u(0.2, 0.35)
        elif c == "shadow-soft":
            s.shadows.append((u(0, 360), u(-0.25, 0.25) * side, u(6, 15), u(0.6, 0.85)))
        elif c == "shadow-hard":
            s.shadows.append((u(0, 360), u(-0.25, 0.25) * side, u(0.4, 2.0), u(0.45, 0.75)))
        elif c == "veil-faint":
            s.veils.append((u(0.1, 0.9) * width, u(0.1, 0.9) * height, u(0.2, 0.5) * side, u(0.004, 0.02)))
        elif c == "veil-even":
            s.veils.append((0.0, 0.0, 0.0, u(0.003, 0.012)))
        elif c == "veil-strong":
            s.veils.append((u(0.1, 0.9) * width, u(0.1, 0.9) * height, u(0.08, 0.35) * side, u(0.05, 0.3)))
        elif c == "s-curve":
            s.tone = u(0.08, 0.25)
        elif c == "cast":
            s.cast = (u(0.72, 0.85), u(0.92, 0.97), 1.0) if rng.random() < 0.6 else (1.0, u(0.92, 0.98), u(0.75, 0.85))
        elif c == "defocus":
            s.defocus = u(1.5, 3.0)
        elif c == "clutter":
            s.clutter, s.bench = 6, "wood"
        elif c == "noisy":
            s.noise, s.shot, s.jpeg = u(0.006, 0.010), u(0.014, 0.022), int(rng.integers(78, 86))
    # A reader can know neither how far it is from full light; keep white from clipping where it is not meant to.
    most = 1 + abs(s.slope[0]) * 0.7 + abs(s.slope[1]) * 0.55
    s.white_at = min(s.white_at, (0.92 - 1.5 * sum(v[3] for v in s.veils) * s.white_at) / most * min(1.0, 1 / (1 + 0.5 * s.tone)))
    return s


def draw_burn(rng, conditions, truth):
    """Adds to the truth what goes wrong in the coating and the machine."""
    from dataclasses import replace
    u = lambda a, b: float(rng.uniform(a, b))
    for c in conditions:
        if c == "streaks":
            truth = replace(truth, streaks=u(0.03, 0.05), streak_angle=u(0, 180))
        elif c == "pinholes":
            truth = replace(truth, pinholes=int(rng.integers(150, 500)))
        elif c == "thicker":
            truth = replace(truth, thicker=u(0.04, 0.12), thicker_to=u(0, 360))
        elif c == "speed-off":
            truth = replace(truth, speed_off=float(rng.choice([-0.03, 0.03])))
    return truth


def doubtful(shot, truth, conditions=()):
    """Whether a fair reader says that the photo is not to be trusted: "yes", "may" or "no", with the reason.

    yes: light was added that moves the bare coating by more than half of itself somewhere, or white is clipped: lightness
    is wrong by many L* there and the photo can be taken again. may: what a careful reader sees, and a good one takes out.
    """
    gain = shot.white_at / max(0.65, truth.unmarked)
    bare = min(truth.unmarked, truth.marked) * gain
    veil = max([v[3] * shot.white_at for v in shot.veils], default=0.0)
    if shot.white_at > 1.0:
        return "yes", "over-exposed"
    if veil > 0.5 * bare:
        return "yes", f"a veil of {veil / bare:.1f} times the dark look's light"
    if veil > 0.04 * bare:
        return "may", f"a veil of {veil / bare:.2f} times the dark look's light"
    if any(soft < 2.5 for _, _, soft, _ in shot.shadows):
        return "may", "the edge of a shadow"
    if shot.tone > 0.05:
        return "may", f"the phone's own tone curve, {shot.tone:.2f}"
    if truth.streaks > 0 or truth.thicker > 0.06 or truth.pinholes:
        return "may", "an uneven coating"
    if shot.defocus > 2.2 or "noisy" in conditions:
        return "may", "an unsharp or noisy photo"
    return "no", ""
