"""Floyd-Steinberg side by side in one run: these screens, the crate `image`, Pillow and ImageMagick.

    cargo build --release --example screen_speed
    python tests/outside/speed_screens.py

Prints a table in million dots a second, one thread unless said, 4096 x 4096, the best of several runs, with the
share of the rate at which the tones can be read at all. Run it on a quiet machine: the load is printed with it.
The program under test is taken from SCREEN_SPEED, default target/release/examples/screen_speed.
"""

import os
import resource
import shutil
import subprocess
import tempfile
import time

import numpy as np
import PIL
from PIL import Image

SIDE = 4096
RUNS = 11


def picture():
    """The picture of benches/screen_speed.rs: a smooth wave with a little grain."""
    i = np.arange(SIDE * SIDE, dtype=np.uint64)
    x, y = (i % SIDE).astype(np.float32), (i // SIDE).astype(np.float32)
    grain = ((i * np.uint64(2654435761)) >> np.uint64(16)) % np.uint64(25)
    wave = 115 + 100 * np.sin(x * np.float32(0.0041)) * np.cos(y * np.float32(0.0053))
    return Image.fromarray((wave + grain).astype(np.uint8).reshape(SIDE, SIDE))


def pillow(image):
    best = float("inf")
    for _ in range(RUNS):
        start = time.perf_counter()
        image.convert("1")
        best = min(best, time.perf_counter() - start)
    return SIDE * SIDE / 1e6 / best


def imagemagick(image):
    """Processor time with the dither less that without it."""
    program = shutil.which("magick") or shutil.which("convert")
    if program is None:
        return None

    def used(arguments):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run([program, "-limit", "thread", "1", *arguments], check=True, capture_output=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        return after.ru_utime - before.ru_utime

    with tempfile.TemporaryDirectory() as folder:
        path = os.path.join(folder, "in.pgm")
        image.save(path)
        dithered = min(used([path, "-dither", "FloydSteinberg", "-monochrome", "null:"]) for _ in range(3))
        plain = min(used([path, "null:"]) for _ in range(3))
    return SIDE * SIDE / 1e6 / (dithered - plain)


def main():
    image = picture()
    program = os.environ.get("SCREEN_SPEED", "target/release/examples/screen_speed")
    before = pillow(image)
    lines = subprocess.run([program], check=True, capture_output=True, text=True).stdout.splitlines()
    rows = [line.split("\t") for line in lines if not line.startswith("#")]
    rows = [(name, float(speed), share) for name, speed, share in rows]
    reference = max(before, pillow(image))
    rows.append((f"Pillow {PIL.__version__}, floyd-steinberg raster", reference, ""))
    try:
        other = imagemagick(image)
    except subprocess.CalledProcessError:
        other = None
    if other:
        rows.append(("ImageMagick, floyd-steinberg", other, ""))
    else:
        print("# no working ImageMagick here: its line is left out")
    print(lines[0])
    print(f"# load of the last minute {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")
    print(f"{'screen':40} {'Mdot/s':>8} {'x Pillow':>9} {'of memory':>10}")
    for name, speed, share in rows:
        print(f"{name:40} {speed:8.0f} {speed / reference:9.2f} {share:>10}")


if __name__ == "__main__":
    main()
