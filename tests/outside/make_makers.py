"""Makes what makers bring: 24 pieces of art as customers send them, drawn or taken from public pictures.

Used by test_makers.py; by hand: python tests/outside/make_makers.py FOLDER. Everything drawn is invented (the gift shop of
a harbour museum); photographs are those that scikit-image and scikit-learn bring along.
"""

import pathlib
import sys

import numpy as np
import pillow_heif
from PIL import Image, ImageDraw, ImageFilter, ImageFont
from scipy import ndimage

ROOT = pathlib.Path(__file__).resolve().parents[2]
FONTS = ROOT / "src/art/fonts"


def font(size, name="DejaVuSans-Bold"):
    return ImageFont.truetype(str(FONTS / f"{name}.ttf"), size)


def linear(code):
    """IEC 61966-2-1, codes 0 to 1."""
    code = np.asarray(code, float)
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)


def code(light):
    light = np.clip(light, 0, 1)
    return np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)


def picture(light):
    return Image.fromarray((code(light) * 255 + 0.5).astype(np.uint8))


def photo(name):
    """A photograph's linear light, rows x columns x 3."""
    if name in ("china", "flower"):
        from sklearn.datasets import load_sample_image

        pixels = load_sample_image(f"{name}.jpg")
    else:
        import skimage.data

        pixels = getattr(skimage.data, name)()
    pixels = np.asarray(pixels)
    if pixels.ndim == 2:
        pixels = np.repeat(pixels[..., None], 3, axis=2)
    return linear(pixels[..., :3] / 255)


def enlarged(light, factor):
    size = (light.shape[1] * factor, light.shape[0] * factor)
    return linear(np.asarray(picture(light).resize(size, Image.Resampling.BICUBIC)) / 255)


def underexposed(light, stops, rng):
    """A phone's picture of the same with too little light: fewer photons, so more noise (common practice: shot noise
    of a full well of 2000 electrons, 4 electrons of read-out)."""
    electrons = light * 2000 / 2**stops
    electrons = rng.poisson(electrons) + rng.normal(0, 4, light.shape)
    return np.clip(electrons / 2000, 0, 1)


def emblem(size, ink, ground, second=None, over=4):
    """A lighthouse in a ring, with its rays and waves."""
    n = size * over
    image = Image.new("RGB", (n, n), ground)
    d = ImageDraw.Draw(image)
    second = second or ink

    def p(*xy):
        return [(x * n, y * n) for x, y in xy]

    d.ellipse([0.05 * n, 0.05 * n, 0.95 * n, 0.95 * n], outline=ink, width=round(0.025 * n))
    d.polygon(p((0.44, 0.36), (0.56, 0.36), (0.61, 0.74), (0.39, 0.74)), fill=ink)
    d.rectangle([0.42 * n, 0.27 * n, 0.58 * n, 0.35 * n], outline=ink, width=round(0.015 * n))
    d.polygon(p((0.40, 0.27), (0.5, 0.17), (0.60, 0.27)), fill=second)
    for y in (0.45, 0.58):
        d.rectangle([0.41 * n, y * n, 0.59 * n, (y + 0.045) * n], fill=ground)
    for side in (-1, 1):
        for up in (-0.06, 0.0, 0.06):
            d.line(p((0.5 + side * 0.12, 0.31 + up / 3), (0.5 + side * 0.32, 0.31 + up * 1.6)), fill=second, width=round(0.014 * n))
    for i, y in enumerate((0.77, 0.81, 0.85)):
        half = (0.30, 0.24, 0.17)[i]
        xs = np.linspace(0.5 - half, 0.5 + half, 60)
        d.line(p(*[(x, y + 0.008 * np.sin(x * 60)) for x in xs]), fill=second, width=round(0.014 * n), joint="curve")
    return image.resize((size, size), Image.Resampling.LANCZOS)


def lettering(text, size, height, ink=(0, 0, 0), ground=(255, 255, 255), name="DejaVuSerif-Bold"):
    image = Image.new("RGB", size, ground)
    d = ImageDraw.Draw(image)
    face = font(height, name)
    lines = text.split("\n")
    for i, line in enumerate(lines):
        y = size[1] / 2 + (i - (len(lines) - 1) / 2) * height * 1.3
        d.text((size[0] / 2, y), line, fill=ink, font=face, anchor="mm")
    return image


