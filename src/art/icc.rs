//! Colour profiles: from the code values of a file to linear luminance.
//!
//! A profile of curves and a matrix (nearly every RGB profile) becomes one table a channel with its
//! weight in luminance folded in: exact, and colours outside the sRGB gamut keep their luminance.
//! Profiles with a colour table (CMYK, some scanners) go through `moxcms`.

use std::sync::Arc;

use moxcms::{
    ColorProfile, DataColorSpace, Layout, RenderingIntent, ToneReprCurve, TransformExecutor, TransformOptions,
};

use super::Model;
use super::contain::contained;
use crate::colour::{WEIGHTS, srgb_to_linear};
use crate::parallel;
use crate::texts::text;

/// Codes of a 16-bit sample; 8-bit codes are every 257th.
const CODES: usize = 65536;

/// The white of the profile connection space, D50 (ICC.1, 7.2.16), and D65 (IEC 61966-2-1), as XYZ.
const D50: [f64; 3] = [0.9642, 1.0, 0.8249];
const D65: [f64; 3] = [0.9505, 1.0, 1.0890];

/// Bradford matrix (ICC.1, annex E): XYZ to sharpened cone responses.
const BRADFORD: [[f64; 3]; 3] =
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]];

/// How code values become linear luminance.
pub(super) enum Reading {
    /// One table a channel, 65536 values each; their sum is the luminance.
    Rgb(Box<[Vec<f32>; 3]>),
    /// One table, 65536 values.
    Grey(Vec<f32>),
    /// A colour table: samples 0..1 in, linear sRGB out.
    Table(Arc<dyn TransformExecutor<f32> + Send + Sync>),
    /// Inks without a profile: `(1 − ink)(1 − black)` as sRGB codes (common practice, no standard).
    PlainCmyk,
}

/// A reading, and what to tell a person of it.
pub(super) struct Read {
    pub reading: Reading,
    /// Ends the sentence "colours read as …".
    pub words: String,
    /// A profile that had to be passed over.
    pub note: Option<String>,
}

/// The reading without a profile, `why` ends the words.
fn plain(model: Model, why: &str) -> Read {
    let reading = match model {
        Model::Grey => Reading::Grey(srgb_light().into_iter().map(|v| v as f32).collect()),
        Model::Rgb => srgb(),
        Model::Cmyk => Reading::PlainCmyk,
    };
    let words = match model {
        Model::Grey | Model::Rgb => text!("art.colours.srgb", why),
        Model::Cmyk => text!("art.colours.inks", why),
    };
    Read { reading, words, note: None }
}

/// The linear light of each code under sRGB, on all threads: a power each.
fn srgb_light() -> Vec<f64> {
    let mut light = vec![0.0f64; CODES];
    parallel::bands(&mut light, 1, CODES / 16, |first, part| {
        part.iter_mut().zip(first..).for_each(|(v, i)| *v = srgb_to_linear(i as f64 / (CODES - 1) as f64));
    });
    light
}

fn srgb() -> Reading {
    let code = srgb_light();
    Reading::Rgb(Box::new(WEIGHTS.map(|w| code.iter().map(|&v| (v * w) as f32).collect())))
}

/// How to read samples of `model` under the embedded profile `icc`. Never fails: a profile that
/// cannot be used is passed over and said so.
pub(super) fn reading(icc: Option<&[u8]>, model: Model) -> Read {
    let Some(bytes) = icc else { return plain(model, text!("art.colours.why.no-profile")) };
    contained(|| under(bytes, model))
        .unwrap_or_else(|| passed_over(model, text!("art.passed-over.senseless")))
}

/// The reading without a profile that is there, and what is said of that.
fn passed_over(model: Model, note: &str) -> Read {
    let mut read = plain(model, text!("art.colours.why.unusable"));
    read.note = Some(note.to_string());
    read
}

