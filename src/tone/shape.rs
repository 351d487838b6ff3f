//! Shaping: levels, local contrast, sharpening and a tone curve, in this order, each only when asked for.
//!
//! All of it works on CIE lightness, where equal steps look equal, and radii are millimetres on the piece.

use std::ops::Range;

use crate::colour::{Curve, lstar, luminance};
use crate::parallel;
use crate::plane::{Alpha, Light};
use crate::texts::{self, text};

use super::automatic::{self, Automatic, Found};
use super::{local, sharpen};

/// Rows a band.
const ROWS: usize = 16;

/// Where black and white of the picture are put.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum LevelStretch {
    /// As they are.
    #[default]
    Off,
    /// What a photo lacks, within bounds: see [`Automatic`].
    Fitting,
    /// The lightness below and above which the share `clip` (0 to 0.2) of the picture lies become black and white.
    Auto {
        /// Share of the picture that may be clipped at each end.
        clip: f64,
    },
    /// Given lightness (L*, 0 to 100, black below white) become black and white.
    Given {
        /// Becomes L* 0.
        black: f64,
        /// Becomes L* 100.
        white: f64,
    },
}

/// What is done to the tones before they are mapped to the piece. The default does nothing.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Shaping {
    /// Black and white.
    pub levels: LevelStretch,
    /// Lightness and contrast by hand.
    pub tilt: Tilt,
    /// Contrast of surroundings a few millimetres wide.
    pub local: Option<Local>,
    /// Contrast of fine detail.
    pub sharpen: Option<UnsharpMask>,
    /// Lightness in, lightness out (L*, 0 to 100), at least two points with rising `in`; empty for none.
    pub curve: Vec<(f64, f64)>,
}

/// Lightness and contrast, set by hand; black stays black and white stays white. The default does nothing.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Tilt {
    /// −1 (darker) to 1 (lighter): middle grey, L* 50, becomes 25 and 71.
    pub brighten: f64,
    /// −1 (flatter) to 1 (harder): the slope at middle grey becomes 0.2 and 3.
    pub contrast: f64,
    /// Black becomes white and white black.
    pub invert: bool,
}

impl Tilt {
    /// Lightness for lightness, both from 0 to 1.
    pub fn at(&self, l: f64) -> f64 {
        let l = libm::pow(l.clamp(0.0, 1.0), libm::exp2(-self.brighten));
        let from_middle = 2.0 * l - 1.0;
        let tilted = match self.contrast {
            c if c > 0.0 => from_middle * (1.0 + 2.0 * c) / (1.0 + 2.0 * c * from_middle.abs()),
            c => from_middle * (1.0 + 0.8 * c),
        };
        let l = 0.5 + 0.5 * tilted;
        if self.invert { 1.0 - l } else { l }
    }
}

/// Local contrast: detail smaller than the radius is strengthened, large tones and hard edges stay.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Local {
    /// Radius, mm (0.5 to 50; 4 is a good start).
    pub radius_mm: f64,
    /// Gain of the detail (0 to 3; 0.3 makes it 1.3 times as strong).
    pub amount: f64,
}

/// Unsharp masking.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UnsharpMask {
    /// Standard deviation of the Gaussian, mm (0.02 to 3; one pitch is a good start).
    pub radius_mm: f64,
    /// Gain of the detail (0 to 5; 0.7 is a good start).
    pub amount: f64,
}

/// Why tones cannot be shaped as asked.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ShapingError {
    /// A value out of its range.
    #[error("{}", text!(
        "tone.shaping.out-of-range",
        what = named("what", .what),
        value = .value,
        range = named("range", .range),
    ))]
    Range {
        /// Which value, as the texts name it.
        what: &'static str,
        /// As given.
        value: f64,
        /// Its range, as the texts name it.
        range: &'static str,
    },
    /// Black not below white.
    #[error("{}", text!("tone.shaping.levels", black = .0, white = .1))]
    Levels(f64, f64),
    /// Points that do not make a curve.
    #[error("{}", text!("tone.shaping.curve"))]
    Curve,
}

