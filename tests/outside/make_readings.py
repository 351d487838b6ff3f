"""Makes the labelled set by which it is judged how art is read: photo, drawing or paper.

    make_readings.py FOLDER

Writes some 430 pieces in 19 sorts and `labels.json`: for each its sort, its source, what it is (`photo`, `drawing`,
`paper`) and its part: `fit` (the weights in src/art/reading/model.rs are fitted to these) or `held` (never looked
at in fitting; test_readings.py judges by these). A source (a motif, a name in a typeface, a photo, a sky) lies wholly
in one part, so that no picture is judged that was fitted in another guise.

Photos come with scikit-image and scikit-learn; emblems and names are invented (the gift shop of a harbour museum) and
drawn here. Paper seen by a camera is a model: reflectance, perspective, uneven light and shadow, colour cast, blur,
shot and read noise, sRGB, JPEG. Everything is seeded: the same pieces on every run with the same libraries.
"""

import json
import math
import os
import sys
from functools import cache, partial

import cv2
import numpy as np
import skimage.data
import sklearn.datasets
from PIL import Image, ImageDraw, ImageFont

FONTS = os.path.join(os.path.dirname(__file__), "..", "..", "src", "art", "fonts")
FACES = ["DejaVuSans.ttf", "DejaVuSerif.ttf", "DejaVuSans-Bold.ttf", "DejaVuSerif-Bold.ttf"]
OVER = 3


# --- light -----------------------------------------------------------------------------------------------------

def to_linear(code):
    c = np.asarray(code, np.float64) / 255.0
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def to_code(light):
    # A code is one of 256: single precision tells them apart in half the time.
    v = np.clip(np.asarray(light, np.float32), 0, 1)
    code = v ** np.float32(1 / 2.4)
    code *= np.float32(1.055)
    code -= np.float32(0.055)
    np.multiply(np.float32(12.92), v, out=code, where=v <= 0.0031308)
    code *= 255
    return np.rint(code, out=code).astype(np.uint8)


@cache
def font(face, size):
    return ImageFont.truetype(os.path.join(FONTS, FACES[face % len(FACES)]), max(int(size), 6))


# --- motifs: shapes in the unit square, each with a role (0 main, 1 second, 2 third, -1 the ground) ------------

def ring(cx, cy, r, n=64, start=0.0, end=2 * np.pi):
    t = np.linspace(start, end, n)
    return np.stack([cx + r * np.cos(t), cy + r * np.sin(t)], 1)


def compass():
    out = [("line", ring(.5, .5, .46), .02, 0), ("line", ring(.5, .5, .40), .006, 0)]
    for k in range(16):
        a, r = np.pi * k / 8, (.38 if k % 4 == 0 else .28 if k % 2 == 0 else .2)
        for side, role in ((1, 0), (-1, 1)):
            b = a + side * np.pi / 16
            out.append(("poly", [(.5, .5), (.5 + .1 * np.cos(b), .5 + .1 * np.sin(b)),
                                 (.5 + r * np.cos(a), .5 + r * np.sin(a))], 0, role))
    return out


def anchor():
    return [("line", ring(.5, .16, .07), .03, 0), ("line", [(.5, .23), (.5, .88)], .05, 0),
            ("line", [(.32, .32), (.68, .32)], .04, 0), ("line", ring(.5, .56, .32, 40, .15, np.pi - .15), .05, 0),
            ("poly", [(.12, .58), (.26, .56), (.17, .72)], 0, 0), ("poly", [(.88, .58), (.74, .56), (.83, .72)], 0, 0)]


def lighthouse():
    out = [("poly", [(.4, .3), (.6, .3), (.66, .85), (.34, .85)], 0, 0)]
    for k in range(3):
        y = .38 + .16 * k
        out.append(("poly", [(.392 - .018 * k, y), (.608 + .018 * k, y), (.615 + .018 * k, y + .07),
                             (.385 - .018 * k, y + .07)], 0, -1))
    out += [("poly", [(.42, .2), (.58, .2), (.58, .29), (.42, .29)], 0, 1), ("poly", [(.4, .2), (.6, .2), (.5, .1)], 0, 0),
            ("line", [(.62, .22), (.92, .12)], .012, 1), ("line", [(.62, .25), (.94, .27)], .012, 1),
            ("line", [(.38, .22), (.08, .12)], .012, 1), ("line", [(.38, .25), (.06, .27)], .012, 1)]
    x = np.linspace(.05, .95, 60)
    return out + [("line", np.stack([x, .9 + .02 * np.sin(30 * x)], 1), .02, 2)]


def ship():
    x = np.linspace(.04, .96, 60)
    return [("poly", [(.12, .68), (.9, .66), (.78, .82), (.24, .82)], 0, 0), ("line", [(.5, .12), (.5, .7)], .018, 0),
            ("poly", [(.52, .14), (.52, .6), (.82, .6)], 0, 1), ("poly", [(.48, .2), (.48, .6), (.22, .6)], 0, 2),
            ("line", np.stack([x, .88 + .018 * np.sin(26 * x)], 1), .014, 1)]


