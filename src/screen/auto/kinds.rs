//! What the dots of a drawing are: solid ink, bare ground, an edge between them, or tones that are meant.

use crate::parallel;
use crate::plane::{Dots, Tone};

/// Tones this near to none or all count as flat: the noise of a drawing's compression.
pub const FLAT: f32 = 0.02;
/// Dots either way that must be flat too: what lies nearer to an edge takes part in placing it.
const AROUND: usize = 3;
/// A tint is where all of so many dots either way are between ink and ground, and differ by no more than this.
const TINT: usize = 2;
const EVEN: f32 = 0.25;
/// Dots either way of a tint that are searched with it.
const BESIDE: usize = 2;
/// A stroke is faint where nothing within so many dots is half ink: pencil, or a hairline far thinner than a dot. By
/// edges it would be there or not; as a tone it is kept.
const FAINT: usize = 5;
const HALF: f32 = 0.5;

/// Dots on a side of a part that is looked at at once: a second-level cache holds all that is kept of it.
const PART: usize = 96;

/// What a dot is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DotKind {
    /// Ground, and nothing but ground around.
    Bare,
    /// Ink, and nothing but ink around.
    Ink,
    /// At an edge of ink.
    Edge,
    /// In a tint, or faint.
    Tone,
}

/// The kind of each dot of a drawing, row after row. What lies beyond the plane is ground.
pub fn kinds(tone: &Tone) -> Vec<DotKind> {
    let (w, h) = (tone.width(), tone.height());
    if w == 0 || h == 0 {
        return Vec::new();
    }
    let mut kinds = vec![DotKind::Bare; w * h];
    parallel::bands(&mut kinds, w, PART, |first, band| {
        let mut room: [Part; 6] = Default::default();
        for left in (0..w).step_by(PART) {
            let [tones, low, high, near_high, even, tint] = &mut room;
            let columns = PART.min(w - left);
            tones.cut(tone, (left, first), (columns, band.len() / w));
            low.of(tones, TINT, least);
            high.of(tones, TINT, most);
            even.evens(low, high);
            tint.of(even, BESIDE, most);
            low.widen(AROUND - TINT, least);
            high.widen(AROUND - TINT, most);
            near_high.of(high, FAINT - AROUND, most);
            for (y, row) in band.chunks_exact_mut(w).enumerate() {
                let [low, high, near_high, tint] = [&*low, high, near_high, tint].map(|p| p.row(y, columns));
                let around = low.iter().zip(high).zip(near_high.iter().zip(tint));
                for (kind, ((&low, &high), (&near_high, &tint))) in row[left..].iter_mut().zip(around) {
                    *kind = if high <= FLAT {
                        DotKind::Bare
                    } else if low >= 1.0 - FLAT {
                        DotKind::Ink
                    } else if tint > 0.0 || near_high < HALF {
                        DotKind::Tone
                    } else {
                        DotKind::Edge
                    };
                }
            }
        }
    });
    kinds
}

/// Values of a part of a plane and of so many dots around it, fewer the wider they were looked around.
#[derive(Default)]
struct Part {
    width: usize,
    around: usize,
    values: Vec<f32>,
    /// Room for a row at work.
    line: [Vec<f32>; 2],
}

fn least(a: f32, b: f32) -> f32 {
    if b < a { b } else { a }
}

fn most(a: f32, b: f32) -> f32 {
    if b > a { b } else { a }
}

impl Part {
    /// The tones of a part with as much around it as is looked at; beyond the plane all is 0.
    fn cut(&mut self, tone: &Tone, (x, y): (usize, usize), (columns, rows): (usize, usize)) {
        (self.width, self.around) = (columns + 2 * FAINT, FAINT);
        self.values.clear();
        self.values.resize(self.width * (rows + 2 * FAINT), 0.0);
        let from = x.saturating_sub(FAINT);
        let shift = from + FAINT - x;
        for (i, row) in self.values.chunks_exact_mut(self.width).enumerate() {
            let Some(y) = (y + i).checked_sub(FAINT).filter(|&y| y < tone.height()) else { continue };
            row[shift..].iter_mut().zip(&tone.row(y)[from..]).for_each(|(to, v)| *to = *v);
        }
    }

