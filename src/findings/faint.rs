//! Finding `faint`: a piece that will hardly show what it was made for.

use super::art::exchanged;
use super::change::{Aim, Change};
use super::{Finding, Severity};
use crate::colour::{lstar, luminance};
use crate::job::settle::Of;
use crate::texts::text;
use crate::units::{Share, short};

/// So many L* apart is seen at a glance, from a few steps away (common practice; what is just told apart side by
/// side is about one).
const SEEN_LSTAR: f64 = 10.0;
/// A share of the samples that may be left out of account at either end: specks and single strokes are judged by
/// what they are, so it is small.
const TAIL: f64 = 0.01;
/// A drawing that shows on less than this share of its rectangle is nearly nothing.
const LEAST_SHARE: f64 = 0.001;
/// What is clipped at either end where tones are spread to be seen: specks, no more.
const STRETCH: Share = Share(0.005);
/// Side of a place in which dots are seen as a tone, mm (at reading distance the eye tells apart about 0.1 mm; a place
/// holds some dots each way).
const PLACE_MM: f64 = 0.6;
/// Steps of lightness that are counted: a tenth of an L*.
const STEPS: usize = 1000;

/// Lightnesses of the forecast and how many places have each, from dark to light.
struct Lightnesses {
    counts: [u32; STEPS + 1],
    all: f64,
    bare: f64,
}

impl Lightnesses {
    fn new(looks: &[f32], bare: f64) -> Lightnesses {
        let mut counts = [0u32; STEPS + 1];
        for &y in looks {
            counts[(lstar(f64::from(y)) * STEPS as f64 / 100.0).clamp(0.0, STEPS as f64) as usize] += 1;
        }
        Lightnesses { counts, all: looks.len().max(1) as f64, bare: lstar(bare) }
    }

    fn at(step: usize) -> f64 {
        step as f64 * 100.0 / STEPS as f64
    }

    /// The share of places that are seen to differ from the bare piece.
    fn shown(&self) -> f64 {
        let shown = |&(s, _): &(usize, &u32)| (Self::at(s) - self.bare).abs() >= SEEN_LSTAR;
        self.counts.iter().enumerate().filter(shown).map(|(_, &n)| f64::from(n)).sum::<f64>() / self.all
    }

    /// The lightness that is reached from one end when the tail is left out.
    fn end(&self, steps: impl Iterator<Item = usize>) -> f64 {
        let mut left = TAIL * self.all;
        let found = steps.into_iter().find(|&s| {
            left -= f64::from(self.counts[s]);
            left < 0.0
        });
        found.map_or(0.0, Self::at)
    }
}

/// Mean looks of places of about [`PLACE_MM`], in which dots are seen as a tone. `looks` has rows of `columns` samples
/// of `sample` mm each; `allowed` says for a row of samples from where to where (in samples) dots may lie.
pub fn places(looks: &[f32], columns: usize, sample: f64, allowed: impl Fn(f64) -> (f64, f64)) -> Vec<f32> {
    let height = looks.len() / columns.max(1);
    let side = ((PLACE_MM / sample).round() as usize).max(1);
    let mut out = Vec::new();
    for top in (0..height).step_by(side) {
        let rows = top..(top + side).min(height);
        let (first, last) = (allowed(rows.start as f64), allowed(rows.end as f64 - 1.0));
        let (left, right) = (first.0.max(last.0).ceil() as usize, first.1.min(last.1).max(0.0) as usize);
        let mut x = left;
        while x + side <= right.min(columns) {
            let sum: f32 = rows.clone().map(|y| looks[y * columns + x..][..side].iter().sum::<f32>()).sum();
            out.push(sum / (side * rows.len()) as f32);
            x += side;
        }
    }
    out
}

/// `faint` of a piece without a single dot: a stop, for its program would mark nothing. `inverted` is a drawing of it whose
/// ink and ground are exchanged: what is transparent is neither, so that one whose ground is transparent is gone.
pub fn nothing(inverted: Option<Of>) -> Finding {
    let stop = |message: &str| Finding::new("faint", Severity::Stop, message);
    match inverted {
        None => stop(text!("findings.faint.nothing")),
        Some(of) => stop(text!("findings.faint.nothing.inverted")).with(exchanged(of, false)),
    }
}

/// `faint` of a picture whose ink and ground are exchanged, which leaves that share of its ink bare beside what is transparent.
pub fn emptied(share: f64, of: Of) -> Finding {
    let message = if share > 0.995 {
        text!("findings.faint.emptied.all").to_string()
    } else {
        text!("findings.faint.emptied", percent = short(share * 100.0, 0))
    };
    Finding::new("faint", Severity::Caution, message).with(exchanged(of, false))
}

/// `faint`, for strokes: nothing or nearly nothing of `looks` (relative luminances all over the dots' rectangle) is
/// seen to differ from the bare piece, whose luminance is `bare`.
pub fn of_strokes(looks: &[f32], bare: f64) -> Option<Finding> {
    // Held against luminances, as there are millions of looks and a lightness takes a cube root.
    let bare = lstar(bare);
    let darker = if bare >= SEEN_LSTAR { luminance(bare - SEEN_LSTAR) as f32 } else { f32::NEG_INFINITY };
    let lighter = luminance(bare + SEEN_LSTAR) as f32;
    let shown: u64 = looks.iter().map(|&y| u64::from(y <= darker || y >= lighter)).sum();
    let share = shown as f64 / looks.len().max(1) as f64;
    (share < LEAST_SHARE).then(|| {
        let message = text!("findings.faint.strokes", percent = short(share * 100.0, 2));
        Finding::new("faint", Severity::Caution, message)
    })
}

