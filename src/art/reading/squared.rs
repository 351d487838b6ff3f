//! Squared: the printed squares of the paper that is drawn on, much paler than the strokes.
//!
//! Both ways, pale lines come again at one distance nearly everywhere in the picture. In parts of it small enough for a
//! photographed sheet to lie straight in them, depth is summed along the lines, at the slope that shows them best, and compared
//! with itself some places on. Squares are told only where hardly anything between them is as pale as they are, so that no stroke
//! is lost with them. Of 24 photographs of drawings on squared paper, made up, 22 are told, those with strokes a little darker than
//! the squares too; of 27 sheets without squares, or with nets and tables drawn on them, none.

use crate::parallel;
use crate::plane::median;
use std::ops::ControlFlow;

/// Parts of the picture along the lines and across them.
const PARTS: (usize, usize) = (12, 4);
/// Slopes of lines that are looked for, each way, and how many between.
const SLOPE: f32 = 0.1;
const SLOPES: i16 = 4;
/// So many places along the lines are looked at in each part: lines are the same all along.
const ALONG: usize = 24;
/// What is deeper counts as so deep: strokes must not outweigh the squares.
const CLIP: f32 = 0.2;
/// Least distance of lines, in elements.
const LEAST: usize = 6;
/// How much alike a part is to itself one distance on, and where it counts as unlike before.
const ALIKE: f32 = 0.45;
const UNLIKE: f32 = 0.1;
/// Distances of lines lie so near their median, in so great a share of the parts. Squared paper made up for trial had them in 36
/// to 48 of 48 parts each way; of drawings and print on plain or ruled paper none had them in more than 17 both ways.
const SPREAD: f32 = 0.15;
const MOST: f64 = 0.6;
/// What lies within so much of the distance of a line is on it.
const ON: f32 = 0.12;
/// The depth of the squares is spread by so much of it at most: what is deeper is drawn along them.
const MOST_SPREAD: f32 = 0.6;
/// Strokes are so many times as deep as the deepest of the squares: there is a gap between the two.
const CLEAR: f32 = 1.35;
/// One place in so many is stroke, at least.
const STROKES: usize = 1000;
/// Of what lies between the lines, for each pale place there are so many of strokes.
const PALE: usize = 10;
/// A pale place within so many elements of a stroke is its rim.
const RIM: usize = 3;

/// Lines of one direction in one part of the picture.
#[derive(Clone, Copy)]
struct Lines {
    /// Where one of them crosses the middle of the part, how far apart they are, and how far each shifts an element along.
    at: f32,
    apart: f32,
    slope: f32,
    middle: f32,
}

/// Lines of one direction all over the picture.
struct Ruling {
    size: (usize, usize),
    parts: Vec<Option<Lines>>,
}

/// Takes the squares of a sheet out of the depth of its strokes, where it surely has some; whether it has. What is deeper than
/// `low` is no grain of the paper.
pub(super) fn without_squares(depth: &mut [f32], (w, h): (usize, usize), low: f32) -> bool {
    let Some(upto) = squares(depth, (w, h), low) else { return false };
    let before = depth.to_vec();
    parallel::bands(depth, w, 16, |first, band| {
        for (i, d) in band.iter_mut().enumerate().filter(|(_, d)| **d <= CLEAR * upto) {
            let is_rim =
                *d > upto && about(&before, (w, h), (i % w, first + i / w), RIM).any(|d| d > CLEAR * upto);
            *d = if is_rim { *d } else { d.min(0.0) };
        }
    });
    true
}

/// The values within so many elements of a place.
fn about(
    of: &[f32],
    (w, h): (usize, usize),
    (x, y): (usize, usize),
    reach: usize,
) -> impl Iterator<Item = f32> + '_ {
    let columns = x.saturating_sub(reach)..(x + reach + 1).min(w);
    let rows = y.saturating_sub(reach)..(y + reach + 1).min(h);
    rows.flat_map(move |y| of[y * w + columns.start..y * w + columns.end].iter().copied())
}

