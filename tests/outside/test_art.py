"""The curves between code values, luminance and lightness, against colour-science.

The Rust side is held to the same numbers in src/colour.rs (check values T01 to T08, T10, T11); here they are shown
to be those of an independent library. Files are compared in tests/art.rs with what Pillow read (make_art_data.py).
"""

import json
import pathlib

import numpy as np
import pytest

colour = pytest.importorskip("colour")

ROOT = pathlib.Path(__file__).resolve().parents[2]


def numbers(name):
    """The literals of one `let NAME = [...]` of the tests in src/colour.rs."""
    text = (ROOT / "src/colour.rs").read_text()
    body = text.split(f"let {name} = [", 1)[1].split("]", 1)[0]
    return np.array([float(v.replace("_", "")) for v in body.replace("\n", " ").split(",") if v.strip()])


def test_srgb_values_are_those_of_colour_science():
    codes, light = numbers("codes"), numbers("light")
    np.testing.assert_allclose(colour.models.eotf_sRGB(codes / 255), light, rtol=0, atol=1e-12)


def test_lightness_values_are_those_of_colour_science():
    y, l = numbers("y"), numbers("l")
    np.testing.assert_allclose(colour.colorimetry.lightness_CIE1976(y * 100, Y_n=100), l, rtol=0, atol=1e-9)


def test_expected_light_of_the_files_follows_colour_science():
    image = pytest.importorskip("PIL.Image")
    expected = json.loads((ROOT / "tests/data/art/expected.json").read_text())
    codes = np.asarray(image.open(ROOT / "tests/data/art/rgb.png")) / 255
    y = colour.models.eotf_sRGB(codes) @ [0.2126, 0.7152, 0.0722]
    np.testing.assert_allclose(y, expected["rgb.png"]["y"], rtol=0, atol=1e-12)