def ship(size, width, ink=0, ground=255):
    """A sailing ship in single strokes."""
    over = 3
    n = size * over
    image = Image.new("L", (n, n), ground)
    d = ImageDraw.Draw(image)

    def line(points, wide=1.0):
        d.line([(x * n, y * n) for x, y in points], fill=ink, width=max(1, round(width * wide * over)), joint="curve")

    line([(0.12, 0.66), (0.22, 0.80), (0.76, 0.80), (0.90, 0.63), (0.12, 0.66)], 1.3)
    for x, top in ((0.35, 0.18), (0.55, 0.10), (0.73, 0.25)):
        line([(x, 0.66), (x, top)], 1.4)
        for j in range(2):
            y0 = top + 0.06 + j * 0.22
            line([(x - 0.09, y0), (x + 0.09, y0), (x + 0.11, y0 + 0.17), (x - 0.11, y0 + 0.17), (x - 0.09, y0)])
    for k in range(9):
        line([(0.2 + 0.07 * k, 0.72), (0.22 + 0.07 * k, 0.72)], 1.2)
    for k in range(4):
        xs = np.linspace(0.05, 0.95, 80)
        line([(x, 0.84 + 0.03 * k + 0.008 * np.sin(40 * x + k)) for x in xs], 0.8)
    for k in range(28):
        line([(0.24 + 0.019 * k, 0.79), (0.27 + 0.019 * k, 0.74)], 0.6)
    return np.asarray(image.resize((size, size), Image.Resampling.LANCZOS)) / 255


def on_paper(drawing, rng, paper=(0.80, 0.76, 0.66), depth=0.9, shadow=0.55, noise=0.012):
    """Something drawn on paper (`drawing`: 1 paper, 0 stroke), photographed by hand under a lamp from one side."""
    # The sheet lies a little askew under the camera; its light does not.
    turned = Image.fromarray((255 * drawing).astype(np.uint8)).rotate(1.6, Image.Resampling.BICUBIC, fillcolor=255)
    drawing = np.asarray(turned) / 255
    h, w = drawing.shape
    y, x = np.mgrid[0:h, 0:w] / max(h, w)
    fall = 1 - shadow * (0.7 * x + 0.5 * y) / 1.2
    hand = 1 - 0.35 / (1 + np.exp(-(x + 0.6 * y - 0.95) * 25))
    fibres = 1 + 0.08 * ndimage.gaussian_filter(rng.normal(0, 1, (h, w)), 1.2)
    reflect = 1 - depth * (1 - drawing)
    light = np.asarray(paper) * (fall * hand * fibres * reflect)[..., None]
    light = light * (1 + rng.normal(0, noise * 2, light.shape)) + rng.normal(0, noise / 4, light.shape)
    return picture(light).filter(ImageFilter.GaussianBlur(0.8))


def screenshot():
    image = Image.new("RGB", (1170, 1500), (247, 247, 250))
    d = ImageDraw.Draw(image)
    d.rectangle([0, 0, 1170, 120], fill=(28, 62, 92))
    d.text((40, 60), "Harbour museum", fill=(255, 255, 255), font=font(48), anchor="lm")
    d.rounded_rectangle([60, 180, 1110, 640], 24, fill=(255, 255, 255), outline=(214, 218, 226), width=3)
    image.paste(emblem(380, (24, 60, 96), (255, 255, 255), (200, 70, 50)), (395, 220))
    for i in range(14):
        d.text((70, 720 + 50 * i), "Tours of the lightship leave on the hour."[: 24 + (i * 7) % 18], fill=(50, 54, 62), font=font(30, "DejaVuSans"))
    return image


def pdf(path, draw):
    """A one-page PDF of vector strokes, 100 x 100 points, written by hand (ISO 32000-1)."""
    body = draw.encode()
    objects = [
        b"<< /Type /Catalog /Pages 2 0 R >>",
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 100 100] /Contents 4 0 R /Resources << >> >>",
        b"<< /Length %d >>\nstream\n" % len(body) + body + b"\nendstream",
    ]
    out, places = b"%PDF-1.4\n", []
    for i, o in enumerate(objects):
        places.append(len(out))
        out += b"%d 0 obj\n" % (i + 1) + o + b"\nendobj\n"
    start = len(out)
    out += b"xref\n0 %d\n0000000000 65535 f \n" % (len(objects) + 1)
    out += b"".join(b"%010d 00000 n \n" % p for p in places)
    out += b"trailer << /Size %d /Root 1 0 R >>\nstartxref\n%d\n%%%%EOF\n" % (len(objects) + 1, start)
    path.write_bytes(out)


