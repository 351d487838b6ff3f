"""Makes the small picture files of tests/data/art with Pillow, and what Pillow reads from them.

Run from the repository's root: python tests/outside/make_art_data.py
"""

import gzip
import io
import json
import pathlib
import struct
import zlib

import numpy as np
from PIL import Image, ImageCms

OUT = pathlib.Path("tests/data/art")
OUT.mkdir(parents=True, exist_ok=True)


def linear(code):
    """IEC 61966-2-1."""
    code = np.asarray(code, float)
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)


def luminance(rgb):
    return linear(np.asarray(rgb, float)) @ [0.2126, 0.7152, 0.0722]


expected = {}


def keep(name, y, alpha=None, tolerance=1e-6):
    entry = {"y": np.asarray(y, float).tolist(), "tolerance": tolerance}
    if alpha is not None:
        entry["alpha"] = np.asarray(alpha, float).tolist()
    expected[name] = entry


rng = np.random.default_rng(7)
H, W = 5, 7
rgb = rng.integers(0, 256, (H, W, 3), dtype=np.uint8)
grey = rng.integers(0, 256, (H, W), dtype=np.uint8)
picture = Image.fromarray(rgb)

for name in ["rgb.png", "rgb.bmp", "rgb.tif"]:
    picture.save(OUT / name)
    keep(name, luminance(rgb / 255))
picture.save(OUT / "rgb.webp", lossless=True)
keep("rgb.webp", luminance(rgb / 255))
Image.fromarray(grey).save(OUT / "grey.png")
keep("grey.png", linear(grey / 255))

# 16 bits, kept exactly: codes that 8 bits cannot tell apart.
deep = rng.integers(0, 65536, (H, W), dtype=np.uint16)
deep[0, :3] = [32768, 32769, 32896]
Image.fromarray(deep).save(OUT / "deep.png")
Image.fromarray(deep).save(OUT / "deep.tif")
for name in ["deep.png", "deep.tif"]:
    keep(name, linear(deep / 65535), tolerance=1e-7)

# A palette with transparency, as PNG and GIF; bilevel as PNG and as G4 TIFF, both photometrics.
index = rng.integers(0, 4, (H, W), dtype=np.uint8)
colours = np.array([[200, 30, 40], [255, 255, 255], [0, 0, 0], [10, 90, 220]], np.uint8)
palette = Image.fromarray(index, "P")
palette.putpalette(colours.tobytes())
palette.save(OUT / "palette.png", transparency=1)
cover = np.where(index == 1, 0.0, 1.0)
keep("palette.png", luminance(colours[index] / 255), cover)
palette.save(OUT / "palette.gif", transparency=1)
keep("palette.gif", luminance(colours[index] / 255), cover)
palette.save(OUT / "palette.tif")
bits = Image.fromarray(np.where(grey > 128, 255, 0).astype(np.uint8)).convert("1", dither=0)
bits.save(OUT / "bits.png")
bits.save(OUT / "bits.tif", compression="group4")
bits.save(OUT / "bits-white-is-zero.tif", compression="group4", tiffinfo={262: 0})
for name in ["bits.png", "bits.tif", "bits-white-is-zero.tif"]:
    read_back = np.asarray(Image.open(OUT / name).convert("L"))
    keep(name, read_back / 255)

# Alpha, straight, 8 bits.
rgba = np.dstack([rgb, rng.integers(0, 256, (H, W), dtype=np.uint8)])
Image.fromarray(rgba).save(OUT / "alpha.png", dpi=(304, 304))
keep("alpha.png", luminance(rgb / 255), rgba[..., 3] / 255)

# JPEG: flat blocks of 8 x 8, so that the file's loss is below one code.
tones = np.array([[20, 70, 130], [170, 215, 250]], np.uint8)
flat = np.kron(tones, np.ones((8, 8), np.uint8))
Image.fromarray(flat).save(OUT / "grey.jpg", quality=98)
keep("grey.jpg", linear(flat / 255), tolerance=0.012)
colour = np.dstack([flat, np.rot90(flat, 2), np.full_like(flat, 90)])
for orientation in range(1, 9):
    exif = Image.Exif()
    exif[0x0112] = orientation
    name = f"turned-{orientation}.jpg"
    Image.fromarray(colour).save(OUT / name, quality=98, subsampling=0, exif=exif)
    from PIL import ImageOps

    upright = np.asarray(ImageOps.exif_transpose(Image.open(OUT / name)))
    keep(name, luminance(upright / 255), tolerance=0.012)
