//! QR codes: where they lie in a wanted mark, found by their three finder patterns and the timing patterns between these
//! (ISO/IEC 18004, 6.3).

use crate::parallel;
use crate::plane::Tone;

/// What is marked by half or more is set.
const SET: f32 = 0.5;
/// Modules of a finder pattern along a line through its middle.
const FINDER: [f64; 5] = [1.0, 1.0, 3.0, 1.0, 1.0];
/// Middle of a finder pattern from the code's edge, modules.
const MIDDLE: f64 = 3.5;
/// The most that the lengths or the angle of a code's sides are off, as a share of them.
const SKEWED: f64 = 0.1;
/// The least share of the timing patterns' modules that are as they must be.
const LEAST_TIMING: f64 = 0.85;
/// The same of what may be a code, by chance half, and rows in which each of its finder patterns is met.
const LEAST_ROUGH: f64 = 0.5;
const LEAST_ROWS: u32 = 3;
/// The latest of those that were met, among which the same one is looked for in the next row: grain looks like many.
const LATEST: usize = 200;
/// The most finder patterns that are tried with each other.
const MOST: usize = 60;
/// Rows that are looked at: a finder pattern of a code that takes a hundredth of the height is met by several.
const ROWS: usize = 1500;

/// A QR code. Places are in mm, x to the right and y down, from the upper left corner of where it was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct QrCode {
    /// The middle of its finder pattern between the two others.
    corner: (f64, f64),
    /// From one module to the next of a row and of a column.
    right: (f64, f64),
    down: (f64, f64),
    /// Modules of a side, without the quiet zone.
    pub side: usize,
    /// Whether its dark modules are those that are set.
    pub dark_set: bool,
}

impl QrCode {
    /// Where a place of the code lies; both are counted in modules from its edge.
    pub fn at(&self, column: f64, row: f64) -> (f64, f64) {
        let (c, r) = (column - MIDDLE, row - MIDDLE);
        (
            self.corner.0 + c * self.right.0 + r * self.down.0,
            self.corner.1 + c * self.right.1 + r * self.down.1,
        )
    }

    /// Side of a module, mm.
    pub fn module(&self) -> f64 {
        0.5 * (length(self.right) + length(self.down))
    }

    /// Its middle.
    pub fn middle(&self) -> (f64, f64) {
        let half = self.side as f64 / 2.0;
        self.at(half, half)
    }
}

fn length(v: (f64, f64)) -> f64 {
    libm::hypot(v.0, v.1)
}

fn between(a: (f64, f64), b: (f64, f64)) -> (f64, f64) {
    (b.0 - a.0, b.1 - a.1)
}

/// All QR codes of `tone`, whose samples lie `pitch` mm apart, along and across.
pub fn qr_codes(tone: &Tone, pitch: (f64, f64)) -> Vec<QrCode> {
    Plane { tone, pitch, rough: false }.codes()
}

/// The same with what may be one: where a module has hardly more than a sample, the timing patterns are not made out.
pub fn maybe_qr_codes(tone: &Tone, pitch: (f64, f64)) -> Vec<QrCode> {
    Plane { tone, pitch, rough: true }.codes()
}

/// A finder pattern, or what looks like one.
#[derive(Debug, Clone, Copy)]
struct Finder {
    middle: (f64, f64),
    /// Side of a module, mm.
    module: f64,
    /// Whether its ring is set.
    set: bool,
    /// Rows in which it was met.
    rows: u32,
}

struct Plane<'a> {
    tone: &'a Tone,
    pitch: (f64, f64),
    /// Whether what may be a code is one.
    rough: bool,
}

