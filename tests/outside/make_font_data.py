"""Makes the small font of tests/data/art with fontTools: a block for each letter, of a width of its own.

Run from the repository's root: python tests/outside/make_font_data.py
"""

import pathlib

from fontTools.fontBuilder import FontBuilder
from fontTools.pens.ttGlyphPen import TTGlyphPen

OUT = pathlib.Path("tests/data/art/blocks.ttf")
LETTERS = "HarbouMsem李伟"


def block(width, height):
    pen = TTGlyphPen(None)
    pen.moveTo((50, 0))
    for corner in ((50, height), (width - 50, height), (width - 50, 0)):
        pen.lineTo(corner)
    pen.closePath()
    return pen.glyph()


names = {c: f"u{ord(c):04X}" for c in dict.fromkeys(LETTERS)}
order = [".notdef", "space", *names.values()]
widths = {name: 300 + 40 * i for i, name in enumerate(order)}
builder = FontBuilder(1000, isTTF=True)
builder.setupGlyphOrder(order)
builder.setupCharacterMap({32: "space", **{ord(c): n for c, n in names.items()}})
shapes = {n: block(widths[n], 300 + 30 * i) for i, n in enumerate(order)}
shapes["space"] = TTGlyphPen(None).glyph()
builder.setupGlyf(shapes)
builder.setupHorizontalMetrics({n: (w, 50) for n, w in widths.items()})
builder.setupHorizontalHeader(ascent=900, descent=-200)
builder.setupNameTable({"familyName": "Harbour Blocks", "styleName": "Regular", "psName": "HarbourBlocks-Regular"})
builder.setupOS2(sTypoAscender=900, usWinAscent=900, usWinDescent=200)
builder.setupPost()
# The same bytes every time.
builder.font["head"].created = builder.font["head"].modified = 0
builder.font.recalcTimestamp = False
builder.save(OUT)