Image.fromarray(colour).save(OUT / "progressive.jpg", quality=98, subsampling=0, progressive=True, dpi=(254, 254))
keep("progressive.jpg", luminance(np.asarray(Image.open(OUT / "progressive.jpg")) / 255), tolerance=0.012)

# Inks: (1 - ink)(1 - black) as sRGB codes, common practice. Pillow writes them inverted with Adobe's marker.
inks = np.dstack([flat, np.rot90(flat, 2), np.full_like(flat, 40), 255 - flat])
Image.fromarray(inks, "CMYK").save(OUT / "inks.jpg", quality=98, subsampling=0)
Image.fromarray(inks, "CMYK").save(OUT / "inks.tif")


def plain(i):
    i = i.astype(float) / 255
    return luminance((1 - i[..., :3]) * (1 - i[..., 3:]))


keep("inks.jpg", plain(np.asarray(Image.open(OUT / "inks.jpg"))), tolerance=0.012)
keep("inks.tif", plain(inks))

# Profiles: sRGB, and one made by hand with gamma 1.0 (linear), the primaries of sRGB.
srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
picture.save(OUT / "profile-srgb.png", icc_profile=srgb)
keep("profile-srgb.png", luminance(rgb / 255), tolerance=2e-6)


def s15(v):
    return struct.pack(">i", round(v * 65536))


def tag_xyz(x, y, z):
    return b"XYZ \0\0\0\0" + s15(x) + s15(y) + s15(z)


def profile(gamma, colorants):
    curve = b"curv\0\0\0\0" + struct.pack(">IH", 1, round(gamma * 256)) + b"\0\0"
    tags = [(b"wtpt", tag_xyz(0.9642, 1.0, 0.8249))]
    tags += [(n, tag_xyz(*c)) for n, c in zip([b"rXYZ", b"gXYZ", b"bXYZ"], colorants)]
    tags += [(n, curve) for n in [b"rTRC", b"gTRC", b"bTRC"]]
    tags += [(b"desc", b"desc\0\0\0\0" + struct.pack(">I", 12) + b"made by us\0\0" + bytes(79))]
    tags += [(b"cprt", b"text\0\0\0\0public\0\0")]
    table, body = struct.pack(">I", len(tags)), b""
    at = 128 + 4 + 12 * len(tags)
    for name, data in tags:
        data += bytes(-len(data) % 4)
        table += name + struct.pack(">II", at + len(body), len(data))
        body += data
    head = struct.pack(">I", at + len(body)) + bytes(4) + b"\x02\x40\0\0mntrRGB XYZ "
    head += struct.pack(">6H", 2026, 1, 1, 0, 0, 0) + b"acsp" + bytes(28) + s15(0.9642) + s15(1) + s15(0.8249)
    return head.ljust(128, b"\0") + table + body


# Colorants of sRGB adapted to D50 (IEC 61966-2-1 annex, by the Bradford transform).
SRGB_D50 = [(0.4360, 0.2225, 0.0139), (0.3851, 0.7169, 0.0971), (0.1431, 0.0606, 0.7141)]
picture.save(OUT / "profile-linear.png", icc_profile=profile(1.0, SRGB_D50))
keep("profile-linear.png", (rgb / 255) @ [0.2126, 0.7152, 0.0722], tolerance=4e-4)
# Gamma 2.2 with wide primaries: luminance by LittleCMS through Pillow, to linear sRGB colorants in XYZ (Y of D50
# turned to D65 by the same Bradford transform).
WIDE = [(0.6097, 0.3111, 0.0195), (0.2053, 0.6257, 0.0609), (0.1492, 0.0632, 0.7446)]
picture.save(OUT / "profile-wide.png", icc_profile=profile(563 / 256, WIDE))
bradford = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
d50, d65 = np.array([0.9642, 1, 0.8249]), np.array([0.9505, 1, 1.089])
adapt = np.linalg.inv(bradford) @ np.diag((bradford @ d65) / (bradford @ d50)) @ bradford
keep("profile-wide.png", ((rgb / 255) ** (563 / 256)) @ (np.array(WIDE) @ adapt[1]), tolerance=4e-4)
Image.fromarray(grey).save(OUT / "profile-damaged.png", icc_profile=b"no profile at all")
keep("profile-damaged.png", linear(grey / 255))

# A PNG whose header claims 60000 x 60000.
def chunk(kind, data):
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