/// `faint`, for tones: the mean looks of `places` hardly differ from the bare piece, or from each other.
pub fn of_tones(places: &[f32], bare: f64) -> Option<Finding> {
    if places.is_empty() {
        return None;
    }
    let seen = Lightnesses::new(places, bare);
    let (dark, light) = (seen.end(0..=STEPS), seen.end((0..=STEPS).rev()));
    let caution = |message: String| Some(Finding::new("faint", Severity::Caution, message));
    if seen.shown() < TAIL {
        let most = (light - seen.bare).abs().max((dark - seen.bare).abs());
        return caution(text!("findings.faint.tones", difference = short(most, 0)));
    }
    if light - dark < SEEN_LSTAR {
        return caution(text!("findings.faint.even", difference = short(light - dark, 0)));
    }
    None
}

/// The same finding of a photo with the remedy that its tones are spread; whether that clears it is to be tried.
pub fn stretched(finding: Finding) -> Finding {
    finding.with(Change::Levels(STRETCH).remedy(100.0 * STRETCH.0, Aim::Hotter).verified(true))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(looks: &[f32], tones: bool) -> Option<String> {
        let found = if tones { of_tones(looks, 0.03) } else { of_strokes(looks, 0.03) };
        found.map(|f| f.message.to_string())
    }

    #[test]
    fn a_picture_with_light_and_dark_is_not_faint() {
        let ramp: Vec<f32> = (0..1000).map(|i| 0.03 + 0.6 * i as f32 / 1000.0).collect();
        assert_eq!(said(&ramp, true), None);
        // Night with a few lamps: one part in fifty is lit.
        let night: Vec<f32> = (0..1000).map(|i| if i % 50 == 0 { 0.5 } else { 0.03 }).collect();
        assert_eq!(said(&night, true), None);
    }

    #[test]
    fn what_stays_bare_or_even_is_faint() {
        assert!(said(&[0.03; 1000], true).unwrap().contains("nearly bare"));
        assert!(said(&[0.04; 1000], true).unwrap().contains("only"), "a little of it all over");
        assert!(said(&[0.4; 1000], true).unwrap().contains("even tone"));
    }

    #[test]
    fn a_piece_without_a_dot_is_stopped() {
        let plain = nothing(None);
        assert!(plain.severity == Severity::Stop && plain.message.contains("look whether the art is there"));
        assert!(plain.remedies.is_empty() && super::super::STOPS.contains(&plain.name));
        let inverted = nothing(Some(Of::Art));
        assert!(inverted.severity == Severity::Stop && inverted.message.contains("what is transparent"));
        assert_eq!(inverted.remedies[0].sets, [("tone.invert".to_string(), "false".to_string())]);
        let layer = nothing(Some(Of::Layer(1)));
        assert_eq!(layer.remedies[0].sets, [("layer.1.invert".to_string(), "false".to_string())]);
    }

    #[test]
    fn what_an_inversion_empties_is_told_with_the_way_back() {
        let some = emptied(0.87, Of::Art);
        assert!(some.severity == Severity::Caution && some.message.contains("leaves 87% of its ink bare"));
        assert_eq!(some.remedies[0].text, "exchange its light and dark: leave out --invert");
        let all = emptied(1.0, Of::Layer(2));
        assert!(all.message.contains("nothing of it is marked"));
        assert_eq!(all.remedies[0].sets, [("layer.2.invert".to_string(), "false".to_string())]);
    }

    #[test]
    fn single_strokes_are_enough_for_a_drawing() {
        let mut strokes = [0.03f32; 10_000];
        strokes[..5].fill(0.6);
        assert!(said(&strokes, false).unwrap().contains("nearly bare"));
        strokes[..40].fill(0.6);
        assert_eq!(said(&strokes, false), None);
        // Dark ones on a light piece too, as far as they are 10 L* apart.
        let dark = |apart: f64| -> Vec<f32> {
            let stroke = luminance(lstar(0.6) - apart) as f32;
            (0..10_000).map(|i| if i < 40 { stroke } else { 0.6 }).collect()
        };
        assert_eq!(of_strokes(&dark(10.1), 0.6), None);
        assert!(of_strokes(&dark(9.9), 0.6).is_some());
    }

    #[test]
    fn dots_are_seen_as_the_tone_of_their_place() {
        // Every second sample is lighter, in a disc of 40 samples; a place is 4 x 4 of them.
        let looks: Vec<f32> = (0..40 * 40).map(|i| if (i / 40 + i) % 2 == 0 { 0.23 } else { 0.03 }).collect();
        let disc = |y: f64| {
            let half = (400.0 - (y + 0.5 - 20.0).powi(2)).max(0.0).sqrt();
            (20.0 - half, 20.0 + half)
        };
        let found = places(&looks, 40, 0.15, disc);
        assert!((60..100).contains(&found.len()), "{}", found.len());
        assert!(found.iter().all(|&y| (y - 0.13).abs() < 1e-5), "{found:?}");
    }

    #[test]
    fn the_bound_is_in_lightness() {
        let bare = lstar(0.03);
        let some = |l: f64| vec![luminance(bare + l) as f32; 1000].into_iter().chain([0.03f32; 1000]);
        assert!(said(&some(8.0).collect::<Vec<_>>(), true).is_some());
        assert_eq!(said(&some(12.0).collect::<Vec<_>>(), true), None);
    }
}
