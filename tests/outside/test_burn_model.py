"""burn_model.py against closed forms: an instrument that judges others is checked first."""
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
from burn_model import Truth, burnt, exposure, read_program  # noqa: E402

BOX = (0.0, 0.0, 4.0, 4.0)
PLAIN = Truth(s=1.0, beam_along=0.12, beam_across=0.12, grain=0.0, speckle=0.0)


def burn(text, truth=PLAIN):
    return exposure(read_program(text), truth, BOX)


# The same line, 2 mm long at 10 mm/s and full power, said in five ways.
LINE = "G21 G90 G94 M3 S0\nG0 X1 Y2.01\nG1 X3 F600 S1000\nM5"
SAME = [
    LINE,
    "(a comment; with X9) g21g90g94m3s0\ng0x1y2.01\ng1x3f600s1000 ; and another\nm5",
    "G21 G90 M3 S0\nG0 X1 Y2.01\nG91\nG1 X1 F600 S1000\nX1\nG90 M5",
    "G20 G90 M3 S0\nG0 X0.0393700787 Y0.0791338583\nG1 X0.1181102362 F23.6220472 S1000\nM5",
    "G21 G90 M4 S0\nG0 X3 Y2.01\nG1 X1 F600 S1000\nM5",
]


@pytest.mark.parametrize("text", SAME)
def test_a_line_has_the_peak_and_the_energy_of_the_closed_form(text):
    r = burn(text)
    # check value B04: sqrt(2/pi) P/(v w) on the middle of a line, w the 1/e2 radius.
    assert r.window(1.5, 2.0, 2.5, 2.02).max() == pytest.approx(np.sqrt(2 / np.pi) * 5 / (10 * 0.06), rel=3e-3)
    assert r.plane.sum() * r.step ** 2 == pytest.approx(5 * 2 / 10, rel=1e-3)


def test_a_line_is_the_same_whichever_way_it_goes():
    level, upright = burn(LINE).plane, burn("G21G90M3S0\nG0X2.01Y1\nG1Y3F600S1000").plane
    assert np.allclose(level, np.rot90(upright), atol=0.02 * level.max())
    slant = burn("G21G90M3S0\nG0X1Y1.01\nG1X3Y3.01F600S1000")
    assert slant.plane.max() == pytest.approx(level.max(), rel=0.03)
    assert slant.plane.sum() * slant.step ** 2 == pytest.approx(5 * np.sqrt(8) / 10, rel=1e-3)


def test_the_beam_is_as_wide_as_it_is_told():
    r = burn("G21G90M3S0\nG0X1.99Y2.01\nG1X2.01F600S1000", replace(PLAIN, beam_along=0.20, beam_across=0.10))
    y, x = np.mgrid[:r.plane.shape[0], :r.plane.shape[1]] * r.step
    share = r.plane / r.plane.sum()
    width = lambda v: 4 * np.sqrt((share * v ** 2).sum() - (share * v).sum() ** 2)
    assert width(y) == pytest.approx(0.10, rel=0.02)
    # Along, the run of 0.02 mm adds its own variance.
    assert width(x) == pytest.approx(4 * np.sqrt(0.05 ** 2 + 0.02 ** 2 / 12), rel=0.02)


def test_a_late_beam_shifts_lines_along_their_way_and_reciprocity_and_speed_scale_the_dose():
    middle = lambda r: (r.plane.sum(0) * (np.arange(r.plane.shape[1]) + 0.5) * r.step).sum() / r.plane.sum()
    back = LINE.replace("X1 Y2", "X3 Y2").replace("G1 X3", "G1 X1")
    late = replace(PLAIN, lag_ms=5.0)
    assert middle(burn(LINE, late)) - middle(burn(back, late)) == pytest.approx(2 * 10 * 0.005, abs=1e-3)
    even = burn(LINE).plane.sum()
    assert burn(LINE, replace(PLAIN, s=0.8)).plane.sum() / even == pytest.approx((10 / 12.5) ** 0.2, rel=1e-4)
    assert burn(LINE, replace(PLAIN, speed_off=0.03)).plane.sum() / even == pytest.approx(1 / 1.03, rel=1e-4)
    assert burn(LINE, replace(PLAIN, speed_most=5.0)).plane.sum() / even == pytest.approx(2, rel=1e-4)
    assert burn(LINE.replace("M3", "M4"), replace(PLAIN, speed_most=5.0)).plane.sum() / even == pytest.approx(1, rel=1e-4)
    assert burn(LINE, replace(PLAIN, power_most=0.7)).plane.sum() / even == pytest.approx(0.7, rel=1e-4)


def test_what_it_does_not_know_is_an_error():
    for text in ("G2 X1 Y1 I1 F100", "G21 M3 S100\nG0 X1", "G1 X1 S100", "G1 X1,5 F100", "G92 X0", "Q1"):
        with pytest.raises(ValueError, match="line"):
            read_program(text)


def test_streaks_and_grain_are_as_large_as_told_and_pinholes_stay_bare():
    solid = "G21G90M3S0F600\n" + "\n".join(f"G0X0Y{0.02 * i:.2f}S0\nG1X30S200" for i in range(1500))
    moves, box = read_program(solid), (0.0, 0.0, 30.0, 30.0)
    soft = replace(PLAIN, rise=1.0, x_half=500.0, x_char=np.inf, unmarked=0.0001, marked=1.0)   # luminance follows exposure
    inner = lambda t: burnt(moves, t, box, np.random.default_rng(3))[0].window(2, 2, 28, 28)
    even = inner(soft)
    assert even.std() / even.mean() < 0.01
    for t in (replace(soft, grain=0.03), replace(soft, streaks=0.04)):
        y = inner(t)
        assert np.log(y).std() == pytest.approx(max(t.grain, t.streaks), rel=0.35)
    slope = inner(replace(soft, thicker=0.1, thicker_to=0.0))
    assert slope[:, :100].mean() > 1.1 * slope[:, -100:].mean()
    assert (inner(replace(soft, pinholes=50)) < 0.3 * even.mean()).any()
