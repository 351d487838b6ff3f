//! Pictures made smaller without moiré: by exact areas, in linear light.

use super::canvas::Picture;
use super::layout::Axis;
use crate::colour::{linear_light, srgb8};

/// `picture` made to fit into `side` by `side` pixels, by exact areas in linear light; never enlarged.
pub fn reduced(picture: &Picture, side: usize) -> Picture {
    let longest = picture.width.max(picture.height);
    if longest <= side {
        return picture.clone();
    }
    let scale = longest as f64 / side as f64;
    let fit = |n: usize| ((n as f64 / scale).round() as usize).max(1);
    let (width, height) = (fit(picture.width), fit(picture.height));
    let axis = |n: usize, to: usize| Axis::new((0.0, n as f64 / to as f64, to), (0.0, 1.0, n), (n, 1.0));
    let (ax, ay) = (axis(picture.width, width), axis(picture.height, height));
    let linear = linear_light();
    let mut out = Picture::filled(width, height, [0; 3]);
    crate::parallel::bands(&mut out.rgb, 3 * width, 4, |first, band| {
        for (i, row) in band.chunks_exact_mut(3 * width).enumerate() {
            let (top, rows) = ay.at(first + i);
            for (x, pixel) in row.chunks_exact_mut(3).enumerate() {
                let (left, columns) = ax.at(x);
                let mut sum = [0.0f32; 3];
                for (r, wr) in rows.iter().enumerate() {
                    for (c, wc) in columns.iter().enumerate() {
                        let at = 3 * ((top + r) * picture.width + left + c);
                        for (s, v) in sum.iter_mut().zip(&picture.rgb[at..at + 3]) {
                            *s += wr * wc * linear[usize::from(*v)];
                        }
                    }
                }
                pixel.copy_from_slice(&sum.map(srgb8));
            }
        }
    });
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reducing_keeps_the_mean_light() {
        // Black and white in equal parts are half the light: sRGB 188, not 128.
        let mut p = Picture::filled(64, 64, [0; 3]);
        p.rgb
            .chunks_exact_mut(3)
            .enumerate()
            .filter(|(i, _)| (i % 64 + i / 64) % 2 == 0)
            .for_each(|(_, v)| v.fill(255));
        let small = reduced(&p, 32);
        assert!(small.rgb.iter().all(|&v| v == 188), "{:?}", &small.rgb[..6]);
        assert_eq!(reduced(&small, 100), small);
    }
}
