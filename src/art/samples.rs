//! Samples of a decoded file, turned into planes of linear light and alpha.

use std::sync::atomic::{AtomicBool, Ordering};

use super::Model;
use super::colours::Colours;
use super::contain::contained;
use super::error::Why;
use super::icc::Reading;
use crate::colour::{Curve, relative_luminance};
use crate::parallel;
use crate::plane::{Alpha, Cover, Light, Plane};
use crate::texts::text;

/// Rows a band.
const ROWS: usize = 32;

/// Decoded samples, interleaved, row after row.
pub(super) enum Samples {
    U8(Vec<u8>),
    U16(Vec<u16>),
    /// Linear light, nominally 0..1.
    F32(Vec<f32>),
}

/// A decoded picture before its colours are read.
pub(super) struct Pixels {
    pub width: usize,
    pub height: usize,
    pub samples: Samples,
    pub model: Model,
    /// Whether a last channel holds straight alpha.
    pub alpha: bool,
}

impl Pixels {
    fn colours(&self) -> usize {
        match self.model {
            Model::Grey => 1,
            Model::Rgb => 3,
            Model::Cmyk => 4,
        }
    }

    /// Interleaved channels.
    pub fn channels(&self) -> usize {
        self.colours() + usize::from(self.alpha)
    }

    /// Where a colour channel is at its upper limit (1, elsewhere 0): at 253 or above of 255, or as much of
    /// what the samples go up to. Such a place may be any brighter than it says.
    pub fn at_limit(&self) -> Plane<Cover> {
        let (w, h, n, c) = (self.width, self.height, self.channels(), self.colours());
        let mut out = vec![0.0f32; w * h];
        // Of inks the least counts.
        let inks = self.model == Model::Cmyk;
        match &self.samples {
            Samples::U8(s) => {
                over(s, n, w, &mut out, |p, v| *v = limit(&p[..c], inks, |s| f32::from(s) / 255.0))
            }
            Samples::U16(s) => {
                over(s, n, w, &mut out, |p, v| *v = limit(&p[..c], inks, |s| f32::from(s) / 65535.0));
            }
            Samples::F32(s) => over(s, n, w, &mut out, |p, v| *v = limit(&p[..c], inks, |s| s)),
        }
        Plane::from_vec(w, h, out)
    }

    /// The planes, and the colours where there are any. Alpha that is 1 everywhere is left out.
    ///
    /// # Errors
    /// When the colour table of the profile cannot be gone through.
    pub fn into_planes(self, reading: &Reading) -> Result<(Light, Option<Alpha>, Option<Colours>), Why> {
        let (w, h, n, c) = (self.width, self.height, self.channels(), self.colours());
        let mut light = vec![0.0f32; w * h];
        let mut alpha = None;
        match &self.samples {
            Samples::U8(s) => {
                let curves = short(reading);
                read(s, n, w, &mut light, reading, &curves, |v| f32::from(v) / 255.0)?;
                if self.alpha && s.chunks_exact(n).any(|p| p[c] != u8::MAX) {
                    alpha = Some(channel(s, n, c, w, h, |v| f32::from(v) / 255.0));
                }
            }
            Samples::U16(s) => {
                let curves = long(reading);
                read(s, n, w, &mut light, reading, &curves, |v| f32::from(v) / 65535.0)?;
                if self.alpha && s.chunks_exact(n).any(|p| p[c] != u16::MAX) {
                    alpha = Some(channel(s, n, c, w, h, |v| f32::from(v) / 65535.0));
                }
            }
            Samples::F32(s) => {
                over(s, n, w, &mut light, |p, v| {
                    let y = if c >= 3 { relative_luminance([p[0], p[1], p[2]]) } else { p[0] };
                    *v = unit(y);
                });
                if self.alpha && s.chunks_exact(n).any(|p| p[c] < 1.0) {
                    alpha = Some(channel(s, n, c, w, h, unit));
                }
            }
        }
        let codes = match self.samples {
            Samples::U8(s) if c == 3 => Some(s),
            Samples::U16(s) if c == 3 => Some(s.iter().map(|&v| (v >> 8) as u8).collect()),
            _ => None,
        };
        let colours = codes.and_then(|codes| Colours::of(codes, n, w, h));
        Ok((Light::from_vec(w, h, light), alpha, colours))
    }
}