png = b"\x89PNG\r\n\x1a\n"
ihdr = struct.pack(">IIBBBBB", 60000, 60000, 8, 2, 0, 0, 0)
(OUT / "liar.png").write_bytes(png + chunk(b"IHDR", ihdr) + chunk(b"IDAT", zlib.compress(bytes(99))) + chunk(b"IEND", b""))
(OUT / "zero.png").write_bytes(png + chunk(b"IHDR", struct.pack(">IIBBBBB", 0, 4, 8, 2, 0, 0, 0)) + chunk(b"IEND", b""))

# A larger JPEG, to be cut off by the tests, with and without restart markers.
y, x = np.mgrid[0:96, 0:128]
photo = np.dstack([x * 2 % 256, y * 2 % 256, (x * y) % 256]).astype(np.uint8)
Image.fromarray(photo).save(OUT / "whole.jpg", quality=85)
Image.fromarray(photo).save(OUT / "whole-progressive.jpg", quality=85, progressive=True)
Image.fromarray(photo).save(OUT / "whole.png")
Image.fromarray(photo).save(OUT / "whole.gif")
Image.fromarray(photo).save(OUT / "whole.bmp")
Image.fromarray(photo).save(OUT / "whole.tif")
Image.fromarray(photo).save(OUT / "whole.webp", quality=80)

drawing = b"<svg xmlns='http://www.w3.org/2000/svg' width='20' height='10'><rect width='10' height='10'/></svg>"
(OUT / "packed.svgz").write_bytes(gzip.compress(drawing, mtime=0))
(OUT / "bomb.svgz").write_bytes(gzip.compress(b"<svg>" + b" " * (80 << 20), mtime=0))



def document(pages, size, resources="", more=()):
    """A PDF of pages, each with what it draws."""
    kids = " ".join(f"{3 + 2 * i} 0 R" for i in range(len(pages)))
    objects = ["<< /Type /Catalog /Pages 2 0 R >>", f"<< /Type /Pages /Kids [{kids}] /Count {len(pages)} >>"]
    for i, drawn in enumerate(pages):
        box = f"/MediaBox [0 0 {size[0]} {size[1]}]"
        objects.append(f"<< /Type /Page /Parent 2 0 R {box} /Resources << {resources} >> /Contents {4 + 2 * i} 0 R >>")
        objects.append(f"<< /Length {len(drawn)} >>\nstream\n{drawn}\nendstream")
    objects.extend(more)
    out, table = "%PDF-1.4\n", f"xref\n0 {len(objects) + 1}\n0000000000 65535 f \n"
    for i, text in enumerate(objects):
        table += f"{len(out):010} 00000 n \n"
        out += f"{i + 1} 0 obj\n{text}\nendobj\n"
    end = f"trailer\n<< /Size {len(objects) + 1} /Root 1 0 R >>\nstartxref\n{len(out)}\n%%EOF\n"
    return (out + table + end).encode()


# Lettering without its font, a gradient, a form, a picture in line, transparency, a clip and dashes: object 5 is the form.
RICH = """q 5 5 80 50 re W n 0.3 g /S gs 10 10 30 30 re f 1 0 0 RG 3 w [4 2] 1 d 10 50 m 30 20 60 70 80 10 c S Q
BT /F 12 Tf 8 8 Td 1 Tr (Harbour) Tj 0 Tr 0 14 Td [(mu) -200 (seum)] TJ ET
q 0.7 0.7 -0.7 0.7 50 20 cm /X Do Q /Pattern cs /P scn 60 30 25 25 re f*
q 10 0 0 10 70 5 cm BI /W 4 /H 4 /BPC 1 /IM true ID \x55\x33\x55\x33 EI Q"""
FORM = "<< /Type /XObject /Subtype /Form /BBox [0 0 20 20] /Length 28 >>\nstream\n0 0 20 20 re 5 5 10 10 re f*\nendstream"
PARTS = """/Font << /F << /Type /Font /Subtype /Type1 /BaseFont /Times-Bold >> >> /XObject << /X 5 0 R >>
/ExtGState << /S << /ca 0.5 /BM /Multiply >> >> /Pattern << /P << /PatternType 2 /Shading << /ShadingType 3 /ColorSpace /DeviceRGB
/Coords [70 40 2 70 40 20] /Extend [true false] /Function << /FunctionType 2 /Domain [0 1] /C0 [0 0 0] /C1 [1 1 1] /N 1 >> >> >> >>"""
(OUT / "rich.pdf").write_bytes(document([RICH], (90, 60), PARTS, [FORM]))
(OUT / "two.pdf").write_bytes(document(["5 5 60 20 re f", "50 60 m 90 5 l 10 5 l f"], (90, 60)))

(OUT / "expected.json").write_text(json.dumps(expected))