/// The depth up to which the squares of a sheet reach, where nothing is drawn that pale.
fn squares(depth: &[f32], (w, h): (usize, usize), low: f32) -> Option<f32> {
    let upright = Ruling::of((h, w), |y, x| depth[y * w + x])?;
    let level = Ruling::of((w, h), |x, y| depth[y * w + x])?;
    let off = |x: usize, y: usize| Some((upright.off(y, x)?, level.off(x, y)?));
    let mut cores = Vec::new();
    let mut core = 0.0f32;
    let mut follow = |at: usize, on: bool| {
        if on {
            core = core.max(depth[at]);
        } else if core > 0.0 {
            cores.push(std::mem::take(&mut core));
        }
    };
    let crosses = |line: f32, other: f32| line < ON && other > 2.0 * ON;
    (0..w * h).for_each(|i| follow(i, off(i % w, i / w).is_some_and(|(u, l)| crosses(u, l))));
    for (x, y) in (0..w).flat_map(|x| (0..h).map(move |y| (x, y))) {
        follow(y * w + x, off(x, y).is_some_and(|(u, l)| crosses(l, u)));
    }
    let middle = median(cores.iter().copied())?;
    let deviation = 1.48 * median(cores.iter().map(|c| (c - middle).abs()))?;
    let upto = middle + (4.0 * deviation).min(MOST_SPREAD * middle);
    let (mut strokes, mut pale) = (0usize, 0usize);
    for i in 0..w * h {
        let at = (i % w, i / w);
        if depth[i] <= low || off(at.0, at.1).is_none_or(|(u, l)| u < ON || l < ON) {
            continue;
        }
        let around = |reach: usize| about(depth, (w, h), at, reach);
        if depth[i] > CLEAR * upto {
            strokes += 1;
        } else if around(1).sum::<f32>() > 9.0 * low && around(RIM).all(|d| d <= CLEAR * upto) {
            pale += 1;
        }
    }
    (strokes * STROKES >= w * h && pale * PALE <= strokes).then_some(upto)
}

impl Ruling {
    /// `depth` is asked for by the place along the lines and that across them, of so many.
    fn of(size: (usize, usize), depth: impl Fn(usize, usize) -> f32 + Sync) -> Option<Ruling> {
        let all = PARTS.0 * PARTS.1;
        let mut parts = parallel::map(all, |part| lines(size, (part / PARTS.1, part % PARTS.1), &depth));
        let apart = median(parts.iter().flatten().map(|lines| lines.apart))?;
        for part in &mut parts {
            *part = part.filter(|lines| (lines.apart / apart - 1.0).abs() < SPREAD);
        }
        let found = |parts: &[Option<Lines>]| parts.iter().flatten().count();
        // A net or a table that is drawn ends before the picture does.
        let ends = found(&parts[..PARTS.1]).min(found(&parts[all - PARTS.1..]));
        let is_ruled = found(&parts) as f64 >= MOST * all as f64 && ends as f64 >= MOST * PARTS.1 as f64;
        is_ruled.then_some(Ruling { size, parts })
    }

    /// How far off the nearest line a place is, as a share of their distance.
    fn off(&self, along: usize, across: usize) -> Option<f32> {
        let part = (along * PARTS.0 / self.size.0) * PARTS.1 + across * PARTS.1 / self.size.1;
        let lines = self.parts[part]?;
        let off = across as f32 - lines.slope * (along as f32 - lines.middle) - lines.at;
        let off = off.rem_euclid(lines.apart);
        Some(off.min(lines.apart - off) / lines.apart)
    }
}

/// The lines in a part of the picture, of so many parts along them and across.
fn lines(
    (along, across): (usize, usize),
    (i, j): (usize, usize),
    depth: &(impl Fn(usize, usize) -> f32 + Sync),
) -> Option<Lines> {
    let (from, to) = (along * i / PARTS.0, along * (i + 1) / PARTS.0);
    let (left, right) = (across * j / PARTS.1, across * (j + 1) / PARTS.1);
    if right - left < 4 * LEAST || to - from < 2 {
        return None;
    }
    let middle = (from + to) as f32 / 2.0;
    let profile = |slope: f32| {
        let mut sums = vec![0.0f32; right - left];
        for y in (from..to).step_by(((to - from) / ALONG).max(1)) {
            let shift = (slope * (y as f32 - middle)).round() as isize;
            for (x, sum) in (left..right).zip(&mut sums) {
                let x = x.saturating_add_signed(shift).min(across - 1);
                *sum += depth(y, x).clamp(-CLIP, CLIP);
            }
        }
        let mean = sums.iter().sum::<f32>() / sums.len() as f32;
        sums.iter_mut().for_each(|v| *v -= mean);
        sums
    };
    let slopes = (-SLOPES..=SLOPES).map(|k| SLOPE * f32::from(k) / f32::from(SLOPES));
    let power = |p: &[f32]| p.iter().map(|v| v * v).sum::<f32>();
    let (slope, profile) =
        slopes.map(|s| (s, profile(s))).max_by(|a, b| power(&a.1).total_cmp(&power(&b.1)))?;
    let (first, apart) = distance_apart(&profile)?;
    let comb = |at: usize| {
        let teeth = (0..).map(|k| (at as f32 + k as f32 * apart).round() as usize);
        let (n, sum) = teeth.map_while(|t| profile.get(t)).fold((0.0f32, 0.0), |(n, s), v| (n + 1.0, s + v));
        sum / n
    };
    let at = (0..first).max_by(|a, b| comb(*a).total_cmp(&comb(*b)))?;
    Some(Lines { at: (left + at) as f32, apart, slope, middle })
}

