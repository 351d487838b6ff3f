//! A small picture to decide by: code values of lightness, its background and what stands out from that.

use crate::art::{Raster, Window};
use crate::colour::Curve;
use crate::parallel;

/// Longer side of the small picture, at most: thin strokes are still seen, a camera's grain is not.
const SIDE: usize = 1000;
/// Side of the blocks that are looked at as one, elements.
pub(super) const BLOCK: usize = 8;

/// A picture reduced by a whole factor, averaged in linear light.
#[derive(Debug, Clone)]
pub(super) struct Small {
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// sRGB code of the luminance, 0 to 255.
    pub code: Vec<f32>,
    /// Relative luminance, 0 to 1.
    pub light: Vec<f32>,
    /// Whether the element is opaque by half or more.
    pub opaque: Vec<bool>,
    /// Share of places that are clearly transparent, and of those that are clearly one or the other.
    pub transparent: f64,
    /// See `transparent`.
    pub clear_cut: f64,
}

impl Small {
    /// The part `crop` of a raster, small.
    pub fn of(raster: &Raster, crop: Window) -> Small {
        let (w, h) = (raster.light.width(), raster.light.height());
        let cut = |share: f64, n: usize| ((share * n as f64).round() as usize).min(n);
        let (left, right) = (cut(crop.left, w), cut(crop.right, w));
        let (top, bottom) = (cut(crop.top, h), cut(crop.bottom, h));
        let (left, top) = (left.min(w - 1), top.min(h - 1));
        let (wide, high) = (right.max(left + 1) - left, bottom.max(top + 1) - top);
        let k = wide.max(high).div_ceil(SIDE);
        let (width, height) = ((wide / k).max(1), (high / k).max(1));
        let curve = Curve::coding();
        let rows = parallel::map(height, |y| {
            let (mut sum, mut cover) = (vec![0.0f32; width], vec![0.0f32; width]);
            let (mut clear, mut cut) = (0u64, 0u64);
            let from = top + y * k;
            for line in from..(from + k).min(h) {
                let light = &raster.light.row(line)[left..left + wide];
                let alpha = raster.alpha.as_ref().map(|a| &a.row(line)[left..left + wide]);
                for (x, (s, c)) in sum.iter_mut().zip(&mut cover).enumerate() {
                    let part = x * k..((x + 1) * k).min(wide);
                    match alpha {
                        None => {
                            *s += light[part.clone()].iter().sum::<f32>();
                            *c += part.len() as f32;
                        }
                        Some(alpha) => {
                            for (l, a) in light[part.clone()].iter().zip(&alpha[part]) {
                                *s += l * a;
                                *c += a;
                                clear += u64::from(*a < 0.02);
                                cut += u64::from(!(0.02..=0.98).contains(a));
                            }
                        }
                    }
                }
            }
            let light: Vec<f32> =
                sum.iter().zip(&cover).map(|(s, c)| if *c > 1e-3 { s / c } else { 1.0 }).collect();
            let code: Vec<f32> = light.iter().map(|&l| curve.at(l) * 255.0).collect();
            let full = (k * k) as f32;
            let opaque: Vec<bool> = cover.iter().map(|c| *c >= 0.5 * full).collect();
            (light, code, opaque, clear, cut)
        });
        let (mut light, mut code, mut opaque) = (Vec::new(), Vec::new(), Vec::new());
        let (mut clear, mut cut) = (0, 0);
        for (l, c, o, a, b) in rows {
            light.extend(l);
            code.extend(c);
            opaque.extend(o);
            clear += a;
            cut += b;
        }
        let places = (width * height * k * k) as f64;
        let clear_cut = if raster.alpha.is_some() { cut as f64 / places } else { 1.0 };
        Small { width, height, code, light, opaque, transparent: clear as f64 / places, clear_cut }
    }

    /// Row `y` of codes.
    pub fn row(&self, y: usize) -> &[f32] {
        &self.code[y * self.width..(y + 1) * self.width]
    }

    /// Blocks from left to right and from top to bottom; those cut by the edge are left out where there are others.
    pub fn blocks(&self) -> (usize, usize) {
        ((self.width / BLOCK).max(1), (self.height / BLOCK).max(1))
    }

    /// The opaque codes of a block.
    pub fn block(&self, bx: usize, by: usize) -> impl Iterator<Item = f32> {
        let xs = bx * BLOCK..((bx + 1) * BLOCK).min(self.width);
        let ys = by * BLOCK..((by + 1) * BLOCK).min(self.height);
        ys.flat_map(move |y| xs.clone().map(move |x| y * self.width + x))
            .filter(|&i| self.opaque[i])
            .map(|i| self.code[i])
    }
}