/// What the texts call a value, or its range.
fn named(sort: &str, key: &'static str) -> &'static str {
    texts::known(&format!("tone.shaping.{sort}.{key}")).unwrap_or(key)
}

/// What was done, for the ticket.
#[derive(Debug, Clone, PartialEq)]
pub struct Shaped {
    /// The lightness (L*) that became black and white, where levels were set.
    pub levels: Option<(f64, f64)>,
    /// What was found that the photo lacks, and done.
    pub automatic: Option<Automatic>,
    /// The columns and rows within its even border, where levels were found and it has one.
    pub inside: Option<(Range<usize>, Range<usize>)>,
}

impl Shaping {
    /// Whether nothing is to be done.
    pub fn is_nothing(&self) -> bool {
        self == &Shaping::default()
    }

    /// Checks every value against its range.
    ///
    /// # Errors
    /// The first value that is out of its range, black that is not below white, or points that are no curve.
    pub fn check(&self) -> Result<(), ShapingError> {
        let within = |what, value: f64, from: f64, to: f64, range| {
            if (from..=to).contains(&value) {
                Ok(())
            } else {
                Err(ShapingError::Range { what, value, range })
            }
        };
        match self.levels {
            LevelStretch::Off | LevelStretch::Fitting => {}
            LevelStretch::Auto { clip } => within("clip", clip, 0.0, 0.2, "clip")?,
            LevelStretch::Given { black, white } => {
                within("black", black, 0.0, 100.0, "lightness")?;
                within("white", white, 0.0, 100.0, "lightness")?;
                if white - black < 1.0 {
                    return Err(ShapingError::Levels(black, white));
                }
            }
        }
        within("brightening", self.tilt.brighten, -1.0, 1.0, "tilt")?;
        within("contrast", self.tilt.contrast, -1.0, 1.0, "tilt")?;
        if let Some(l) = self.local {
            within("local-radius", l.radius_mm, 0.5, 50.0, "local-radius")?;
            within("local-amount", l.amount, 0.0, 3.0, "local-amount")?;
        }
        if let Some(s) = self.sharpen {
            within("sharpen-radius", s.radius_mm, 0.02, 3.0, "sharpen-radius")?;
            within("sharpen-amount", s.amount, 0.0, 5.0, "sharpen-amount")?;
        }
        for &(x, y) in &self.curve {
            within("point", x, 0.0, 100.0, "lightness")?;
            within("point", y, 0.0, 100.0, "lightness")?;
        }
        let rises = self.curve.windows(2).all(|p| p[1].0 - p[0].0 > 1e-6);
        if self.curve.len() == 1 || !rises { Err(ShapingError::Curve) } else { Ok(()) }
    }
}

/// Shapes the tones of `light` in place; `pitch_mm` are the distances of dots along and across.
/// Transparent places (alpha below ½) do not count for automatic levels.
///
/// # Errors
/// As [`Shaping::check`].
pub fn shape(
    mut light: Light,
    alpha: Option<&Alpha>,
    shape: &Shaping,
    pitch_mm: (f64, f64),
) -> Result<(Light, Shaped), ShapingError> {
    shape.check()?;
    let Found { automatic, inside } = match shape.levels {
        LevelStretch::Fitting => automatic::found(&light, alpha, pitch_mm),
        _ => Found { automatic: None, inside: None },
    };
    // What is left alone is left to the bit.
    let no_levels = matches!(shape.levels, LevelStretch::Off | LevelStretch::Fitting) && automatic.is_none();
    if no_levels && (Shaping { levels: LevelStretch::Off, ..shape.clone() }).is_nothing() {
        return Ok((light, Shaped { levels: None, automatic: None, inside }));
    }
    each(&mut light, &Curve::new(|y| lstar(y) / 100.0));
    // From here to the last line the plane holds L* / 100.
    let levels = match shape.levels {
        LevelStretch::Off | LevelStretch::Fitting => None,
        LevelStretch::Auto { clip } => clipped(&light, alpha, clip),
        LevelStretch::Given { black, white } => Some((black, white)),
    };
    if let Some((black, white)) = levels {
        let (black, span) = (black as f32 / 100.0, ((white - black) / 100.0) as f32);
        let w = light.width();
        parallel::bands(light.data_mut(), w, ROWS, |_, band| {
            band.iter_mut().for_each(|v| *v = ((*v - black) / span).clamp(0.0, 1.0));
        });
    }
    if let Some(a) = &automatic {
        a.apply(&mut light, pitch_mm);
    }
    if shape.tilt != Tilt::default() {
        each(&mut light, &Curve::new(|l| shape.tilt.at(l)));
    }
    if let Some(l) = shape.local {
        local::strengthen(&mut light, l.amount as f32, l.radius_mm / pitch_mm.0, l.radius_mm / pitch_mm.1);
    }
    if let Some(s) = shape.sharpen {
        sharpen::unsharp(&mut light, s.amount as f32, s.radius_mm / pitch_mm.0, s.radius_mm / pitch_mm.1);
    }
    let tone = monotone(&shape.curve);
    each(&mut light, &Curve::new(|l| luminance(tone(l * 100.0).clamp(0.0, 100.0))));
    Ok((light, Shaped { levels, automatic, inside }))
}

fn each(light: &mut Light, curve: &Curve) {
    let w = light.width();
    parallel::bands(light.data_mut(), w, ROWS, |_, band| curve.apply(band));
}

/// The lightness below and above which `clip` of the opaque places lie; `None` when there is no
/// range to stretch (less than 1 L*).
fn clipped(lightness: &Light, alpha: Option<&Alpha>, clip: f64) -> Option<(f64, f64)> {
    const BINS: usize = 4096;
    let mut bins = vec![0u64; BINS];
    let mut all = 0u64;
    for y in 0..lightness.height() {
        let mut count = |v: f32| {
            let at = (v.clamp(0.0, 1.0) * (BINS - 1) as f32).round() as usize;
            bins[at.min(BINS - 1)] += 1;
            all += 1;
        };
        match alpha {
            None => lightness.row(y).iter().for_each(|&v| count(v)),
            Some(a) => {
                lightness.row(y).iter().zip(a.row(y)).filter(|(_, a)| **a >= 0.5).for_each(|(&v, _)| count(v))
            }
        }
    }
    let may_go = (clip * all as f64) as u64;
    let reach = |bins: &mut dyn Iterator<Item = (usize, u64)>| {
        let mut gone = 0;
        for (i, n) in bins {
            gone += n;
            if gone > may_go {
                return Some(i as f64 * 100.0 / (BINS - 1) as f64);
            }
        }
        None
    };
    let black = reach(&mut bins.iter().copied().enumerate())?;
    let white = reach(&mut bins.iter().copied().enumerate().rev())?;
    (white - black >= 1.0).then_some((black, white))
}

/// A curve through the points that never swings past them: piecewise cubic Hermite with the slopes of
/// F. N. Fritsch and J. Butland, SIAM J. Sci. Stat. Comput. 5 (1984), the harmonic mean of the neighbouring ones;
/// level beyond the ends. Without points it changes nothing.
pub fn monotone(points: &[(f64, f64)]) -> impl Fn(f64) -> f64 + '_ {
    let rise: Vec<f64> = points.windows(2).map(|p| (p[1].1 - p[0].1) / (p[1].0 - p[0].0)).collect();
    let slope = |i: usize| -> f64 {
        let before = i.checked_sub(1).and_then(|i| rise.get(i));
        match (before, rise.get(i)) {
            (Some(&a), Some(&b)) if a * b > 0.0 => 2.0 * a * b / (a + b),
            (None, Some(&a)) | (Some(&a), None) => a,
            _ => 0.0,
        }
    };
    let slopes: Vec<f64> = (0..points.len()).map(slope).collect();
    move |x| {
        let (Some(&first), Some(&last)) = (points.first(), points.last()) else { return x };
        if x <= first.0 {
            return first.1;
        }
        if x >= last.0 {
            return last.1;
        }
        let i = points.partition_point(|p| p.0 <= x).clamp(1, points.len() - 1) - 1;
        let (p, q, h) = (points[i], points[i + 1], points[i + 1].0 - points[i].0);
        let t = (x - p.0) / h;
        let (t2, t3) = (t * t, t * t * t);
        (2.0 * t3 - 3.0 * t2 + 1.0) * p.1
            + (t3 - 2.0 * t2 + t) * h * slopes[i]
            + (3.0 * t2 - 2.0 * t3) * q.1
            + (t3 - t2) * h * slopes[i + 1]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const PITCH: (f64, f64) = (0.1, 0.1);

    fn ramp() -> Light {
        // L* 20 to 80 from left to right.
        let data =
            (0..256 * 64).map(|i| luminance(20.0 + 60.0 * f64::from(i % 256) / 255.0) as f32).collect();
        Light::from_vec(256, 64, data)
    }

    fn l(v: f32) -> f64 {
        lstar(f64::from(v))
    }

    #[test]
    fn nothing_asked_is_nothing_done() {
        assert_eq!(shape(ramp(), None, &Shaping::default(), PITCH).unwrap().0, ramp());
    }

    #[test]
    fn automatic_levels_reach_from_black_to_white() {
        let auto = Shaping { levels: LevelStretch::Auto { clip: 0.0 }, ..Shaping::default() };
        let (out, done) = shape(ramp(), None, &auto, PITCH).unwrap();
        let (black, white) = done.levels.unwrap();
        assert!((black - 20.0).abs() < 0.05 && (white - 80.0).abs() < 0.05);
        assert!(l(out.row(0)[0]) < 0.1 && l(out.row(0)[255]) > 99.9);
        assert!((l(out.row(9)[128]) - 100.0 * 128.0 / 255.0).abs() < 0.1);
        // A tenth at each end may go.
        let auto = Shaping { levels: LevelStretch::Auto { clip: 0.1 }, ..Shaping::default() };
        let (black, white) = shape(ramp(), None, &auto, PITCH).unwrap().1.levels.unwrap();
        assert!((black - 26.0).abs() < 0.3 && (white - 74.0).abs() < 0.3, "{black} {white}");
        // A flat picture has no range to stretch.
        let flat = Light::filled(64, 64, 0.3);
        let (out, done) = shape(flat, None, &auto, PITCH).unwrap();
        assert!(done.levels.is_none() && (out.data()[7] - 0.3).abs() < 1e-5);
    }

    #[test]
    fn transparent_places_do_not_set_the_levels() {
        let alpha =
            Alpha::from_vec(256, 64, (0..256 * 64).map(|i| if i % 256 < 128 { 0.0 } else { 1.0 }).collect());
        let auto = Shaping { levels: LevelStretch::Auto { clip: 0.0 }, ..Shaping::default() };
        let (black, _) = shape(ramp(), Some(&alpha), &auto, PITCH).unwrap().1.levels.unwrap();
        assert!((black - 50.1).abs() < 0.2, "{black}");
    }

    #[test]
    fn lightness_and_contrast_keep_the_ends_and_rise() {
        let tilt = |brighten, contrast| Tilt { brighten, contrast, invert: false };
        for t in [tilt(0.0, 0.0), tilt(1.0, 0.0), tilt(-1.0, 0.4), tilt(0.2, 1.0)] {
            assert!(t.at(0.0).abs() < 1e-12 && (t.at(1.0) - 1.0).abs() < 1e-12, "{t:?}");
            let rises = (0..100).all(|i| t.at(f64::from(i + 1) / 100.0) > t.at(f64::from(i) / 100.0));
            assert!(rises, "{t:?}");
        }
        // √½ and ½².
        assert!(
            (tilt(1.0, 0.0).at(0.5) - std::f64::consts::FRAC_1_SQRT_2).abs() < 1e-6
                && (tilt(-1.0, 0.0).at(0.5) - 0.25).abs() < 1e-9
        );
        assert!(tilt(0.0, 0.5).at(0.6) > 0.65 && tilt(0.0, 0.5).at(0.4) < 0.35);
        assert!((tilt(0.0, -1.0).at(1.0) - 0.6).abs() < 1e-9, "flat, but never gone");
        let grey = Light::filled(8, 8, luminance(30.0) as f32);
        let asked = Shaping { tilt: Tilt { invert: true, ..Tilt::default() }, ..Shaping::default() };
        assert!((l(shape(grey, None, &asked, PITCH).unwrap().0.data()[0]) - 70.0).abs() < 0.05);
    }

    #[test]
    fn a_tone_curve_goes_through_its_points() {
        let curve = vec![(0.0, 0.0), (50.0, 70.0), (100.0, 100.0)];
        let grey = Light::filled(8, 8, luminance(50.0) as f32);
        let (out, _) = shape(grey, None, &Shaping { curve, ..Shaping::default() }, PITCH).unwrap();
        assert!((l(out.data()[0]) - 70.0).abs() < 1e-2);
    }

    #[test]
    fn what_is_out_of_range_is_refused_with_its_range() {
        let s = Shaping { sharpen: Some(UnsharpMask { radius_mm: 9.0, amount: 1.0 }), ..Shaping::default() };
        let said = shape(ramp(), None, &s, PITCH).unwrap_err().to_string();
        assert_eq!(said, "the radius of the sharpening is 9; it goes from 0.02 to 3 mm");
        let s = Shaping { levels: LevelStretch::Given { black: 80.0, white: 20.0 }, ..Shaping::default() };
        assert!(shape(ramp(), None, &s, PITCH).unwrap_err().to_string().contains("exchange them"));
        let s = Shaping { curve: vec![(50.0, 0.0), (20.0, 9.0)], ..Shaping::default() };
        assert_eq!(s.check(), Err(ShapingError::Curve));
    }

    #[test]
    fn threads_do_not_change_a_byte() {
        let light =
            Light::from_vec(417, 311, (0..417 * 311).map(|i| ((i * 37) % 1013) as f32 / 1012.0).collect());
        let all = Shaping {
            levels: LevelStretch::Auto { clip: 0.01 },
            local: Some(Local { radius_mm: 2.0, amount: 0.5 }),
            sharpen: Some(UnsharpMask { radius_mm: 0.15, amount: 0.8 }),
            curve: vec![(0.0, 5.0), (100.0, 95.0)],
            ..Shaping::default()
        };
        let one = parallel::with_threads(1, || shape(light.clone(), None, &all, PITCH).unwrap());
        for threads in [2, 3, 7] {
            assert!(
                parallel::with_threads(threads, || shape(light.clone(), None, &all, PITCH).unwrap()) == one
            );
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]
        #[test]
        fn rising_points_make_a_rising_curve(ys in proptest::collection::vec(0.0f64..100.0, 2..8)) {
            let mut ys = ys;
            ys.sort_by(f64::total_cmp);
            let n = ys.len() as f64 - 1.0;
            let points: Vec<_> = ys.iter().enumerate().map(|(i, &y)| (i as f64 * 100.0 / n, y)).collect();
            let f = monotone(&points);
            let mut before = f(0.0);
            for i in 0..=1000 {
                let y = f(f64::from(i) / 10.0);
                prop_assert!(y >= before - 1e-9 && y <= ys[ys.len() - 1] + 1e-9);
                before = y;
            }
        }
    }
}