/// The reading under a profile.
fn under(bytes: &[u8], model: Model) -> Read {
    let passed_over = |note: &str| passed_over(model, note);
    let Ok(profile) = ColorProfile::new_from_slice(bytes) else {
        return passed_over(text!("art.passed-over.damaged"));
    };
    let read = match (model, profile.color_space) {
        (Model::Rgb, DataColorSpace::Rgb) => rgb(&profile),
        (Model::Grey, DataColorSpace::Gray) => profile.gray_trc.as_ref().and_then(curve).map(Reading::Grey),
        // A grey picture under an RGB profile: equal channels, so the green curve tells it all.
        (Model::Grey, DataColorSpace::Rgb) => profile.green_trc.as_ref().and_then(curve).map(Reading::Grey),
        (Model::Cmyk, DataColorSpace::Cmyk) => colour_table(&profile, Layout::Rgba),
        _ => return passed_over(text!("art.passed-over.other-colours")),
    };
    let Some(reading) = read else { return passed_over(text!("art.passed-over.lacks-curves")) };
    if is_srgb(&reading) {
        return Read { note: None, ..plain(model, text!("art.colours.why.profile")) };
    }
    let words = match profile.description.as_ref().and_then(name) {
        Some(name) => text!("art.colours.profile", name),
        None => text!("art.colours.profile.nameless").to_string(),
    };
    Read { reading, words, note: None }
}

/// Whether a reading is sRGB but for rounding: then the exact curve is better than the profile's own table.
fn is_srgb(reading: &Reading) -> bool {
    // Profiles store curves in 16 bits and matrices in 1/65536; the common ones are within 3e-4.
    let near = |table: &[f32], weight: f64| {
        (0..=255).all(|c| {
            let want = srgb_to_linear(c as f64 / 255.0) * weight;
            table.get(c as usize * 257).is_some_and(|&v| (f64::from(v) - want).abs() < 6e-4)
        })
    };
    match reading {
        Reading::Rgb(tables) => tables.iter().zip(WEIGHTS).all(|(t, w)| near(t, w)),
        Reading::Grey(t) => near(t, 1.0),
        _ => false,
    }
}

fn name(text: &moxcms::ProfileText) -> Option<String> {
    use moxcms::ProfileText;
    let text = match text {
        ProfileText::PlainString(s) => s.clone(),
        ProfileText::Localizable(all) => all.first()?.value.clone(),
        ProfileText::Description(d) if !d.ascii_string.is_empty() => d.ascii_string.clone(),
        ProfileText::Description(d) => d.unicode_string.clone(),
    };
    let clean: String = text.chars().filter(|c| !c.is_control()).take(60).collect();
    let clean = clean.trim();
    (!clean.is_empty()).then(|| clean.to_string())
}

/// A tone curve as a table of 65536 values.
fn curve(trc: &ToneReprCurve) -> Option<Vec<f32>> {
    let eval = trc.make_linear_evaluator().ok()?;
    let values: Vec<f32> = (0..CODES).map(|i| eval.evaluate_value(i as f32 / (CODES - 1) as f32)).collect();
    values.iter().all(|v| v.is_finite()).then_some(values)
}

fn rgb(profile: &ColorProfile) -> Option<Reading> {
    let has_table = profile.lut_a_to_b_perceptual.is_some() || profile.lut_a_to_b_colorimetric.is_some();
    if !profile.is_matrix_shaper() {
        return if has_table { colour_table(profile, Layout::Rgb) } else { None };
    }
    let luminance = luminance_row(D50, D65)?;
    let weight = |c: moxcms::Xyzd| luminance[0] * c.x + luminance[1] * c.y + luminance[2] * c.z;
    let weights =
        [weight(profile.red_colorant), weight(profile.green_colorant), weight(profile.blue_colorant)];
    // Colorants are rounded in the file; white is 1 by definition.
    let sum: f64 = weights.iter().sum();
    if !(sum.is_finite() && sum > 0.1) {
        return None;
    }
    let channel = |trc: &Option<ToneReprCurve>, w: f64| -> Option<Vec<f32>> {
        let mut values = curve(trc.as_ref()?)?;
        values.iter_mut().for_each(|v| *v *= (w / sum) as f32);
        Some(values)
    };
    Some(Reading::Rgb(Box::new([
        channel(&profile.red_trc, weights[0])?,
        channel(&profile.green_trc, weights[1])?,
        channel(&profile.blue_trc, weights[2])?,
    ])))
}

