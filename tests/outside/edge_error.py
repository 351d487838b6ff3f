"""How true a marked shape is: the edges of a forecast mark against those of the ideal shape.

The mark (a plain coating: mark fraction 1 / (1 + (0.5 / e)^6.25) of exposure e, Gaussian beam swept along each dot), sampled
8 x 8 a dot's cell, and the shape are both seen through a Gaussian of 0.6 dots; what lies above half of what a solid reaches
counts as marked. Written apart from the tool, in numpy, scipy and scikit-image.
"""

import functools

import numpy as np
from scipy.ndimage import correlate1d, distance_transform_edt, gaussian_filter
from scipy.special import erf
from skimage.measure import perimeter_crofton
from skimage.morphology import skeletonize

OVER, SEEN, BORDER = 8, 0.6, 8
# Middle lines are looked for on every second sample each way, in an eighth of the time.
THINNED = 2
X_HALF, RISE = 0.5, 6.25


def mark_fine(dots, along, across, fine=1):
    """Mark fraction at 8 x 8 samples of each pitch-square cell, in which the beam switches `fine` times (1, 2, 4); beam as
    1/e^2 diameters in line pitches; nothing outside."""

    def offsets(over, diameter):
        x = (np.arange(over) + 0.5) / over - 0.5
        reach = int(np.ceil(max(3, 1.2 * diameter)))
        return np.arange(-reach, reach + 1)[None, :] - x[:, None]

    off, s = offsets(OVER // fine, along * fine), along * fine / 4 * np.sqrt(2)
    swept = 0.5 * (erf((off + 0.5) / s) - erf((off - 0.5) / s))
    off, s = offsets(OVER, across), across / 4
    line = np.exp(-(off**2) / (2 * s * s)) / (np.sqrt(2 * np.pi) * s)
    e = np.asarray(dots, float)
    for axis, taps in ((1, swept), (0, line)):
        phases = [correlate1d(e, t, axis=axis, mode="constant") for t in taps]
        shape = list(e.shape)
        shape[axis] *= len(taps)
        e = np.stack(phases, axis=axis + 1).reshape(shape)
    return 1 / (1 + (X_HALF / np.maximum(e, 1e-3)) ** RISE)


def edge_error(shape, dots, along, across, bare, pitch_um, fine=1):
    """shape: True = stroke, 8 x 8 a cell; dots: True = beam on, `fine` times a cell along the lines. With `bare` the strokes stay bare in a marked ground.

    edge    area on the wrong side by the length of the ideal edge, um: mean error of the edge's place
    growth  the same with its sign, um: above 0 where strokes are too fat
    broken  share of the strokes' centre lines that is lost
    closed  share of the centre lines of gaps narrower than 0.6 mm that is filled in
    """
    wanted = ~shape if bare else shape
    inner = (slice(BORDER * OVER, -BORDER * OVER),) * 2
    solid = mark_fine(np.ones((24, 24 * fine)), along, across, fine)[64:-64, 64:-64].mean()
    seen = gaussian_filter(mark_fine(dots, along, across, fine), SEEN * OVER)[inner] > 0.5 * solid
    ideal = gaussian_filter(wanted.astype(np.float32), SEEN * OVER)[inner] > 0.5
    um = pitch_um / OVER / perimeter_crofton(ideal, 4)
    stroke = (~seen if bare else seen)[::THINNED, ::THINNED]
    border = slice(BORDER * OVER // THINNED, -BORDER * OVER // THINNED)
    centre, gap = (c[border, border] for c in centres(shape, pitch_um))
    return {
        "edge": np.logical_xor(seen, ideal).sum() * um,
        "growth": (int(seen.sum()) - int(ideal.sum())) * um * (-1 if bare else 1),
        "broken": 1 - stroke[centre].mean() if centre.any() else 0.0,
        "closed": stroke[gap].mean() if gap.any() else 0.0,
    }


def centres(shape, pitch_um):
    """The middle lines of strokes and of the gaps narrower than 0.6 mm between them; the same shape is asked for with several
    beams."""
    shape = shape[::THINNED, ::THINNED]
    centre, gap = (unpacked(*skeleton(np.packbits(s).tobytes(), s.shape)) for s in (shape, ~shape))
    return centre, gap & (distance_transform_edt(~shape) < 300 / pitch_um * OVER / THINNED)


def unpacked(bits, size):
    return np.unpackbits(np.frombuffer(bits, np.uint8), count=size[0] * size[1]).reshape(size).astype(bool)


@functools.lru_cache(maxsize=64)
def skeleton(bits, size):
    return np.packbits(skeletonize(unpacked(bits, size))).tobytes(), size


def teeth(dots):
    """Single dots that stand out from an edge or are left out of it, for each dot's length of edge."""
    d = np.asarray(dots).astype(np.int8)
    same = [np.pad(d[1:] == d[:-1], ((a, b), (0, 0))) for a, b in ((1, 0), (0, 1))]
    same += [np.pad(d[:, 1:] == d[:, :-1], ((0, 0), (a, b))) for a, b in ((1, 0), (0, 1))]
    column, row = same[0].astype(int) + same[1], same[2].astype(int) + same[3]
    alone = (np.minimum(column, row) == 0) & (np.maximum(column, row) < 2)
    edge = np.abs(np.diff(d, axis=0)).sum() + np.abs(np.diff(d, axis=1)).sum()
    return alone[1:-1, 1:-1].sum() / edge
