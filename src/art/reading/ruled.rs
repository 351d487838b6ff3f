//! Ruled: the printed squares or lines of the paper that is drawn on, much paler than the strokes.
//!
//! Pale lines come again at one distance nearly everywhere on the sheet, both ways or one way. In parts of it small enough for a
//! photographed sheet to lie straight in them, depth is looked at along the lines, at the slope that shows them best, and compared
//! with itself some places on. They are told only where hardly anything between them is as pale as they are, so that no stroke is
//! lost with them. Of 24 photographs of drawings on squared paper, made up, 22 were told, and of 18 others, with writing and on
//! tables too, 13; of 28 of drawings and writing on lined paper 24, on blanks of 90 mm (on one half as wide, 11: there the lines
//! are finer than the dots). Of 27 sheets without squares and of 33 without lines to write on, with nets, sheet music, tables,
//! waves and stripes, none was.

use crate::parallel;
use crate::plane::median;
use std::ops::{ControlFlow, Range};

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
/// Lines one way alone are those of paper to write on where hardly any place of a line is bare (sheet music has none between
/// its staves, a text has none between its words) or beside where it should be (waves are), and there are no more of them than
/// on a page of narrow ruling.
const MOST_BARE: f64 = 0.1;
const MOST_BESIDE: f64 = 0.1;
const MOST_LINES: f32 = 50.0;
/// One of so many places along a line may be barer than it counts.
const FEW: usize = 4;
/// What lies within so much of the distance of a line is on it.
const ON: f32 = 0.12;
/// The depth of the squares is spread by so much of it at most: what is deeper is drawn along them.
const MOST_SPREAD: f32 = 0.6;
/// Strokes are so many times as deep as the deepest of the squares: there is a gap between the two.
const CLEAR: f32 = 1.2;
/// One place in so many is stroke, at least.
const STROKES: usize = 1000;
/// Of what lies between the lines, for each pale place there are so many of strokes.
const PALE: usize = 10;
/// A pale place within so many elements of a stroke is its rim.
const RIM: usize = 3;
/// A margin is a line across those to write on: it lies in one of so many strips of the sheet or in two beside each other, and is
/// seen in most of so many stretches of it.
const STRIPS: usize = 24;
const STRETCHES: usize = 32;
/// A row or column of the picture is a sheet's that has so much of it as that with the most.
const FILLED: f64 = 0.8;

/// Lines of one direction in one part of the picture.
#[derive(Clone, Copy)]
struct Lines {
    /// Where one of them crosses the middle of the part, how far apart they are, and how far each shifts an element along.
    at: f32,
    apart: f32,
    slope: f32,
    middle: f32,
}

/// What of the places along a line tells how deep it is.
#[derive(Clone, Copy, PartialEq)]
enum Along {
    /// Their mean.
    Mean,
    /// That which few are below: what is written across lines, or between them, does not reach so far along.
    Everywhere,
}

/// Lines of one direction all over the sheet.
#[derive(Clone)]
struct Ruling {
    size: (usize, usize),
    parts: Vec<Option<Lines>>,
}

/// What the paper that is drawn on is ruled with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ruled {
    /// Squares.
    Squares,
    /// Lines to write on.
    Lines,
}

/// The columns and rows that a sheet fills, of a picture that is not a number beyond it: those of which so much is the sheet's.
pub(super) fn filled(depth: &[f32], w: usize) -> (Range<usize>, Range<usize>) {
    let (mut columns, mut rows) = (vec![0usize; w], vec![0usize; depth.len() / w.max(1)]);
    for (y, row) in depth.chunks_exact(w).enumerate() {
        for (x, _) in row.iter().enumerate().filter(|(_, d)| !d.is_nan()) {
            columns[x] += 1;
            rows[y] += 1;
        }
    }
    let range = |of: &[usize]| {
        let most = of.iter().copied().max().unwrap_or(0);
        let is_filled = |n: &usize| *n as f64 >= FILLED * most as f64;
        let first = of.iter().position(is_filled).unwrap_or(0);
        first..of.iter().rposition(is_filled).map_or(first, |last| last + 1)
    };
    (range(&columns), range(&rows))
}

