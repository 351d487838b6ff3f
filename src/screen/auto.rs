//! The screen for whatever comes: flat ink and its edges by threshold, tones by error diffusion of the
//! forecast, region by region, and then one search over both.
//!
//! The search mends what the threshold leaves wrong at anti-aliased edges: it lays their dots so that the
//! forecast edge, with the beam's spread, lies where it is wanted. It also closes the seams between regions,
//! since it judges all dots alike.

use super::fitted::{cells::Cells, improve};
use super::model_diffusion;
use super::{Options, Screen, Wants};
use crate::parallel;
use crate::plane::{Dots, Tone};
use crate::progress::Progress;

/// The default screen; `Options::drawing` says how the art was read, `Options::effort` is the search.
pub const AUTO: Screen = Screen {
    name: "auto",
    about: "crisp for flat ink and lettering, searched for tones, each where the art has it",
    wants: Wants::Mark,
    make: auto,
};

/// Tones below this or above its complement count as bare or as ink.
const FLAT: f32 = 0.02;
/// Dots either way that decide about a dot's region.
const AROUND: usize = 4;
/// The share of them that must be bare or ink, with both present, in art read as a photo: an edge of a
/// drawing has few greys. In 9 × 9 dots a soft edge of two dots leaves 7/9.
const SHARE: f32 = 0.6;

/// Makes the dots region by region, then searches over all.
pub fn auto(tone: &Tone, options: &Options, progress: &dyn Progress) -> Dots {
    let cells = Cells::new(&options.burn);
    let w = tone.width();
    let mut dots = model_diffusion::diffuse(tone, &cells, options.serpentine, progress);
    if w == 0 {
        return dots;
    }
    let stride = dots.stride();
    parallel::bands(dots.bits_mut(), stride, 16, |first, band| {
        for (i, row) in band.chunks_exact_mut(stride).enumerate() {
            let y = first + i;
            for (x, &t) in tone.row(y).iter().enumerate() {
                if inked(tone, x, y, options.drawing) {
                    let mask = 0x80u8 >> (x % 8);
                    if t >= 0.5 { row[x / 8] |= mask } else { row[x / 8] &= !mask }
                }
            }
        }
    });
    improve(tone, dots, &cells, options, progress)
}

/// Whether a dot lies in or beside flat ink rather than in tones.
fn inked(tone: &Tone, x: usize, y: usize, drawing: bool) -> bool {
    let (w, h) = (tone.width(), tone.height());
    let (mut bare, mut ink, mut all) = (0u32, 0u32, 0u32);
    for row in y.saturating_sub(AROUND)..(y + AROUND + 1).min(h) {
        for &t in &tone.row(row)[x.saturating_sub(AROUND)..(x + AROUND + 1).min(w)] {
            all += 1;
            bare += u32::from(t < FLAT);
            ink += u32::from(t > 1.0 - FLAT);
        }
    }
    // A drawing has tones only where no ink or ground is near: fills and gradients.
    let least = if drawing { 0.15 } else { SHARE };
    let both = bare > 0 && ink > 0;
    let one = bare == all || ink == all;
    one || ((both || drawing) && (bare + ink) as f32 >= least * all as f32)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mark::{Burn, Forecast};
    use crate::progress::Silent;
    use crate::screen::model_diffusion::model_diffusion;
    use crate::sight;

    fn options(drawing: bool) -> Options {
        Options { drawing, effort: 4, ..Options::new(Burn::plain(1.5, 1.5), 25.4 / 304.0, 25.4 / 304.0) }
    }

    /// A disc with a hole, anti-aliased, beside a grey ramp.
    fn mixed(w: usize, h: usize) -> Tone {
        let at = |i: usize| ((i % w) as f32, (i / w) as f32);
        let tone = |(x, y): (f32, f32)| {
            if x > 0.6 * w as f32 {
                return 0.15 + 0.7 * y / h as f32;
            }
            let r = ((x - 40.0).powi(2) + (y - 45.0).powi(2)).sqrt();
            (30.0 - r).clamp(0.0, 1.0) * (r - 12.0).clamp(0.0, 1.0)
        };
        Tone::from_vec(w, h, (0..w * h).map(at).map(tone).collect())
    }

    #[test]
    fn flat_ink_is_solid_and_bare_ground_stays_bare() {
        let tone = mixed(130, 90);
        let dots = auto(&tone, &options(true), &Silent);
        assert!((35..45).all(|x| dots.get(x, 45 - 21)), "the ring is solid");
        assert!((35..45).all(|x| !dots.get(x, 45)), "the hole is bare");
        assert!((0..60).all(|x| !dots.get(x, 2)), "the ground is bare");
    }

    #[test]
    fn mixed_art_looks_better_than_by_diffusion_alone() {
        let tone = mixed(130, 90);
        let forecast = Forecast::new(&Burn::plain(1.5, 1.5));
        let db = |d: &Dots| sight::score(&forecast.plane(d), &tone, 25.4 / 304.0, 300.0).psnr_hvs_db;
        let (ours, plain) = (
            db(&auto(&tone, &options(false), &Silent)),
            db(&model_diffusion(&tone, &options(false), &Silent)),
        );
        assert!(ours > plain + 1.0, "{ours} dB against {plain} dB");
    }
}
