//! Bar codes: where they lie in a wanted mark, found by the bars that begin, part and end them and by their characters,
//! which are all equally wide (ISO/IEC 15420, 15417, 16388 and 16390).

use std::ops::Range;

use crate::parallel;
use crate::plane::Tone;

/// What is marked by half or more is set.
const SET: f32 = 0.5;
/// A stretch beside a code is longer than any within it by this factor.
const BREAK: f64 = 1.2;
/// The fewest stretches of a code that is not of a given length: one with a single character.
const FEWEST: usize = 25;
/// The most.
const MOST: usize = 600;
/// The least samples of a module.
const LEAST_SAMPLES: f64 = 1.5;
/// Rows and columns that are looked at, and the fewest that show the same code.
const LINES: usize = 400;
const LEAST_LINES: usize = 4;
/// The least length of its bars, as a share of the code's.
const LEAST_HIGH: f64 = 0.05;

/// A bar code. Places are in mm, x to the right and y down, from the upper left corner of where it was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BarCode {
    /// Its middle.
    pub middle: (f64, f64),
    /// Width of its narrowest bars, mm.
    pub module: f64,
    /// Modules of light border that it wants beside its first and its last bar.
    pub wants: usize,
    /// Modules of border that it has there at the narrower side, up to as many as it wants.
    pub quiet: usize,
    /// Whether its bars are what is set.
    pub bars_set: bool,
}

/// All bar codes of `tone`, whose samples lie `pitch` mm apart, along and across, and whose bars run along or across.
pub fn bar_codes(tone: &Tone, pitch: (f64, f64)) -> Vec<BarCode> {
    let rows = |y: usize| tone.row(y).to_vec();
    let columns = |x: usize| tone.data().chunks(tone.width().max(1)).map(|row| row[x]).collect();
    let mut found = codes(tone.height(), pitch, rows);
    found.extend(
        codes(tone.width(), (pitch.1, pitch.0), columns)
            .into_iter()
            .map(|code| BarCode { middle: (code.middle.1, code.middle.0), ..code }),
    );
    found
}

/// A code as it is met along one line, in mm from where that begins.
#[derive(Debug, Clone, Copy)]
struct Met {
    line: usize,
    from: f64,
    to: f64,
    sort: Sort,
    /// mm of border before and behind it, the lesser.
    beside: f64,
    bars_set: bool,
}

/// What a code's stretches say of it.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Sort {
    stretches: usize,
    module: f64,
    wants: usize,
}

/// The codes whose bars run across the `count` lines.
fn codes(count: usize, pitch: (f64, f64), line: impl Fn(usize) -> Vec<f32> + Sync + Send) -> Vec<BarCode> {
    let step = (count / LINES).max(1);
    let met = parallel::map(count / step, |i| in_line(i * step, &line(i * step), pitch.0));
    let mut groups: Vec<Vec<Met>> = Vec::new();
    for one in met.into_iter().flatten() {
        let same = |group: &&mut Vec<Met>| {
            group.last().is_some_and(|last| {
                let near = |a: f64, b: f64| (a - b).abs() < 2.0 * one.sort.module;
                last.sort.stretches == one.sort.stretches
                    && last.bars_set == one.bars_set
                    && one.line - last.line <= 3 * step
                    && near(last.from, one.from)
                    && near(last.to, one.to)
            })
        };
        match groups.iter_mut().find(same) {
            Some(group) => group.push(one),
            None => groups.push(vec![one]),
        }
    }
    let code = |group: Vec<Met>| {
        let (first, last, middle) = (group.first()?, group.last()?, group.get(group.len() / 2)?);
        let high = (last.line - first.line + 1) as f64 * pitch.1;
        let enough = group.len() >= LEAST_LINES && high >= LEAST_HIGH * (middle.to - middle.from);
        let Sort { module, wants, .. } = middle.sort;
        enough.then(|| BarCode {
            middle: (0.5 * (middle.from + middle.to), 0.5 * (first.line + last.line + 1) as f64 * pitch.1),
            module,
            wants,
            // A sample less is no lack.
            quiet: (((middle.beside + pitch.0) / module).floor() as usize).min(wants),
            bars_set: middle.bars_set,
        })
    };
    groups.into_iter().filter_map(code).collect()
}

