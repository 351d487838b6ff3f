"""The loop from the kit to the mark, end to end: wedges are drawn, burnt, photographed and read by the program, a photo is prepared
with what was read, and its scan program is burnt on the same machine, whose truth the program never sees.

    python loop.py [--truths 6] [--photos 2] [--screens floyd-steinberg,auto] [--keep DIR]      (--all: that, in full)

Each truth differs by up to a fifth from the kit in half exposure, rise, both beam widths, char, looks and exponent, and its beam
comes 0.5 to 2 ms late. The photo of the exposure wedge has a white card beside the piece. The table has a row for each process:
the kit's; with an exposure wedge; with a tone wedge on top; with a timing wedge on top; and the truth itself as a process file.
Where the program can draw a combined wedge, a row for that alone.

    PSNR      of the true mark against the wanted one, both seen through the eye: the two-Gaussian visual point spread of Kim
              and Allebach (IEEE Trans. Image Processing 11, 2002; constants from memory) at 300 mm, peak 1, 1.3 mm of border left out.
              Wanted is the picture's L* laid into the L* range that the piece truly has, as a mark fraction (Murray-Davies).
    forecast  mean |L*| between the piece as it came out and as this same forward model burns the same program under the
              values that the report states, both seen through the eye
"""
import argparse
import json
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from scipy.signal import fftconvolve

sys.path.insert(0, str(Path(__file__).parent))
import phone_photo as phone  # noqa: E402
from burn_model import Truth, burnt, lightness, luminance, read_program  # noqa: E402
from make_wedge_photos import Sheet, can_draw, other_truth, run  # noqa: E402

FOLD = 4                  # samples of 0.02 mm in a cell that is compared: 0.08 mm
BORDER = 16               # cells
BLANK, BOX = "rect:64x48mm", (0.0, 0.0, 64.0, 48.0)
KIT = Truth(grain=0.0, speckle=0.0)


def eye(mm, distance=300.0):
    """Visual point spread on cells of `mm`, sum 1: the inverse transform of the root of its own correlation's spectrum,
    43.2 exp(-r2/2/0.0219^2) + 38.7 exp(-r2/2/0.0598^2) with r in degrees."""
    n, keep = 512, 14
    degrees = np.degrees(mm / distance)
    f = np.fft.fftfreq(n) / degrees
    f2 = f[:, None] ** 2 + f[None, :] ** 2
    spectrum = sum(2 * np.pi * k * s * s * np.exp(-2 * np.pi ** 2 * s * s * f2) for k, s in ((43.2, 0.0219), (38.7, 0.0598)))
    spread = np.fft.fftshift(np.fft.ifft2(np.sqrt(spectrum)).real)
    c = n // 2
    spread = spread[c - keep:c + keep + 1, c - keep:c + keep + 1]
    return spread / spread.sum()


EYE = eye(FOLD * 0.02)


def seen(plane):
    r = EYE.shape[0] // 2
    return fftconvolve(np.pad(plane, r, mode="reflect"), EYE, mode="valid")


# ---- pictures ----------------------------------------------------------------------------------------------------------

