//! Hatched: whether a drawing's strokes lie so close, and closer or wider from place to place, that they make a picture's tones,
//! as in an etching or a halftone.

use std::ops::Range;

use crate::parallel;
use crate::plane::Tone;

/// Places along the longer side, each of which is looked at as one.
const PLACES: f64 = 40.0;
/// The least samples of a place each way in which strokes are seen.
const LEAST_SAMPLES: usize = 8;
/// Ink from here on is a stroke.
const INK: f32 = 0.5;
/// The share of a picture that is ink: most drawings have less, most negatives more.
const SHARE: Range<f64> = 0.3..0.7;
/// The same of a place whose strokes make a tone; its rows or its columns change between ink and ground so often at least, and the edge
/// of a shape but once.
const TINTED: Range<f64> = 0.1..0.9;
const CHANGES: f64 = 2.5;
/// The least share of such places.
const LEAST_TINTED: f64 = 0.2;
/// How far their shares of ink spread at least (standard deviation): even hatching and lettering spread under 0.05, etchings
/// and halftones of pictures from 0.13 on.
const SPREAD: f64 = 0.12;
/// The most that neighbours among them differ on average, as a share of that: smooth tones come to a half, the modules of a code to
/// one and more.
const STEP: f64 = 0.6;

/// Whether the strokes in these columns and rows of a drawing's wanted mark make tones; its samples lie `pitch` mm apart.
pub fn is_hatched(tone: &Tone, (columns, rows): (Range<usize>, Range<usize>), pitch: (f64, f64)) -> bool {
    let side = (columns.len() as f64 * pitch.0).max(rows.len() as f64 * pitch.1) / PLACES;
    let (wide, high) = ((side / pitch.0) as usize, (side / pitch.1) as usize);
    if wide < LEAST_SAMPLES || high < LEAST_SAMPLES {
        return false;
    }
    let (across, down) = (columns.len() / wide, rows.len() / high);
    let places: Vec<(f64, bool)> = parallel::map(down, |j| {
        let top = rows.start + j * high;
        let of = |i: usize| {
            let left = columns.start + i * wide;
            place(tone, (left..left + wide, top..top + high))
        };
        (0..across).map(of).collect::<Vec<_>>()
    })
    .into_iter()
    .flatten()
    .collect();
    let all = places.len().max(1) as f64;
    let ink = places.iter().map(|p| p.0).sum::<f64>() / all;
    let tinted: Vec<f64> = places.iter().filter(|p| p.1).map(|p| p.0).collect();
    if !SHARE.contains(&ink) || (tinted.len() as f64) < LEAST_TINTED * all {
        return false;
    }
    let mean = tinted.iter().sum::<f64>() / tinted.len() as f64;
    let spread = (tinted.iter().map(|t| (t - mean) * (t - mean)).sum::<f64>() / tinted.len() as f64).sqrt();
    let (mut steps, mut pairs) = (0.0, 0u32);
    for i in 0..places.len() {
        let right = (i % across + 1 < across).then(|| places[i + 1]);
        for other in right.into_iter().chain(places.get(i + across).copied()) {
            if places[i].1 && other.1 {
                steps += (other.0 - places[i].0).abs();
                pairs += 1;
            }
        }
    }
    spread >= SPREAD && pairs > 0 && steps / f64::from(pairs) <= STEP * spread
}

/// The share of a place that is ink, and whether its strokes make a tone.
fn place(tone: &Tone, (columns, rows): (Range<usize>, Range<usize>)) -> (f64, bool) {
    let (wide, high) = (columns.len() as f64, rows.len() as f64);
    let (mut ink, mut along, mut down) = (0u32, 0u32, 0u32);
    let mut above: Option<&[f32]> = None;
    for y in rows {
        let row = &tone.row(y)[columns.clone()];
        ink += row.iter().filter(|v| **v >= INK).count() as u32;
        along += row.windows(2).filter(|two| (two[0] >= INK) != (two[1] >= INK)).count() as u32;
        let changed =
            above.map_or(0, |a| a.iter().zip(row).filter(|(a, b)| (**a >= INK) != (**b >= INK)).count());
        down += changed as u32;
        above = Some(row);
    }
    let ink = f64::from(ink) / (wide * high);
    let changes = (f64::from(along) / high).max(f64::from(down) / wide);
    (ink, TINTED.contains(&ink) && changes >= CHANGES)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::art::reading::qr_dark;

    fn hatched(ink: impl Fn(f64, f64) -> bool) -> bool {
        let n = 800;
        let at = |i: usize| f32::from(u8::from(ink((i % n) as f64, (i / n) as f64)));
        let tone = Tone::from_vec(n, n, (0..n * n).map(at).collect());
        is_hatched(&tone, (0..n, 0..n), (0.1, 0.1))
    }

    #[test]
    fn hatching_and_halftones_that_follow_a_picture_make_tones() {
        let picture = |x: f64, y: f64| 0.5 + 0.45 * (x / 160.0).sin() * (y / 190.0).cos();
        assert!(hatched(|x, y| picture(x, y) > 0.5 + 0.5 * ((x + y) / 2.5).sin()));
        assert!(hatched(|x, y| picture(x, y) > 0.5 + 0.5 * (x / 2.2).sin() * (y / 2.2).sin()));
    }

    #[test]
    fn even_hatching_emblems_and_codes_do_not() {
        assert!(!hatched(|x, y| ((x + y) / 2.5).sin() > 0.0));
        assert!(!hatched(|x, y| (x - 400.0).hypot(y - 400.0) < 320.0));
        assert!(!hatched(|x, y| ((x / 100.0) as u32 + (y / 100.0) as u32).is_multiple_of(2)));
        assert!(!hatched(|x, y| (y - 400.0).atan2(x - 400.0).mul_add(60.0, 0.0).sin() > 0.0));
        for module in [4.0, 8.0, 27.0] {
            let side = (((800.0 / module) as usize) - 17) / 4 * 4 + 17;
            assert!(!hatched(|x, y| {
                let (c, r) = ((x / module) as usize, (y / module) as usize);
                c < side && r < side && qr_dark(side, c, r)
            }));
        }
    }
}
