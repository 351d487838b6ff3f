"""Orders and trays: what each spot's dots are, where the beam is off, how far the head travels, how wide a text is.

The programs are read by burn_model.py's reader, which shares nothing with the tool's. Widths of text are those of
fontTools (advance widths and kerning by GPOS of the font that ships, read from its tables). The route is held against all
orders of nine pieces. Bounds without a source are this project's own goals.
"""

import datetime
import itertools
import json
import math
import os
import shutil
import subprocess
import zipfile
from pathlib import Path
from xml.sax.saxutils import escape

import numpy as np
import openpyxl
import pytest
from burn_model import read_program
from desk.running import chromium
from fontTools.pens.basePen import decomposeQuadraticSegment
from fontTools.pens.recordingPen import DecomposingRecordingPen
from fontTools.ttLib import TTFont
from PIL import Image, ImageOps
from playwright.sync_api import sync_playwright
from skimage.draw import polygon2mask

DOTWRIGHT = os.path.abspath(os.environ.get("DOTWRIGHT", "target/release/dotwright"))
ROOT = Path(__file__).resolve().parents[2]
FONT = ROOT / "src/art/fonts/DejaVuSans.ttf"


def run(*words, cwd=None):
    return subprocess.run([DOTWRIGHT, *map(str, words)], capture_output=True, text=True, check=False, cwd=cwd)


def report(folder):
    return json.loads((folder / "report.json").read_text())


def burning(path):
    """Stretches with the beam on: x0, y0, x1, y1, mm. The reader refuses a rapid with the beam on."""
    moves = read_program(path.read_text())
    return np.column_stack([moves.x0, moves.y0, moves.x1, moves.y1])


@pytest.fixture(scope="module")
def tags(tmp_path_factory):
    out = tmp_path_factory.mktemp("order") / "tags"
    done = run("tray", ROOT / "samples/week-order.toml", "--out", out)
    assert done.returncode == 0, done.stderr
    return out


def test_the_sample_order_has_a_tag_for_each_volunteer(tags):
    pieces = report(tags)["pieces"]
    rows = [line.split(",") for line in (ROOT / "samples/volunteers.csv").read_text().splitlines()[1:]]
    wanted = sorted(name for name, _, copies in rows for _ in range(int(copies)))
    assert sorted(p["name"] for p in pieces) == wanted
    assert [p["number"] for p in pieces] == list(range(1, len(wanted) + 1))
    untitled = {name for name, title, _ in rows if not title}
    assert all(p["findings"] == (["empty-cell"] if p["name"] in untitled else []) for p in pieces)


