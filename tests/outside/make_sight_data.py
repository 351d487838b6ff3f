#!/usr/bin/env python3
"""Makes tests/data/fitted/sight.json: quality measures by numpy, scipy and scikit-image.

Written apart from the project's code: point spreads by numpy's transform, convolution by scipy, SSIM by
scikit-image. The planes are made from a formula that the Rust test repeats exactly. Run: make_sight_data.py
"""
import json
import os

import numpy as np
from scipy.ndimage import gaussian_filter
from scipy.signal import fftconvolve
from skimage.metrics import structural_similarity


def planes(w, h):
    """Two planes of hundredths: a ramp with a step, and the same with a fixed pattern of errors."""
    y, x = np.mgrid[0:h, 0:w]
    wanted = ((3 * x + 5 * y) % 89 + np.where(x > w // 2, 11, 0)) / 100.0
    marked = wanted + ((7 * x + 13 * y + x * y) % 23 - 11) / 100.0
    return marked.astype(np.float32).astype(float), wanted.astype(np.float32).astype(float)


def point_spread(pitch, distance, radius, eye):
    n = 512
    deg = np.degrees(pitch / distance)
    f = np.fft.fftfreq(n) / deg
    f2 = f[:, None] ** 2 + f[None, :] ** 2
    if eye == "kim-allebach":
        p = 0
        for k, s in ((43.2, 0.0219), (38.7, 0.0598)):
            p = p + k * s * s * np.exp(-2 * (np.pi * s) ** 2 * f2)
        p = np.sqrt(2 * np.pi * p)
    else:
        p = np.exp(-np.sqrt(f2) / (0.525 * np.log(11.0) + 3.91))
    k = np.fft.fftshift(np.real(np.fft.ifft2(p)))
    c = n // 2
    k = k[c - radius:c + radius + 1, c - radius:c + radius + 1]
    return k / k.sum()


def main():
    out = {"planes": []}
    for w, h, pitch, distance in ((96, 80, 25.4 / 300, 300.0), (61, 77, 0.1, 400.0)):
        m, o = planes(w, h)
        cut = (slice(16, -16),) * 2
        seen = {}
        for eye, radius in (("kim-allebach", 12), ("nasanen", 24)):
            k = point_spread(pitch, distance, radius, eye)
            seen[eye] = [fftconvolve(np.pad(a, radius, mode="reflect"), k, mode="valid")[cut] for a in (m, o)]
        seen["g2"] = [gaussian_filter(a, 2.0)[cut] for a in (m, o)]
        opt = dict(data_range=1.0, gaussian_weights=True, sigma=1.5, use_sample_covariance=False)
        psnr = {k: -10 * np.log10(np.mean((a - b) ** 2)) for k, (a, b) in seen.items()}
        out["planes"].append(dict(
            width=w, height=h, pitch_mm=pitch, distance_mm=distance,
            psnr_hvs=psnr["kim-allebach"], ssim_hvs=structural_similarity(*seen["kim-allebach"], **opt),
            psnr_nasanen=psnr["nasanen"], psnr_g2=psnr["g2"], ssim_g2=structural_similarity(*seen["g2"], **opt),
            tone_err=abs(m[cut].mean() - o[cut].mean())))
    k = point_spread(25.4 / 300, 300.0, 12, "kim-allebach")
    out["kim_allebach_300dpi_row"] = list(k[12, 12:])
    k = point_spread(25.4 / 300, 300.0, 24, "nasanen")
    out["nasanen_300dpi_row"] = list(k[24, 24:])
    folder = os.path.join(os.path.dirname(os.path.dirname(os.path.abspath(__file__))), "data", "fitted")
    os.makedirs(folder, exist_ok=True)
    with open(os.path.join(folder, "sight.json"), "w") as f:
        json.dump(out, f, indent=1)
        f.write("\n")


if __name__ == "__main__":
    main()