def wheel():
    out = [("line", ring(.5, .5, .3), .05, 0), ("line", ring(.5, .5, .09), .04, 1)]
    for k in range(8):
        a = np.pi * k / 4
        out.append(("line", [(.5 + .1 * np.cos(a), .5 + .1 * np.sin(a)), (.5 + .45 * np.cos(a), .5 + .45 * np.sin(a))], .026, 0))
    return out


def gull():
    t = np.linspace(0, 1, 40)
    left = np.stack([.06 + .44 * t, .45 - .18 * np.sin(np.pi * t) + .1 * t], 1)
    right = np.stack([.5 + .44 * t, .55 - .18 * np.sin(np.pi * t) - .1 * t], 1)
    return [("line", left, .045, 0), ("line", right, .045, 0), ("line", ring(.72, .24, .1), .015, 1),
            ("line", [(.1, .8), (.9, .8)], .02, 2), ("line", [(.2, .88), (.8, .88)], .012, 2)]


def fish():
    body = np.concatenate([np.stack([.1 + .6 * t, .5 - .2 * np.sin(np.pi * t)], 1) for t in [np.linspace(0, 1, 30)]]
                          + [np.stack([.7 - .6 * t, .5 + .2 * np.sin(np.pi * t)], 1) for t in [np.linspace(0, 1, 30)]])
    return [("poly", body, 0, 0), ("poly", [(.66, .5), (.92, .3), (.86, .5), (.92, .7)], 0, 1),
            ("poly", ring(.25, .46, .03), 0, -1)] + \
        [("line", ring(.4 + .08 * k, .5, .08, 16, -1, 1), .008, -1) for k in range(3)]


def crab():
    out = [("poly", [(.5 + .26 * np.cos(a), .56 + .17 * np.sin(a)) for a in np.linspace(0, 2 * np.pi, 50)], 0, 0)]
    for s in (-1, 1):
        for k in range(3):
            out.append(("line", [(.5 + s * .2, .6 + .05 * k), (.5 + s * (.36 + .04 * k), .62 + .1 * k)], .022, 0))
        out += [("line", ring(.5 + s * .34, .3, .1, 30, .6, 5.2), .04, 1), ("poly", ring(.5 + s * .08, .48, .025), 0, -1)]
    return out


def knot():
    t = np.linspace(0, 2 * np.pi, 200)
    p = np.stack([.5 + .26 * np.sin(t) + .16 * np.sin(2 * t), .5 + .26 * np.cos(t) - .16 * np.cos(2 * t)], 1)
    return [("line", p, .05, 0), ("line", p, .02, -1), ("line", ring(.5, .5, .47), .012, 1)]


def tower():
    out = [("poly", [(.2, .9), (.2, .4), (.35, .25), (.5, .4), (.5, .9)], 0, 0), ("poly", [(.55, .9), (.55, .55), (.85, .55), (.85, .9)], 0, 1)]
    for i in range(3):
        for j in range(2):
            out.append(("poly", [(.25 + .12 * j, .46 + .14 * i), (.32 + .12 * j, .46 + .14 * i),
                                 (.32 + .12 * j, .55 + .14 * i), (.25 + .12 * j, .55 + .14 * i)], 0, -1))
    return out + [("line", [(.1, .91), (.92, .91)], .02, 2)]


def chart():
    rng, out = np.random.default_rng(5), []
    for k in range(9):
        t = np.linspace(0, 2 * np.pi, 120)
        r = .07 + .045 * k + .015 * np.sin(3 * t + k * .5) + .01 * np.sin(7 * t)
        out.append(("line", np.stack([.5 + r * np.cos(t), .5 + r * np.sin(t)], 1), .006, k % 3))
    for _ in range(14):
        x, y = rng.uniform(.1, .9, 2)
        out.append(("text", (x, y), .035, 0, str(rng.integers(2, 60))))
    return out


def whale():
    t = np.linspace(0, np.pi, 40)
    body = np.concatenate([np.stack([.5 - .38 * np.cos(t), .6 - .25 * np.sin(t)], 1), [(.75, .72), (.2, .72)]])
    return [("poly", body, 0, 0), ("poly", [(.84, .6), (.97, .38), (.86, .45), (.76, .38)], 0, 0),
            ("poly", ring(.27, .55, .022), 0, -1), ("line", ring(.36, .26, .1, 20, 2.8, 5.6), .025, 1),
            ("line", [(.15, .66), (.4, .66)], .012, -1)]