/// The codes along a line whose samples lie `pitch` apart.
fn in_line(line: usize, samples: &[f32], pitch: f64) -> Vec<Met> {
    let edges = edges(samples, pitch);
    let widths: Vec<f64> = edges.windows(2).map(|e| e[1] - e[0]).collect();
    let first_set = samples.first().is_some_and(|&s| s >= SET);
    let mut found = Vec::new();
    let mut first = 0;
    while first + FEWEST <= widths.len() {
        let Some((within, sort)) = from_stretch(&widths, first, pitch) else {
            first += 1;
            continue;
        };
        let bars_set = first_set == first.is_multiple_of(2);
        let beside = |stretch: Option<usize>| match stretch {
            // What lies beyond the line is bare, as its last stretch is where the bars are set.
            None if bars_set => f64::INFINITY,
            Some(i) if bars_set && (i == 0 || i + 1 == widths.len()) => f64::INFINITY,
            None => 0.0,
            Some(i) => widths[i],
        };
        let behind = Some(within.end).filter(|&i| i < widths.len());
        found.push(Met {
            line,
            from: edges[within.start],
            to: edges[within.end],
            sort,
            beside: beside(within.start.checked_sub(1)).min(beside(behind)),
            bars_set,
        });
        first = within.end;
    }
    found
}

/// Where stretches begin that are all set or all not, and where the last ends, mm.
fn edges(samples: &[f32], pitch: f64) -> Vec<f64> {
    let mut edges = vec![0.0];
    for (i, pair) in samples.windows(2).enumerate() {
        if (pair[0] >= SET) != (pair[1] >= SET) {
            // From the middle of one sample to that of the next.
            let part = f64::from((SET - pair[0]) / (pair[1] - pair[0]));
            edges.push((i as f64 + 0.5 + part) * pitch);
        }
    }
    edges.push(samples.len() as f64 * pitch);
    edges
}

/// The code that begins with that stretch, between two that are longer than any of its own or end the line.
fn from_stretch(widths: &[f64], first: usize, pitch: f64) -> Option<(Range<usize>, Sort)> {
    let before = if first > 1 { widths[first - 1] } else { f64::INFINITY };
    let mut longest: f64 = 0.0;
    for end in first + 1..=widths.len().min(first + MOST) {
        longest = longest.max(widths[end - 1]);
        if before < BREAK * longest {
            return None;
        }
        let behind = if end + 1 < widths.len() { widths[end] } else { f64::INFINITY };
        if behind >= BREAK * longest && end - first >= FEWEST && (end - first) % 2 == 1 {
            let stretches = &widths[first..end];
            let sort = sort_of(stretches, pitch).or_else(|| {
                // It lies upside down, or is mirrored to be seen through glass.
                let back: Vec<f64> = stretches.iter().rev().copied().collect();
                sort_of(&back, pitch)
            });
            if let Some(sort) = sort.filter(|s| s.module >= LEAST_SAMPLES * pitch) {
                return Some((first..end, sort));
            }
        }
    }
    None
}

/// What code these stretches are, the first and the last of them bars; `None` where they are none.
fn sort_of(widths: &[f64], pitch: f64) -> Option<Sort> {
    let n = widths.len();
    let retail = |characters: &[usize], guards: &[Range<usize>]| {
        let module = equal(characters.iter().map(|&i| &widths[i..i + 4]), pitch)? / 7.0;
        let narrow = guards.iter().flat_map(Range::clone).all(|i| is_wide(widths[i], 1.0, module, pitch));
        narrow.then_some((module, 7))
    };
    let from = |start: usize, count: usize| (0..count).map(move |i| start + 4 * i);
    let (module, wants) = match n {
        59 => retail(&from(3, 6).chain(from(32, 6)).collect::<Vec<_>>(), &[0..3, 27..32, 56..59]),
        43 => retail(&from(3, 4).chain(from(24, 4)).collect::<Vec<_>>(), &[0..3, 19..24, 40..43]),
        33 => retail(&from(3, 6).collect::<Vec<_>>(), &[0..3, 27..33]),
        _ => None,
    }
    .or_else(|| of_six(widths, pitch))
    .or_else(|| of_nine(widths, pitch))
    .or_else(|| interleaved(widths, pitch))?;
    Some(Sort { stretches: n, module, wants })
}