/// How far on a profile is like itself again: in whole elements, and as exactly as its length tells.
fn distance_apart(profile: &[f32]) -> Option<(usize, f32)> {
    let like = |by: usize| {
        let pairs = || profile.iter().zip(&profile[by..]);
        let (ab, aa, bb) = pairs()
            .fold((0.0f32, 0.0f32, 0.0f32), |(ab, aa, bb), (a, b)| (ab + a * b, aa + a * a, bb + b * b));
        ab / (aa * bb).sqrt().max(1e-9)
    };
    let likes: Vec<f32> = (0..profile.len() * 2 / 5).map(like).collect();
    let begin = likes.iter().position(|l| *l < UNLIKE)?.max(LEAST);
    let most = likes.iter().skip(begin).copied().fold(0.0f32, f32::max);
    if most < ALIKE {
        return None;
    }
    let is_peak = |i: usize| likes[i] >= likes[i - 1] && likes.get(i + 1).is_none_or(|n| *n <= likes[i]);
    let first = (begin..likes.len()).find(|&i| likes[i] > 0.8 * most && is_peak(i))?;
    let refined = (2..).try_fold(first as f32, |apart, n| {
        let about = (apart * n as f32).round() as usize;
        let peak = (about - 1..about + 2).filter(|_| about + 2 < likes.len());
        match peak.max_by(|a, b| likes[*a].total_cmp(&likes[*b])) {
            Some(peak) => ControlFlow::Continue(peak as f32 / n as f32),
            None => ControlFlow::Break(apart),
        }
    });
    let (ControlFlow::Break(apart) | ControlFlow::Continue(apart)) = refined;
    Some((first, apart))
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIZE: (usize, usize) = (800, 600);

    /// The depth of a sheet with strokes, and of more by the place.
    fn sheet(more: impl Fn(usize, usize) -> f32) -> Vec<f32> {
        let at = |i: usize| (i % SIZE.0, i / SIZE.0);
        let grain = |(x, y): (usize, usize)| ((x * 7919 + y * 104_729) % 97) as f32 / 97.0 * 0.04 - 0.02;
        let drawn = |(x, y): (usize, usize)| if is_stroke(x, y) { 0.8 } else { more(x, y) };
        (0..SIZE.0 * SIZE.1).map(|i| drawn(at(i)) + grain(at(i))).collect()
    }

    fn is_stroke(x: usize, y: usize) -> bool {
        (x + 2 * y) % 200 < 8
    }

    /// Squares of a sheet that lies a little askew.
    fn squares_of(depth: f32) -> impl Fn(usize, usize) -> f32 {
        move |x, y| if (x + y * 3 / 100) % 40 < 3 || (100 + y - x * 3 / 100) % 40 < 3 { depth } else { 0.0 }
    }

    #[test]
    fn pale_squares_are_taken_out_and_no_stroke_is() {
        let before = sheet(squares_of(0.25));
        let mut depth = before.clone();
        assert!(without_squares(&mut depth, SIZE, 0.03));
        for (i, (d, before)) in depth.iter().zip(before).enumerate() {
            match is_stroke(i % SIZE.0, i / SIZE.0) {
                true => assert_eq!(*d, before),
                false => assert!(*d <= 0.0, "{d} at {i}"),
            }
        }
    }

    #[test]
    fn what_may_be_drawn_stays() {
        let is_kept = |more: &dyn Fn(usize, usize) -> f32| {
            let before = sheet(more);
            let mut depth = before.clone();
            !without_squares(&mut depth, SIZE, 0.03) && depth == before
        };
        let squares = squares_of(0.25);
        assert!(is_kept(&|_, _| 0.0));
        // As dark as the strokes, beside strokes as pale, one way only, and a net that ends.
        assert!(is_kept(&squares_of(0.7)));
        assert!(is_kept(&|x, y| if (2000 + x - 2 * y) % 190 < 8 { 0.25 } else { squares(x, y) }));
        assert!(is_kept(&|x, _| if x % 40 < 3 { 0.25 } else { 0.0 }));
        let within = |x: usize, y: usize| (80..720).contains(&x) && (60..540).contains(&y);
        assert!(is_kept(&|x, y| if within(x, y) { squares(x, y) } else { 0.0 }));
    }

    #[test]
    fn the_smallest_picture_has_none() {
        assert!(!without_squares(&mut [0.0], (1, 1), 0.03));
    }
}
