"""What automatic levels do to photos: the detail of the forecast, by a forecast and a measure of numpy's and scipy's own.

Photos come with the wheels of scikit-image (camera CC0, astronaut NASA, coffee and cat CC0) and scikit-learn (china and
flower, CC BY 2.0); they are spoilt here as phones do it: too little light (2 to 3.5 stops, with shot and read noise), too
little contrast (a fifth to two fifths), a subject in shadow before a light sky; all are 8-bit JPEG. Used by tests only.

Detail is the standard deviation of the forecast's L*, band-passed by a difference of Gaussians of 0.3 and 2 mm on the
piece. The forecast is that of the dots that the program wrote: a swept Gaussian beam, the response of poster paint as the
kit states it, Murray-Davies and CIE L*. The bounds are this project's own goals (no source).
"""

import json
import os
import subprocess

import numpy as np
import pytest
import skimage.data
from PIL import Image, ImageDraw, ImageFilter, ImageFont
from scipy.ndimage import convolve1d, gaussian_filter
from scipy.special import erf
from sklearn.datasets import load_sample_image

DOTWRIGHT = os.environ.get("DOTWRIGHT", "target/release/dotwright")
UNMARKED, MARKED, X_HALF, RISE, BEAM = 0.03, 0.65, 2.2, 6.25, 0.12


def linear(code):
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)


def code(light):
    light = np.clip(light, 0, 1)
    return np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)


def lstar(y):
    return np.where(y > 216 / 24389, 116 * np.cbrt(y) - 16, y * 24389 / 27)


def photo(name):
    own = {"cat": "chelsea"}.get(name, name)
    a = load_sample_image(f"{name}.jpg") if name in ("china", "flower") else getattr(skimage.data, own)()
    a = np.dstack([a] * 3) if a.ndim == 2 else a[..., :3]
    return linear(a / 255.0)


def noisy(light, rng):
    return light + rng.normal(size=light.shape) * np.sqrt(0.002**2 + 0.0008 * np.clip(light, 0, 1))


def dark(light, stops, rng):
    return noisy(light * 2.0**-stops, rng)


def dull(light, share):
    return linear(0.5 + (code(light) - 0.5) * share)


def backlit(light, rng):
    h, w = light.shape[:2]
    y = np.broadcast_to(np.arange(h)[:, None] / h, (h, w))
    ground = (1 / (1 + np.exp(-(y - 0.42) * 40)))[..., None]
    sky = np.array([0.85, 0.9, 0.97]) * (0.9 + 0.1 * y[..., None])
    return noisy(light * 2**-3.2 * ground + sky * (1 - ground), rng)


def night(rng):
    """A hill below a dark sky, with stars, lamps and a moon."""
    h, w = 480, 640
    y, x = np.mgrid[0:h, 0:w]
    light = np.full((h, w, 3), 0.0025) * (1 + y / h)[..., None]
    for _ in range(150):
        r, c = rng.integers(0, 300), rng.integers(0, w)
        light[r : r + 2, c : c + 2] += rng.uniform(0.1, 0.9)
    light[y > 340 + 30 * np.sin(x / 60)] = 0.0012
    for _ in range(25):
        r, c = rng.integers(360, 460), rng.integers(0, w)
        light += np.exp(-((y - r) ** 2 + (x - c) ** 2) / 30.0)[..., None] * np.array([0.9, 0.7, 0.4])
    light[(x - 480) ** 2 + (y - 90) ** 2 < 900] = 0.8
    return noisy(light, rng)


def card(reflectance, rng):
    h, w = 480, 640
    y, x = np.mgrid[0:h, 0:w]
    fall = 1 - 0.12 * ((x - w / 2) ** 2 + (y - h / 2) ** 2) / (w * w / 4 + h * h / 4)
    return noisy(np.repeat((reflectance * fall)[..., None], 3, 2), rng)


def forecast(dots, pitch, solid):
    over, reach, sigma = 4, 3, BEAM / pitch / 4
    at, tap = (np.arange(over) + 0.5) / over - 0.5, np.arange(-reach, reach + 1)
    root = sigma * np.sqrt(2)
    along = [0.5 * (erf((p - tap + 0.5) / root) - erf((p - tap - 0.5) / root)) for p in at]
    across = [np.exp(-((p - tap) ** 2) / (2 * sigma**2)) / (np.sqrt(2 * np.pi) * sigma) for p in at]
    mark = 0
    for a in along:
        lines = convolve1d(dots.astype(float), a[::-1], axis=1, mode="constant")
        for b in across:
            e = np.maximum(convolve1d(lines, b[::-1], axis=0, mode="constant"), 1e-9) * solid
            mark = mark + 1 / (1 + (X_HALF / e) ** RISE)
    return lstar(UNMARKED + mark / over**2 * (MARKED - UNMARKED))


def prepared(light, folder, *options):
    """The forecast's L*, the pitch and the notes of a photo of this light."""
    folder.mkdir()
    pixels = np.round(code(light) * 255).astype(np.uint8)
    Image.fromarray(pixels).save(folder / "photo.jpg", quality=85)
    line = [DOTWRIGHT, "prepare", str(folder / "photo.jpg"), "--blank", "rect:46x36mm", "--margin", "2mm"]
    line += ["--screen", "floyd-steinberg", "--read-as", "photo", "--out", str(folder / "out"), "--quiet", *options]
    subprocess.run(line, check=True)
    report = json.loads((folder / "out/report.json").read_text())
    dots = np.asarray(Image.open(folder / "out/dots.png").convert("L")) == 0
    pitch, solid = report["dots"]["pitch_across_mm"], report["process"]["effective_exposure_j_per_mm2"]
    return forecast(dots, pitch, solid), pitch, " ".join(report["notes"])