def lantern():
    return [("line", ring(.5, .2, .09), .02, 0), ("poly", [(.35, .32), (.65, .32), (.6, .26), (.4, .26)], 0, 0),
            ("line", [(.38, .32), (.38, .75)], .03, 0), ("line", [(.62, .32), (.62, .75)], .03, 0),
            ("line", [(.5, .32), (.5, .75)], .012, 0), ("poly", [(.33, .75), (.67, .75), (.7, .84), (.3, .84)], 0, 0),
            ("poly", [(.5, .4), (.56, .58), (.5, .68), (.44, .58)], 0, 1)]


def buoy():
    return [("poly", [(.38, .62), (.44, .2), (.56, .2), (.62, .62)], 0, 0), ("poly", [(.41, .45), (.425, .34), (.575, .34), (.59, .45)], 0, -1),
            ("poly", [(.25, .62), (.75, .62), (.68, .78), (.32, .78)], 0, 1), ("line", [(.5, .2), (.5, .08)], .02, 0),
            ("poly", [(.5, .06), (.64, .1), (.5, .14)], 0, 2), ("line", [(.08, .84), (.92, .84)], .016, 2)]


MOTIFS = [compass, anchor, lighthouse, ship, wheel, gull, fish, crab, knot, tower, chart, whale, lantern, buoy]
NAMES = ["Harbour Museum", "MV Kestrel", "Elske & Jorin", "Lantern Bay", "Keeper's Cottage", "Sound Point", "Nils Havn",
         "The Blue Quay", "Saltmarsh Society", "Marit Lindqvale"]
LINES = ["Opening hours of the boat hall: from ten to five, in winter from eleven.",
         "Members of the rowing club enter free and may bring one guest each.",
         "The lamp turned for a hundred years and was seen nineteen miles out.",
         "Please do not ring the ship's bell before noon or after the last tide."]


def part_of(index):
    return "fit" if index % 2 == 0 else "held"


def plain(*colours):
    """The mode that these colours need, and they in it: grey is drawn in one channel, which comes to the same."""
    grey = all(len(set(c)) == 1 for c in colours)
    return "L" if grey else "RGB", *(c[0] if grey else c for c in colours)


def draw(motif, size, colours, ground, width=1.0, outline=False):
    """A motif as RGB, anti-aliased, on its ground. `colours` are by role; the ground's role takes the ground."""
    big = size * OVER
    mode, ground, *colours = plain(ground, *colours)
    im = Image.new(mode, (big, big), ground)
    d = ImageDraw.Draw(im)
    for shape in motif():
        kind, pts, w, role = shape[:4]
        fill = ground if role == -1 else colours[role % len(colours)]
        if kind == "text":
            d.text((pts[0] * big, pts[1] * big), shape[4], fill, font(0, w * big))
            continue
        xy = [(float(x) * big, float(y) * big) for x, y in pts]
        if kind == "poly" and not outline:
            d.polygon(xy, fill)
        else:
            w = .008 if kind == "poly" or outline else w
            if kind == "poly":
                xy = xy + xy[:1]
            fill = colours[0] if outline else fill
            d.line(xy, fill, max(int(w * width * big), 1), joint="curve")
    return im.resize((size, size), Image.LANCZOS).convert("RGB")


def lettered(name, face, w, h, ink, ground, under=None):
    mode, ink, ground = plain(ink, ground)
    im = Image.new(mode, (w * OVER, h * OVER), ground)
    d = ImageDraw.Draw(im)
    size = h * OVER * .4
    while d.textlength(name, font(face, size)) > .9 * w * OVER:
        size *= .95
    d.text((w * OVER / 2, h * OVER * (.42 if under else .5)), name, ink, font(face, size), anchor="mm")
    if under:
        d.text((w * OVER / 2, h * OVER * .78), under, ink, font(face + 1, size * .35), anchor="mm")
    return im.resize((w, h), Image.LANCZOS).convert("RGB")


# --- paper seen by a camera or a scanner --------------------------------------------------------------------------

def sheet_of(motif, rng, side, tool, depth):
    """Share of the light that a sheet with the motif takes, 0..depth."""
    big = side * 2
    im = Image.new("L", (big, int(big * .75)), 0)
    d = ImageDraw.Draw(im)
    scale = big * .62
    ox, oy = big * .19, big * .06
    for shape in motif():
        kind, pts, w, role = shape[:4]
        if kind == "text":
            d.text((ox + pts[0] * scale, oy + pts[1] * scale), shape[4], 220, font(1, w * scale))
            continue
        p = np.asarray([(float(x), float(y)) for x, y in pts])
        if kind == "poly":
            p = np.concatenate([p, p[:1]])
        p = np.array([ox, oy]) + p * scale + rng.normal(0, side * .0015, p.shape)
        if tool == "ink":
            if kind == "poly" and role >= 0:
                d.polygon([tuple(q) for q in p], int(235 if role == 0 else 190))
            d.line([tuple(q) for q in p], 255, max(int(big * .004), 2))
        else:
            for _ in range(2):
                q = p + rng.normal(0, side * .0012, p.shape)
                d.line([tuple(r) for r in q], int(rng.uniform(120, 255)), max(int(big * rng.uniform(.0015, .004)), 1))
            if kind == "poly" and role >= 0:
                lo, hi = p.min(0), p.max(0)
                for x in np.arange(lo[0], hi[0], big * .012):
                    d.line([(x, hi[1]), (x + big * .02, lo[1])], int(rng.uniform(50, 130)), max(int(big * .002), 1))
    a = np.asarray(im.resize((side, int(side * .75)), Image.BOX), np.float64) / 255
    if tool == "pencil":
        grain = cv2.GaussianBlur(rng.normal(1, .5, a.shape), (0, 0), .8)
        a = a * np.clip(grain, .3, 1.6)
    return np.clip(a, 0, 1) * depth