/// The row that gives the luminance under the white `to` of an XYZ adapted to the white `from`
/// (linear Bradford adaptation, ICC.1 annex E).
fn luminance_row(from: [f64; 3], to: [f64; 3]) -> Option<[f64; 3]> {
    let bradford = nalgebra::Matrix3::from_fn(|r, c| BRADFORD[r][c]);
    let cone = |white: [f64; 3]| bradford * nalgebra::Vector3::from(white);
    let scale = nalgebra::Matrix3::from_diagonal(&cone(to).component_div(&cone(from)));
    let adapted = bradford.try_inverse()? * scale * bradford;
    Some([adapted[(1, 0)], adapted[(1, 1)], adapted[(1, 2)]])
}

fn colour_table(profile: &ColorProfile, layout: Layout) -> Option<Reading> {
    let mut linear = ColorProfile::new_srgb();
    let straight = ToneReprCurve::Parametric(vec![1.0]);
    linear.red_trc = Some(straight.clone());
    linear.green_trc = Some(straight.clone());
    linear.blue_trc = Some(straight);
    linear.cicp = None;
    let options =
        TransformOptions { rendering_intent: RenderingIntent::RelativeColorimetric, ..Default::default() };
    profile.create_transform_f32(layout, &linear, Layout::Rgb, options).ok().map(Reading::Table)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn luminance(read: &Read, rgb: [u8; 3]) -> f64 {
        match &read.reading {
            Reading::Rgb(t) => {
                rgb.iter().zip(t.iter()).map(|(&c, t)| f64::from(t[usize::from(c) * 257])).sum()
            }
            _ => panic!("not a reading by channels"),
        }
    }

    #[test]
    fn an_srgb_profile_reads_as_the_exact_curve() {
        let bytes = ColorProfile::new_srgb().encode().unwrap();
        let read = reading(Some(&bytes), Model::Rgb);
        assert_eq!(read.words, "sRGB, as its profile says");
        assert!((luminance(&read, [128; 3]) - 0.215_860_500_113_899_26).abs() < 1e-7);
    }

    #[test]
    fn display_p3_gives_its_own_luminance() {
        // Luminance of the P3-D65 primaries (SMPTE EG 432-1, white D65) under the sRGB curve:
        // 0.22897, 0.69174, 0.07929 (second row of the matrix published with CSS Color 4).
        let bytes = ColorProfile::new_display_p3().encode().unwrap();
        let read = reading(Some(&bytes), Model::Rgb);
        for (rgb, y) in
            [([255, 0, 0], 0.228_974_56), ([0, 255, 0], 0.691_738_52), ([0, 0, 255], 0.079_286_91)]
        {
            assert!((luminance(&read, rgb) - y).abs() < 3e-4, "{rgb:?}: {}", luminance(&read, rgb));
        }
        assert!((luminance(&read, [255; 3]) - 1.0).abs() < 1e-6);
    }

    #[test]
    fn a_damaged_or_foreign_profile_is_passed_over_and_said_so() {
        let read = reading(Some(b"nonsense"), Model::Rgb);
        assert!(read.note.unwrap().contains("damaged"));
        let bytes = ColorProfile::new_srgb().encode().unwrap();
        let read = reading(Some(&bytes), Model::Cmyk);
        assert!(read.note.unwrap().contains("another kind"));
        let read = reading(Some(&bytes), Model::Grey);
        assert_eq!(read.words, "sRGB, as its profile says");
    }
}
