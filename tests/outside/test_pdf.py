"""Pages of PDF documents against Poppler (pdftoppm), at one picture element a dot."""

import io
import os
import pathlib
import shutil
import subprocess
import zlib

import numpy as np
import pypdf
import pytest
from PIL import Image

DOTWRIGHT = os.environ.get("DOTWRIGHT", "target/release/dotwright")
FONT = pathlib.Path("src/art/fonts/DejaVuSans-Bold.ttf")
# Everything drawn lies inside this frame, so that the art is the whole page: 90 x 60 points, 900 x 600 dots.
FRAME = "0 0 90 60 re 1 1 88 58 re f*\n"
pytestmark = pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="Poppler's pdftoppm is not installed")


def document(drawn, resources="", more=(), page="", packed=False):
    content = (FRAME + drawn).encode()
    filters = ""
    if packed:
        content, filters = zlib.compress(content), "/Filter /FlateDecode "
    objects = [
        b"<< /Type /Catalog /Pages 2 0 R >>",
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        f"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 90 60] {page} /Resources << {resources} >> /Contents 4 0 R >>".encode(),
        f"<< {filters}/Length {len(content)} >>\nstream\n".encode() + content + b"\nendstream",
        *more,
    ]
    out, table = b"%PDF-1.5\n", f"xref\n0 {len(objects) + 1}\n0000000000 65535 f \n"
    for i, body in enumerate(objects):
        table += f"{len(out):010} 00000 n \n"
        out += f"{i + 1} 0 obj\n".encode() + body + b"\nendobj\n"
    end = f"{table}trailer\n<< /Size {len(objects) + 1} /Root 1 0 R >>\nstartxref\n{len(out)}\n%%EOF\n"
    return out + end.encode()


def lettering():
    data = FONT.read_bytes()
    widths = " ".join(["700"] * 224)
    font = (
        b"<< /Type /Font /Subtype /TrueType /BaseFont /ABCDEF+Lettering /Encoding /WinAnsiEncoding /FirstChar 32"
        b" /LastChar 255 /Widths [" + widths.encode() + b"] /FontDescriptor 6 0 R >>"
    )
    descriptor = (
        b"<< /Type /FontDescriptor /FontName /ABCDEF+Lettering /Flags 32 /FontBBox [-200 -300 1400 1100] /ItalicAngle 0"
        b" /Ascent 930 /Descent -240 /CapHeight 730 /StemV 150 /FontFile2 7 0 R >>"
    )
    packed = zlib.compress(data)
    file = f"<< /Filter /FlateDecode /Length {len(packed)} /Length1 {len(data)} >>\nstream\n".encode() + packed + b"\nendstream"
    return document("BT /F1 14 Tf 8 25 Td (Harbour) Tj ET", "/Font << /F1 5 0 R >>", [font, descriptor, file])


def picture():
    grey = (np.indices((30, 40)).sum(0) // 6 % 2 * 255).astype(np.uint8)
    data = zlib.compress(grey.tobytes())
    body = (
        f"<< /Type /XObject /Subtype /Image /Width 40 /Height 30 /ColorSpace /DeviceGray /BitsPerComponent 8"
        f" /Filter /FlateDecode /Length {len(data)} >>\nstream\n"
    ).encode() + data + b"\nendstream"
    return document("q 40 0 0 30 25 15 cm /I Do Q", "/XObject << /I 5 0 R >>", [body])


def rewritten(data, **how):
    writer = pypdf.PdfWriter(clone_from=io.BytesIO(data))
    if how:
        writer.encrypt(**how)
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()


CURVES = "20 30 m 20 50 70 50 70 30 c 70 10 20 10 20 30 c 30 30 m 60 30 l 45 20 l h f*"
DOCUMENTS = {
    "curves": document(CURVES),
    "packed": document(CURVES, packed=True),
    "strokes": document("3 w 1 J 1 j 15 15 m 45 45 l 75 15 l S 1 w [4 2] 0 d 10 50 m 80 50 l S"),
    "clip": document("q 25 10 40 40 re W n 10 10 m 80 50 l 80 10 l f Q"),
    "inks": document("0 0 0 1 k 10 10 30 40 re f 0 0 0 0 k 15 15 10 10 re f 0.2 g 50 10 30 40 re f"),
    "moved": document("q 0.7 0.7 -0.7 0.7 45 10 cm 0 0 25 12 re f Q"),
    "gradient": document(
        "/Pattern cs /P scn 10 10 70 40 re f",
        "/Pattern << /P << /PatternType 2 /Shading << /ShadingType 2 /ColorSpace /DeviceGray /Coords [10 0 80 0]"
        " /Function << /FunctionType 2 /Domain [0 1] /C0 [0] /C1 [1] /N 1 >> >> >> >>",
    ),
    "lettering": lettering(),
    "picture": picture(),
    "rewritten": rewritten(document(CURVES)),
    "owner-locked": rewritten(document(CURVES), user_password="", owner_password="captain", algorithm="RC4-128"),
}


def prepared(art, folder, *more):
    line = [DOTWRIGHT, "prepare", art, "--out", folder, "--blank", "rect:94x64mm", "--margin", "2mm", "--place", "90x60mm"]
    line += ["--density", "254dpi", "--screen", "threshold", "--dot-gain", "off", "--read-as", "drawing", "--accept", "over-burn"]
    return subprocess.run([*map(str, line), *more], capture_output=True, text=True)


@pytest.mark.parametrize("name", DOCUMENTS)
def test_a_page_is_drawn_as_poppler_draws_it(name, tmp_path):
    file = tmp_path / f"{name}.pdf"
    file.write_bytes(DOCUMENTS[name])
    done = prepared(file, tmp_path / "out")
    assert done.returncode in (0, 3), done.stderr
    marked = np.asarray(Image.open(tmp_path / "out" / "dots.png").convert("L")) < 128
    h, w = ((s - n) // 2 for s, n in zip(marked.shape, (600, 900)))
    marked = marked[h : h + 600, w : w + 900]
    subprocess.run(["pdftoppm", "-r", "720", "-gray", "-singlefile", file, tmp_path / "page"], check=True)
    inked = np.asarray(Image.open(tmp_path / "page.pgm")) < 128
    assert inked.shape == marked.shape == (600, 900)
    # Edges may fall to the other side of half a dot. Poppler widens strokes and lettering by up to a dot (its own
    # practice), so that a share of the edge dots differs; nothing may differ away from an edge.
    from scipy import ndimage

    edge = ndimage.binary_dilation(inked, iterations=2) & ~ndimage.binary_erosion(inked, iterations=2, border_value=1)
    assert not ((marked != inked) & ~edge).any()
    assert (marked != inked).mean() < (0.02 if name in ("gradient", "picture") else 0.01)


def test_a_document_with_a_password_is_refused_in_a_sentence(tmp_path):
    file = tmp_path / "locked.pdf"
    file.write_bytes(rewritten(document(CURVES), user_password="anchor", owner_password="captain", algorithm="RC4-128"))
    done = prepared(file, tmp_path / "out")
    assert done.returncode == 1 and "locked with a password" in done.stderr, done.stderr
    assert not (tmp_path / "out").exists()