def page_of(rng, side, face, names, lines, photo=None):
    big = side * 2
    im = Image.new("L", (big, int(big * 1.3)), 0)
    d = ImageDraw.Draw(im)
    d.text((big / 2, big * .1), names, 255, font(face, big * .055), anchor="mm")
    y = big * .2
    while y < big * 1.2:
        words, x = " ".join(rng.permutation(" ".join(lines).split())).split(), big * .1
        for word in words:
            n = d.textlength(word + " ", font(face, big * .028))
            if x + n > big * .9:
                break
            d.text((x, y), word, 245, font(face, big * .028))
            x += n
        y += big * .045 if rng.random() > .12 else big * .09
    a = np.asarray(im.resize((side, int(side * 1.3)), Image.BOX), np.float64) / 255 * .93
    if photo is not None:
        # Most of the page is the picture: what is wanted of it are its tones.
        h = int(a.shape[0] * .72)
        p = cv2.resize(photo, (int(side * .86), h), interpolation=cv2.INTER_AREA)
        a[int(a.shape[0] * .14):int(a.shape[0] * .14) + h, int(side * .07):int(side * .07) + p.shape[1]] = \
            1 - (.06 + .94 * to_linear(p))
    return a


def seen(taken, rng, camera=True, table=False, light=None, out=1400):
    """A sheet of reflectance 0.85 * (1 - taken) as a camera (or a scanner) gives it, RGB codes."""
    return taking(taken, rng, camera, table, light, out)()


def taking(taken, rng, camera=True, table=False, light=None, out=1400):
    """What makes the picture of `seen`: all that is drawn at random is drawn at once, so that what comes after it is the same
    whether the picture is made or not."""
    h, w = taken.shape
    fibres = rng.normal(0, 1, (h, w))

    def reflected():
        soft = cv2.GaussianBlur(fibres.astype(np.float32), (0, 0), 1.5)
        return (1 - taken.astype(np.float32)) * (.85 * (1 + .012 * soft))

    if not camera:
        lamp, green, blue = rng.uniform(.96, 1.0), rng.uniform(.97, 1), rng.uniform(.9, .99)
        noise = rng.normal(0, .006, (h, w, 3))

        def scan():
            shade = (lamp * (1 + .03 * np.linspace(-1, 1, w)))[None, :].astype(np.float32)
            rgb = (reflected() * shade)[..., None] * np.float32([1.08, 1.08 * green, 1.08 * blue])
            return to_code(cv2.GaussianBlur(rgb, (0, 0), .7) + noise)
        return scan
    oh = int(out * h / w)
    pad = .12 if table else -.02
    jig = lambda: rng.uniform(-.03, .03, 2) * [out, oh]
    corners = np.float32([(out * pad, oh * pad), (out * (1 - pad), oh * pad), (out * (1 - pad), oh * (1 - pad)), (out * pad, oh * (1 - pad))])
    if table:
        corners = np.float32([c + jig() for c in corners])
    else:
        # The sheet reaches past the picture on all sides.
        corners = np.float32([c + np.sign(c - [out / 2, oh / 2]) * np.abs(jig()) for c in corners])
    grain = rng.normal(0, 1, (oh, out))
    a, k = rng.uniform(0, 2 * np.pi), rng.uniform(.2, .6)
    # The shadow of a hand or a phone, with a soft edge.
    hand = None
    if rng.random() < .6:
        hand = rng.uniform(.1, .9), rng.uniform(.7, 1.1), rng.uniform(.25, .5), rng.uniform(.015, .05), rng.uniform(.25, .5)
    cast = np.float32([1.0, rng.uniform(.86, .98), rng.uniform(.65, .95)])
    level = light or rng.uniform(.45, .95)
    blur = rng.uniform(.6, 1.4)
    noise = rng.normal(0, 1, (oh, out, 3))

    def shot():
        reflect = reflected()
        m = cv2.getPerspectiveTransform(np.float32([(0, 0), (w, 0), (w, h), (0, h)]), corners)
        flat = cv2.warpPerspective(reflect, m, (out, oh), flags=cv2.INTER_AREA, borderMode=cv2.BORDER_REPLICATE)
        if table:
            wood = .16 + .05 * cv2.GaussianBlur(grain.astype(np.float32), (0, 0), 12) * 8
            inside = cv2.warpPerspective(np.ones_like(reflect), m, (out, oh), flags=cv2.INTER_AREA)
            flat = flat * inside + np.clip(wood, .05, .4) * (1 - inside)
        y, x = np.linspace(0, 1, oh, dtype=np.float32)[:, None], np.linspace(0, 1, out, dtype=np.float32)[None, :]
        shade = np.exp(-k * ((x - .5) * math.cos(a) + (y - .5) * math.sin(a)) * 1.6 - .4 * ((x - .5) ** 2 + (y - .5) ** 2))
        if hand:
            cx, cy, r, edge, deep = hand
            soft = 1 / (1 + np.exp(-(np.hypot(x - cx, (y - cy) * oh / out) - r) / edge))
            shade = shade * (1 - deep * (1 - soft))
        rgb = (flat * (shade * np.float32(level / np.percentile(shade, 95))))[..., None] * cast
        rgb = cv2.GaussianBlur(rgb, (0, 0), blur)
        much = np.clip(rgb, 0, 1)
        much *= 3e-4
        much += 1.5e-5
        np.sqrt(much, out=much)
        much *= noise
        rgb += much
        return to_code(rgb)
    return shot


