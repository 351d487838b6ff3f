#!/usr/bin/env python3
"""Draws shapes with hard edges: what a marked edge is measured against, and the art that a maker would bring of them.

    make_shapes.py FOLDER [--dpi 300]

For each shape and density it writes
  NAME.shape.png  the ideal, 8 x 8 pixels for each dot's cell, black = stroke
  NAME.grey.png   the same at one pixel a dot, grey by how much of a dot is covered
  NAME.two.png    the same in two tones at 4 x 4 pixels a dot, as a line-art scan or an exported logo
all of whole dots. Shapes are drawn in millimetres, so their strokes lie between the dots as chance has it. Lettering is in
the fonts that the tool ships. Needs numpy, Pillow.
"""

import argparse
import os

import numpy as np
from PIL import Image, ImageDraw, ImageFont

OVER = 8
FONTS = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..", "src", "art", "fonts")
# A border, mm: nothing is measured there.
BORDER = 1.2


class Sheet:
    """A drawing in millimetres, 16 x 16 pixels for each dot while it is drawn."""

    FINER = 2

    def __init__(self, width, height, dpi):
        self.pitch = 25.4 / dpi
        self.columns, self.rows = round(width / self.pitch), round(height / self.pitch)
        # The middle of the drawing is the sheet's.
        self.middle = (self.columns * self.pitch / 2, self.rows * self.pitch / 2)
        size = self.columns * OVER * self.FINER, self.rows * OVER * self.FINER
        self.image = Image.new("1", size, 0)
        self.draw = ImageDraw.Draw(self.image)

    def at(self, *mm):
        """Pixels of places from the middle, mm."""
        scale = OVER * self.FINER / self.pitch
        return [((x + self.middle[0]) * scale, (y + self.middle[1]) * scale) for x, y in mm]

    def polygon(self, *mm, ink=1):
        self.draw.polygon(self.at(*mm), fill=ink)

    def line(self, a, b, width, ink=1):
        """A stroke with butt ends."""
        (ax, ay), (bx, by) = a, b
        far = np.hypot(bx - ax, by - ay)
        nx, ny = -(by - ay) / far * width / 2, (bx - ax) / far * width / 2
        self.polygon((ax + nx, ay + ny), (bx + nx, by + ny), (bx - nx, by - ny), (ax - nx, ay - ny), ink=ink)

    def curve(self, points, width, ink=1):
        """A stroke through points, with round joints."""
        for a, b in zip(points, points[1:]):
            self.line(a, b, width, ink)
            self.disc(b, width / 2, ink)
        self.disc(points[0], width / 2, ink)

    def disc(self, middle, radius, ink=1):
        (x, y), r = middle, radius
        self.draw.ellipse([*self.at((x - r, y - r))[0], *self.at((x + r, y + r))[0]], fill=ink)

    def ring(self, middle, radius, width):
        """Painted by hand: what lies inside stays as it is."""
        scale = OVER * self.FINER / self.pitch
        (cx, cy) = self.at(middle)[0]
        far = (radius + width) * scale + 1
        left, top = max(int(cx - far), 0), max(int(cy - far), 0)
        right, bottom = min(int(cx + far) + 1, self.image.width), min(int(cy + far) + 1, self.image.height)
        y, x = np.ogrid[top:bottom, left:right]
        off = np.hypot(x + 0.5 - cx, y + 0.5 - cy) / scale - radius
        pixels = np.array(self.image)
        pixels[top:bottom, left:right] |= np.abs(off) < width / 2
        self.image = Image.fromarray(pixels)
        self.draw = ImageDraw.Draw(self.image)

    def text(self, middle, words, font, height):
        """A line of lettering whose capitals are `height` mm high."""
        size = 1000
        face = ImageFont.truetype(os.path.join(FONTS, font), size)
        capital = -face.getbbox("H", anchor="ls")[1]
        scale = OVER * self.FINER / self.pitch
        face = ImageFont.truetype(os.path.join(FONTS, font), size * height * scale / capital)
        self.draw.text(self.at(middle)[0], words, font=face, fill=1, anchor="mm")

    def shape(self):
        """True = stroke, 8 x 8 a dot's cell."""
        fine = np.asarray(self.image)
        f = self.FINER
        return fine.reshape(self.rows * OVER, f, self.columns * OVER, f).mean((1, 3)) >= 0.5


def lettering(dpi):
    s = Sheet(30, 23, dpi)
    s.text((0, -8.6), "Pier 7 & Quay", "DejaVuSans.ttf", 2.8)
    s.text((0.3, -4.5), "Harbour Museum", "DejaVuSerif.ttf", 2.0)
    s.text((0.1, -1.4), "of ships and lighthouses, est. 1887", "DejaVuSans.ttf", 1.0)
    s.text((-0.2, 1.5), "Members' Day", "DejaVuSerif-Bold.ttf", 2.2)
    s.text((0.2, 7.0), "Gull 8s", "DejaVuSans-Bold.ttf", 5.0)
    return s.shape()