def detail(lightness, pitch, rows=slice(None)):
    band = gaussian_filter(lightness, 0.3 / pitch) - gaussian_filter(lightness, 2 / pitch)
    edge = int(2 / pitch)
    return band[edge:-edge, edge:-edge][rows].std()


def gain(light, folder, lower_half=False):
    folder.mkdir()
    before, pitch, _ = prepared(light, folder / "off", "--levels", "off")
    after, _, notes = prepared(light, folder / "auto")
    height = before.shape[0] - 2 * int(2 / pitch)
    rows = slice(height // 2, None) if lower_half else slice(None)
    return detail(after, pitch, rows) / detail(before, pitch, rows), notes


PHOTOS = ["camera", "astronaut", "coffee", "cat", "china", "flower"]


@pytest.mark.parametrize("name", PHOTOS)
def test_a_spoilt_photo_gets_thrice_its_detail(name, tmp_path):
    light, rng = photo(name), np.random.default_rng(100)
    spoilt = {f"{stops} stops dark": dark(light, stops, rng) for stops in (2.0, 3.5)}
    spoilt |= {f"{share} of its contrast": dull(light, share) for share in (0.2, 0.4)}
    for what, spoilt_light in spoilt.items():
        times, notes = gain(spoilt_light, tmp_path / what)
        print(f"{name}, {what}: {times:.2f}")
        assert "--levels off" in notes, f"{what}: it says what was done"
        assert times >= 3.0, (what, times)


def test_a_subject_in_shadow_is_lifted(tmp_path):
    got = []
    for i, name in enumerate(["astronaut", "coffee", "cat"]):
        times, notes = gain(backlit(photo(name), np.random.default_rng(7 + i)), tmp_path / name, lower_half=True)
        assert "shadow" in notes, name
        got.append(times)
    assert min(got) >= 2.0, got


@pytest.mark.parametrize("name", PHOTOS)
def test_good_photos_lose_nothing(name, tmp_path):
    times, _ = gain(photo(name), tmp_path / name)
    assert 0.97 <= times <= 1.35, times


def test_what_is_meant_to_be_dark_or_flat_stays_so(tmp_path):
    rng = np.random.default_rng(9)
    scenes = {"night": night(rng), "black": card(0.001, rng), "white": card(0.9, rng)}
    scenes |= {f"card of {r}": card(r, rng) for r in (0.02, 0.18, 0.5)}
    for name, light in scenes.items():
        before, _, _ = prepared(light, tmp_path / f"{name} off", "--levels", "off")
        after, _, _ = prepared(light, tmp_path / f"{name} auto")
        assert abs(after.mean() - before.mean()) < 1.0, name
        assert after.std() < 1.1 * before.std() + 0.1, name


LETTERING = "Harbour museum, pier four\nLighthouse keepers' day\nOpen from ten to five"
FONT = os.path.join(os.path.dirname(__file__), "../../src/art/fonts/DejaVuSerif.ttf")


def findings(tmp_path, image, side):
    image.save(tmp_path / "art.png")
    asked = ["--blank", f"rect:{side + 5}x{side + 5}mm", "--coating", "poster-paint", "--surface", "glass", "--read-as", "photo"]
    words = [DOTWRIGHT, "prepare", tmp_path / "art.png", *asked, "--out", tmp_path / "out", "--replace", "--json"]
    out = subprocess.run([str(w) for w in words], capture_output=True, text=True, check=False)
    return {f["name"]: f for f in json.loads(out.stdout)["findings"]}


@pytest.mark.parametrize("name", ["china", "coffee", "motorcycle", "cat"])
@pytest.mark.parametrize("size, found", [(28, True), (200, False)])
def test_lettering_in_a_photo_is_found_where_it_is_too_small(tmp_path, name, size, found):
    """A label in a photo of 1800 pixels on 85 mm: letters of about 1 mm, which no beam of 0.12 mm makes, and of 7 mm."""
    pixels = skimage.data.stereo_motorcycle()[0] if name == "motorcycle" else (code(photo(name)) * 255).astype(np.uint8)
    image = Image.fromarray(pixels)
    image = image.resize((1800, 1800 * image.height // image.width), Image.Resampling.LANCZOS)
    draw = ImageDraw.Draw(image)
    draw.rectangle((300, 300, 300 + size * 14, 300 + size * 4), fill=(240, 238, 230))
    draw.multiline_text((330, 310), LETTERING, fill=(20, 25, 40), font=ImageFont.truetype(FONT, size))
    image = image.filter(ImageFilter.GaussianBlur(0.7))
    assert ("detail-below-beam" in findings(tmp_path, image, 85)) == found


@pytest.mark.parametrize("name", ["china", "coffee", "flower", "cat", "camera", "grass", "gravel", "rocket"])
def test_fine_grain_of_a_photo_without_lettering_is_no_lettering(tmp_path, name):
    """Photos at 15 mm have three picture elements and more to a dot: leaves, fur, tiles and grass are lost, and are no
    lettering."""
    image = Image.fromarray((code(photo(name)) * 255).astype(np.uint8))
    assert "detail-below-beam" not in findings(tmp_path, image, 15)