/// Takes the squares or lines of a sheet, which fills these columns and rows, out of the depth of its strokes, where it surely
/// has some; which. What is deeper than `low` is no grain of the paper.
pub(super) fn without_ruling(
    depth: &mut [f32],
    (w, h): (usize, usize),
    filled: (Range<usize>, Range<usize>),
    low: f32,
) -> Option<Ruled> {
    let (paper, upto) = Paper::of(depth, (w, h), filled, low)?;
    let before = depth.to_vec();
    parallel::bands(depth, w, 16, |first, band| {
        for (i, d) in band.iter_mut().enumerate().filter(|(_, d)| **d <= CLEAR * upto) {
            let at = (i % w, first + i / w);
            let is_rim = *d > upto && about(&before, (w, h), at, RIM).any(|d| d > CLEAR * upto);
            *d = match is_rim {
                // Of a stroke's rim on a line, what the line does not take.
                true if paper.is_on(at) => (*d - upto) / (1.0 - upto),
                true => *d,
                false => d.min(0.0),
            };
        }
    });
    Some(paper.ruled())
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

/// Paper that is ruled: lines upright, level or both.
struct Paper {
    /// Of the picture, and the columns and rows that the sheet fills.
    size: (usize, usize),
    filled: (Range<usize>, Range<usize>),
    /// By what its lines were found.
    seen: Along,
    upright: Option<Ruling>,
    level: Option<Ruling>,
}

impl Paper {
    /// The paper, and the depth up to which its ruling reaches, where it surely has one.
    fn of(
        depth: &[f32],
        size: (usize, usize),
        filled: (Range<usize>, Range<usize>),
        low: f32,
    ) -> Option<(Paper, f32)> {
        let (left, top) = (filled.0.start, filled.1.start);
        let (wide, high) = (filled.0.len(), filled.1.len());
        let at = |x: usize, y: usize| depth[(top + y) * size.0 + left + x];
        let upright = |seen| Ruling::of((high, wide), |y, x| at(x, y), seen);
        let level = |seen| Ruling::of((wide, high), at, seen);
        let paper = |seen, upright: &Option<Ruling>, level: &Option<Ruling>| {
            let (upright, level) = (upright.clone(), level.clone());
            let paper = Paper { size, filled: filled.clone(), seen, upright, level };
            paper.pale_upto(depth, low).map(|upto| (paper, upto))
        };
        let squares = |seen, upright: &Option<Ruling>, level: &Option<Ruling>| {
            let both = upright.is_some() && level.is_some();
            both.then(|| paper(seen, upright, level)).flatten()
        };
        let seen = Along::Mean;
        if let Some(found) = squares(seen, &upright(seen), &level(seen)) {
            return Some(found);
        }
        let seen = Along::Everywhere;
        let (upright, level) = (upright(seen), level(seen));
        let lines = |upright: Option<Ruling>, level: Option<Ruling>| {
            let is_one = upright.iter().chain(&level).any(Ruling::is_to_write_on);
            is_one.then(|| paper(seen, &upright, &level)).flatten()
        };
        squares(seen, &upright, &level).or_else(|| lines(None, level)).or_else(|| lines(upright, None))
    }

    fn ruled(&self) -> Ruled {
        if self.upright.is_some() && self.level.is_some() { Ruled::Squares } else { Ruled::Lines }
    }

    /// How far off the nearest line a place is each way, as shares of their distance.
    fn off(&self, (x, y): (usize, usize)) -> Option<(f32, f32)> {
        let off = |ruling: &Option<Ruling>, along, across| match ruling {
            Some(ruling) => ruling.off(along, across),
            None => Some(0.5),
        };
        if !self.filled.0.contains(&x) || !self.filled.1.contains(&y) {
            return None;
        }
        let (x, y) = (x - self.filled.0.start, y - self.filled.1.start);
        Some((off(&self.upright, y, x)?, off(&self.level, x, y)?))
    }

    fn is_on(&self, at: (usize, usize)) -> bool {
        self.off(at).is_some_and(|(u, l)| u < ON || l < ON)
    }

    /// How many of the pale places off the lines are those of a margin.
    fn margin(&self, pale: &[(usize, usize)]) -> usize {
        if self.ruled() == Ruled::Squares {
            return 0;
        }
        let (columns, rows) = &self.filled;
        let part = |at: usize, of: &Range<usize>, parts: usize| (at - of.start) * parts / of.len();
        let strip = |&(x, y): &(usize, usize)| match self.level {
            Some(_) => (part(x, columns, STRIPS), part(y, rows, STRETCHES)),
            None => (part(y, rows, STRIPS), part(x, columns, STRETCHES)),
        };
        let mut strips = [[0usize; STRETCHES]; STRIPS];
        pale.iter().map(strip).for_each(|(i, k)| strips[i][k] += 1);
        let both = strips.windows(2).map(|two| std::array::from_fn(|k| two[0][k] + two[1][k]));
        let is_line = |two: &[usize; STRETCHES]| two.iter().filter(|n| **n > 0).count() * 4 >= STRETCHES * 3;
        both.filter(is_line).map(|two| two.iter().sum()).max().unwrap_or(0)
    }

    /// The depth up to which its ruling reaches, where nothing is drawn that pale.
    fn pale_upto(&self, depth: &[f32], low: f32) -> Option<f32> {
        let (w, h) = self.size;
        let mut cores = Vec::new();
        let (mut core, mut is_in, mut bare) = ((0.0f32, 0.0f32), false, 0usize);
        let mut follow = |at: usize, on: Option<f32>| {
            if let Some(off) = on {
                core = if depth[at] > core.0 { (depth[at], off) } else { core };
            } else if is_in {
                bare += usize::from(core.0 <= low);
                cores.extend((core.0 > 0.0).then_some(core));
                core = (0.0, 0.0);
            }
            is_in = on.is_some();
        };
        let crosses = |line: f32, other: f32| (line < ON && other > 2.0 * ON).then_some(line);
        if self.upright.is_some() {
            let on = |at| self.off(at).and_then(|(u, l)| crosses(u, l));
            (0..w * h).for_each(|i| follow(i, on((i % w, i / w))));
        }
        if self.level.is_some() {
            let on = |at| self.off(at).and_then(|(u, l)| crosses(l, u));
            let columns = (0..w).flat_map(|x| (0..h).map(move |y| (x, y)));
            columns.for_each(|(x, y)| follow(y * w + x, on((x, y))));
        }
        if self.seen == Along::Everywhere {
            if cores.is_empty() || bare as f64 > MOST_BARE * cores.len() as f64 {
                return None;
            }
            // What is written stands on the lines: of half of them and more it is what is seen. The palest are their own.
            let few = cores.len() / FEW;
            let (_, palest, _) = cores.select_nth_unstable_by(few, |a, b| a.0.total_cmp(&b.0));
            let own = 0.6 * palest.0..CLEAR * palest.0;
            cores.retain(|(core, _)| own.contains(core));
            let beside = cores.iter().filter(|(_, off)| *off > ON / 2.0).count();
            if beside as f64 > MOST_BESIDE * cores.len() as f64 {
                return None;
            }
        }
        let middle = median(cores.iter().map(|(core, _)| *core))?;
        let deviation = 1.48 * median(cores.iter().map(|(core, _)| (core - middle).abs()))?;
        let upto = middle + (4.0 * deviation).min(MOST_SPREAD * middle);
        let (mut strokes, mut pale) = (0usize, Vec::new());
        for i in 0..w * h {
            let at = (i % w, i / w);
            if depth[i] <= low || self.off(at).is_none_or(|(u, l)| u < ON || l < ON) {
                continue;
            }
            let around = |reach: usize| about(depth, (w, h), at, reach);
            if depth[i] > CLEAR * upto {
                strokes += 1;
            } else if around(1).sum::<f32>() > 9.0 * low && around(RIM).all(|d| d <= CLEAR * upto) {
                pale.push(at);
            }
        }
        let pale = pale.len() - self.margin(&pale);
        (strokes * STROKES >= w * h && pale * PALE <= strokes).then_some(upto)
    }
}

impl Ruling {
    /// `depth` is asked for by the place along the lines and that across them, of so many.
    fn of(size: (usize, usize), depth: impl Fn(usize, usize) -> f32 + Sync, seen: Along) -> Option<Ruling> {
        let all = PARTS.0 * PARTS.1;
        let mut parts =
            parallel::map(all, |part| lines(size, (part / PARTS.1, part % PARTS.1), &depth, seen));
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

    /// Whether they lie no closer than people write.
    fn is_to_write_on(&self) -> bool {
        let apart = median(self.parts.iter().flatten().map(|lines| lines.apart));
        apart.is_some_and(|apart| apart * MOST_LINES >= self.size.1 as f32)
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
    seen: Along,
) -> Option<Lines> {
    let (from, to) = (along * i / PARTS.0, along * (i + 1) / PARTS.0);
    let (left, right) = (across * j / PARTS.1, across * (j + 1) / PARTS.1);
    if right - left < 4 * LEAST || to - from < 2 {
        return None;
    }
    let middle = (from + to) as f32 / 2.0;
    let profile = |slope: f32| {
        let ys = || (from..to).step_by(((to - from) / ALONG).max(1));
        let at = |x: usize, y: usize| {
            let shift = (slope * (y as f32 - middle)).round() as isize;
            depth(y, x.saturating_add_signed(shift).min(across - 1)).clamp(-CLIP, CLIP)
        };
        let mut sums: Vec<f32> = match seen {
            Along::Mean => (left..right).map(|x| ys().map(|y| at(x, y)).sum()).collect(),
            Along::Everywhere => (left..right)
                .map(|x| {
                    let mut all: Vec<f32> = ys().map(|y| at(x, y)).collect();
                    let few = all.len() / FEW;
                    *all.select_nth_unstable_by(few, f32::total_cmp).1
                })
                .collect(),
        };
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
    const WHOLE: (Range<usize>, Range<usize>) = (0..800, 0..600);

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
        assert!(without_ruling(&mut depth, SIZE, WHOLE, 0.03) == Some(Ruled::Squares));
        for (i, (d, before)) in depth.iter().zip(before).enumerate() {
            match is_stroke(i % SIZE.0, i / SIZE.0) {
                true => assert_eq!(*d, before),
                false => assert!(*d <= 0.0, "{d} at {i}"),
            }
        }
    }

    #[test]
    fn pale_lines_to_write_on_are_taken_out_with_their_margin_and_no_stroke_is() {
        let level = |x: usize, y: usize| (100 + y - x * 3 / 100) % 40 < 3;
        let upright = |x: usize, y: usize| (x + y * 3 / 100) % 40 < 3;
        let with_margin = |x: usize, y: usize| level(x, y) || (90..94).contains(&x);
        let within = |x: usize, y: usize| (60..720).contains(&x) && (40..560).contains(&y);
        let whole = WHOLE;
        let part = (60..720, 40..560);
        let ruled: [(&dyn Fn(usize, usize) -> bool, _); 4] = [
            (&level, &whole),
            (&upright, &whole),
            (&with_margin, &whole),
            (&|x, y| level(x, y) && within(x, y), &part),
        ];
        for (i, (on, filled)) in ruled.into_iter().enumerate() {
            let before = sheet(|x, y| if on(x, y) { 0.25 } else { 0.0 });
            let mut depth = before.clone();
            let found = without_ruling(&mut depth, SIZE, filled.clone(), 0.03);
            assert_eq!(found, Some(Ruled::Lines), "{i}");
            for (k, (d, before)) in depth.iter().zip(before).enumerate() {
                match is_stroke(k % SIZE.0, k / SIZE.0) {
                    true => assert_eq!(*d, before),
                    false => assert!(*d <= 0.0, "{d} at {k} of {i}"),
                }
            }
        }
    }

    #[test]
    fn what_of_a_stroke_s_rim_lies_on_a_line_is_kept_without_the_line() {
        let is_rim = |x: usize, y: usize| !is_stroke(x, y) && is_stroke(x + 1, y);
        let line = |y: usize| if y % 40 < 3 { 0.25 } else { 0.0 };
        // On a line it is a little deeper than the line, elsewhere a little deeper than lines are.
        let rim = |y: usize| if line(y) > 0.0 { 1.0 - (1.0 - line(y)) * 0.9 } else { 0.33 };
        let mut depth = sheet(|x, y| if is_rim(x, y) { rim(y) } else { line(y) });
        assert_eq!(without_ruling(&mut depth, SIZE, WHOLE, 0.03), Some(Ruled::Lines));
        let rims = |on: bool| {
            let of = (0..SIZE.0 * SIZE.1).filter(|i| {
                let (x, y) = (i % SIZE.0, i / SIZE.0);
                is_rim(x, y) && (line(y) > 0.0) == on
            });
            median(of.map(|i| depth[i])).unwrap()
        };
        let (on, off) = (rims(true), rims(false));
        assert!((off - 0.33).abs() < 0.03 && (0.02..0.15).contains(&on), "{on} {off}");
    }

    #[test]
    fn what_may_be_drawn_stays() {
        let is_kept = |more: &dyn Fn(usize, usize) -> f32| {
            let before = sheet(more);
            let mut depth = before.clone();
            without_ruling(&mut depth, SIZE, WHOLE, 0.03).is_none() && depth == before
        };
        let squares = squares_of(0.25);
        assert!(is_kept(&|_, _| 0.0));
        // As dark as the strokes, beside strokes as pale, and a net that ends.
        assert!(is_kept(&squares_of(0.7)));
        assert!(is_kept(&|x, y| if (2000 + x - 2 * y) % 190 < 8 { 0.25 } else { squares(x, y) }));
        let within = |x: usize, y: usize| (80..720).contains(&x) && (60..540).contains(&y);
        assert!(is_kept(&|x, y| if within(x, y) { squares(x, y) } else { 0.0 }));
        // One way: as dark as the strokes, beside strokes as pale, lines that end, staves, waves and a hatching.
        let lines = |_: usize, y: usize| if y % 40 < 3 { 0.25 } else { 0.0 };
        assert!(is_kept(&|x, y| 2.8 * lines(x, y)));
        assert!(is_kept(&|x, y| if (2000 + x - 2 * y) % 190 < 8 { 0.25 } else { lines(x, y) }));
        assert!(is_kept(&|x, y| if within(x, y) { lines(x, y) } else { 0.0 }));
        assert!(is_kept(&|_, y| if y % 14 < 2 && y % 98 < 70 { 0.25 } else { 0.0 }));
        let wave = |x: usize, y: usize| 100 + y - (8.0 * (x as f32 / 30.0).sin() + 8.0) as usize;
        assert!(is_kept(&|x, y| lines(0, wave(x, y))));
        assert!(is_kept(&|_, y| if y % 9 < 2 { 0.25 } else { 0.0 }));
    }

    #[test]
    fn the_smallest_picture_has_none() {
        assert_eq!(without_ruling(&mut [0.0], (1, 1), (0..1, 0..1), 0.03), None);
    }
}