def compass(dpi):
    s = Sheet(24, 24, dpi)
    for radius, width in [(10.4, 0.25), (9.9, 0.5), (6.3, 0.35)]:
        s.ring((0, 0), radius, width)
    for k in range(72):
        a = np.radians(k * 5 + 1.3)
        c, d = np.cos(a), np.sin(a)
        inner = 8.6 if k % 9 == 0 else 9.0
        s.line((inner * c, inner * d), (9.7 * c, 9.7 * d), 0.22 if k % 9 else 0.4)
    for long, turn in [(5.0, 45), (8.2, 0)]:
        for k in range(4):
            a = np.radians(turn + 90 * k + 1.3)
            tip = (long * np.cos(a), long * np.sin(a))
            for side in (-1, 1):
                b = a + side * np.pi / 4
                foot = (1.7 * np.cos(b), 1.7 * np.sin(b))
                if side > 0:
                    s.polygon((0, 0), foot, tip)
                else:
                    s.curve([(0, 0), foot, tip, (0, 0)], 0.2)
    return s.shape()


def rings(dpi):
    s = Sheet(22, 22, dpi)
    for radius, width in [(9.3, 0.2), (8.4, 0.3), (7.4, 0.4), (6.2, 0.55), (4.9, 0.8), (3.2, 1.2), (1.2, 0.3)]:
        s.ring((0.013, -0.021), radius, width)
    return s.shape()


def ship(dpi):
    s = Sheet(28, 24, dpi)
    hull = [(-11, 5.2), (-9.6, 8.4), (8.2, 8.4), (11.2, 4.1), (10.9, 3.9), (8.6, 5.4), (-8.4, 5.6), (-10.8, 4.6)]
    s.polygon(*hull)
    s.line((-9.2, 6.6), (9.0, 6.5), 0.3, ink=0)
    for k in range(8):
        s.disc((-7.4 + 2.05 * k, 7.4), 0.32, ink=0)
    for x, top in [(-6.1, -7.6), (0.3, -9.6), (6.2, -6.9)]:
        s.line((x, 5.5), (x + 0.12, top), 0.38)
        for k, y in enumerate(np.linspace(top + 1.2, 1.6, 4)):
            half = 1.5 + 0.55 * k
            s.line((x - half, y + 0.1), (x + half, y - 0.12), 0.25)
            if k:
                sag = [(x - half + 0.2 + (2 * half - 0.4) * t, y - 0.45 + 0.5 * np.sin(np.pi * t)) for t in np.linspace(0, 1, 15)]
                s.curve(sag, 0.2)
        for foot in (-3.6, 3.4):
            s.line((x + foot, 5.4), (x + 0.1, top + 0.6), 0.17)
    s.line((10.8, 4.0), (13.0, 2.2), 0.3)
    s.line((0.35, -9.3), (12.6, 2.5), 0.17)
    for row, y in enumerate((9.4, 10.2)):
        s.curve([(x, y + 0.22 * np.sin(1.9 * x + row)) for x in np.linspace(-12.3, 12.3, 120)], 0.24)
    return s.shape()


def hatchings(dpi):
    s = Sheet(26, 20, dpi)
    tiles = [(-9.4, -5, 0, 0.7, 0.3), (-3.1, -5, 90, 0.63, 0.28), (3.2, -5, 45, 0.6, 0.25), (9.4, -5, 12, 0.55, 0.22)]
    tiles += [(-9.4, 4, 27, 0.9, 0.55), (-3.1, 4, 80, 0.75, 0.25), (3.2, 4, 135, 1.1, 0.7), (9.4, 4, 3, 0.8, 0.4)]
    for x, y, angle, period, width in tiles:
        c, d = np.cos(np.radians(angle)), np.sin(np.radians(angle))
        for k in np.arange(-2.3, 2.4, period):
            half = np.sqrt(max(2.7**2 - k * k, 0.0))
            if half > 0.4:
                s.line((x - half * c - k * d, y - half * d + k * c), (x + half * c - k * d, y + half * d + k * c), width)
    s.curve([(12.0 * np.cos(t), 8.6 * np.sin(t)) for t in np.linspace(0, 2 * np.pi, 181)], 0.45)
    return s.shape()


SHAPES = {f.__name__: f for f in (lettering, compass, rings, ship, hatchings)}


def grey(shape):
    """Share of each dot's cell that is stroke."""
    rows, columns = shape.shape[0] // OVER, shape.shape[1] // OVER
    return shape.reshape(rows, OVER, columns, OVER).mean((1, 3))


def two_tone(shape):
    """True = stroke, 4 x 4 a dot's cell."""
    rows, columns = shape.shape[0] // 2, shape.shape[1] // 2
    return shape.reshape(rows, 2, columns, 2).mean((1, 3)) >= 0.5


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("folder")
    ap.add_argument("--dpi", type=float, default=300.0)
    a = ap.parse_args()
    os.makedirs(a.folder, exist_ok=True)
    for name, draw in SHAPES.items():
        shape = draw(a.dpi)
        base = os.path.join(a.folder, name)
        Image.fromarray(~shape).save(base + ".shape.png")
        Image.fromarray(np.round(255 * (1 - grey(shape))).astype(np.uint8)).save(base + ".grey.png")
        Image.fromarray(~two_tone(shape)).save(base + ".two.png")


if __name__ == "__main__":
    main()