/// 1 where one of the colours is at its upper limit, by its share of the whole range.
fn limit<S: Copy>(colours: &[S], inks: bool, share: impl Fn(S) -> f32) -> f32 {
    const LIMIT: f32 = 253.0 / 255.0;
    let at = match (inks, colours) {
        (true, &[c, m, y, k]) => [c, m, y].into_iter().any(|i| (1.0 - share(i)) * (1.0 - share(k)) >= LIMIT),
        _ => colours.iter().any(|&s| share(s) >= LIMIT),
    };
    f32::from(u8::from(at))
}

/// 0..1; not a number becomes 0.
fn unit(v: f32) -> f32 {
    #[allow(clippy::manual_clamp)]
    v.max(0.0).min(1.0)
}

/// One table a channel, as long as the sample type has codes.
enum Tables {
    Rgb([Vec<f32>; 3]),
    Grey(Vec<f32>),
    None,
}

fn tables(reading: &Reading, step: usize) -> Tables {
    let thin = |t: &[f32]| t.iter().copied().step_by(step).collect::<Vec<f32>>();
    match reading {
        Reading::Rgb(t) => Tables::Rgb([thin(&t[0]), thin(&t[1]), thin(&t[2])]),
        Reading::Grey(t) => Tables::Grey(thin(t)),
        Reading::Table(_) | Reading::PlainCmyk => Tables::None,
    }
}

fn short(reading: &Reading) -> Tables {
    tables(reading, 257)
}

fn long(reading: &Reading) -> Tables {
    tables(reading, 1)
}

/// Calls `f` with the channels of each picture element and its place in the plane, in bands.
fn over<S: Sync>(s: &[S], n: usize, w: usize, out: &mut [f32], f: impl Fn(&[S], &mut f32) + Sync + Send) {
    parallel::bands(out, w, ROWS, |first, band| {
        let source = &s[first * w * n..first * w * n + band.len() * n];
        source.chunks_exact(n).zip(band).for_each(|(p, v)| f(p, v));
    });
}

fn channel<S: Sync + Copy>(
    s: &[S],
    n: usize,
    at: usize,
    w: usize,
    h: usize,
    f: impl Fn(S) -> f32 + Sync + Send,
) -> Alpha {
    let mut out = vec![0.0f32; w * h];
    over(s, n, w, &mut out, |p, v| *v = f(p[at]));
    Alpha::from_vec(w, h, out)
}

fn read<S: Sync + Copy + Into<u32>>(
    s: &[S],
    n: usize,
    w: usize,
    light: &mut [f32],
    reading: &Reading,
    tables: &Tables,
    code: impl Fn(S) -> f32 + Sync + Send,
) -> Result<(), Why> {
    let at = |t: &[f32], c: S| t.get(Into::<u32>::into(c) as usize).copied().unwrap_or(1.0);
    match (tables, reading) {
        (Tables::Rgb([r, g, b]), _) => over(s, n, w, light, |p, v| {
            if let [pr, pg, pb, ..] = *p {
                *v = (at(r, pr) + at(g, pg) + at(b, pb)).clamp(0.0, 1.0);
            }
        }),
        (Tables::Grey(t), _) => over(s, n, w, light, |p, v| *v = at(t, p[0]).clamp(0.0, 1.0)),
        (Tables::None, Reading::Table(transform)) => {
            let inputs = if n >= 4 { 4 } else { 3 };
            let failed = AtomicBool::new(false);
            parallel::bands(light, w, ROWS, |first, band| {
                let source = &s[first * w * n..first * w * n + band.len() * n];
                let from: Vec<f32> =
                    source.chunks_exact(n).flat_map(|p| p.iter().take(inputs).map(|&v| code(v))).collect();
                let mut to = vec![0.0f32; band.len() * 3];
                // Lengths match by construction; the table is the file's own.
                let done = contained(|| transform.transform(&from, &mut to).is_ok());
                if done != Some(true) {
                    failed.store(true, Ordering::Relaxed);
                }
                for (p, v) in to.chunks_exact(3).zip(band) {
                    *v = unit(relative_luminance([p[0], p[1], p[2]]));
                }
            });
            if failed.into_inner() {
                return Err(Why::Damaged(text!("art.reason.profile-table").into()));
            }
        }
        (Tables::None, _) => {
            let curve = Curve::decoding();
            over(s, n, w, light, |p, v| {
                if let [c, m, y, k, ..] = *p {
                    let left = 1.0 - code(k);
                    let ink = |i: S| curve.at((1.0 - code(i)) * left);
                    *v = unit(relative_luminance([ink(c), ink(m), ink(y)]));
                }
            });
        }
    }
    Ok(())
}