impl Plane<'_> {
    fn codes(&self) -> Vec<QrCode> {
        let least = if self.rough { LEAST_ROWS } else { 1 };
        let finders = self.finders();
        let mut found: Vec<QrCode> = Vec::new();
        for dark_set in [true, false] {
            let mut some: Vec<&Finder> =
                finders.iter().filter(|f| f.set == dark_set && f.rows >= least).collect();
            some.sort_by_key(|f| std::cmp::Reverse(f.rows));
            some.truncate(MOST);
            let corners = some.iter().enumerate().filter_map(|(i, &corner)| {
                let others: Vec<&Finder> =
                    some.iter().enumerate().filter(|(k, _)| *k != i).map(|(_, f)| *f).collect();
                self.with_corner(corner, &others)
            });
            found.extend(corners);
        }
        found
    }

    fn get(&self, x: usize, y: usize) -> bool {
        self.tone.row(y)[x] >= SET
    }

    /// Whether the place, mm, is set; what lies outside is not.
    fn set_at(&self, (x, y): (f64, f64)) -> bool {
        let (x, y) = ((x / self.pitch.0).floor(), (y / self.pitch.1).floor());
        let within = x >= 0.0 && y >= 0.0 && x < self.tone.width() as f64 && y < self.tone.height() as f64;
        within && self.get(x as usize, y as usize)
    }

    /// Finder patterns that are seen along a row and the column through their middle.
    fn finders(&self) -> Vec<Finder> {
        let step = (self.tone.height() / ROWS).max(1);
        let rows = parallel::map(self.tone.height() / step, |i| self.in_row(i * step));
        let mut all: Vec<Finder> = Vec::new();
        for one in rows.into_iter().flatten() {
            let same = all.iter_mut().rev().take(LATEST).find(|f| {
                f.set == one.set
                    && length(between(f.middle, one.middle)) < 2.0 * f.module
                    && (f.module - one.module).abs() < 0.4 * f.module
            });
            match same {
                None => all.push(one),
                Some(f) => {
                    let n = f64::from(f.rows);
                    let mean = |before: f64, new: f64| (before * n + new) / (n + 1.0);
                    f.middle = (mean(f.middle.0, one.middle.0), mean(f.middle.1, one.middle.1));
                    f.module = mean(f.module, one.module);
                    f.rows += 1;
                }
            }
        }
        all
    }

    fn in_row(&self, y: usize) -> Vec<Finder> {
        let width = self.tone.width();
        let row = self.tone.row(y);
        let mut found = Vec::new();
        // The lengths of the last five stretches that are all set or all not.
        let mut last = [0usize; 5];
        let mut from = 0;
        for x in 1..=width {
            let before = row[x - 1] >= SET;
            if x < width && (row[x] >= SET) == before {
                continue;
            }
            last.rotate_left(1);
            last[4] = x - from;
            from = x;
            let Some(module) = module_of(&last, self.pitch.0) else { continue };
            let first = x - last.iter().sum::<usize>();
            let centre = first + last[0] + last[1] + last[2] / 2;
            if let Some((middle, high)) = self.in_column(centre, y, before)
                && (high - module).abs() <= 0.4 * module.max(high)
            {
                let across = first as f64 + last.iter().sum::<usize>() as f64 / 2.0;
                found.push(Finder {
                    middle: (across * self.pitch.0, middle),
                    module: 0.5 * (module + high),
                    set: before,
                    rows: 1,
                });
            }
        }
        found
    }

    /// The middle and the module, mm, of the finder pattern whose middle stretch of column `x` row `y` lies in.
    fn in_column(&self, x: usize, y: usize, set: bool) -> Option<(f64, f64)> {
        let height = self.tone.height();
        if self.get(x, y) != set {
            return None;
        }
        let up = |mut y: usize, set: bool| {
            while y > 0 && self.get(x, y - 1) == set {
                y -= 1;
            }
            y
        };
        let down = |mut y: usize, set: bool| {
            while y < height && self.get(x, y) == set {
                y += 1;
            }
            y
        };
        let (a, b) = (up(y, set), down(y, set));
        let (above, below) = (up(a, !set), down(b, !set));
        let (first, end) = (up(above, set), down(below, set));
        let lengths = [above - first, a - above, b - a, below - b, end - below];
        let module = module_of(&lengths, self.pitch.1)?;
        Some(((first + end) as f64 / 2.0 * self.pitch.1, module))
    }

    /// The code whose finder pattern between the two others is `corner`, where there is one.
    fn with_corner(&self, corner: &Finder, others: &[&Finder]) -> Option<QrCode> {
        let mut best: Option<(f64, QrCode)> = None;
        for (i, &a) in others.iter().enumerate() {
            for &b in &others[i + 1..] {
                if let Some((share, code)) = self.with_three(corner, (a, b))
                    && best.as_ref().is_none_or(|(before, _)| share > *before)
                {
                    best = Some((share, code));
                }
            }
        }
        best.map(|(_, code)| code)
    }

    /// The code of three finder patterns, and the share of its timing patterns that is as it must be.
    fn with_three(&self, corner: &Finder, (a, b): (&Finder, &Finder)) -> Option<(f64, QrCode)> {
        let module = (corner.module + a.module + b.module) / 3.0;
        if [corner, a, b].iter().any(|f| (f.module - module).abs() > 0.3 * module) {
            return None;
        }
        let (mut right, mut down) = (between(corner.middle, a.middle), between(corner.middle, b.middle));
        if right.0 * down.1 - right.1 * down.0 < 0.0 {
            std::mem::swap(&mut right, &mut down);
        }
        let (wide, high) = (length(right), length(down));
        let skew = (right.0 * down.0 + right.1 * down.1).abs();
        if (wide - high).abs() > SKEWED * wide.max(high) || skew > SKEWED * wide * high {
            return None;
        }
        let side = 0.5 * (wide + high) / module + 2.0 * MIDDLE;
        // Sides are 17 modules and 4 for each version from 1 to 40; the larger, the less surely known by its modules.
        let versions = |side: f64| (side - 17.0) / 4.0;
        let off = 0.5 + versions(side).max(0.0) * 0.15;
        let first = (versions(side) - off).ceil().max(1.0) as usize;
        let end = (versions(side) + off).floor().clamp(0.0, 40.0) as usize;
        (first..=end)
            .map(|version| {
                let side = 17 + 4 * version;
                let span = side as f64 - 2.0 * MIDDLE;
                let of = |v: (f64, f64)| (v.0 / span, v.1 / span);
                let code = QrCode {
                    corner: corner.middle,
                    right: of(right),
                    down: of(down),
                    side,
                    dark_set: corner.set,
                };
                (self.timing(&code), code)
            })
            .filter(|(share, _)| *share >= if self.rough { LEAST_ROUGH } else { LEAST_TIMING })
            .max_by(|a, b| a.0.total_cmp(&b.0))
    }

    /// The share of a code's timing patterns that is as it must be: dark and light by turns.
    fn timing(&self, code: &QrCode) -> f64 {
        let along = 8..code.side - 8;
        let right = along
            .clone()
            .flat_map(|i| [(i as f64 + 0.5, 6.5), (6.5, i as f64 + 0.5)].map(|(c, r)| (i, code.at(c, r))))
            .filter(|&(i, at)| (self.set_at(at) == code.dark_set) == i.is_multiple_of(2));
        right.count() as f64 / (2 * along.len()) as f64
    }
}

