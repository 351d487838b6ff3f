"""What makers bring, end to end: 24 pieces through the plain command, and what must be decided, found and marked for each.

The pieces come from make_makers.py. Figures are of report.json and dots.png; the bounds on the mean mark say what a person
would accept when looking at the piece (own judgement of the pictures, no source).
By hand, with pictures: python tests/outside/test_makers.py FOLDER
"""

import json
import os
import pathlib
import subprocess
import sys
from dataclasses import dataclass, field

import pytest

ROOT = pathlib.Path(__file__).resolve().parents[2]
DOTWRIGHT = os.environ.get("DOTWRIGHT", str(ROOT / "target/release/dotwright"))


@dataclass
class Piece:
    """A piece: art, options besides the blank, what it is read as, the coating, findings that must be there and must not,
    and between which shares of a full mark the mean over its rectangle of dots must lie."""

    art: str
    blank: str
    read_as: str
    coating: str
    mark: tuple
    options: list = field(default_factory=list)
    found: set = field(default_factory=set)
    never: set = field(default_factory=set)


GLASS, SLATE, TAG, TILE = "glass-coaster-90", "slate-coaster-100", "metal-tag-60", "glass-tile-100"
PAINT, BARE, ANODISED = "poster paint", "bare slate", "black anodised aluminium"

PIECES = [
    Piece("logo-jpeg.jpg", GLASS, "drawing", PAINT, (0.10, 0.24)),
    Piece("logo-small.png", GLASS, "drawing", PAINT, (0.10, 0.24)),
    Piece("logo-reversed.png", GLASS, "drawing", PAINT, (0.10, 0.24)),
    Piece("logo-coloured.jpg", GLASS, "drawing", PAINT, (0.05, 0.24)),
    Piece("logo-white-clear.png", GLASS, "drawing", PAINT, (0.10, 0.24)),
    Piece("logo.pdf", GLASS, "drawing", PAINT, (0.15, 0.45)),
    Piece("pencil-sketch.jpg", GLASS, "paper", PAINT, (0.01, 0.15)),
    Piece("ink-scan.jpg", GLASS, "paper", PAINT, (0.02, 0.15)),
    Piece("lettering-1bit.png", GLASS, "drawing", PAINT, (0.05, 0.25)),
    Piece("screenshot.png", TILE, "drawing", PAINT, (0.02, 0.40)),
    Piece("photo-dark.jpg", GLASS, "photo", PAINT, (0.12, 0.5)),
    Piece("photo-backlit.jpg", GLASS, "photo", PAINT, (0.15, 0.7)),
    Piece("photo-flat.jpg", GLASS, "photo", PAINT, (0.15, 0.6)),
    Piece("photo-good.jpg", GLASS, "photo", PAINT, (0.08, 0.5)),
    Piece("photo-grey.png", TILE, "photo", PAINT, (0.15, 0.6)),
    Piece("photo-phone.heic", TILE, "photo", PAINT, (0.05, 0.5)),
    Piece("photo-slate.jpg", SLATE, "photo", BARE, (0.15, 0.6), found=set()),
    Piece("photo-lettering.jpg", GLASS, "photo", PAINT, (0.08, 0.6)),
    Piece("photo-mirrored.jpg", TILE, "photo", PAINT, (0.08, 0.5), ["--mirror"]),
    Piece("panorama.jpg", GLASS, "photo", PAINT, (0.1, 0.7), ["--place", "cover"]),
    Piece("name-tag.svg", TAG, "drawing", ANODISED, (0.02, 0.35)),
    Piece("name-glyphs.svg", TAG, "drawing", ANODISED, (0.02, 0.35), found={"missing-glyph"}),
    Piece("name-long.svg", TAG, "drawing", ANODISED, (0.02, 0.35), found={"cut"}),
    Piece("emblem-motto.png", "round:20mm", "drawing", PAINT, (0.08, 0.3), found={"detail-below-beam"}),
]

# Nothing of these is right for any piece of the table from its own start values.
NEVER = {"coating-mismatch", "over-burn", "under-burn", "off-bed", "lines-apart", "lines-crowded", "faint"}


@pytest.fixture(scope="session")
def art(tmp_path_factory):
    pytest.importorskip("sklearn")
    import make_makers

    folder = tmp_path_factory.mktemp("art")
    make_makers.make(folder)
    return folder


def prepare(piece, art, out):
    line = [DOTWRIGHT, "prepare", art / piece.art, "--blank", piece.blank, "--quiet", "--out", out, *piece.options]
    done = subprocess.run(line, capture_output=True, text=True, timeout=300)
    report = out / "report.json"
    return done, json.loads(report.read_text()) if report.is_file() else None


def wrong(piece, report):
    """What is not as it must be, in words."""
    said = []
    found = {f["name"] for f in report["findings"]}
    mark = report["forecast"]["mean_mark_share"]
    if report["art"]["read_as"] != piece.read_as:
        said.append(f"read as {report['art']['read_as']}, not as {piece.read_as}")
    if report["process"]["coating"] != piece.coating:
        said.append(f"coating {report['process']['coating']}, not {piece.coating}")
    if not piece.mark[0] <= mark <= piece.mark[1]:
        said.append(f"mean mark {mark:.3f}, not within {piece.mark}")
    said += [f"{name} is missing" for name in sorted(piece.found - found)]
    said += [f"{name} was found" for name in sorted((piece.never | NEVER - piece.found) & found)]
    return said


@pytest.mark.parametrize("piece", PIECES, ids=lambda p: p.art)
def test_the_plain_command_is_right(piece, art, tmp_path):
    done, report = prepare(piece, art, tmp_path / "out")
    assert report, done.stderr
    assert not wrong(piece, report)
    assert done.returncode == 0, done.stderr


def by_hand(folder):
    import make_makers

    folder = pathlib.Path(folder)
    make_makers.make(folder / "art")
    for piece in PIECES:
        done, report = prepare(piece, folder / "art", folder / pathlib.Path(piece.art).stem)
        if report:
            found = [f["name"] for f in report["findings"]]
            about = f"{report['art']['read_as']}, {report['process']['coating']}, mark {report['forecast']['mean_mark_share']:.3f}, {found}"
        print(f"{piece.art:22} {done.returncode} {about if report else done.stderr.strip()}")
        for line in wrong(piece, report) if report else []:
            print(f"{'':24} WRONG {line}")


if __name__ == "__main__":
    by_hand(sys.argv[1])