def test_twenty_volunteers_have_twenty_tags_and_a_name_without_glyphs_is_told_by_its_row(tmp_path):
    """Long and short names, accents, Greek and Cyrillic letters; one in characters that the shipped font does not have."""
    rows = (ROOT / "samples/volunteers.csv").read_text().splitlines()
    rows = [rows[0]] + [",".join(r.split(",")[:2] + ["1"]) for r in rows[1:]]
    rows += ["海野 港,Diver,1", "Ngozi Ọ̀ṣun,Nets,1", "Thị Hương Nguyễn,Lamps,1",
             "Maximiliana Wolkenstein-Hohenfels,Keeper of the light and of all its lenses,1"]
    (tmp_path / "volunteers.csv").write_text("\n".join(rows) + "\n")
    shutil.copy(ROOT / "samples/lighthouse.svg", tmp_path)
    shutil.copy(ROOT / "samples/week-order.toml", tmp_path)
    done = run("tray", tmp_path / "week-order.toml", "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    pieces = report(tmp_path / "out")["pieces"]
    assert sorted(p["name"] for p in pieces) == sorted(r.split(",")[0] for r in rows[1:]) and len(pieces) == 20
    missing = [p["row"] for p in pieces if "missing-glyph" in p["findings"]]
    assert missing == [18], missing


def test_two_runs_of_an_order_are_the_same_bytes(tags, tmp_path):
    assert run("tray", ROOT / "samples/week-order.toml", "--out", tmp_path / "again").returncode == 0
    files = sorted(p.name for p in tags.iterdir())
    assert files == sorted(p.name for p in (tmp_path / "again").iterdir())
    for name in files:
        assert (tags / name).read_bytes() == (tmp_path / "again" / name).read_bytes(), name


def test_a_spreadsheet_gives_what_its_csv_gives(tags, tmp_path):
    """The same table written by openpyxl."""
    book = openpyxl.Workbook()
    sheet = book.active
    for i, line in enumerate((ROOT / "samples/volunteers.csv").read_text().splitlines()):
        name, title, copies = line.split(",")
        sheet.append([name, title, copies if i == 0 else int(copies)])
    sheet["E2"] = "a remark beside the table"
    book.save(tmp_path / "volunteers.xlsx")
    order = (ROOT / "samples/week-order.toml").read_text()
    order = order.replace("volunteers.csv", "volunteers.xlsx").replace("lighthouse.svg", str(ROOT / "samples/lighthouse.svg"))
    (tmp_path / "order.toml").write_text(order)
    done = run("tray", tmp_path / "order.toml", "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    for name in ("program-1.nc", "program-2.nc", "report.json"):
        assert (tmp_path / "out" / name).read_bytes() == (tags / name).read_bytes(), name


def ods(path, rows):
    """An OpenDocument sheet by hand: OpenDocument 1.3 part 3 (OASIS 2021), sections 9.1 and 19.385, repeated cells too."""
    def cell(value):
        if isinstance(value, int):
            return f'<table:table-cell office:value-type="float" office:value="{value}"><text:p>{value}</text:p></table:table-cell>'
        if not value:
            return '<table:table-cell table:number-columns-repeated="1"/>'
        return f'<table:table-cell office:value-type="string"><text:p>{escape(value)}</text:p></table:table-cell>'

    body = "".join("<table:table-row>" + "".join(map(cell, row)) + "</table:table-row>" for row in rows)
    spaces = " ".join(f'xmlns:{n}="urn:oasis:names:tc:opendocument:xmlns:{n}:1.0"' for n in ("office", "table", "text", "manifest"))
    kind = "application/vnd.oasis.opendocument.spreadsheet"
    with zipfile.ZipFile(path, "w") as z:
        z.writestr("mimetype", kind, zipfile.ZIP_STORED)
        z.writestr("content.xml", f'<?xml version="1.0" encoding="UTF-8"?><office:document-content {spaces} office:version="1.3">'
                   f'<office:body><office:spreadsheet><table:table table:name="Volunteers">{body}</table:table>'
                   "</office:spreadsheet></office:body></office:document-content>", zipfile.ZIP_DEFLATED)
        z.writestr("META-INF/manifest.xml", f'<manifest:manifest {spaces}><manifest:file-entry manifest:full-path="/" '
                   f'manifest:media-type="{kind}"/><manifest:file-entry manifest:full-path="content.xml" '
                   'manifest:media-type="text/xml"/></manifest:manifest>', zipfile.ZIP_DEFLATED)


def test_an_opendocument_sheet_gives_what_its_csv_gives(tags, tmp_path):
    lines = [line.split(",") for line in (ROOT / "samples/volunteers.csv").read_text().splitlines()]
    ods(tmp_path / "volunteers.ods", [lines[0]] + [[a, b, int(c)] for a, b, c in lines[1:]])
    order = (ROOT / "samples/week-order.toml").read_text()
    order = order.replace("volunteers.csv", "volunteers.ods").replace("lighthouse.svg", str(ROOT / "samples/lighthouse.svg"))
    (tmp_path / "order.toml").write_text(order)
    done = run("tray", tmp_path / "order.toml", "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    for name in ("program-1.nc", "program-2.nc", "report.json"):
        assert (tmp_path / "out" / name).read_bytes() == (tags / name).read_bytes(), name


ORDER = "blank = 'rect:30x10mm'\ntable = 't.xlsx'\nname = '{since}'\n[[piece.layer]]\ntext = '{since}'\n"


def tray_of_cells(folder, cells):
    """A sheet of one column, a value and its number format in each row."""
    book = openpyxl.Workbook()
    book.active.append(["since"])
    for row, (value, number_format) in enumerate(cells, 2):
        cell = book.active.cell(row, 1, value)
        cell.number_format = number_format
        if value == "#N/A":
            cell.data_type = "e"
    book.save(folder / "t.xlsx")
    (folder / "order.toml").write_text(ORDER)
    return run("tray", "order.toml", "--out", "out", cwd=folder)


def test_cells_are_marked_as_the_sheet_shows_them(tmp_path):
    """Formats by ECMA-376 part 1, 18.8.30 and 18.8.31; but for the point, what they show does not hang on a language."""
    cells = [(7, "000"), (0.25, "0%"), (15.5, "0.00"), (7.4, "0"), (999, "#,##0"), (0.125, "0.00%"), (datetime.date(2025, 3, 4), "yyyy-mm-dd"), (datetime.time(10, 30), "h:mm"), (12.5, "General")]
    done = tray_of_cells(tmp_path, cells)
    assert done.returncode == 0, done.stderr
    names = [p["name"] for p in sorted(report(tmp_path / "out")["pieces"], key=lambda p: p["row"])]
    assert names == ["007", "25%", "15.50", "7", "999", "12.50%", "2025-03-04", "10:30", "12.5"]


def test_joined_cells_hold_for_all_their_rows(tmp_path):
    """As a person reads them, and as the sheet of the order shows them."""
    book = openpyxl.Workbook()
    for line in [["name", "role"], ["Anna", "Keeper"], ["Bo", None], ["Ida", None], ["Mia", "Guide"]]:
        book.active.append(line)
    book.active.merge_cells("B2:B4")
    book.save(tmp_path / "t.xlsx")
    (tmp_path / "order.toml").write_text(ORDER.replace("{since}", "{name} {role}"))
    done = run("tray", "order.toml", "--out", "out", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    names = [p["name"] for p in sorted(report(tmp_path / "out")["pieces"], key=lambda p: p["row"])]
    assert names == ["Anna Keeper", "Bo Keeper", "Ida Keeper", "Mia Guide"]


@pytest.mark.parametrize(("value", "number_format", "what"), [
    (datetime.date(2025, 3, 4), "dd/mm/yyyy", "a date or a time"),
    (datetime.date(2025, 3, 4), "mm-dd-yy", "a date or a time"),
    (1200, "#,##0", "a number with a format of its own"),
    (12.5, '0.00 "EUR"', "a number with a format of its own"),
    ("#N/A", "General", "#N/A, an error of the spreadsheet"),
])
def test_a_cell_whose_look_is_not_known_is_refused(tmp_path, value, number_format, what):
    done = tray_of_cells(tmp_path, [("1998", "General"), (value, number_format)])
    assert done.returncode == 1 and len(done.stderr.strip().splitlines()) == 1, done.stderr
    assert f"row 3 of the table: its cell 'since' holds {what}" in done.stderr, done.stderr
    assert not (tmp_path / "out").exists()


def test_a_broken_spreadsheet_is_one_sentence(tmp_path):
    book = openpyxl.Workbook()
    book.active.append(["name"])
    book.save(tmp_path / "t.xlsx")
    whole = (tmp_path / "t.xlsx").read_bytes()
    rng = np.random.default_rng(3)
    (tmp_path / "order.toml").write_text("blank = 'rect:20x10mm'\ntable = 't.xlsx'\n[[piece.layer]]\ntext = '{name}'\n")
    for kind in range(30):
        broken = bytearray(whole[:rng.integers(4, len(whole))] if kind % 2 else whole)
        for at in rng.integers(4, len(broken), 20):
            broken[at] = rng.integers(256)
        (tmp_path / "t.xlsx").write_bytes(broken)
        done = run("tray", "order.toml", "--out", "out", cwd=tmp_path)
        assert done.returncode == 1 and len(done.stderr.strip().splitlines()) == 1, done.stderr


def test_the_beam_is_on_only_within_the_margins_of_the_spots(tags):
    for number, _ in enumerate(report(tags)["trays"], 1):
        strokes = burning(tags / f"program-{number}.nc")
        spots = [(p["left_mm"], p["bottom_mm"]) for p in report(tags)["pieces"] if p["tray"] == number]
        inside = np.zeros(len(strokes), bool)
        for left, bottom in spots:
            # The tags are 60 by 30 mm with a margin of 2 mm.
            box = [left + 2, bottom + 2, left + 58, bottom + 28]
            x = (strokes[:, [0, 2]] >= box[0] - 1e-3) & (strokes[:, [0, 2]] <= box[2] + 1e-3)
            y = (strokes[:, [1, 3]] >= box[1] - 1e-3) & (strokes[:, [1, 3]] <= box[3] + 1e-3)
            here = x.all(axis=1) & y.all(axis=1)
            assert here.any()
            inside |= here
        assert inside.all()


def test_each_pieces_dots_are_those_of_the_piece_alone(tmp_path):
    """Six coasters from six photos and two of an emblem, on eight blanks: the dots at each spot, as a reader written apart
    rebuilds them, are those that `prepare` makes of the same piece."""
    order = tmp_path / "coasters.toml"
    order.write_text(
        "blank = '{blank}'\ntable = 'art.csv'\nname = '{art}'\n[tray]\ngrid = '4x2'\n"
        "[piece]\ncoating = 'poster-paint'\n[piece.art]\nfile = '{art}'\n[piece.dots]\nscreen = 'floyd-steinberg'\n"
        "[piece.blank]\nsurface = 'glass'\n")
    photo = Image.open(ROOT / "samples/harbour.jpg")
    w, h = photo.size
    photos = [photo, ImageOps.mirror(photo), photo.crop((0, 0, w * 2 // 3, h * 2 // 3)), photo.crop((w // 3, h // 3, w, h)),
              photo.rotate(90, expand=True), photo.point(lambda v: v // 2)]
    for i, p in enumerate(photos):
        p.resize((p.width // 4, p.height // 4)).save(tmp_path / f"photo-{i}.jpg", quality=90)
    names = [tmp_path / f"photo-{i}.jpg" for i in range(6)] + [ROOT / "samples/emblem.svg"] * 2
    blanks = ["round:30mm", "rect:40x25mm", "rect:20x20mm", "round:24mm", "rect:25x40mm", "rect:30x30mm:r4mm", "round:28mm",
              "rect:40x20mm"]
    rows = [f"{n},{b}" for n, b in zip(names, blanks)]
    (tmp_path / "art.csv").write_text("art,blank\n" + "\n".join(rows) + "\n")
    done = run("tray", order, "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    strokes = burning(tmp_path / "out/program-1.nc")
    found = 0
    for piece in report(tmp_path / "out")["pieces"]:
        name, blank = names[piece["row"] - 2], blanks[piece["row"] - 2]
        alone = tmp_path / f"alone-{piece['row']}"
        one = run("prepare", name, "--blank", blank, "--coating", "poster-paint", "--surface", "glass",
                  "--screen", "floyd-steinberg", "--out", alone)
        assert one.returncode == 0, one.stderr
        dots = np.asarray(Image.open(alone / "dots.png").convert("L")) < 128
        figures = report(alone)
        pitch = figures["dots"]["pitch_along_mm"]
        left = piece["left_mm"] + figures["placement"]["left_mm"]
        top = piece["bottom_mm"] + figures["blank"]["height_mm"] - figures["placement"]["top_mm"]
        rebuilt = np.zeros_like(dots)
        for x0, y0, x1, _ in strokes:
            row = round((top - y0) / pitch - 0.5)
            a, b = sorted(((x0 - left) / pitch, (x1 - left) / pitch))
            if 0 <= row < dots.shape[0] and a > -0.01 and b < dots.shape[1] + 0.01:
                rebuilt[row, round(a):round(b)] = True
                found += 1
        assert (rebuilt == dots).all(), name
    assert found == len(strokes)


def test_the_way_between_nine_pieces_is_within_3_percent_of_the_best(tmp_path):
    rng = np.random.default_rng(5)
    cells = rng.permutation(36)[:9]
    spots = [[float(c % 6 * 14 + a), float(c // 6 * 14 + b)] for c, (a, b) in zip(cells, rng.uniform(0, 2, (9, 2)))]
    order = tmp_path / "nine.toml"
    texts = "".join(f"{c}\n" for c in "ABCDEFGHI")
    (tmp_path / "nine.csv").write_text("letter\n" + texts)
    order.write_text(f"blank = 'rect:11x11mm'\ntable = 'nine.csv'\n[tray]\nspots = {spots}\n[[piece.layer]]\ntext = '{{letter}}'\n")
    done = run("tray", order, "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    strokes = burning(tmp_path / "out/program-1.nc")
    # The pieces in the order in which the program comes to them, and their middles: numbers hang on the spots alone, for
    # half of a tray may be burnt when a letter is mended.
    came, middles = [], []
    for p in report(tmp_path / "out")["pieces"]:
        x, y = strokes[:, 0] - p["left_mm"], strokes[:, 1] - p["bottom_mm"]
        came.append(np.flatnonzero((x >= 0) & (x <= 11) & (y >= 0) & (y <= 11))[0])
        middles.append((p["left_mm"] + 5.5, p["bottom_mm"] + 5.5))
    assert came == sorted(came)

    def way(sequence):
        stops = [(0.0, 0.0), *(middles[i] for i in sequence), (0.0, 0.0)]
        return sum(math.dist(a, b) for a, b in itertools.pairwise(stops))

    best = min(way(s) for s in itertools.permutations(range(9)))
    assert way(range(9)) <= 1.03 * best, (way(range(9)), best)


def test_a_program_from_a_piece_on_marks_the_rest(tags, tmp_path):
    assert run("tray", ROOT / "samples/week-order.toml", "--from", "8", "--out", tmp_path / "rest").returncode == 0
    whole = burning(tags / "program-1.nc")
    rest = burning(tmp_path / "rest/program-1.nc")
    done = [p for p in report(tags)["pieces"] if p["tray"] == 1 and p["number"] < 8]
    left = np.ones(len(whole), bool)
    for p in done:
        x, y = whole[:, 0] - p["left_mm"], whole[:, 1] - p["bottom_mm"]
        left &= ~((x >= 0) & (x <= 60) & (y >= 0) & (y <= 30))
    assert len(rest) == left.sum() and np.allclose(rest, whole[left])


def test_a_mended_name_keeps_all_numbers_and_its_piece_is_made_again_alone(tmp_path):
    (tmp_path / "order.toml").write_text(
        "blank = 'rect:20x10mm'\ntable = 't.csv'\nname = '{name}'\n[tray]\ngrid = '4x4'\n[[piece.layer]]\ntext = '{name}'\n")
    names = ["Ada", "Bo", "Ida", "Fog", "Rain", "Una", "Tom Hill", "Lin", "i", "LL", "Kate", "Finn", "Per", "Al", "Zoë"]

    def numbers(out, *more):
        (tmp_path / "t.csv").write_text("name\n" + "\n".join(names) + "\n")
        done = run("tray", "order.toml", "--out", out, *more, cwd=tmp_path)
        assert done.returncode == 0, done.stderr
        return {p["row"]: p["number"] for p in report(tmp_path / out)["pieces"]}, done.stdout

    first, _ = numbers("first")
    names[6] = "Tom Hills of the lighthouse"
    spoilt = first[8]
    again, said = numbers("again", "--only", str(spoilt))
    assert again == first and f"Only piece {spoilt} ('{names[6]}' (row 8)) is marked" in said, said
    figures = report(tmp_path / "again")
    piece = next(p for p in figures["pieces"] if p["to_mark"])
    assert piece["number"] == spoilt and sum(p["to_mark"] for p in figures["pieces"]) == 1
    strokes = burning(tmp_path / "again/program-1.nc")
    x, y = strokes[:, [0, 2]] - piece["left_mm"], strokes[:, [1, 3]] - piece["bottom_mm"]
    assert len(strokes) and (x >= 0).all() and (x <= 20).all() and (y >= 0).all() and (y <= 10).all()
    _, said = numbers("rest", "--from", "3")
    by_number = {number: (names[row - 2], row) for row, number in first.items()}
    (a, row_a), (b, row_b) = by_number[1], by_number[2]
    assert f"Pieces 1 and 2, '{a}' (row {row_a}) and '{b}' (row {row_b}), are taken as marked already." in said, said


def advance(text):
    """Width of a text in its size: advance widths and pair kerning of the font's own tables."""
    font = TTFont(FONT)
    cmap, hmtx = font.getBestCmap(), font["hmtx"]
    names = [cmap[ord(c)] for c in text]
    total = sum(hmtx[n][0] for n in names)
    lookups = font["GPOS"].table.LookupList.Lookup
    features = [f.Feature for f in font["GPOS"].table.FeatureList.FeatureRecord if f.FeatureTag == "kern"]
    for a, b in zip(names, names[1:]):
        for lookup in (lookups[i] for i in sorted({i for f in features for i in f.LookupListIndex})):
            kerned = None
            for sub in lookup.SubTable:
                sub = getattr(sub, "ExtSubTable", sub)
                if sub.LookupType != 2 or a not in sub.Coverage.glyphs:
                    continue
                if sub.Format == 1:
                    pairs = sub.PairSet[sub.Coverage.glyphs.index(a)].PairValueRecord
                    kerned = next((p.Value1.XAdvance for p in pairs if p.SecondGlyph == b and p.Value1), None)
                else:
                    one, two = sub.ClassDef1.classDefs.get(a, 0), sub.ClassDef2.classDefs.get(b, 0)
                    value = sub.Class1Record[one].Class2Record[two].Value1
                    kerned = value.XAdvance if value and hasattr(value, "XAdvance") else 0
                if kerned is not None:
                    break
            if kerned:
                total += kerned
                break
    return total / font["head"].unitsPerEm


@pytest.mark.parametrize("text", ["HIHIHIH", "HAVATOH", "HÅkon BrightwaterH"])
def test_a_text_is_as_wide_as_its_font_says(tmp_path, text):
    """H at both ends: its sides stand in by its side bearings, which fontTools gives too. A line of 8 mm is 8 mm for its
    size, by how the tool defines a line: 0.76 above the base line and 0.24 below."""
    layer = f"text = '{text}', place = '150x8mm'"
    done = run("prepare", "--blank", "rect:160x20mm", "--pitch", "0.05mm", "--layer", layer, "--out", tmp_path / "out")
    assert done.returncode in (0, 3), done.stderr
    font = TTFont(FONT)
    glyph, hmtx = font["glyf"][font.getBestCmap()[ord("H")]], font["hmtx"]
    width, bearing = hmtx[font.getBestCmap()[ord("H")]]
    right = width - bearing - (glyph.xMax - glyph.xMin)
    wanted = (advance(text) - (bearing + right) / font["head"].unitsPerEm) * 8
    # A letter above the line's own height makes the line higher, and the letters smaller in the same box.
    above = max(font["glyf"][font.getBestCmap()[ord(c)]].yMax for c in text if c != " ") / font["head"].unitsPerEm
    wanted *= 1 / (max(above, 0.76) + 0.24)
    found = report(tmp_path / "out")["placement"]["wished_width_mm"]
    assert abs(found - wanted) < 0.06 + 0.002 * wanted, (found, wanted)


def flattened(glyph_set, name):
    """The contours of a glyph as polygons, font units."""
    pen = DecomposingRecordingPen(glyph_set)
    glyph_set[name].draw(pen)
    contours, at = [], None
    for kind, points in pen.value:
        if kind == "moveTo":
            contours.append([points[0]])
            at = points[0]
        elif kind == "lineTo":
            contours[-1].append(points[0])
            at = points[0]
        elif kind == "qCurveTo":
            for control, end in decomposeQuadraticSegment(points):
                t = np.linspace(0, 1, 12)[1:, None]
                a, b, c = (np.array(p, float) for p in (at, control, end))
                contours[-1].extend(map(tuple, (1 - t) ** 2 * a + 2 * t * (1 - t) * b + t ** 2 * c))
                at = end
    return [np.array(c, float) for c in contours]


# Text along an arc: its size, the side of its blank, the distance of dots; and what is written at which radius.
ARC_MM = (6.0, 60.0, 0.05)
ARCS = pytest.mark.parametrize("text, radius", [("HARBOUR", 20.0), ("HAVATO", 12.0), ("Lighthouse", -18.0)])


def along_an_arc(tmp_path, text, radius):
    """The dots of a text along an arc, and where they lie."""
    size, side, pitch = ARC_MM
    layer = f"text = '{text}', place = '100x{size:g}mm', arc_mm = {radius}"
    done = run("prepare", "--blank", f"rect:{side:g}x{side:g}mm", "--pitch", f"{pitch}mm", "--screen", "threshold", "--layer", layer,
               "--out", tmp_path / "out")
    assert done.returncode in (0, 3), done.stderr
    dots = np.asarray(Image.open(tmp_path / "out/dots.png").convert("L")) < 128
    return dots, report(tmp_path / "out")["placement"]


@ARCS
def test_text_along_an_arc_is_where_its_arc_length_puts_it(tmp_path, text, radius):
    """The glyphs of the font's own outlines, each turned about the middle of its advance, which lies at its arc length on
    the circle (SVG 1.1, section 10.13.3, rules for text on a path). Drawn here as polygons and compared dot by dot."""
    size, side, pitch = ARC_MM
    found, place = along_an_arc(tmp_path, text, radius)
    left, top = place["left_mm"], place["top_mm"]
    font = TTFont(FONT)
    cmap, glyphs = font.getBestCmap(), font.getGlyphSet()
    scale = size / font["head"].unitsPerEm
    total = advance(text) * size
    wanted = np.zeros(found.shape, bool)
    for i, letter in enumerate(text):
        # From the advance of what comes before, kerning too, to where the next letter begins: what the text moves on by.
        start = (advance(text[:i + 1]) - advance(letter)) * size
        end = (advance(text[:i + 2]) - advance(text[i + 1])) * size if i + 1 < len(text) else total
        middle = (start + end - total) / 2
        for contour in flattened(glyphs, cmap[ord(letter)]):
            x = contour[:, 0] * scale - (end - start) / 2
            y = contour[:, 1] * scale
            phi = middle / abs(radius)
            # Over the top the letters stand outwards, along the bottom inwards.
            up = 1 if radius > 0 else -1
            px = abs(radius) * np.sin(phi) + x * np.cos(phi) + up * y * np.sin(phi)
            py = up * abs(radius) * np.cos(phi) - up * x * np.sin(phi) + y * np.cos(phi)
            columns = (px + side / 2 - left) / pitch - 0.5
            rows = (side / 2 - py - top) / pitch - 0.5
            wanted ^= polygon2mask(found.shape, np.column_stack([rows, columns]))
    both, either = (wanted & found).sum(), (wanted | found).sum()
    # A dot at either edge of a stroke may fall either way: strokes of 0.55 mm are 11 dots wide, so a tenth of a dot is 0.98.
    assert both / either > 0.96, both / either
    centre = [np.argwhere(p).mean(axis=0) for p in (wanted, found)]
    assert np.abs(centre[0] - centre[1]).max() < 0.5


@ARCS
def test_text_along_an_arc_is_what_a_browser_draws_along_its_path(tmp_path, text, radius):
    """The same arc as a textPath of SVG 1.1, drawn by chromium with the same font, dot by dot."""
    size, side, pitch = ARC_MM
    found, place = along_an_arc(tmp_path, text, radius)
    # Drawn in units of a dot: the browser measures paths to half a unit.
    unit = 1 / pitch
    page_side, r, middle = side * unit, abs(radius) * unit, side / 2 * unit
    shutil.copy(FONT, tmp_path / "font.ttf")
    # Left to right: over the top with the clock, along the bottom against it.
    (tmp_path / "arc.html").write_text(
        "<style>@font-face { font-family: same; src: url(font.ttf) } body { margin: 0 } svg { display: block }"
        f"text {{ font: {size * unit}px same; text-anchor: middle; text-rendering: geometricPrecision }}</style>"
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{page_side}" height="{page_side}">'
        f'<path id="arc" fill="none" d="M{middle - r} {middle}A{r} {r} 0 0 {int(radius > 0)} {middle + r} {middle}"/>'
        f'<text><textPath href="#arc" startOffset="50%">{text}</textPath></text></svg>')
    with sync_playwright() as player:
        browser = player.chromium.launch(executable_path=chromium(), args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": round(page_side), "height": round(page_side)})
        page.goto((tmp_path / "arc.html").as_uri())
        page.evaluate("document.fonts.ready")
        page.screenshot(path=tmp_path / "arc.png")
        browser.close()
    drawn = np.asarray(Image.open(tmp_path / "arc.png").convert("L")) < 128
    rows, columns = ((start + (np.arange(n) + 0.5) * pitch) / pitch for start, n in
                     zip((place["top_mm"], place["left_mm"]), found.shape))
    wanted = drawn[np.ix_(rows.astype(int), columns.astype(int))]
    assert wanted.sum() == drawn.sum(), "nothing is drawn beside the dots"
    both, either = (wanted & found).sum(), (wanted | found).sum()
    assert both / either > 0.95, both / either


BAD = [
    ("table = 'no.csv'", "", "cannot read the table"),
    ("table = 't.csv'", "name\nAnna\n", "no column 'nmae'"),
    ("table = 't.csv'", "name\n" + "x\n" * 10_001, "more than 10000 rows"),
    ("table = 't.csv'", "nmae\n", "no rows"),
    ("table = 't.csv'\n[tray]\nspots = [[0, 0], [3, 3]]", "nmae\nA\nB\n", "spots 1 and 2 overlap"),
    ("table = 't.csv'\n[tray]\nspots = [[395, 395]]", "nmae\nA\n", "bed"),
    ("table = 't.csv'\n[tray]\ngrid = 'four'", "nmae\nA\n", "is no grid"),
    ("table = 't.csv'\n[tray]\noutlines = 'none.svg'", "nmae\nA\n", "none.svg cannot be read"),
    ("table = 't.csv'\n[tray]\noutlines = 'open.svg'", "nmae\nA\n", "no closed outline"),
    ("table = 't.csv'\n[tray]\noutlines = 'over.svg'", "nmae\nA\n", "spots 1 and 2 overlap"),
    ("table = 't.csv'\n[tray]\noutlines = 'small.svg'", "nmae\nA\n", "does not fit spot 1 of the jig, which is 12 x 9 mm"),
    ("table = 't.csv'\n[tray]\noutlines = 'crooked.svg'", "nmae\nA\n", "has spot 2 neither as an upright rectangle nor as a circle"),
    ("table = 't.csv'\n[tray]\noutlines = 'round.svg'", "nmae\nA\n", "its corners do not fit the round spot 1 of the jig"),
    ("table = 't.csv'\n[tray]\noutlines = 'far.svg'", "nmae\nA\n", "bed"),
    ("table = 't.csv'\n[tray]\noutlines = 'past.svg'", "nmae\nA\n", "reach past its page"),
    ("table = 't.csv'\n[tray]\ngrid = '2x2'\noutlines = 'open.svg'", "nmae\nA\n", "no closed outline"),
    ("table = 't.csv'\n[tray]\ngrid = '2x2'\noutlines = 'good.svg'", "nmae\nA\n", "keep one of them"),
    ("table = 't.csv'\n[tray]\noutlines = 't.csv'", "nmae\nA\n", "t.csv"),
]


def svg(path, body, side=200):
    path.write_text(f'<svg xmlns="http://www.w3.org/2000/svg" width="{side}mm" height="{side}mm" viewBox="0 0 {side} {side}">'
                    f'<g fill="none" stroke="black">{body}</g></svg>')


JIGS = {
    "open.svg": '<path d="M0 0h30v20"/><line x2="30" y2="10"/>',
    "over.svg": '<rect width="30" height="20"/><rect x="25" y="10" width="30" height="20"/>',
    "small.svg": '<rect x="5" y="5" width="12" height="9"/>',
    "crooked.svg": '<rect x="5" y="5" width="21" height="11"/><rect x="40" y="20" width="30" height="20" transform="rotate(10 55 30)"/>',
    "round.svg": '<circle cx="20" cy="20" r="10.5"/>',
    "past.svg": '<rect x="190" y="5" width="30" height="20"/>',
    "good.svg": '<rect x="5" y="5" width="21" height="11"/>',
}


@pytest.mark.parametrize("more, table, said", BAD)
def test_a_bad_order_is_one_sentence_and_nothing_written(tmp_path, more, table, said):
    (tmp_path / "order.toml").write_text(f"blank = 'rect:20x10mm'\n{more}\n[[piece.layer]]\ntext = '{{nmae}}'\n")
    (tmp_path / "t.csv").write_text(table)
    for name, body in JIGS.items():
        svg(tmp_path / name, body)
    svg(tmp_path / "far.svg", '<rect x="470" y="470" width="21" height="11"/>', 500)
    done = run("tray", "order.toml", "--out", "out", cwd=tmp_path)
    assert done.returncode == 1 and said in done.stderr, done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert not (tmp_path / "out").exists()


def test_a_picture_that_is_not_there_names_its_row_and_can_be_left_out(tmp_path):
    names = [ROOT / "samples/emblem.svg"] * 6 + ["none.svg"] + [ROOT / "samples/emblem.svg"]
    (tmp_path / "t.csv").write_text("art\n" + "\n".join(map(str, names)))
    (tmp_path / "order.toml").write_text("blank = 'round:20mm'\ntable = 't.csv'\n[[piece.layer]]\nfile = '{art}'\n")
    done = run("tray", tmp_path / "order.toml", "--out", tmp_path / "out")
    assert done.returncode == 1 and "row 8" in done.stderr and "none.svg" in done.stderr
    assert not (tmp_path / "out").exists()
    done = run("tray", tmp_path / "order.toml", "--skip-bad-rows", "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    assert len(report(tmp_path / "out")["pieces"]) == 7 and "row 8" in report(tmp_path / "out")["skipped"][0]


def test_a_drawn_jig_has_its_spots_where_they_are_drawn(tmp_path):
    """Round and rectangular outlines, one moved by a transform, within a frame: each piece's marks lie in its outline, and
    the jig that is written, read again, is the same."""
    svg(tmp_path / "jig.svg", '<rect x="20" y="30" width="150" height="120"/><circle cx="50" cy="60" r="20"/>'
        '<g transform="translate(100 40)"><path d="M0 0h40v44h-40z"/></g><ellipse cx="60" cy="120" rx="22" ry="21"/>')
    (tmp_path / "order.toml").write_text(
        "blank = 'rect:30x10mm'\ntable = 't.csv'\n[tray]\noutlines = 'jig.svg'\n[[piece.layer]]\ntext = '{name}'\n")
    (tmp_path / "t.csv").write_text("name\nFog\nBell\nBuoy\nTide\n")
    done = run("tray", tmp_path / "order.toml", "--jig", "20%,50mm/s", "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    facts = report(tmp_path / "out")
    assert [(t["width_mm"], t["height_mm"]) for t in facts["trays"]] == [(pytest.approx(150, abs=0.01), pytest.approx(120, abs=0.01))] * 2
    # The middle of each outline, from the frame's lower left corner: by hand from the drawing.
    middles = [(30, 90), (100, 88), (40, 30)]
    for piece in facts["pieces"]:
        x, y = middles[piece["spot"] - 1]
        assert (piece["left_mm"] + 15, piece["bottom_mm"] + 5) == (pytest.approx(x, abs=0.01), pytest.approx(y, abs=0.01))
    strokes = burning(tmp_path / "out/program-1.nc")
    inside = np.zeros(len(strokes), bool)
    for x, y in middles:
        here = (np.abs(strokes[:, [0, 2]] - x) < 15).all(axis=1) & (np.abs(strokes[:, [1, 3]] - y) < 5).all(axis=1)
        assert here.any()
        inside |= here
    assert inside.all()
    # The second tray's one piece lies in the jig of the first: no other is made.
    assert not (tmp_path / "out/jig-2.svg").exists() and (tmp_path / "out/jig.nc").exists()
    again = (tmp_path / "order.toml").read_text().replace("jig.svg", "out/jig.svg")
    (tmp_path / "again.toml").write_text(again)
    assert run("tray", tmp_path / "again.toml", "--out", tmp_path / "again").returncode == 0
    kept = {p["name"]: (p["left_mm"], p["bottom_mm"]) for p in facts["pieces"] if p["tray"] == 1}
    for piece in report(tmp_path / "again")["pieces"]:
        if piece["name"] in kept and piece["tray"] == 1:
            assert any(np.allclose((piece["left_mm"], piece["bottom_mm"]), at, atol=0.01) for at in kept.values())


def test_trays_of_other_blanks_have_jigs_of_their_own(tmp_path):
    (tmp_path / "order.toml").write_text(
        "blank = '{blank}'\ntable = 't.csv'\n[tray]\ngrid = '2x1'\n[[piece.layer]]\ntext = '{name}'\n")
    (tmp_path / "t.csv").write_text("name,blank\nFog,rect:30x10mm\nBell,rect:30x10mm\nBuoy,round:20mm\nTide,rect:30x10mm\nEbb,rect:30x10mm\n")
    done = run("tray", tmp_path / "order.toml", "--jig", "20%,50mm/s", "--out", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    out = tmp_path / "out"
    assert (out / "jig.svg").read_text().count("<circle") == 0 and (out / "jig-2.svg").read_text().count("<circle") == 1
    assert not (out / "jig-3.svg").exists() and not (out / "jig-3.nc").exists()
    circle = burning(out / "jig-2.nc")
    facts = report(out)
    buoy = next(p for p in facts["pieces"] if p["name"] == "Buoy")
    middle = np.array([buoy["left_mm"] + 10, buoy["bottom_mm"] + 10])
    away = np.hypot(*(circle[:, :2] - middle).T)
    assert (np.abs(away - 10) < 0.06).sum() > 20
    page = (out / "ticket.html").read_text()
    assert "from jig.svg for trays 1 and 3, another from jig-2.svg for tray 2" in page
    # A piece of the third tray alone: its jig is the first tray's, and the card is written for it.
    done = run("tray", tmp_path / "order.toml", "--jig", "20%,50mm/s", "--only", "5", "--out", tmp_path / "one")
    assert done.returncode == 0, done.stderr
    page = (tmp_path / "one/ticket.html").read_text()
    assert "Make the jig from jig.svg (or" in page and "run jig.nc, which" in page and "jig-2" not in page
    assert (tmp_path / "one/jig.nc").read_bytes() == (out / "jig.nc").read_bytes()


def test_a_finding_names_the_row_of_the_table(tmp_path):
    (tmp_path / "order.toml").write_text(
        "blank = 'rect:30x10mm'\ntable = 't.csv'\n[tray]\ngrid = '3x1'\n[[piece.layer]]\ntext = '{name}'\n"
        "place = '28x5mm'\nanchor = 'top'\n[[piece.layer]]\ntext = '{note}'\nplace = '28x0.6mm'\nanchor = 'bottom'\n")
    # What is written in row 3 alone is too small for the beam.
    (tmp_path / "t.csv").write_text("name,note\nFog,\nBell,rung at noon every day of the week\nBuoy,\n")
    run("tray", tmp_path / "order.toml", "--out", tmp_path / "out")
    facts = report(tmp_path / "out")
    found = {p["row"]: p["findings"] for p in facts["pieces"]}
    assert "detail-below-beam" in found[3] and "detail-below-beam" not in found[2] + found[4]
    page = (tmp_path / "out/ticket.html").read_text()
    assert "Row 3: " in page or "row 3: " in page
