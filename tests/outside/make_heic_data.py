"""Makes the small HEIC files of tests/data/heic with pillow-heif (libheif and x265), and beside each, as PNG, what
pillow-heif itself decodes from it. The grid of tiles, as telephones write it, is put together here by hand from
tiles that pillow-heif encoded; pillow-heif's decoding of it tells that it is sound.

Run from the repository's root: python tests/outside/make_heic_data.py
Needs pillow-heif beside tests/requirements.txt.
"""

import pathlib
import struct

import numpy as np
import pillow_heif
from PIL import Image, ImageCms

OUT = pathlib.Path("tests/data/heic")
OUT.mkdir(parents=True, exist_ok=True)
harbour = Image.open("samples/harbour.jpg").convert("RGB")


def scene(width, height):
    return harbour.resize((width, height), Image.LANCZOS)


def keep(name, plain=None):
    """Writes pillow-heif's decoding of a file as PNG; of deep ones the upper 8 bits."""
    heif = plain or pillow_heif.open_heif(OUT / f"{name}.heic", convert_hdr_to_8bit=True)
    Image.frombytes(heif.mode, heif.size, heif.data, "raw", heif.mode, heif.stride).save(OUT / f"{name}.png")


def save(name, image, **options):
    heif = image if isinstance(image, pillow_heif.HeifFile) else pillow_heif.from_pillow(image)
    heif.save(OUT / f"{name}.heic", **options)
    keep(name)


def deep(image, bits):
    codes = np.asarray(image).astype(np.uint16) * 257
    pillow_heif.options.SAVE_HDR_TO_12_BIT = bits == 12
    return pillow_heif.from_bytes(
        mode="RGBA;16" if image.mode == "RGBA" else "RGB;16", size=image.size, data=codes.tobytes()
    )


save("half-colour", scene(64, 48), quality=80, chroma="420")
save("across-colour", scene(64, 48), quality=80, chroma="422")
save("full-colour", scene(64, 48), quality=80, chroma="444")
save("coarse", scene(96, 72), quality=15)
save("fine", scene(64, 48), quality=97)
save("lossless", scene(48, 36), quality=-1, chroma="444", matrix_coefficients=0)
save("odd", scene(67, 45), quality=80)
save("odd-full-colour", scene(67, 45), quality=80, chroma="444")
save("tiny", scene(7, 5), quality=90)
save("grey", scene(64, 48).convert("L"), quality=80)
see_through = scene(64, 48)
see_through.putalpha(Image.linear_gradient("L").resize((64, 48)))
save("alpha", see_through, quality=80)
profiled = scene(64, 48)
profiled.info["icc_profile"] = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
save("profile", profiled, quality=80)
for turn in (3, 6, 8):
    turned = scene(64, 48)
    exif = Image.Exif()
    exif[274] = turn
    turned.info["exif"] = exif.tobytes()
    save(f"turned-{turn}", turned, quality=80)
save("thumbnail", scene(96, 72), quality=70, thumbnails=[32])
two = pillow_heif.from_pillow(scene(64, 48))
two.add_from_pillow(scene(48, 64))
save("second-first", two, quality=80, primary_index=1)
save("ten-bits", deep(scene(64, 48), 10), quality=80)
save("twelve-bits", deep(scene(64, 48), 12), quality=80)
save("ten-bits-alpha", deep(see_through, 10), quality=80)
pillow_heif.options.SAVE_HDR_TO_12_BIT = False


def boxes(data):
    at = 0
    while at < len(data):
        size, kind = struct.unpack(">I4s", data[at : at + 8])
        yield kind, data[at + 8 : at + size]
        at += size


def box(kind, *parts):
    body = b"".join(parts)
    return struct.pack(">I4s", 8 + len(body), kind) + body


def full(kind, version, flags, *parts):
    return box(kind, struct.pack(">I", version << 24 | flags), *parts)


def coded(image):
    """The configuration (hvcC) and the coded picture of an image."""
    path = OUT / "tile.heic"
    pillow_heif.from_pillow(image).save(path, quality=80, chroma="420")
    file = path.read_bytes()
    path.unlink()
    top = dict(boxes(file))
    meta = dict(boxes(top[b"meta"][4:]))
    parts = list(boxes(dict(boxes(meta[b"iprp"]))[b"ipco"]))
    config = next(body for kind, body in parts if kind == b"hvcC")
    # The only data of a file with one picture are its own.
    return config, top[b"mdat"]


def grid(name, columns, rows, tile, size, turn):
    """A picture of `columns` x `rows` tiles, cut to `size` and turned by `turn` quarters against the clock."""
    whole = scene(columns * tile, rows * tile)
    tiles = [
        coded(whole.crop((x * tile, y * tile, (x + 1) * tile, (y + 1) * tile)))
        for y in range(rows)
        for x in range(columns)
    ]
    assert len({config for config, _ in tiles}) == 1
    n = len(tiles)
    shape = struct.pack(">BBBBHH", 0, 0, rows - 1, columns - 1, *size)
    infos = [full(b"infe", 2, 0, struct.pack(">HH4s", 1, 0, b"grid"), b"\0")]
    infos += [full(b"infe", 2, 1, struct.pack(">HH4s", 2 + i, 0, b"hvc1"), b"\0") for i in range(n)]
    colour = box(b"colr", b"nclx", struct.pack(">HHHB", 1, 13, 6, 0x80))
    ipco = box(
        b"ipco",
        box(b"hvcC", tiles[0][0]),
        full(b"ispe", 0, 0, struct.pack(">II", tile, tile)),
        full(b"ispe", 0, 0, struct.pack(">II", *size)),
        box(b"irot", bytes([turn])),
        colour,
    )
    uses = [struct.pack(">HB", 1, 3) + bytes([3, 0x80 | 4, 5])]
    uses += [struct.pack(">HB", 2 + i, 3) + bytes([0x80 | 1, 2, 5]) for i in range(n)]
    ipma = full(b"ipma", 0, 0, struct.pack(">I", n + 1), *uses)
    iref = full(b"iref", 0, 0, box(b"dimg", struct.pack(">HH", 1, n), *(struct.pack(">H", 2 + i) for i in range(n))))
    ftyp = box(b"ftyp", b"heic", struct.pack(">I", 0), b"mif1heic")

    def meta(start):
        places = [struct.pack(">HHHHII", 1, 1, 0, 1, 0, len(shape))]
        at = start
        for i, (_, data) in enumerate(tiles):
            places.append(struct.pack(">HHHHII", 2 + i, 0, 0, 1, at, len(data)))
            at += len(data)
        return full(
            b"meta",
            0,
            0,
            full(b"hdlr", 0, 0, struct.pack(">I4s", 0, b"pict"), bytes(13)),
            full(b"pitm", 0, 0, struct.pack(">H", 1)),
            full(b"iloc", 1, 0, struct.pack(">BBH", 0x44, 0, n + 1), *places),
            full(b"iinf", 0, 0, struct.pack(">H", n + 1), *infos),
            iref,
            box(b"iprp", ipco, ipma),
            box(b"idat", shape),
        )

    start = len(ftyp) + len(meta(0)) + 8
    (OUT / f"{name}.heic").write_bytes(ftyp + meta(start) + box(b"mdat", *(data for _, data in tiles)))
    keep(name)


grid("tiles", 3, 2, 64, (160, 112), 0)
grid("tiles-turned", 2, 2, 64, (120, 100), 3)
print(len(list(OUT.glob("*.heic"))), "files,", sum(p.stat().st_size for p in OUT.iterdir()) // 1024, "KiB")