    /// What `take` leaves of the values of a square of `reach` dots either way.
    fn of(&mut self, from: &Part, reach: usize, take: impl Fn(f32, f32) -> f32 + Copy) {
        self.width = from.width;
        self.around = from.around;
        self.values.clear();
        self.values.extend_from_slice(&from.values);
        self.widen(reach, take);
    }

    /// The same of its own values.
    fn widen(&mut self, reach: usize, take: impl Fn(f32, f32) -> f32 + Copy) {
        let side = 2 * reach + 1;
        // As far ahead as was met already, or as is left: so all of the square is met in few steps.
        let met = std::iter::successors(Some(1), |met| Some(2 * met)).take_while(move |&met| met < side);
        let steps = met.map(move |met| met.min(side - met));
        let (width, left) = (self.width, self.width - 2 * reach);
        let rows = self.values.len() / width;
        for y in 0..rows {
            let [line, next] = &mut self.line;
            line.clear();
            line.extend_from_slice(&self.values[y * width..][..width]);
            for step in steps.clone() {
                next.clear();
                next.extend(line.iter().zip(&line[step..]).map(|(&a, &b)| take(a, b)));
                std::mem::swap(line, next);
            }
            self.values[y * left..][..left].copy_from_slice(line);
        }
        for step in steps {
            for y in 0..rows - step {
                let (row, below) = self.values.split_at_mut((y + step) * left);
                let row = &mut row[y * left..][..left];
                row.iter_mut().zip(below).for_each(|(a, b)| *a = take(*a, *b));
            }
        }
        self.values.truncate((rows - 2 * reach) * left);
        (self.width, self.around) = (left, self.around - reach);
    }

    /// 1 where all around is between ink and ground and about alike.
    fn evens(&mut self, low: &Part, high: &Part) {
        (self.width, self.around) = (low.width, low.around);
        let even = |(&low, &high): (&f32, &f32)| low > FLAT && high < 1.0 - FLAT && high - low <= EVEN;
        self.values.clear();
        self.values.extend(low.values.iter().zip(&high.values).map(|v| f32::from(u8::from(even(v)))));
    }

    /// Row `y` of the part itself.
    fn row(&self, y: usize, columns: usize) -> &[f32] {
        &self.values[(y + self.around) * self.width + self.around..][..columns]
    }
}