/// Code 128: characters of six stretches in 11 modules, and a last bar.
fn of_six(widths: &[f64], pitch: f64) -> Option<(f64, usize)> {
    let (last, end) = widths.split_last()?;
    let characters = end.chunks_exact(6);
    if !characters.remainder().is_empty() {
        return None;
    }
    let module = equal(characters, pitch)? / 11.0;
    let like = |some: &[f64], modules: &[f64]| {
        some.iter().zip(modules).all(|(&width, &of)| is_wide(width, of, module, pitch))
    };
    let ends = like(end, &[2.0, 1.0, 1.0])
        && like(&end[end.len() - 6..], &[2.0, 3.0, 3.0, 1.0, 1.0, 1.0])
        && is_wide(*last, 2.0, module, pitch);
    ends.then_some((module, 10))
}

/// Code 39: characters of nine stretches with a gap between two, the first and the last of them the same.
fn of_nine(widths: &[f64], pitch: f64) -> Option<(f64, usize)> {
    if widths.len() % 10 != 9 {
        return None;
    }
    let characters = || widths.chunks(10).map(|c| &c[..9]);
    equal(characters(), pitch)?;
    let ends = [characters().next()?, characters().next_back()?];
    let module =
        ends.iter().map(|c| narrow(c, &[1, 4, 6])).try_fold(f64::INFINITY, |a, b| Some(a.min(b?)))?;
    characters().all(|c| wides(c.iter(), module) == 3).then_some((module, 10))
}

/// Interleaved 2 of 5: pairs of digits in ten stretches, four of them wide, between bars of its own.
fn interleaved(widths: &[f64], pitch: f64) -> Option<(f64, usize)> {
    let pairs = widths.get(4..widths.len().checked_sub(3)?)?;
    if pairs.is_empty() || !pairs.len().is_multiple_of(10) {
        return None;
    }
    equal(pairs.chunks(10), pitch)?;
    let (start, stop) = (&widths[..4], &widths[widths.len() - 3..]);
    let module = narrow(&[start, stop].concat(), &[4])?;
    let two = |pair: &[f64], from: usize| wides(pair.iter().skip(from).step_by(2), module) == 2;
    pairs.chunks(10).all(|pair| two(pair, 0) && two(pair, 1)).then_some((module, 10))
}

/// Whether a stretch is so many modules wide.
fn is_wide(width: f64, modules: f64, module: f64, pitch: f64) -> bool {
    (width - modules * module).abs() <= 0.4 * module + 0.4 * pitch
}

/// How wide the characters are that are all equally wide.
fn equal<'a>(characters: impl Iterator<Item = &'a [f64]>, pitch: f64) -> Option<f64> {
    let sums: Vec<f64> = characters.map(|c| c.iter().sum()).collect();
    let mean = sums.iter().sum::<f64>() / sums.len().max(1) as f64;
    sums.iter().all(|sum| (sum - mean).abs() <= 0.04 * mean + 0.8 * pitch).then_some(mean)
}

/// The mean of the narrow stretches among some of which the `wide` are at least half as wide again as any other.
fn narrow(stretches: &[f64], wide: &[usize]) -> Option<f64> {
    let others = || stretches.iter().enumerate().filter(|(i, _)| !wide.contains(i)).map(|(_, &w)| w);
    let most = others().fold(0.0, f64::max);
    let mean = others().sum::<f64>() / others().count().max(1) as f64;
    wide.iter().all(|&i| stretches[i] >= 1.5 * most).then_some(mean)
}

