"""Reads photos rendered by wedge_model.py and compares with the truth that was put in.

pytest runs a few small photos; `python tests/outside/test_wedge.py 300` renders phone-sized photos and prints
how often the bounds were met and where it broke.
"""
import json
import os
import subprocess
import sys
import tempfile
from dataclasses import asdict, replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
from wedge_model import (Scene, Sheet, Truth, burn, exposure_of, lightness, photograph, random_scene,  # noqa: E402
                         random_truth, save, true_grain, true_means)

DOTWRIGHT = os.environ.get("DOTWRIGHT", "target/release/dotwright")


def run(*words, check=True):
    done = subprocess.run([DOTWRIGHT, *map(str, words)], capture_output=True, text=True)
    if check:
        assert done.returncode == 0, done.stderr
    return done


def draw(folder, kind="exposure", blank="rect:100x100mm", coating="light-clay", *more):
    run("wedge", "draw", "--kind", kind, "--blank", blank, "--coating", coating, "--out", folder, *more)
    return Sheet(folder)


def read(photo, sheet_folder, out, *more):
    run("wedge", "read", photo, "--wedge", Path(sheet_folder) / "wedge.toml", "--out", out, "--date", "2026-11-25", *more)
    return json.loads((Path(out) / "reading.json").read_text())


def practitioner(sheet, truth, looks, grain, lighter):
    """The rule of the design on the true looks: index of the patch, and those that qualify."""
    dials = [sheet.dial(p) for p in sheet.patches]
    x = np.array([exposure_of(sheet, truth, p) for p in sheet.patches])
    over = 1 / (1 + (truth.x_char / x) ** truth.char_rise) >= 0.05
    good = (~over) & (grain <= 3.0)
    value = looks if lighter else -looks
    best = value[good].max()
    fit = [i for i in range(len(dials)) if good[i] and value[i] >= best - 2]
    return min(fit, key=lambda i: (-dials[i][1], dials[i][0], i)), fit


def trial(seed, sheet, folder, reader, size, glare=True):
    rng = np.random.default_rng(seed)
    lighter = sheet.toml["expected"]["y_marked"] > sheet.toml["expected"]["y_unmarked"]
    truth = random_truth(rng, lighter)
    scene = random_scene(rng, size, glare)
    piece, steps = burn(sheet, truth, rng, over=3 if min(size) > 1600 else 2)
    photo, hom = photograph(sheet, piece, steps, truth, scene, rng)
    path = Path(folder) / f"photo-{seed}.jpg"
    save(photo, path, scene.jpeg)
    out = {"seed": seed, "truth": asdict(truth), "scene": asdict(scene)}
    try:
        r = reader(path)
    except AssertionError as e:
        return out | {"error": str(e)}
    if "error" in r:
        return out | {"error": r["error"]}
    back = np.linalg.inv(np.array(r["photo"]["homography"]).reshape(3, 3))
    corners = [(3, 3), (sheet.width - 3, 3), (sheet.width - 3, sheet.height - 3), (3, sheet.height - 3)]
    centres = [((l + q) / 2, (t + b) / 2) for l, t, q, b in map(sheet.rect, sheet.patches)]
    worst = 0
    for x, y in centres + ([] if sheet.round else corners):
        p = hom @ [x, y, 1]
        m = back @ (p / p[2])
        worst = max(worst, float(np.hypot(*(m[:2] / m[2] - [x, y]))))
    looks = true_means(sheet, piece, steps)
    known = np.array([p["lightness"].get("value", np.nan) for p in r["patches"]])
    e = sheet.toml["expected"]
    # The reading is relative: bring the truth onto its scale.
    relative = not r["scale"]["absolute"]
    factor = 1.0
    if relative and "lightest patch" in r["scale"]["note"]:
        factor = e["y_marked"] / looks[np.nanargmax(known)]
    elif relative:
        factor = e["y_unmarked"] / truth.y_unmarked
    wanted = lightness(looks * factor)
    grain = true_grain(sheet, piece, steps)
    best, fit = practitioner(sheet, truth, wanted, grain, lighter)
    pick = r["pick"] and [p["name"] for p in sheet.patches].index(r["pick"]["patch"])
    v = r["response"]
    out |= {
        "position": worst,
        "lightness": float(np.nanmax(np.abs(known - wanted))),
        "lightness_rms": float(np.sqrt(np.nanmean((known - wanted) ** 2))),
        "refused": [p["name"] + ": " + p["lightness"]["not_measured"] for p in r["patches"] if "value" not in p["lightness"]],
        "grain": float(np.nanmax(np.abs(np.array([p["grain"] if p["grain"] is not None else np.nan for p in r["patches"]]) - grain))),
        "best": sheet.patches[best]["name"], "pick": r["pick"] and r["pick"]["patch"],
        "right": pick == best, "qualifies": pick in fit,
        "margin": float(wanted[best] - max(wanted[i] for i in fit) + 2) if lighter else float(min(wanted[i] for i in fit) + 2 - wanted[best]),
        "x_half": v["x_half_j_mm2"].get("value", np.nan) / truth.x_half - 1,
        "s": v["schwarzschild"].get("value", np.nan) - truth.s,
        "rms": v["rms_l"], "blur": r["photo"]["blur_mm"],
    }
    path.unlink()
    return out


BOUNDS = {"position": 0.15, "lightness": 1.0, "x_half": 0.05, "s": 0.05}


def broken(t):
    if "error" in t:
        return ["error"]
    return [k for k, b in BOUNDS.items() if not abs(t[k]) <= b] + ([] if t["right"] else ["pick"])