/// Lays the dots of ink and of ground; those of edges as `start` says for a column and a row.
pub fn settle(dots: &mut Dots, kinds: &[DotKind], start: impl Fn(usize, usize) -> bool + Sync) {
    let (width, stride) = (dots.width(), dots.stride());
    parallel::bands(dots.bits_mut(), stride.max(1), 64, |first, band| {
        for (i, row) in band.chunks_exact_mut(stride).enumerate() {
            let y = first + i;
            // Byte by byte: which dots are on, and which are left as they are.
            for (at, (byte, eight)) in row.iter_mut().zip(kinds[y * width..][..width].chunks(8)).enumerate() {
                let (mut on, mut left) = (0u8, 0u8);
                for (bit, kind) in eight.iter().enumerate() {
                    let mask = 0x80u8 >> bit;
                    match kind {
                        DotKind::Bare => {}
                        DotKind::Ink => on |= mask,
                        DotKind::Edge => on |= if start(8 * at + bit, y) { mask } else { 0 },
                        DotKind::Tone => left |= mask,
                    }
                }
                *byte = *byte & left | on;
            }
        }
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kind_at(width: usize, tone: impl Fn(f32, f32) -> f32, x: usize, y: usize) -> DotKind {
        let at = |i: usize| tone((i % width) as f32, (i / width) as f32).clamp(0.0, 1.0);
        kinds(&Tone::from_vec(width, width, (0..width * width).map(at).collect()))[y * width + x]
    }

    #[test]
    fn a_block_has_ink_inside_edges_and_bare_ground() {
        let block = |x: f32, y: f32| (x - 9.3).min(30.6 - x).min(y - 10.0).min(31.0 - y);
        let kind = |x, y| kind_at(40, block, x, y);
        assert_eq!(kind(20, 20), DotKind::Ink);
        assert_eq!(kind(3, 20), DotKind::Bare);
        for x in [8, 9, 10, 11, 29, 30, 31] {
            assert_eq!(kind(x, 20), DotKind::Edge, "{x}");
        }
        // Ink that reaches the end of the plane has an edge there.
        assert_eq!(kind_at(40, |_, _| 1.0, 0, 20), DotKind::Edge);
    }

    #[test]
    fn tints_and_faint_strokes_are_tones_and_thin_strokes_are_edges() {
        assert_eq!(kind_at(40, |x, _| if x < 20.0 { 0.4 } else { 0.0 }, 10, 20), DotKind::Tone);
        assert_eq!(kind_at(40, |x, _| x / 40.0, 20, 20), DotKind::Tone);
        assert_eq!(kind_at(40, |x, _| if x == 20.0 { 0.3 } else { 0.0 }, 20, 20), DotKind::Tone);
        assert_eq!(kind_at(40, |x, _| if x == 20.0 { 0.8 } else { 0.0 }, 20, 20), DotKind::Edge);
        assert_eq!(kind_at(40, |x, _| if x == 20.0 { 0.8 } else { 0.0 }, 23, 20), DotKind::Edge);
    }

    #[test]
    fn parts_and_their_steps_give_what_looking_around_each_dot_gives() {
        // Ink, ground, tints and faint strokes, over the seams of four parts and at all ends of the plane.
        let (w, h) = (PART + 37, PART + 11);
        let value = |i: usize| {
            let (x, y) = (i % w, i / w);
            match (x / 23 + y / 17) % 5 {
                0 => 1.0,
                1 => 0.4 + 0.02 * ((x * 7 + y * 3) % 5) as f32,
                2 => 0.3 * f32::from(u8::from(x % 11 == 0)),
                3 => f32::from(u8::from((x * x + y) % 13 == 0)),
                _ => 0.0,
            }
        };
        let tone = Tone::from_vec(w, h, (0..w * h).map(value).collect());
        let at = |x: isize, y: isize| -> f32 {
            let inside = (0..w as isize).contains(&x) && (0..h as isize).contains(&y);
            if inside { tone.row(y as usize)[x as usize] } else { 0.0 }
        };
        let around = |x: isize, y: isize, reach: usize| {
            let r = reach as isize;
            let all = (-r..=r).flat_map(move |dy| (-r..=r).map(move |dx| (x + dx, y + dy)));
            all.map(|(x, y)| at(x, y)).fold((1.0f32, 0.0f32), |(l, m), v| (l.min(v), m.max(v)))
        };
        let tint = |x: isize, y: isize| {
            let (low, high) = around(x, y, TINT);
            low > FLAT && high < 1.0 - FLAT && high - low <= EVEN
        };
        let found = kinds(&tone);
        let mut seen = [0; 4];
        for (i, &kind) in found.iter().enumerate() {
            let (x, y) = ((i % w) as isize, (i / w) as isize);
            let (low, high) = around(x, y, AROUND);
            let b = BESIDE as isize;
            let want = if high <= FLAT {
                DotKind::Bare
            } else if low >= 1.0 - FLAT {
                DotKind::Ink
            } else if (-b..=b).any(|dy| (-b..=b).any(|dx| tint(x + dx, y + dy)))
                || around(x, y, FAINT).1 < HALF
            {
                DotKind::Tone
            } else {
                DotKind::Edge
            };
            assert_eq!(kind, want, "{x}, {y}");
            seen[want as usize] += 1;
        }
        assert!(seen.iter().all(|&n| n > 100), "each kind was met: {seen:?}");
    }
}