/// How many stretches are wide, which is twice to three times a module.
fn wides<'a>(stretches: impl Iterator<Item = &'a f64>, module: f64) -> usize {
    stretches.filter(|&&w| w > 1.6 * module).count()
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    /// The stretches of the number 4 012345 678901 as the retail trade writes it, in modules, bars first.
    pub(crate) const RETAIL: &str = "11132111222212214112311132111111111413121213311232112221111";
    /// `PIER` in Code 128.
    const SIX: &str = "2112143131212313111321311132312121232331112";
    /// `*A*` in Code 39, three modules wide, and `1234` interleaved.
    const NINE: &str = "13113131113111131131131131311";
    const TEN: &str = "111131131111333131131113311";

    pub(crate) fn widths(text: &str) -> Vec<usize> {
        text.bytes().map(|b| usize::from(b - b'0')).collect()
    }

    /// A code of such stretches, `times` samples a module, with `quiet` modules of border; bars are 1, or 0 where `reversed`.
    fn code(stretches: &[usize], times: usize, quiet: usize, reversed: bool) -> Tone {
        let mut row = vec![reversed; quiet * times];
        for (i, n) in stretches.iter().enumerate() {
            row.extend(std::iter::repeat_n(i.is_multiple_of(2) != reversed, n * times));
        }
        row.extend(vec![reversed; quiet * times]);
        let one: Vec<f32> = row.iter().map(|&set| f32::from(u8::from(set))).collect();
        let high = one.len() / 5;
        Tone::from_vec(one.len(), high, one.repeat(high))
    }

    #[test]
    fn codes_of_each_sort_are_found_either_way_round_along_and_across() {
        for (text, modules) in [(RETAIL, 95), (SIX, 79), (NINE, 47), (TEN, 45)] {
            for (times, quiet, reversed) in [(2, 10, false), (3, 10, true), (5, 0, false), (4, 0, true)] {
                let tone = code(&widths(text), times, quiet, reversed);
                let pitch = (0.3 / times as f64, 0.1);
                let found = bar_codes(&tone, pitch);
                assert_eq!(found.len(), 1, "{text} {times} {quiet}: {found:?}");
                assert_eq!(found[0].bars_set, !reversed, "{text}");
                assert!((found[0].module - 0.3).abs() < 0.02, "{text}: {found:?}");
                let bare = if quiet == 0 && reversed { 0 } else { found[0].wants };
                assert_eq!(found[0].quiet, bare, "{text} {times} {quiet}: {found:?}");
                let middle = 0.3 * (quiet as f64 + f64::from(modules) / 2.0);
                assert!((found[0].middle.0 - middle).abs() < 0.3, "{text}: {found:?}");
                let (w, h) = (tone.width(), tone.height());
                let back = (0..w * h).map(|i| tone.row(i / w)[w - 1 - i % w]).collect();
                assert_eq!(bar_codes(&Tone::from_vec(w, h, back), pitch).len(), 1, "{text}");
                let turned = (0..w * h).map(|i| tone.row(i % h)[i / h]).collect();
                let across = bar_codes(&Tone::from_vec(h, w, turned), (pitch.1, pitch.0));
                assert_eq!(across.len(), 1, "{text}");
                assert!((across[0].middle.1 - middle).abs() < 0.3, "{text}: {across:?}");
            }
        }
        for quiet in [1, 3, 5] {
            let narrow = bar_codes(&code(&widths(RETAIL), 4, quiet, true), (0.1, 0.1));
            assert_eq!((narrow[0].quiet, narrow[0].wants), (quiet, 7));
            // Beside bars that are set, what lies beyond is bare.
            assert_eq!(bar_codes(&code(&widths(RETAIL), 4, quiet, false), (0.1, 0.1))[0].quiet, 7);
        }
    }

    #[test]
    fn stripes_fences_and_lines_of_many_widths_are_no_code() {
        let is_none = |stretches: &[usize]| {
            for (quiet, reversed) in [(10, false), (0, true)] {
                let found = bar_codes(&code(stretches, 4, quiet, reversed), (0.1, 0.1));
                assert!(found.is_empty(), "{stretches:?}: {found:?}");
            }
        };
        for n in [25, 29, 33, 37, 43, 59, 99] {
            is_none(&vec![1; n]);
            is_none(&(0..n).map(|i| 1 + 2 * (i % 2)).collect::<Vec<_>>());
            is_none(&(0..n).map(|i| [2, 1, 3, 1][i % 4]).collect::<Vec<_>>());
            is_none(&(0..n).map(|i| [2, 1, 1, 3, 2, 2][i % 6]).collect::<Vec<_>>());
            let mut state = n as u32;
            for _ in 0..50 {
                let mut any = || {
                    state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                    1 + (state >> 24) as usize % 4
                };
                is_none(&(0..n).map(|_| any()).collect::<Vec<_>>());
            }
        }
        // Bars that are hardly longer than they are wide belong to something else.
        let mut short = code(&widths(RETAIL), 4, 10, false);
        let width = short.width();
        for row in short.data_mut().chunks_mut(width).skip(3) {
            row.fill(0.0);
        }
        assert!(bar_codes(&short, (0.1, 0.1)).is_empty());
    }
}
