"""Photos of burnt wedges whose truth is known, what the program reads in them, and the tables of how well.

    python make_wedge_photos.py [--photos 40] [--negatives 8] [--size 2000x1500] [--kinds exposure,tone] [--keep DIR]

Draws wedges with the program (DOTWRIGHT), burns their scan programs with burn_model.py on machines and coatings whose truth
differs by up to a fifth from what the wedge expects, photographs them with phone_photo.py, reads the photos and compares.
With --keep the photos, the truth (truth.json) and the readings stay in DIR; --again judges them anew with the program that
is there now, without drawing or burning. The full run: --photos 300 --negatives 40 --size 4000x3000.

What is asked of the photos that the reading does not flag: each patch's L* within 1; beam within 8 %; exponent (rise) within
5 %; the right pick, or the right one named; 95 of 100 truths within two of the stated sigmas. What a reading says of itself
that is not one of `EVERYDAY` flags it.
"""
import argparse
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections import defaultdict
from dataclasses import asdict, fields, replace
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
import phone_photo as phone  # noqa: E402
from burn_model import Truth, burnt, lightness, read_program  # noqa: E402

DOTWRIGHT = os.environ.get("DOTWRIGHT", "target/release/dotwright")

# Notes that come with good photos too: a reading with another one is flagged.
EVERYDAY = ("the photo's own tone curve is not known", "the photo's colours are read as", "the pick hangs on",
            "the pick is in the fastest column", "the pick is in the slowest column", "the pick is the strongest", "the pick is the weakest", "of every patch 'prepare'", "not read:", "the lens bends straight lines", "a veil of reflected light was taken off", "the camera's curve of tones is", "the coating is uneven: from patch to patch it needs about", "the beam's width leans on", "no patch of the grid reaches a full mark")


def run(*words, check=True):
    done = subprocess.run([DOTWRIGHT, *map(str, words)], capture_output=True, text=True)
    if check and done.returncode:
        raise RuntimeError(f"{' '.join(map(str, words))}: {done.stderr}")
    return done


def can_draw(kind):
    """Whether this program knows the kind of wedge."""
    listed = run("wedge", "draw", "--help").stdout
    return re.search(rf"possible values:[^\]]*\b{kind}\b", " ".join(listed.split())) is not None


def mm(text):
    return float(str(text).removesuffix("mm"))


class Sheet:
    """A drawn wedge: its wedge.toml as numbers, its program."""

    def __init__(self, folder):
        self.folder = Path(folder)
        self.toml = t = tomllib.loads((self.folder / "wedge.toml").read_text())
        shape = t["blank"].split(":")
        self.round = shape[0] == "round"
        side = shape[1].removesuffix("mm").split("x")
        self.width, self.height = float(side[0]), float(side[-1])
        corner = next((float(s[1:].removesuffix("mm")) for s in shape[2:] if s.startswith("r")), 0.0)
        self.blank = {"shape": "round" if self.round else "rect", "width": self.width, "height": self.height, "corner": corner}
        self.watts = float(t["rated_power"].removesuffix("W"))
        self.pitch = mm(t["pitch_across"])
        self.patches = t.get("patch", [])
        self.combs = t.get("comb", [])
        e = t["expected"]
        self.lighter = e["y_marked"] > e["y_unmarked"]
        self.moves = None

    def burnt(self, truth, rng):
        if self.moves is None:
            self.moves = read_program((self.folder / "wedge.nc").read_text())
        return burnt(self.moves, truth, (0.0, 0.0, self.width, self.height), rng)

    def expected(self):
        """What the wedge expects, as a Truth."""
        e = self.toml["expected"]
        j = lambda k: float(str(e[k]).removesuffix("J/mm2"))
        return Truth(watts=self.watts, beam_along=mm(self.toml["beam_along"]), beam_across=mm(self.toml["beam_across"]),
                     unmarked=e["y_unmarked"], marked=e["y_marked"], charred=e["y_char"], x_half=j("x_half"), rise=e["rise"],
                     x_char=j("x_char"), char_rise=e["char_rise"], s=e["schwarzschild"], v0=float(e["v0"].removesuffix("mm/s")))

    def exposure(self, truth, p):
        """Effective exposure of a solid at a patch's setting, by the program's own speeds."""
        power = float(p["power"].rstrip("%")) / 100 * self.watts * p["passes"]
        v = float(p["speed"].removesuffix("mm/s"))
        return power / (v * self.pitch) * (v / truth.v0) ** (1 - truth.s)


