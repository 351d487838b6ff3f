//! Lettering: the places of a photo that hold strokes of two tones, as lettering and line work do; grain, leaves and hair
//! have tones between.

use crate::parallel;
use crate::plane::Tone;

/// Side of a place, dots: two letters or three of the smallest lettering that a beam makes.
const SIDE: usize = 16;
/// Light and dark of a place are its tones at this share from either end.
const END: f64 = 0.1;
/// They are so far apart in lettering that a person is to read, of a full mark (own judgement).
const APART: f32 = 0.5;
/// The most of a place that lies in the middle third between them: the soft edges of small strokes come to a fifth,
/// evenly spread tones to a third.
const BETWEEN: f64 = 0.2;
/// The least of a place that has the tone of its ground, give or take `EVEN_WITHIN` (own judgement, from photos with and
/// without lettering).
const EVEN: f64 = 0.4;
/// How far the tones of an even ground lie apart, to either side.
const EVEN_WITHIN: f32 = 0.08;
/// Grounds of places that lie beside each other in one line of lettering differ by no more.
const NEAR: f32 = 0.1;
/// Tones that are told apart.
const LEVELS: usize = 256;
/// Lettering takes up at least so many places.
const LEAST: usize = 4;

/// Leaves of a photo's wanted marks only its lettering: 1 in the strokes, 0 elsewhere. Which of the two tones the strokes
/// have does not matter, since both must stay apart. `times` samples make a dot. Whether there is any; where there is none
/// nothing is changed.
#[must_use]
pub fn lettering_of(fine: &mut Tone, times: usize) -> bool {
    let side = SIDE * times.max(1);
    let (width, height) = (fine.width(), fine.height());
    let (across, down) = (width.div_ceil(side), height.div_ceil(side));
    let cuts: Vec<Option<TwoTone>> = {
        let fine = &*fine;
        parallel::map(down, |j| {
            (0..across).map(|i| cut(fine, (i * side, j * side), side)).collect::<Vec<_>>()
        })
        .into_iter()
        .flatten()
        .collect()
    };
    let cuts = in_lines(&cuts, across);
    let any = cuts.iter().any(Option::is_some);
    if any {
        parallel::bands(fine.data_mut(), width, side, |first, band| {
            let cuts = &cuts[first / side * across..];
            for row in band.chunks_mut(width) {
                for (place, cut) in row.chunks_mut(side).zip(cuts) {
                    let cut = cut.unwrap_or(f32::INFINITY);
                    place.iter_mut().for_each(|v| *v = f32::from(u8::from(*v >= cut)));
                }
            }
        });
    }
    any
}

/// What a place of two tones has.
#[derive(Debug, Clone, Copy)]
struct TwoTone {
    /// The tone of the ground, which is more of the place than the strokes.
    ground: f32,
    /// The tone between the two.
    cut: f32,
}

/// Only places that lie in a line or block of lettering: several beside each other on the same ground.
fn in_lines(places: &[Option<TwoTone>], across: usize) -> Vec<Option<f32>> {
    let mut kept = vec![None; places.len()];
    let mut seen = vec![false; places.len()];
    for start in 0..places.len() {
        let (Some(_), false) = (places[start], seen[start]) else { continue };
        let mut group = vec![start];
        seen[start] = true;
        let mut next = 0;
        while next < group.len() {
            let at = group[next];
            next += 1;
            let Some(here) = places[at] else { continue };
            let column = at % across;
            let beside = [
                (column > 0).then(|| at - 1),
                (column + 1 < across).then_some(at + 1),
                at.checked_sub(across),
                Some(at + across).filter(|&n| n < places.len()),
            ];
            for n in beside.into_iter().flatten() {
                if !seen[n] && places[n].is_some_and(|p| (p.ground - here.ground).abs() <= NEAR) {
                    seen[n] = true;
                    group.push(n);
                }
            }
        }
        if group.len() >= LEAST {
            group.iter().for_each(|&i| kept[i] = places[i].map(|p| p.cut));
        }
    }
    kept
}

/// The tone between the two of a place that has two; the place reaches half of itself further on each side, so that a
/// stroke and its ground are both seen.
fn cut(fine: &Tone, (x0, y0): (usize, usize), side: usize) -> Option<TwoTone> {
    let reach = side / 4;
    let columns = x0.saturating_sub(reach)..(x0 + side + reach).min(fine.width());
    let rows = y0.saturating_sub(reach)..(y0 + side + reach).min(fine.height());
    // How many have each of 256 tones: no finer are told apart here.
    let mut counts = [0u32; LEVELS];
    let level = |v: f32| ((v * (LEVELS - 1) as f32 + 0.5) as usize).min(LEVELS - 1);
    rows.for_each(|y| fine.row(y)[columns.clone()].iter().for_each(|&v| counts[level(v)] += 1));
    let all: u32 = counts.iter().sum();
    let tone = |level: usize| level as f32 / (LEVELS - 1) as f32;
    // The tone below which the share lies, and the share from one tone up to another.
    let at = |share: f64| {
        let mut below = 0;
        let reached = counts.iter().position(|&n| {
            below += n;
            f64::from(below) > share * f64::from(all - 1)
        });
        tone(reached.unwrap_or(LEVELS - 1))
    };
    let share = |from: f32, to: f32| {
        let end = if to > 1.0 { LEVELS } else { level(to) };
        let part = level(from.max(0.0))..end;
        counts.get(part).map_or(0.0, |c| f64::from(c.iter().sum::<u32>()) / f64::from(all))
    };
    let (low, high) = (at(END), at(1.0 - END));
    if high - low < APART {
        return None;
    }
    let third = (high - low) / 3.0;
    let between = share(low + third, high - third);
    let dark = share(0.0, (low + high) / 2.0) > 0.5;
    let ground = if dark { low } else { high };
    // The ground is one tone.
    let even = share(ground - EVEN_WITHIN, ground + EVEN_WITHIN);
    (between <= BETWEEN && even >= EVEN).then_some(TwoTone { ground, cut: (low + high) / 2.0 })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(tone: impl Fn(f32, f32) -> f32) -> Tone {
        let n = 96;
        let data = (0..n * n).map(|i| tone((i % n) as f32 + 0.5, (i / n) as f32 + 0.5)).collect();
        Tone::from_vec(n, n, data)
    }

    #[test]
    fn soft_strokes_of_two_tones_are_kept_and_waves_and_slopes_are_not() {
        // Strokes of 4 samples, 8 apart, over a slope of light, each edge a sample and a half wide.
        let stripe = |x: f32| ((2.0 - (x.rem_euclid(12.0) - 6.0).abs()) / 1.5 + 0.5).clamp(0.0, 1.0);
        let mut strokes = drawn(|x, y| 0.1 + 0.1 * y / 96.0 + 0.6 * stripe(x));
        assert!(lettering_of(&mut strokes, 3));
        let kept = strokes.data().iter().filter(|v| **v == 1.0).count() as f64 / (96.0 * 96.0);
        assert!((kept - 4.0 / 12.0).abs() < 0.03, "{kept}");
        for mut other in [
            drawn(|x, _| 0.5 + 0.4 * (x * 0.57).sin() * (x * 0.11).cos()),
            drawn(|x, y| (x + y) / 192.0),
            drawn(|x, _| 0.3 + 0.2 * stripe(x)),
        ] {
            assert!(!lettering_of(&mut other, 3));
        }
    }
}
