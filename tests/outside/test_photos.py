"""Real photos through the whole job, judged from outside.

The photos come with scikit-image's wheel: camera (CC0) and astronaut (NASA, public domain). They are used by
tests only.
"""

import json
import os
import subprocess

import numpy as np
import pytest
import skimage.data
from PIL import Image

DOTWRIGHT = os.environ.get("DOTWRIGHT", "target/release/dotwright")


@pytest.mark.parametrize("photo", ["camera", "astronaut"])
def test_a_photo_keeps_its_mean_tone_and_its_margin(photo, tmp_path):
    Image.fromarray(getattr(skimage.data, photo)()).save(tmp_path / "photo.jpg", quality=95)
    out = tmp_path / "out"
    line = [DOTWRIGHT, "prepare", str(tmp_path / "photo.jpg"), "--blank", "round:60mm", "--place", "cover"]
    subprocess.run(line + ["--out", str(out), "--quiet"], check=True)
    report = json.loads((out / "report.json").read_text())
    assert report["art"]["read_as"] == "photo"
    on = np.asarray(Image.open(out / "dots.png").convert("L")) == 0
    dots, placed = report["dots"], report["placement"]
    assert on.shape == (dots["rows"], dots["columns"]) and on.sum() == dots["on_count"]
    # No corner of any dot lies further from the blank's centre than its radius less the margin.
    y, x = np.nonzero(on)
    far = 0.0
    for i in (0, 1):
        for j in (0, 1):
            dx = placed["left_mm"] + (x + i) * dots["pitch_along_mm"] - 30.0
            dy = placed["top_mm"] + (y + j) * dots["pitch_across_mm"] - 30.0
            far = max(far, np.hypot(dx, dy).max())
    assert 27.0 < far <= 27.5 + 1e-6
    forecast = report["forecast"]
    assert abs(forecast["mean_mark_share"] - forecast["mean_wanted_share"]) < 0.01