def make(out):
    out = pathlib.Path(out)
    out.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(13)
    navy, red, white, black = (24, 60, 96), (200, 70, 50), (255, 255, 255), (0, 0, 0)

    emblem(900, navy, white, red).save(out / "logo-jpeg.jpg", quality=40)
    emblem(200, black, white).save(out / "logo-small.png")
    emblem(800, white, black).save(out / "logo-reversed.png")
    emblem(1000, (30, 120, 90), (252, 246, 226), (232, 168, 40)).save(out / "logo-coloured.jpg", quality=75)
    on_paper(ship(1600, 4), rng, depth=0.42).save(out / "pencil-sketch.jpg", quality=85)
    on_paper(ship(1500, 6), rng, paper=(0.88, 0.86, 0.80), depth=0.94, shadow=0.06, noise=0.004).save(out / "ink-scan.jpg", quality=88)
    picture(underexposed(enlarged(photo("coffee"), 2), 3.2, rng)).save(out / "photo-dark.jpg", quality=88)
    light = enlarged(photo("chelsea"), 2)
    y, x = np.mgrid[0 : light.shape[0], 0 : light.shape[1]]
    glow = np.clip((x / light.shape[1] - 0.55) * 4, 0, 1)[..., None]
    picture(np.clip(underexposed(light, 2.2, rng) * (1 - glow) + glow * (0.7 + 0.3 * light), 0, 1)).save(out / "photo-backlit.jpg", quality=88)
    picture(0.18 + 0.16 * enlarged(photo("china"), 2)).save(out / "photo-flat.jpg", quality=88)
    picture(photo("flower")).save(out / "photo-good.jpg", quality=92)
    Image.fromarray((code(photo("camera").mean(axis=2)) * 255).astype(np.uint8)).save(out / "photo-grey.png")
    screenshot().save(out / "screenshot.png")
    lettering("Lightship\nWhaleback", (1200, 700), 150).convert("L").point(lambda v: 255 * (v > 127)).convert("1").save(out / "lettering-1bit.png")
    tag = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 560 260">{}</svg>'
    text = '<text x="280" y="{y}" font-family="{f}" font-size="{s}" text-anchor="middle">{t}</text>'
    (out / "name-tag.svg").write_text(tag.format(text.format(y=160, f="sans-serif", s=90, t="Ingrid Sørli")))
    (out / "name-glyphs.svg").write_text(tag.format(text.format(y=160, f="sans-serif", s=90, t="Volunteer 李伟")))
    (out / "name-long.svg").write_text(tag.format(text.format(y=160, f="sans-serif", s=90, t="Bartholomew Featherstone-Quay")))
    strokes = "q 6 w 10 10 80 80 re S 30 25 m 70 25 l 60 70 l 40 70 l f 50 88 m 62 74 l 38 74 l f Q"
    pdf(out / "logo.pdf", strokes)
    pillow_heif.from_pillow(picture(photo("rocket"))).save(out / "photo-phone.heic", quality=70)
    mark = np.asarray(emblem(700, black, white).convert("L"))
    Image.merge("RGBA", [Image.new("L", (700, 700), 255)] * 3 + [Image.fromarray(255 - mark)]).save(out / "logo-white-clear.png")
    small = emblem(1400, black, white)
    ImageDraw.Draw(small).text((700, 1368), "SAFE HARBOUR SINCE THE FIRST LIGHT WAS LIT", fill=black, font=font(26, "DejaVuSans"), anchor="mm")
    small.save(out / "emblem-motto.png")
    picture(enlarged(photo("chelsea"), 2)).save(out / "photo-slate.jpg", quality=90)
    signed = picture(enlarged(photo("coffee"), 2))
    ImageDraw.Draw(signed).text((600, 740), "Museum café, summer season", fill=white, font=font(34), anchor="mm")
    signed.save(out / "photo-lettering.jpg", quality=88)
    picture(photo("flower")).save(out / "photo-mirrored.jpg", quality=92)
    wide = enlarged(photo("china"), 2)
    picture(wide[300:620]).save(out / "panorama.jpg", quality=90)


if __name__ == "__main__":
    make(sys.argv[1])