def other_truth(kit, rng, off=0.2, beam=0.2):
    """A truth up to `off` from the kit's in everything that a wedge measures."""
    f = lambda o=off: float(np.exp(rng.uniform(np.log(1 - o), np.log(1 + o))))
    x_half = kit.x_half * f()
    most = max(kit.marked, kit.unmarked)
    top = min(0.88, most * f(0.15))
    low = min(kit.marked, kit.unmarked) * f()
    lighter = kit.marked > kit.unmarked
    return replace(kit, x_half=x_half, rise=kit.rise * f(), x_char=x_half * kit.x_char / kit.x_half * f(0.15), char_rise=kit.char_rise * f(),
                   s=min(kit.s * f(), 1.0), marked=top if lighter else low, unmarked=low if lighter else top,
                   charred=kit.charred * f() if lighter else max(kit.charred * f(), 0.01),
                   beam_along=kit.beam_along * f(beam), beam_across=kit.beam_across * f(beam), lag_ms=float(rng.uniform(0, 1.2)),
                   grain=float(rng.uniform(0.01, 0.035)), speckle=float(rng.uniform(0.005, 0.015)))


def true_patches(sheet, raster, inset=0.4):
    """Mean luminance and grain (standard deviation of L* through 0.4 mm) of each patch."""
    means, grains = [], []
    n = round(0.4 / raster.step)
    for p in sheet.patches:
        (x, y), (w, h) = p["centre"], p["size"]
        i = min(inset, 0.25 * min(w, h))
        core = raster.window(x - w / 2 + i, y - h / 2 + i, x + w / 2 - i, y + h / 2 - i)
        if p["pattern"] == "solid":
            means.append(float(core.mean()))
        else:   # a pattern need not fill the core a whole number of times
            a, b = np.hanning(core.shape[0] + 2)[1:-1], np.hanning(core.shape[1] + 2)[1:-1]
            means.append(float(a @ core @ b / a.sum() / b.sum()))
        r, c = core.shape[0] // n * n, core.shape[1] // n * n
        grains.append(float(lightness(core[:r, :c].reshape(r // n, n, c // n, n).mean(axis=(1, 3))).std()))
    return means, grains


# ---- which wedges ------------------------------------------------------------------------------------------------------

CASES = {
    "exposure": [("glass-tile-100", "poster-paint", "diode-5w"), ("glass-coaster-90", "poster-paint", "diode-5w"),
                 ("slate-coaster-100", "bare-slate", "diode-5w"), ("rect:100x60mm", "black-anodised-aluminium", "diode-5w"),
                 ("ceramic-tile-108", "dry-film-moly", "diode-5w"), ("round:90mm", "dry-film-moly", "diode-5w"),
                 ("glass-coaster-90", "zinc-spray", "diode-10w")],
    "tone": [("glass-tile-100", "poster-paint", "diode-5w"), ("glass-coaster-90", "poster-paint", "diode-5w"),
             ("slate-coaster-100", "bare-slate", "diode-5w")],
    "timing": [("glass-tile-100", "poster-paint", "diode-5w")],
    "combined": [("glass-tile-100", "poster-paint", "diode-5w"), ("glass-coaster-90", "poster-paint", "diode-5w"),
                 ("slate-coaster-100", "bare-slate", "diode-5w")],
}
# Of ten wedges of each kind so many; the kinds this program cannot draw fall out.
SHARES = {"exposure": 6, "tone": 3, "timing": 1, "combined": 6}


def process_file(truth, path):
    """What an exposure wedge would have told of this truth, as a process file: right, with honest sigmas."""
    t = truth.as_told()
    path.write_text(f'wedge = "W000000"\ndate = "2026-11-25"\nabsolute_lightness = false\nv0 = "{t.v0}mm/s"\n'
                    f'x_half = {{ value = "{t.x_half:.4f}J/mm2", sigma = {0.01 * t.x_half:.4f} }}\n'
                    f'rise = {{ value = {t.rise:.4f}, sigma = {0.03 * t.rise:.4f} }}\n'
                    f'schwarzschild = {{ value = {t.s:.4f}, sigma = 0.01 }}\n')
    return path


def drawn(kind, blank, coating, machine, folder, *more):
    if not (Path(folder) / "wedge.toml").exists():
        run("wedge", "draw", "--kind", kind, "--blank", blank, "--coating", coating, "--machine", machine, "--out", folder, *more)
    return Sheet(folder)


def plan(photos, kinds, each, seed):
    """Burns with their photos: (number, kind, case, conditions of each photo). Each condition comes as often as any other,
    in an order that is drawn anew each time, so that it meets all kinds of wedges."""
    rng = np.random.default_rng([seed, 3])
    order = [c for _ in range(-(-photos // len(phone.CONDITIONS))) for c in rng.permutation(phone.CONDITIONS)]
    turn = [k for k in kinds for _ in range(SHARES[k])]
    turn = [turn[i] for i in rng.permutation(len(turn))]
    count, left, conditions = defaultdict(int), photos, 0
    jobs = []
    while left > 0:
        kind = turn[len(jobs) % len(turn)]
        cases = CASES[kind]
        shots = []
        for _ in range(min(each, left)):
            shots.append(str(order[conditions]))
            conditions += 1
        jobs.append((len(jobs), kind, cases[count[kind] % len(cases)], shots))
        count[kind] += 1
        left -= len(shots)
    return jobs


BURN_CONDITIONS = ("streaks", "pinholes", "thicker", "speed-off")


def make(job, work, size, seed, card=False):
    """Draws, burns and photographs one wedge: the photos' records. With `card` a white card lies beside the piece."""
    cv2.setNumThreads(1)
    number, kind, (blank, coating, machine), shots = job
    rng = np.random.default_rng([seed, number])
    name = f"{kind}-{blank}-{coating}".replace(":", "-")
    sheet = drawn(kind, blank, coating, machine, work / "sheets" / name)
    of_burn = [c for c in shots if c in BURN_CONDITIONS]
    truth = phone.draw_burn(rng, of_burn, other_truth(sheet.expected(), rng))
    if kind == "tone":
        folder = work / "sheets" / f"{name}-{number}"
        sheet = drawn(kind, blank, coating, machine, folder, "--process", process_file(truth, work / f"process-{number}.toml"))
    raster, _ = sheet.burnt(truth, rng)
    means, grains = true_patches(sheet, raster)
    records = []
    for k, condition in enumerate(shots):
        conditions = sorted({condition, *of_burn} - {"plain"}) or ["plain"]
        shot = phone.draw_shot(rng, [c for c in conditions if c not in BURN_CONDITIONS], size, sheet.width, sheet.height, 1000 * seed + 10 * number + k)
        if card:
            shot = replace(shot, fill=min(shot.fill, 0.7), card=(sheet.width / 2, -9.0, 10.0, 0.85), white_at=min(shot.white_at, 0.55))
        photo, lens = phone.photograph(raster, truth, sheet.blank, shot)
        path = work / f"{number:03}-{k}.jpg"
        phone.save(photo, path, shot.jpeg)
        doubt, why = phone.doubtful(shot, truth, conditions)
        records.append({"photo": path.name, "sheet": str(sheet.folder.relative_to(work)), "kind": kind, "case": f"{coating} {blank}",
                        "conditions": conditions, "doubtful": doubt, "why": why, "truth": asdict(truth), "shot": asdict(shot),
                        "means": means, "grains": grains, "white": card_in(lens, sheet, shot) if card else None})
    return records


def card_in(lens, sheet, shot):
    """The middle of the white card in pixels: x, y, width, height."""
    x, y = lens.project(shot.card[0], shot.card[1])
    half = 3.0 * phone.lens_scale(lens, sheet.width, sheet.height)
    return [float(x - half), float(y - half), float(2 * half), float(2 * half)]


# ---- negatives ---------------------------------------------------------------------------------------------------------

def negatives(count, work, size, seed):
    """Photos that must be refused or flagged, each sort in turn."""
    sheet = drawn("exposure", "glass-tile-100", "poster-paint", "diode-5w", work / "sheets" / "exposure-glass-tile-100-poster-paint")
    sorts = ("over-exposed", "slightly over-exposed", "two pieces", "screenshot", "mirrored", "a third covered", "speed clamped",
             "power clamped", "another wedge", "no wedge")
    out, burns = [], {}

    def piece(key, truth, of=sheet):
        if key not in burns:
            burns[key] = of.burnt(truth, np.random.default_rng([seed, 5]))[0]
        return burns[key]

    for i in range(count):
        sort = sorts[i % len(sorts)]
        rng = np.random.default_rng([seed, 9, i])
        truth = sheet.expected()
        shot = phone.draw_shot(rng, ["plain"], size, sheet.width, sheet.height, seed + i)
        path = work / f"negative-{i:02}.jpg"
        if sort == "screenshot":
            image = cv2.imread(str(sheet.folder / "wedge.png"))
            scale = min(size[0] / image.shape[1], size[1] / image.shape[0]) * rng.uniform(0.8, 1.0)
            image = cv2.resize(image, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
            page = np.full((size[1], size[0], 3), 236, np.uint8)
            y, x = (page.shape[0] - image.shape[0]) // 2, (page.shape[1] - image.shape[1]) // 2
            page[y:y + image.shape[0], x:x + image.shape[1]] = image
            phone.save(page, path, 95)
        else:
            of = sheet
            if sort == "over-exposed":
                shot.white_at = float(rng.uniform(1.3, 2.2))
            elif sort == "slightly over-exposed":
                shot.white_at = float(rng.uniform(1.05, 1.2))
            elif sort == "mirrored":
                shot.mirrored = True
            elif sort == "a third covered":
                shot.covered = (0.67 * sheet.width, -5, sheet.width + 5, sheet.height + 5)
            elif sort == "speed clamped":
                truth = replace(truth, speed_most=15.0)
            elif sort == "power clamped":
                truth = replace(truth, power_most=0.7)
            elif sort == "another wedge":
                of = drawn("exposure", "glass-tile-100", "poster-paint", "diode-5w", work / "sheets" / "another", "--power", "50..100%")
            if sort == "no wedge":
                raster = piece("good", truth)
                raster = replace(raster, plane=np.full_like(raster.plane, 0.03))
                for _ in range(12):
                    cv2.circle(raster.plane, tuple(int(v) for v in rng.integers(500, 4500, 2)), int(rng.integers(80, 500)), 0.6, int(rng.choice([-1, 40])))
            else:
                raster = piece({"speed clamped": "speed", "power clamped": "power", "another wedge": "other"}.get(sort, "good"), truth, of)
            photo, _ = phone.photograph(raster, truth, of.blank, shot)
            if sort == "two pieces":
                half = (size[0] // 2, size[1])
                shots = [replace_size(shot, half, j) for j in range(2)]
                photo = np.hstack([phone.photograph(raster, truth, of.blank, s)[0] for s in shots])
            phone.save(photo, path, shot.jpeg)
        out.append({"photo": path.name, "sheet": str(sheet.folder.relative_to(work)), "kind": "negative", "case": sort, "conditions": [sort],
                    "doubtful": "yes", "why": sort, "truth": asdict(truth), "shot": asdict(shot), "means": [], "grains": []})
    return out


def replace_size(shot, size, j):
    return replace(shot, size=size, seed=shot.seed + j, azimuth=shot.azimuth + 40 * j, shift=(0.0, 0.0))


# ---- judging -----------------------------------------------------------------------------------------------------------

def is_setting(p):
    """Whether a patch is a solid at a setting of its own: neither part of a screen's row nor burnt to char."""
    return p["pattern"] == "solid" and not p.get("charred") and not p.get("screen")


def said_of(sheet, truth, p):
    """How much `prepare` would find in a solid burnt so, by the rules in the README: 0 nothing, 1 lines that show, 2 less than a
    full mark, 3 char on the lines. Looks are those the wedge expects: a photo without a white card tells none."""
    x = sheet.exposure(truth, p)
    sigma, lines = truth.beam_across / 4 / sheet.pitch, np.arange(-6, 7)
    dose = lambda at: float((np.exp(-((at - lines) ** 2) / (2 * sigma**2)) / (np.sqrt(2 * np.pi) * sigma)).sum())
    e = sheet.toml["expected"]
    full = e["y_unmarked"] + truth.rise_at(x) * (e["y_marked"] - e["y_unmarked"])
    if truth.char_at(x * dose(0)) >= 0.05:
        return 3
    if abs(lightness(full) - lightness(e["y_marked"])) > 2:
        return 2
    return int(truth.rise_at(x * dose(0.5)) < 0.9 * truth.rise_at(x * dose(0)))


def practitioner(sheet, truth, l, grain):
    """The rule of the pick on the truth: of the patches in which `prepare` finds least the fastest, then the weakest; where it
    finds worse than lines in all, those within 2 L* of the best. The patch to pick, and all that would do."""
    told = truth.as_told()
    said = [said_of(sheet, told, p) if is_setting(p) else 9 for p in sheet.patches]
    ok = [i for i in range(len(said)) if said[i] < 3 and grain[i] <= 3.0]
    if not ok:
        return None, []
    value = l if sheet.lighter else -l
    least = min(said[i] for i in ok)
    fit = [i for i in ok if said[i] == least] if least <= 1 else ok
    if least > 0:   # lines that show, or worse: no darker than can be seen beside the best
        best = max(value[i] for i in fit)
        fit = [i for i in fit if value[i] >= best - 2]
    speed = lambda i: float(sheet.patches[i]["speed"].removesuffix("mm/s")) / sheet.patches[i]["passes"]
    power = lambda i: float(sheet.patches[i]["power"].rstrip("%"))
    return min(fit, key=lambda i: (-speed(i), power(i), i)), fit


def judge(record, work, out=None):
    """Reads one photo with the program; returns the record with what came of it."""
    sheet = Sheet(work / record["sheet"])
    out = Path(out or work / "readings" / Path(record["photo"]).stem)
    card = record.get("white")
    white = ["--white", ",".join(f"{v:.0f}" for v in card), "--white-luminance", "85%"] if card else []
    done = run("wedge", "read", work / record["photo"], "--wedge", sheet.folder / "wedge.toml", "--out", out, "--replace",
               "--date", "2026-11-25", *white, check=False)
    got = dict(record, refused=None, notes=[], flagged=False, values={}, missing=[], unread=0, l_error=[], l_sigma=[])
    if done.returncode:
        said = re.sub(r"\s+", " ", done.stderr).strip()
        return dict(got, refused=said, flagged=True, crashed=done.returncode not in (1, 2))
    r = json.loads((out / "reading.json").read_text())
    got["notes"] = [n for n in r["notes"] if not n.lower().startswith(tuple(e.lower() for e in EVERYDAY))]
    got["flagged"] = bool(got["notes"])
    if record["kind"] == "negative":
        return got
    truth = Truth(**{f.name: record["truth"][f.name] for f in fields(Truth)})
    told, values = truth.as_told(), {}

    def hold(name, measured, true, limit=None, relative=True):
        """Takes a value in: its error (relative or plain), its error in sigmas."""
        if measured and "value" in measured:
            e = measured["value"] - true
            values[name] = (e / true if relative else e, e / max(measured["uncertainty"], 1e-12), limit)

    looks = np.array(record["means"])
    factor = 1.0
    if r["patches"] and len(looks):
        seen = np.array([p["lightness"].get("value", np.nan) for p in r["patches"]])
        sigma = np.array([p["lightness"].get("uncertainty", np.nan) for p in r["patches"]])
        if not r["scale"]["absolute"]:
            e = sheet.toml["expected"]
            factor = e["y_marked"] / looks.max() if "lightest patch" in r["scale"]["note"] else e["y_unmarked"] / truth.unmarked
        wanted = lightness(looks * factor)
        keep = ~np.isnan(seen)
        got["l_error"], got["l_sigma"] = (seen - wanted)[keep].tolist(), sigma[keep].tolist()
        got["unread"] = int((~keep).sum())   # the patches say why in the summary, the reading itself need not
        best, fit = practitioner(sheet, truth, wanted, np.array(record["grains"]))
        if r.get("pick") and best is not None:
            names = [p["name"] for p in sheet.patches]
            picked = names.index(r["pick"]["patch"]) if r["pick"]["patch"] in names else None
            named = any(re.search(rf"\b{names[best]}\b", n) for n in r["notes"])
            got["pick"] = "right" if picked == best else "named" if named else "would do" if picked in fit else "wrong"
            got["picks"] = (r["pick"]["patch"], names[best])
        elif best is not None and sheet.toml["kind"] != "tone":
            got["pick"] = "none"
    v = r.get("response")
    if v:
        hold("half exposure", v["x_half_j_mm2"], told.x_half, 0.05)
        hold("rise", v["rise"], truth.rise, 0.05)
        hold("reciprocity s", v["schwarzschild"], truth.s, 0.05, relative=False)
        hold("half char", v["x_char_j_mm2"], told.x_char, 0.10)
        hold("char rise", v["char_rise"], truth.char_rise)
        hold("look of char", v["y_char"], truth.charred * factor)
    if r.get("beam"):
        hold("beam along", r["beam"]["along_mm"], truth.beam_along, 0.08)
        hold("beam across", r["beam"]["across_mm"], truth.beam_across, 0.08)
        for k, name in (("along_mm", "beam along"), ("across_mm", "beam across")):
            if "value" not in r["beam"][k]:
                got["missing"].append(name)
    solid = [y for y, p in zip(looks, sheet.patches) if p["pattern"] == "solid" and p.get("screen")]
    for gain in r.get("dot_gain", []):
        steps = {round(float(p["coverage"].rstrip("%")) / 100, 4): looks[i] for i, p in enumerate(sheet.patches) if p.get("screen") == gain["screen"]}
        worst = 0.0
        for s in gain["steps"]:
            y = steps.get(round(s["coverage"], 4))
            if y is not None and solid:
                e = s["mark"] - (y - truth.unmarked) / (np.mean(solid) - truth.unmarked)
                worst = max(worst, abs(e))
        values[f"tone curve {gain['screen']}"] = (worst, 0.0, 0.03)
    for lag in r.get("lags", []):
        hold(f"offset at {lag['speed_mm_s']:.0f} mm/s", lag["offset_mm"], 2 * lag["speed_mm_s"] * truth.lag_ms / 1000, 0.02, relative=False)
    got["values"] = values
    return got


def broken(j):
    """Names of what a reading that is neither refused nor flagged got wrong."""
    out = []
    if j["l_error"] and max(abs(e) for e in j["l_error"]) > 1:
        out.append("L*")
    out += [n for n, (e, _, limit) in j["values"].items() if limit and abs(e) > limit]
    if j.get("pick") in ("wrong", "would do", "none"):
        out.append("pick " + j["pick"])
    return out + [m + " not measured" for m in j["missing"]]


def tables(judged):
    """The tables, as text."""
    lines = []
    say = lines.append
    photos = [j for j in judged if j["kind"] != "negative"]
    kept = [j for j in photos if not j["flagged"]]
    say(f"{len(photos)} photos: {sum(j['refused'] is not None for j in photos)} refused, {sum(j['flagged'] and j['refused'] is None for j in photos)} flagged, {len(kept)} read as if true")
    plain = [j for j in photos if j["doubtful"] == "no"]
    bad = [j for j in photos if j["doubtful"] == "yes"]
    say(f"photos with nothing to flag: {len(plain)}, of these flagged or refused {sum(j['flagged'] for j in plain)}; to be flagged: {len(bad)}, not flagged {sum(not j['flagged'] for j in bad)}")
    say("")
    say(f"patches that are not read in the photos that are read as if true: {sum(j['unread'] for j in kept)}, in {sum(j['unread'] > 0 for j in kept)} photos")
    say("")
    share = lambda ok: f"{sum(ok)} of {len(ok)} ({100 * np.mean(ok):.0f} %)" if ok else "-"
    say("| of the photos that are not flagged | within | worst | 2 sigma hold | within, of photos with nothing to flag | 2 sigma hold |")
    say("|---|---|---|---|---|---|")
    clean = [j for j in kept if j["doubtful"] == "no"]

    def l_of(rows):
        rows = [j for j in rows if j["l_error"]]
        worst = [max(abs(e) for e in j["l_error"]) for j in rows]
        z = [abs(e) / max(s, 1e-9) for j in rows for e, s in zip(j["l_error"], j["l_sigma"])]
        return share([w <= 1 for w in worst]), f"{max(worst, default=0):.1f}", share([v <= 2 for v in z])

    a, b = l_of(kept), l_of(clean)
    say(f"| every patch's L* within 1 | {a[0]} | {a[1]} | {a[2]} of patches | {b[0]} | {b[2]} |")
    picks = lambda rows: [j["pick"] for j in rows if "pick" in j]
    good = lambda rows: share([p in ("right", "named") for p in picks(rows)])
    many = ", ".join(f"{w} {picks(kept).count(w)}" for w in ("right", "named", "would do", "wrong", "none"))
    say(f"| right pick, or the right one named | {good(kept)} | {many} | | {good(clean)} | |")
    base = lambda n: re.sub(r" at .*| curve .*", "", n)
    for name in dict.fromkeys(base(n) for j in kept for n in [*j["values"], *j["missing"]]):
        of = lambda rows: [v for j in rows for n, v in j["values"].items() if base(n) == name]
        lost = sum(name in j["missing"] for j in kept)
        rows = of(kept)
        if not rows:
            continue
        limit = rows[0][2]
        within = lambda r: share([abs(v[0]) <= limit for v in r]) if limit else "-"
        held = lambda r: "-" if name == "tone" else share([abs(v[1]) <= 2 for v in r])
        say(f"| {name}{' curve' if name == 'tone' else ''}{f' within {limit:g}' if limit else ''} | {within(rows)}{f', not measured {lost}' if lost else ''} | "
            f"{max(abs(v[0]) for v in rows):.3f} | {held(rows)} | {within(of(clean))} | {held(of(clean))} |")
    say("")
    say("| condition | photos | refused | flagged | good | broken by, with how many |")
    say("|---|---|---|---|---|---|")
    conditions = dict.fromkeys(c for c in phone.CONDITIONS)
    for c in conditions:
        of = [j for j in photos if c in j["conditions"]]
        if not of:
            continue
        why = defaultdict(int)
        for j in of:
            if not j["flagged"]:
                for b in broken(j):
                    why[b] += 1
        good = sum(not j["flagged"] and not broken(j) for j in of)
        say(f"| {c} | {len(of)} | {sum(j['refused'] is not None for j in of)} | {sum(j['flagged'] and j['refused'] is None for j in of)} | {good} | "
            + ", ".join(f"{k} {n}" for k, n in sorted(why.items(), key=lambda q: -q[1])) + " |")
    say("")
    say("| wedge | photos | refused | flagged | good |")
    say("|---|---|---|---|---|")
    for case in dict.fromkeys((j["kind"], j["case"]) for j in photos):
        of = [j for j in photos if (j["kind"], j["case"]) == case]
        say(f"| {case[0]}, {case[1]} | {len(of)} | {sum(j['refused'] is not None for j in of)} | {sum(j['flagged'] and j['refused'] is None for j in of)} | {sum(not j['flagged'] and not broken(j) for j in of)} |")
    negative = [j for j in judged if j["kind"] == "negative"]
    if negative:
        say("")
        say("| negative | photos | refused | flagged | read as if true | what is said |")
        say("|---|---|---|---|---|---|")
        for sort in dict.fromkeys(j["case"] for j in negative):
            of = [j for j in negative if j["case"] == sort]
            word = next((j["refused"] or "; ".join(j["notes"]) for j in of), "")[:110]
            say(f"| {sort} | {len(of)} | {sum(j['refused'] is not None for j in of)} | {sum(j['flagged'] and j['refused'] is None for j in of)} | {sum(not j['flagged'] for j in of)} | {word} |")
    return "\n".join(lines)


def one_line(j):
    if j["refused"]:
        return "refused: " + j["refused"][:120]
    if j["kind"] == "negative":
        return "flagged: " + "; ".join(j["notes"])[:120] if j["flagged"] else "READ AS IF TRUE"
    worst = f"L* {max(map(abs, j['l_error'])):.2f}" if j["l_error"] else ""
    return " ".join(filter(None, ["flagged" if j["flagged"] else "", worst, j.get("pick", ""), *broken(j)])) or "good"


def all_of(photos, negative, size, kinds, work, seed, each, again=False, loud=True, card=False):
    """Makes and judges the set; returns the judged records."""
    work.mkdir(parents=True, exist_ok=True)
    judged, truths = [], work / "truth.json"

    def take(record):
        judged.append(judge(record, work))
        if loud:
            print(record["photo"], record["kind"], record["case"], *record["conditions"], f"({record['doubtful']})", "-", one_line(judged[-1]), flush=True)

    if again:
        for record in json.loads(truths.read_text()):
            take(record)
        return judged
    records = []
    for job in plan(photos, [k for k in kinds if can_draw(k)], each, seed):
        new = make(job, work, size, seed, card)
        records += new
        truths.write_text(json.dumps(records))
        for record in new:
            take(record)
    for record in negatives(negative, work, size, seed):
        records.append(record)
        truths.write_text(json.dumps(records))
        take(record)
    return judged


def main():
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument("--photos", type=int, default=40)
    a.add_argument("--negatives", type=int, default=10)
    a.add_argument("--size", default="2000x1500", help="pixels")
    a.add_argument("--kinds", default="exposure,tone,timing,combined")
    a.add_argument("--each", type=int, default=2, help="photos of each burnt piece")
    a.add_argument("--seed", type=int, default=1)
    a.add_argument("--card", action="store_true", help="a white card beside each piece, read with --white")
    a.add_argument("--keep", help="folder that keeps photos, truth and readings")
    a.add_argument("--again", action="store_true", help="judge what --keep holds, with the program as it is now")
    o = a.parse_args()
    size = tuple(int(v) for v in o.size.split("x"))
    work = Path(o.keep or tempfile.mkdtemp(prefix="wedge-photos-"))
    try:
        judged = all_of(o.photos, o.negatives, size, o.kinds.split(","), work, o.seed, o.each, o.again, card=o.card)
        text = tables(judged)
        print(text)
        if o.keep:
            (work / "tables.md").write_text(text + "\n")
            (work / "judged.json").write_text(json.dumps(judged))
    finally:
        if not o.keep:
            shutil.rmtree(work, ignore_errors=True)


if __name__ == "__main__":
    main()
