"""A small part of the loop, so that it cannot break unseen: one truth, one photo, an exposure wedge. `python loop.py --all` runs all of it.

The bounds are what the program reached when they were written, less a margin for other truths; they say that
the loop closes, not how well it may. Measured figures are in wedges.md.
"""
import os
import sys
from pathlib import Path

import pytest

os.environ.setdefault("DOTWRIGHT", "target/release/dotwright")
sys.path.insert(0, str(Path(__file__).parent))
from loop import loop  # noqa: E402
from make_wedge_photos import all_of, broken, judge, make, plan  # noqa: E402


@pytest.fixture(scope="module")
def marks(tmp_path_factory):
    made = loop([0], 1, ["floyd-steinberg"], tmp_path_factory.mktemp("loop"), ("kit", "+ exposure wedge", "the truth"), loud=False)
    assert not [m for m in made if "error" in m], made
    return {m["row"]: m for m in made}


def test_an_exposure_wedge_makes_the_mark_and_its_forecast_better(marks):
    kit, wedge, truth = (marks[r] for r in ("kit", "+ exposure wedge", "the truth"))
    assert wedge["psnr"] > kit["psnr"] + 4, (kit, wedge)
    assert wedge["forecast"] < 0.6 * kit["forecast"], (kit, wedge)
    assert truth["psnr"] > 37.7, truth


def test_the_forecast_agrees_with_a_burn_of_the_program_by_another_model(marks):
    # The program forecasts from dots, this model burns the moves: mean mark within a quarter of a percent of full.
    for m in marks.values():
        assert abs(m["mean_told"] - m["mean_here"]) < 0.0025, m


def test_photos_of_wedges_are_read(tmp_path):
    judged = all_of(4, 0, (2000, 1500), ["exposure"], tmp_path, 7, 2, loud=False)
    assert len(judged) == 4 and not [j["refused"] for j in judged if j["refused"] and j["doubtful"] == "no"]
    for j in judged:
        if j["doubtful"] == "no" and not j["flagged"]:
            assert not {"L*", "half exposure", "pick wrong"} & set(broken(j)), (j["photo"], j["conditions"], broken(j), j["values"])


# Of each photo of a job the words that flag it, and between which bounds its worst patch is off, L*.
RIGHT = (None, 0.0, 1.0)


@pytest.mark.parametrize("seed, job, said", [
    # Combined wedges: in good light and under a soft shadow, which is followed; and with one corner out of a shadow, which is
    # taken for a reflection, and steeply in good light.
    (4242, 0, [RIGHT, RIGHT]),
    (6, 12, [("light that does not belong there lies on 14 of 64 patches", 3.0, 100.0), RIGHT]),
    # An exposure wedge, whose dots no screen makes: with the edge of a soft shadow over a corner, and in good light.
    (4242, 17, [("patches beside each other (E1, F1)", 3.0, 100.0), RIGHT]),
    # Tone wedges, read alone: out of focus, and half in a hard shadow, of which little is left in the reading; in good light, and
    # under a soft shadow.
    (4242, 12, [RIGHT, ("the light over the piece differs 2.4 times", 0.0, 3.0)]),
    (30, 17, [RIGHT, ("solids that were burnt alike", 3.0, 100.0)]),
])
def test_light_that_lies_on_a_part_of_a_wedge_is_said(seed, job, said, tmp_path):
    every = plan(40, ["exposure", "tone", "timing", "combined"], 2, seed)
    for record, (words, least, most) in zip(make(every[job], tmp_path, (2000, 1500), seed), said, strict=True):
        read = judge(record, tmp_path)
        assert read["refused"] is None
        assert least <= max(abs(e) for e in read["l_error"]) < most, read["notes"]
        if words is None:
            assert not read["flagged"], read["notes"]
        else:
            assert any(note.startswith(words) for note in read["notes"]), read["notes"]