def pictures(folder, count):
    """Photos as PNG of 1320 x 960 pixels, fine enough that no resampling between them and the dots matters."""
    from skimage import data
    out = []
    sources = [("harbour", cv2.imread(str(Path(__file__).parents[2] / "samples" / "harbour.jpg"))), ("cat", data.chelsea()[..., ::-1]),
               ("coffee", data.coffee()[..., ::-1])]
    for name, image in sources[:count]:
        h, w = image.shape[:2]
        side = min(w / 1320, h / 960)
        cw, ch = int(1320 * side), int(960 * side)
        image = image[(h - ch) // 2:(h - ch) // 2 + ch, (w - cw) // 2:(w - cw) // 2 + cw]
        image = cv2.resize(image, (1320, 960), interpolation=cv2.INTER_AREA if side > 1 else cv2.INTER_CUBIC)
        path = Path(folder) / f"{name}.png"
        cv2.imwrite(str(path), image)
        out.append(path)
    return out


def wanted(path, placement, truth, shape):
    """The mark fraction that is wanted on the cells of the box, and where the picture lies in it (slices)."""
    code = cv2.imread(str(path)).astype(np.float64)[..., ::-1] / 255
    lin = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4) @ [0.2126, 0.7152, 0.0722]
    cell = FOLD * 0.02
    left, width = placement["left_mm"], placement["true_width_mm"]
    top, height = placement["top_mm"], placement["true_height_mm"]
    # Cells' centres in the picture's pixels; the picture is gathered to a cell first.
    x = ((np.arange(shape[1]) + 0.5) * cell - left) / width * lin.shape[1] - 0.5
    y = ((np.arange(shape[0]) + 0.5) * cell - top) / height * lin.shape[0] - 0.5
    across = cell / width * lin.shape[1]
    soft = cv2.blur(lin, (1, 1)) if across < 1 else cv2.GaussianBlur(lin, (0, 0), across / np.sqrt(12))
    gx, gy = np.meshgrid(x.astype(np.float32), y.astype(np.float32))
    lin = cv2.remap(soft.astype(np.float32), gx, gy, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    low, high = lightness(truth.unmarked), lightness(truth.marked)
    a = truth.mark(luminance(low + (high - low) * lightness(lin) / 100))
    inside = (slice(int(np.ceil(top / cell)), int((top + height) / cell)), slice(int(np.ceil(left / cell)), int((left + width) / cell)))
    return a, inside


# ---- the machine's truth, and what wedges tell of it ---------------------------------------------------------------------

def truth_of(number):
    """The seeded truth of that number."""
    rng = np.random.default_rng([20261126, number])
    return replace(other_truth(KIT, rng), lag_ms=float(rng.uniform(0.5, 2.0)), grain=0.02, speckle=0.01)


def told_in_full(truth, path):
    """The truth as a process file: what the best of all wedges could tell."""
    t = truth
    pitch = 0.0875                      # that of the wedges, so that rows differ by what is known alone
    wished = 4.1 / 2.2 * t.x_half        # as far above the half exposure as the kit starts
    speed = (0.9 * t.watts / pitch / wished * t.v0 ** (t.s - 1)) ** (1 / t.s)
    m = lambda v, unit="": f'{{ value = "{v:.5f}{unit}", sigma = {0.001 * v:.6f} }}' if unit else f"{{ value = {v:.5f}, sigma = {0.001 * v:.6f} }}"
    path.write_text("\n".join([
        'wedge = "W000000"', 'date = "2026-11-25"', "absolute_lightness = true", f'v0 = "{t.v0}mm/s"',
        f"beam_along = {m(t.beam_along, 'mm')}", f"beam_across = {m(t.beam_across, 'mm')}", f"unmarked = {m(t.unmarked)}",
        f"marked = {m(t.marked)}", f"charred = {m(t.charred)}", f"x_half = {m(t.x_half, 'J/mm2')}", f"rise = {m(t.rise)}",
        f"x_char = {m(t.x_char, 'J/mm2')}", f"char_rise = {m(t.char_rise)}", f"schwarzschild = {m(t.s)}", f"lag_ms = {m(t.lag_ms)}",
        "[best]", 'power = "90%"', f'speed = "{speed:.2f}mm/s"', f'pitch = "{pitch}mm"', "passes = 1"]) + "\n")
    return path


def measured(kind, truth, before, work, seed):
    """Draws, burns, photographs and reads one wedge; the path of the process file that comes of it, or None with the reason."""
    sheet_folder, out = work / f"sheet-{kind}", work / f"read-{kind}"
    more = ["--process", before] if before else []
    run("wedge", "draw", "--kind", kind, "--blank", "glass-tile-100", "--coating", "poster-paint", "--out", sheet_folder, "--replace", *more)
    sheet = Sheet(sheet_folder)
    raster, _ = sheet.burnt(truth, np.random.default_rng([seed, 1]))
    rng = np.random.default_rng([seed, 2])
    shot = phone.draw_shot(rng, ["plain"], (2800, 2100), sheet.width, sheet.height, seed)
    shot = replace(shot, tilt=min(shot.tilt, 10.0), fill=0.74, turn=float(rng.uniform(-8, 8)), clutter=0, white_at=0.55, card=(sheet.width / 2, -9.0, 10.0, 0.85))
    photo, lens = phone.photograph(raster, truth, sheet.blank, shot)
    phone.save(photo, work / f"{kind}.jpg", 94)
    x, y = lens.project(shot.card[0], shot.card[1])
    half = 3.0 * phone.lens_scale(lens, sheet.width, sheet.height)
    # The card is for lightness: the kinds that fit no looks read alike without it.
    white = ["--white", f"{x - half:.0f},{y - half:.0f},{2 * half:.0f},{2 * half:.0f}", "--white-luminance", "85%"] if kind in ("exposure", "combined") else []
    done = run("wedge", "read", work / f"{kind}.jpg", "--wedge", sheet_folder / "wedge.toml", "--out", out, "--replace",
               "--date", "2026-11-25", *white, *more, check=False)
    return (out / "process.toml", "") if done.returncode == 0 else (None, done.stderr.strip())


def processes(truth, work, seed, which):
    """Name and process file of each row, in order; a wedge that could not be read leaves the one before."""
    rows = [("kit", None)]
    last = None
    for name, kind in (("+ exposure wedge", "exposure"), ("+ tone wedge", "tone"), ("+ timing wedge", "timing")):
        if name not in which:
            break
        got, why = measured(kind, truth, last, work, seed)
        if got is None:
            print(f"  {kind} wedge: {why}", flush=True)
        last = got or last
        rows.append((name, last))
    if "combined wedge alone" in which and can_draw("combined"):
        got, why = measured("combined", truth, None, work, seed)
        if got is None:
            print(f"  combined wedge: {why}", flush=True)
        rows.append(("combined wedge alone", got))
    rows.append(("the truth", told_in_full(truth, work / "truth.toml")))
    return [r for r in rows if r[0] in which]


# ---- the mark ----------------------------------------------------------------------------------------------------------

def believed(report, process):
    """The Truth that the report states, and the lag that its process file holds."""
    p = report["process"]
    v = lambda k: p[k]["value"] if isinstance(p[k], dict) else p[k]
    lag = 0.0
    if process:
        import tomllib
        lag = tomllib.loads(Path(process).read_text()).get("lag_ms", {}).get("value", 0.0)
    return Truth(watts=v("rated_power_w"), beam_along=v("beam_along_mm"), beam_across=v("beam_across_mm"), lag_ms=lag, unmarked=v("y_unmarked"),
                 marked=v("y_marked"), charred=v("y_char"), x_half=v("x_half_j_per_mm2"), rise=v("rise"), x_char=v("x_char_j_per_mm2") or np.inf,
                 char_rise=v("char_rise"), s=v("schwarzschild"), v0=v("reference_speed_mm_per_s"), grain=0.0, speckle=0.0)


def cells(raster):
    p = raster.plane
    return cv2.resize(p, (p.shape[1] // FOLD, p.shape[0] // FOLD), interpolation=cv2.INTER_AREA).astype(np.float64)


def marked(picture, process, screen, truth, out):
    """Prepares, burns and judges one mark."""
    more = ["--process", process] if process else []
    done = run("prepare", picture, "--blank", BLANK, "--margin", "2mm", "--surface", "glass", "--coating", "poster-paint", "--levels", "off",
               "--screen", screen, "--read-as", "photo", "--out", out, "--replace", "--accept", "over-burn", *more, check=False)
    if not (out / "program.nc").exists():
        return {"error": done.stderr.strip() or "no program was written"}
    report = json.loads((out / "report.json").read_text())
    moves = read_program((out / "program.nc").read_text())
    even = replace(truth, grain=0.0, speckle=0.0)
    rng = np.random.default_rng(0)
    true = cells(burnt(moves, even, BOX, rng)[0])
    trusted = believed(report, process)
    forecast = cells(burnt(moves, trusted, BOX, rng)[0])
    want, inside = wanted(picture, report["placement"], even, true.shape)
    inner = tuple(slice(s.start + BORDER, s.stop - BORDER) for s in inside)
    error = seen(even.mark(true)[inside]) - seen(want[inside])
    error = error[BORDER:-BORDER, BORDER:-BORDER]
    l_true, l_told = lightness(seen(true)[inner]), lightness(seen(forecast)[inner])
    area = inside
    return {"psnr": float(-10 * np.log10(np.mean(error ** 2))), "shift": float(error.mean()), "forecast": float(np.abs(l_told - l_true).mean()),
            "forecast_shift": float((l_told - l_true).mean()), "pitch": report["dots"]["pitch_across_mm"], "power": report["process"]["power_share"]["value"],
            "speed": report["process"]["speed_mm_per_s"]["value"], "minutes": report["times"]["total_s"] / 60, "mean_told": report["forecast"]["mean_mark_share"],
            "mean_here": float(trusted.mark(forecast[area]).mean()), "findings": [f["name"] for f in report["findings"]]}


ROWS = ("kit", "+ exposure wedge", "+ tone wedge", "+ timing wedge", "combined wedge alone", "the truth")


def loop(truths, photos, screens, work, rows=ROWS, loud=True):
    """All marks: a list of dicts with truth, row, picture, screen and what came of it."""
    work.mkdir(parents=True, exist_ok=True)
    arts = pictures(work, photos)
    out = []
    for number in truths:
        truth = truth_of(number)
        place = work / f"truth-{number}"
        place.mkdir(exist_ok=True)
        if loud:
            print(f"truth {number}: half {truth.x_half:.2f} rise {truth.rise:.2f} beam {truth.beam_along:.3f}/{truth.beam_across:.3f} s {truth.s:.2f} "
                  f"char {truth.x_char:.1f} looks {truth.unmarked:.3f} {truth.marked:.2f} {truth.charred:.2f} lag {truth.lag_ms:.2f}", flush=True)
        for row, process in processes(truth, place, 100 + number, rows):
            for art in arts:
                for screen in screens:
                    got = marked(art, process, screen, truth, place / "job")
                    out.append({"truth": number, "row": row, "picture": art.stem, "screen": screen, **got})
                    if loud:
                        g = out[-1]
                        print(f"  {row:18} {art.stem:8} {screen:16}", g.get("error") or
                              f"{g['psnr']:.1f} dB shift {g['shift']:+.3f} forecast {g['forecast']:.2f} L* ({g['forecast_shift']:+.2f}) "
                              f"{100 * g['power']:.0f} % {g['speed']:.1f} mm/s pitch {g['pitch']} mean {g['mean_told']:.3f} here {g['mean_here']:.3f} {','.join(g['findings'])}", flush=True)
    return out


def table(marks, screens):
    lines = ["| process used | forecast error L* | " + " | ".join(screens) + " |", "|---|---|" + "---|" * len(screens)]
    for row in ROWS:
        of = [m for m in marks if m["row"] == row and "error" not in m]
        if of:
            cell = lambda s: (lambda v: f"{np.mean(v):.1f}" if v else "-")([m["psnr"] for m in of if m["screen"] == s])
            lines.append(f"| {row} | {np.mean([m['forecast'] for m in of]):.1f} | " + " | ".join(cell(s) for s in screens) + " |")
    return "\n".join(lines)


def main():
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument("--all", action="store_true", help="six truths, two photos, both screens")
    a.add_argument("--truths", type=int, default=1)
    a.add_argument("--photos", type=int, default=1)
    a.add_argument("--screens", default="floyd-steinberg,auto")
    a.add_argument("--rows", default=",".join(ROWS))
    a.add_argument("--keep", help="folder that keeps wedges, photos and readings")
    o = a.parse_args()
    truths, photos = (6, 2) if o.all else (o.truths, o.photos)
    screens = o.screens.split(",")
    with tempfile.TemporaryDirectory() as folder:
        work = Path(o.keep or folder)
        marks = loop(range(truths), photos, screens, work, tuple(o.rows.split(",")))
        (work / "marks.json").write_text(json.dumps(marks))
        print(table(marks, screens))


if __name__ == "__main__":
    main()