def lines_of(photo, down, along, blur, side):
    """A few lines of what `photo` makes, in grey."""
    photo = photo()
    h, w = photo.shape[:2]
    y, x = int(down * h), int(along * w)
    lines = cv2.GaussianBlur(photo[y:y + h // 5, x:x + w // 2], (0, 0), blur)
    return shrink(np.asarray(Image.fromarray(lines).convert("L")), side)


# --- photos ----------------------------------------------------------------------------------------------------

def photos():
    """Photos by name, RGB or grey codes, as they come with scikit-image and scikit-learn."""
    names = ["camera", "astronaut", "coffee", "rocket", "chelsea", "coins", "moon", "hubble_deep_field", "retina", "brick",
             "gravel", "grass", "clock", "immunohistochemistry", "cell"]
    all_ = {n: getattr(skimage.data, n)() for n in names}
    for n in ("china.jpg", "flower.jpg"):
        all_[n[:-4]] = sklearn.datasets.load_sample_image(n)
    all_["motorcycle"] = skimage.data.stereo_motorcycle()[0]
    all_ = {n: (a if a.dtype == np.uint8 else (a * 255).astype(np.uint8)) for n, a in all_.items()}
    return all_


FIT_PHOTOS = ["camera", "coffee", "chelsea", "china", "coins", "hubble_deep_field", "brick", "retina", "motorcycle"]


def shrink(a, side):
    im = Image.fromarray(a)
    im.thumbnail((side, side), Image.LANCZOS)
    return np.asarray(im)


def dark(a, rng, stops):
    lin = to_linear(a) * 2.0 ** -stops
    lin = lin + rng.normal(0, 1, lin.shape) * np.sqrt(2e-6 + 4e-5 * lin)
    return to_code(lin)


def night(rng, w, h):
    y, x = np.linspace(0, 1, h)[:, None], np.linspace(0, 1, w)[None, :]
    sky = .002 + .012 * y ** 3 * rng.uniform(.3, 2) + 0 * x
    stars = np.zeros((h, w))
    for _ in range(int(rng.integers(60, 500))):
        stars[rng.integers(0, h), rng.integers(0, w)] += rng.pareto(1.6) * .4
    sky = sky + cv2.GaussianBlur(stars, (0, 0), rng.uniform(.7, 1.3))
    if rng.random() < .5:
        r, cx, cy = rng.uniform(.03, .1), rng.uniform(.2, .8), rng.uniform(.15, .5)
        d = np.hypot(x - cx, (y - cy) * h / w)
        sky = sky + .5 / (1 + np.exp((d - r) / .002)) * (.8 + .2 * np.sin(40 * x) * np.cos(31 * y)) + .02 * np.exp(-d * 9)
    if rng.random() < .6:
        hill = .8 + .06 * np.sin(5 * x + rng.uniform(0, 6)) + .02 * np.sin(17 * x)
        sky = np.where(y > hill, .001, sky)
    sky = sky + rng.normal(0, 1, sky.shape) * np.sqrt(1e-6 + 3e-5 * np.clip(sky, 0, 1))
    return to_code(sky[..., None] * np.array([.85, .92, 1.0]))


def gradient(rng, w, h, k):
    y, x = np.linspace(0, 1, h)[:, None] + 0 * np.zeros((1, w)), np.linspace(0, 1, w)[None, :] + 0 * np.zeros((h, 1))
    t = [x, y, np.hypot(x - .5, y - .5) * 1.4, (x + y) / 2, np.abs(x - .5) * 2, .5 + .5 * np.sin(5 * x + 3 * y)][k % 6]
    a, b = rng.integers(0, 110, 3), rng.integers(140, 256, 3)
    return np.rint(a + (b - a) * t[..., None]).astype(np.uint8)


def flat_thing(rng, w, h, k):
    """A grey card, wood, cloth, a wall: flat things under a lamp, seen by a camera."""
    y, x = np.linspace(0, 1, h)[:, None], np.linspace(0, 1, w)[None, :]
    if k % 4 == 0:
        base = np.full((h, w), rng.uniform(.12, .3))
    elif k % 4 == 1:
        grain = cv2.GaussianBlur(rng.normal(0, 1, (h, w)), (0, 0), sigmaX=60, sigmaY=1.2)
        base = .25 * np.exp(2.2 * grain / grain.std() * .12)
    elif k % 4 == 2:
        p = rng.uniform(5, 11)
        base = .3 + .08 * np.sin(2 * np.pi * x * w / p) * np.sin(2 * np.pi * y * h / p) + .05 * cv2.GaussianBlur(rng.normal(0, 1, (h, w)), (0, 0), 2)
    else:
        n = cv2.GaussianBlur(rng.normal(0, 1, (h, w)), (0, 0), 5)
        base = .5 + .1 * n / n.std() * .4
    a = rng.uniform(0, 6)
    shade = np.exp(-.5 * ((x - .5) * np.cos(a) + (y - .5) * np.sin(a)) - .6 * ((x - .5) ** 2 + (y - .5) ** 2))
    rgb = (base * shade)[..., None] * np.array([1, rng.uniform(.85, 1), rng.uniform(.7, 1)])
    rgb = rgb + rng.normal(0, 1, rgb.shape) * np.sqrt(1e-5 + 2e-4 * np.clip(rgb, 0, 1))
    return to_code(rgb)


# --- screens --------------------------------------------------------------------------------------------------

def screenshot(rng, k, w=1100, h=720):
    darkly = k % 3 == 2
    paper, ink = ((34, 36, 42), (225, 228, 232)) if darkly else ((255, 255, 255), (40, 42, 48))
    im = Image.new("RGB", (w, h), paper)
    d = ImageDraw.Draw(im)
    tint = tuple(int(c) for c in (rng.integers(40, 90, 3) if darkly else rng.integers(205, 245, 3)))
    d.rectangle([0, 0, w, 46], fill=tint)
    d.text((18, 12), NAMES[k % len(NAMES)], ink, font(2, 20))
    if k % 2:
        d.rectangle([0, 46, 210, h], fill=tuple(int((a + b) / 2) for a, b in zip(tint, paper)))
    x0 = 240 if k % 2 else 40
    y = 80
    for row in range(int(rng.integers(8, 15))):
        d.text((x0, y), LINES[(row + k) % len(LINES)][: int(rng.integers(30, 70))], ink, font(k % 2, 16))
        if row % 4 == 1:
            d.rectangle([x0, y + 30, x0 + int(rng.integers(120, 500)), y + 36], fill=tuple(int(c) for c in rng.integers(60, 200, 3)))
        y += 42
    for b in range(3):
        d.rounded_rectangle([x0 + 150 * b, h - 60, x0 + 130 + 150 * b, h - 24], 8, outline=ink, fill=tint)
        d.text((x0 + 20 + 150 * b, h - 52), ["Open", "Print", "Close"][b], ink, font(0, 16))
    return im


# --- the set ----------------------------------------------------------------------------------------------------

# Where the numbers stand that each held source draws which comes after fitted ones: how many pieces come before it, the
# state of the generator, and the half of a number that it has left over. What the fitted ones draw takes as long as making
# the held ones. Whoever makes the whole set is told where this no longer holds.
STARTS = {
    "anchor": (16, 0x1908db0b900aeebec8bd7fe7a7009fa4, None),
    "ship": (48, 0x61c1ec9432f27fc381dadf4859726881, None),
    "gull": (80, 0x3dec2de74432b72c7907f1f1ccc95444, None),
    "crab": (112, 0x34c84987a4acfadd0e0c5f595f844276, None),
    "tower": (144, 0xb054663047f62edc3472f5c3963ec76d, None),
    "whale": (176, 0x9bb30a4bf503375e7a5017b6be5cf20d, None),
    "buoy": (208, 0x19a78a2be80aa2cf84f8f4320eea190a, None),
    "name-kestrel": (234, 0x109f970b4973950ea1b5628eb560aeb0, None),
    "name-bay": (254, 0x1fe41ef19b5ce88c9bac73f6ece5b0f1, None),
    "name-point": (274, 0x9c6efbea5a8a58125d8363d9b2cdd901, 4182967760),
    "name-quay": (294, 0xd1ef66cc4525bb2742ee6349915a19f9, None),
    "name-lindqvale": (314, 0x78df39b7d14f5e978f2119c1640ee1b3, None),
    "astronaut": (334, 0x797f1e2dacabdec2d8bd9ac4fe91618a, None),
    "rocket": (346, 0xb9a556a35f80169a96db9664c0349347, 4066163455),
    "moon": (364, 0xfa979efd18c8ca85a93ae09171432d83, 2036599356),
    "gravel": (384, 0xe8d8f168b6d941454544a8d71252e88d, 2088022306),
    "flower": (416, 0xed9acac97b86789f3362500ac3c3f428, 3875099705),
}


class Set:
    def __init__(self, folder, held_alone):
        self.folder, self.held_alone, self.count, self.rows = folder, held_alone, 0, []
        self.rng = np.random.default_rng(20261126)
        os.makedirs(folder, exist_ok=True)

    def takes(self, source, part):
        """Whether the pieces of a source are made; its numbers are then the same whether those before it are made or not."""
        if self.held_alone and part == "fit":
            return False
        if source in STARTS:
            state = self.rng.bit_generator.state
            if self.held_alone:
                self.count, state["state"]["state"], half = STARTS[source]
                state["has_uint32"], state["uinteger"] = int(half is not None), half or 0
                self.rng.bit_generator.state = state
            here = (self.count, state["state"]["state"], state["uinteger"] if state["has_uint32"] else None)
            assert here == STARTS[source], f"{source} starts at ({here[0]}, {here[1]:#x}, {here[2]})"
        return True

    def add(self, made, sort, source, label, part, ext="png", **how):
        """Takes a piece in: a picture, or what makes it."""
        name = f"{self.count:03d}-{sort}-{source}.{ext}"
        self.count += 1
        im = made() if callable(made) else made
        if isinstance(im, np.ndarray):
            im = Image.fromarray(im)
        im.save(os.path.join(self.folder, name), **({"compress_level": 1} if ext == "png" else how))
        self.rows.append(dict(file=name, sort=sort, source=source, label=label, part=part))


INKS = [(0, 0, 0), (20, 30, 70), (110, 15, 20), (10, 70, 40), (30, 30, 30), (0, 60, 130), (70, 20, 90)]
PALETTES = [[(200, 30, 40), (20, 60, 140), (240, 190, 30)], [(0, 110, 90), (230, 120, 20), (60, 60, 60)],
            [(20, 40, 100), (120, 170, 220), (200, 60, 60)], [(120, 60, 20), (230, 200, 140), (40, 90, 60)],
            [(250, 200, 40), (230, 90, 40), (120, 30, 90)]]
GROUNDS = [(0, 0, 0), (15, 25, 60), (70, 10, 20), (20, 60, 40), (40, 40, 44)]


def make(folder, held_alone=False):
    """Writes the pieces, all or those that are held out. Each is the same whether the others are made or not."""
    s = Set(folder, held_alone)
    rng = s.rng
    for i, motif in enumerate(MOTIFS):
        name, part = motif.__name__, part_of(i)
        if not s.takes(name, part):
            continue
        ink = INKS[i % len(INKS)]
        logo = cache(lambda side: draw(motif, side, [ink], (255, 255, 255)))
        for q in (25, 60, 90):
            side = int(rng.choice([500, 800, 1200]))
            s.add(partial(logo, side), "logo-jpeg", name, "drawing", part, "jpg", quality=q)
        s.add(partial(draw, motif, 200, [ink], (255, 255, 255)), "small-logo", name, "drawing", part, "png")
        s.add(partial(draw, motif, 200, PALETTES[i % 5], (255, 255, 255)), "small-logo", name, "drawing", part, "jpg", quality=int(rng.integers(40, 85)))
        s.add(partial(draw, motif, 1000, [(0, 0, 0)], (255, 255, 255), rng.uniform(.6, 1.5), True), "line-art", name, "drawing", part)
        s.add(lambda: draw(motif, 900, [(60, 60, 60)], (255, 255, 255), .8, True).convert("L"), "line-art", name, "drawing", part, "jpg", quality=80)
        s.add(partial(draw, motif, 800, PALETTES[i % 5], (255, 255, 255)), "coloured-logo", name, "drawing", part)
        s.add(partial(draw, motif, 700, PALETTES[(i + 2) % 5], (245, 240, 225)), "coloured-logo", name, "drawing", part, "jpg", quality=int(rng.integers(30, 90)))
        s.add(partial(draw, motif, 800, [(255, 255, 255)], GROUNDS[i % 5]), "reversed-logo", name, "drawing", part)
        s.add(partial(draw, motif, 600, [(235, 235, 235), (240, 200, 90)], GROUNDS[(i + 1) % 5]), "reversed-logo", name, "drawing", part, "jpg", quality=int(rng.integers(30, 90)))
        noise = rng.normal(0, 18, (1200, 1200))
        line = partial(draw, motif, 1200, [(0, 0, 0)], (255, 255, 255), 1, True)
        s.add(lambda: np.asarray(line().convert("L"), np.float64) + noise > 128, "scan-1bit", name, "drawing", part)
        pencil = sheet_of(motif, rng, 1600, "pencil", rng.uniform(.25, .65))
        s.add(taking(pencil, rng), "pencil-paper", name, "paper", part, "jpg", quality=int(rng.integers(75, 95)))
        s.add(taking(pencil, rng, table=True), "pencil-paper", name, "paper", part, "jpg", quality=88)
        inked = sheet_of(motif, rng, 1400, "ink", rng.uniform(.8, .96))
        s.add(taking(inked, rng, camera=False), "ink-paper", name, "paper", part, "jpg", quality=int(rng.integers(60, 95)))
        s.add(taking(inked, rng), "ink-paper", name, "paper", part, "jpg", quality=85)
    for i, name in enumerate(NAMES):
        part, source = part_of(i), "name-" + name.split()[-1].lower()
        if not s.takes(source, part):
            continue
        s.add(partial(lettered, name, i, 1200, 400, (0, 0, 0), (255, 255, 255)), "lettering", source, "drawing", part)
        s.add(partial(lettered, name, i + 1, 700, 300, INKS[i % 7], (255, 255, 255), LINES[i % 4][:40]), "lettering", source, "drawing", part, "jpg", quality=int(rng.integers(30, 90)))
        s.add(partial(lettered, name, i + 2, 900, 300, (250, 250, 250), GROUNDS[i % 5]), "reversed-logo", source, "drawing", part, "jpg", quality=60)
        page = page_of(rng, 1000, i, name, LINES)
        photo = cache(taking(page, rng))
        s.add(photo, "printed-page", source, "paper", part, "jpg", quality=int(rng.integers(70, 95)))
        # A few lines of it alone: small, soft, the print filling the picture.
        for side in (260, 420):
            lines = partial(lines_of, photo, rng.uniform(.1, .6), rng.uniform(.05, .4), rng.uniform(.5, 1.5), side)
            s.add(lines, "lines-of-print", source, "paper", part)
        s.add(screenshot(rng, i), "screenshot", f"screen-{i}", "drawing", part, "png" if i % 3 else "jpg")
        s.add(night(rng, 1000, 700), "night-sky", f"sky-{i}", "photo", part, "jpg", quality=90)
        s.add(gradient(rng, 600, 400, i), "gradient", f"gradient-{i}", "photo", part, "png" if i % 2 else "jpg")
        s.add(flat_thing(rng, 1000, 750, i // 2), "flat-thing", f"flat-{i}", "photo", part, "jpg", quality=90)
    # Pages that come with scikit-image: a sheet with a shadow, and a blurred line of print.
    s.add(skimage.data.page(), "printed-page", "page", "paper", "held")
    s.add(skimage.data.text(), "printed-page", "text", "paper", "held")
    logo = Image.fromarray(skimage.data.logo())
    s.add(logo, "coloured-logo", "scikit-logo", "drawing", "held")
    s.add(Image.fromarray(skimage.data.horse()), "scan-1bit", "horse", "drawing", "held")
    for name, a in photos().items():
        part = "fit" if name in FIT_PHOTOS else "held"
        if not s.takes(name, part):
            continue
        grey = np.asarray(Image.fromarray(a).convert("L"))
        s.add(partial(shrink, a, 1200), "photo", name, "photo", part, "jpg", quality=int(rng.integers(85, 96)))
        s.add(partial(shrink, a, 320), "photo", name, "photo", part, "jpg", quality=int(rng.integers(30, 70)))
        s.add(partial(shrink, grey, 800), "photo", name, "photo", part)
        s.add(dark(shrink(a, 1000), rng, rng.uniform(2, 3.5)), "dark-photo", name, "photo", part, "jpg", quality=85)
        k, at = rng.uniform(.2, .4), rng.uniform(.2, .6)
        s.add(lambda: (255 * at + k * shrink(a, 900).astype(float)).clip(0, 255).astype(np.uint8), "low-contrast-photo", name, "photo", part, "jpg", quality=85)
        if name not in ("moon", "cell", "brick", "gravel", "grass", "retina", "hubble_deep_field", "immunohistochemistry"):
            page = page_of(rng, 900, 1, "Harbour Museum", LINES, grey)
            s.add(taking(page, rng), "page-with-picture", name, "photo", part, "jpg", quality=88)
    with open(os.path.join(folder, "labels.json"), "w") as f:
        json.dump(s.rows, f, indent=0)
    return s.rows


if __name__ == "__main__":
    rows = make(sys.argv[1])
    sorts = sorted({r["sort"] for r in rows})
    print(len(rows), "pieces in", len(sorts), "sorts;", sum(r["part"] == "held" for r in rows), "held out")