/// Side of a module, mm, of five stretches of a finder pattern; `None` where they are none.
fn module_of(stretches: &[usize; 5], pitch: f64) -> Option<f64> {
    let module = stretches.iter().sum::<usize>() as f64 * pitch / FINDER.iter().sum::<f64>();
    let fits = |(&n, of): (&usize, f64)| {
        n > 0 && (n as f64 * pitch - of * module).abs() <= 0.5 * of.sqrt() * module + 0.4 * pitch
    };
    stretches.iter().zip(FINDER).all(fits).then_some(module)
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    /// Whether a module is dark in something that has the finder and timing patterns of a code of `side` modules.
    pub(crate) fn dark(side: usize, column: usize, row: usize) -> bool {
        let (c, r) = (column.min(side - 1 - column), row.min(side - 1 - row));
        let fourth = column >= side - 8 && row >= side - 8;
        if c < 8 && r < 8 && !fourth {
            // Rings around the middle of a finder pattern.
            let ring = c.abs_diff(3).max(r.abs_diff(3));
            return ring != 2 && ring < 4;
        }
        if column == 6 || row == 6 {
            return (column + row).is_multiple_of(2);
        }
        (column * 7 + row * 13 + column * row).is_multiple_of(3) ^ (column / 3 + row / 2).is_multiple_of(2)
    }

    /// Such a code in `times` samples a module and a quiet zone of `quiet` modules; dark is 1, or 0 where it is `reversed`.
    fn code(side: usize, (across, down): (usize, usize), quiet: usize, reversed: bool) -> Tone {
        let (width, height) = ((side + 2 * quiet) * across, (side + 2 * quiet) * down);
        let at = |i: usize| {
            let (c, r) = ((i % width / across).wrapping_sub(quiet), (i / width / down).wrapping_sub(quiet));
            f32::from(u8::from((c < side && r < side && dark(side, c, r)) != reversed))
        };
        Tone::from_vec(width, height, (0..width * height).map(at).collect())
    }

    #[test]
    fn codes_are_found_with_their_sides_either_way_round() {
        for (side, times, quiet, reversed) in [
            (21, (1, 1), 4, false),
            (25, (4, 2), 2, true),
            (25, (10, 10), 1, false),
            (69, (3, 2), 2, false),
            (177, (2, 2), 4, true),
        ] {
            let pitch = (0.1 / times.0 as f64, 0.1 / times.1 as f64);
            let found = qr_codes(&code(side, times, quiet, reversed), pitch);
            assert_eq!(found.len(), 1, "{side}: {found:?}");
            assert_eq!((found[0].side, found[0].dark_set), (side, !reversed));
            assert!((found[0].module() - 0.1).abs() < 0.003, "{found:?}");
            let middle = 0.1 * (quiet as f64 + side as f64 / 2.0);
            assert!(length(between(found[0].middle(), (middle, middle))) < 0.1, "{found:?}");
        }
    }

    #[test]
    fn what_may_be_a_code_is_found_by_its_finders() {
        // Modules of one and a half samples, of which every other is half dark.
        let (side, ratio, parts) = (69usize, 1.5f64, 6usize);
        let n = ((side as f64 + 4.0) * ratio).round() as usize;
        let share = |i: usize| {
            let of =
                |v: usize, k: usize| ((v as f64 + (k as f64 + 0.5) / parts as f64) / ratio - 2.0).floor();
            let within = |v: f64| v >= 0.0 && v < side as f64;
            let dark_at = |k: usize| {
                let (c, r) = (of(i % n, k % parts), of(i / n, k / parts));
                within(c) && within(r) && dark(side, c as usize, r as usize)
            };
            (0..parts * parts).filter(|&k| dark_at(k)).count() as f32 / (parts * parts) as f32
        };
        let tone = Tone::from_vec(n, n, (0..n * n).map(share).collect());
        let found = maybe_qr_codes(&tone, (0.1 / ratio, 0.1 / ratio));
        assert!(!found.is_empty() && (found[0].module() - 0.1).abs() < 0.01, "{found:?}");
        let even = Tone::from_vec(n, n, (0..n * n).map(|i| (i % n) as f32 / n as f32).collect());
        assert!(maybe_qr_codes(&even, (0.1, 0.1)).is_empty());
    }

    #[test]
    fn a_code_turned_by_a_quarter_is_found_and_one_without_a_finder_is_not() {
        let straight = code(29, (3, 3), 4, false);
        let n = straight.width();
        let turned = Tone::from_vec(n, n, (0..n * n).map(|i| straight.row(n - 1 - i % n)[i / n]).collect());
        assert_eq!(qr_codes(&turned, (0.1, 0.1)).len(), 1);
        let mut spoilt = straight.clone();
        for row in spoilt.data_mut().chunks_mut(n).take(n / 2) {
            row[..n / 2].fill(0.0);
        }
        assert!(qr_codes(&spoilt, (0.1, 0.1)).is_empty());
        // Rings, stripes and squares are no code.
        let pattern = |f: fn(usize, usize) -> bool| {
            Tone::from_vec(200, 200, (0..40_000).map(|i| f32::from(u8::from(f(i % 200, i / 200)))).collect())
        };
        for f in [
            |x: usize, y: usize| (x / 4 + y / 4).is_multiple_of(2),
            |x: usize, _: usize| (x / 3).is_multiple_of(2),
            |x: usize, y: usize| {
                ((x.abs_diff(100).pow(2) + y.abs_diff(100).pow(2)).isqrt() / 5).is_multiple_of(2)
            },
        ] {
            assert!(qr_codes(&pattern(f), (0.1, 0.1)).is_empty());
        }
    }
}
