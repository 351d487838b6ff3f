//! Blurred: fine detail of a drawing that neither shows nor closes but runs together into a grey.

use super::exposure::fine;
use super::response::Burn;
use crate::parallel;
use crate::placement::DotRect;
use crate::plane::{Dots, Tone};
use crate::units::Mm;

/// Side of a place that is judged, line pitches: a letter or two of the smallest lettering that a beam makes.
const SIDE: usize = 8;
/// Samples of the forecast a dot each way.
const OVER: usize = 3;
/// Ink from here on is a stroke.
const INK: f32 = 0.5;
/// Samples of a row that are looked at together for any ink.
const LOOKED_AT: usize = 64;
/// The least share of a place that its narrow gaps take up: the inner corners of large letters come to less.
const LEAST_GAPS: f64 = 0.03;
/// Strokes and gaps are told apart where their mean marks differ by so much of a full mark; lines and gaps of the beam's
/// width come to about 0.5 (own judgement).
const TOLD_APART: f64 = 0.35;

/// Detail that runs together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Blurred {
    /// Dots' cells in all such places.
    pub cells: u64,
    /// Column and row of the middle of the worst place.
    pub worst: (usize, usize),
}

/// Places of `dots` in which strokes and the gaps between them come out alike. Gaps narrower than the beam are looked at;
/// a single stroke that is thinner than the beam comes out wider, which is no loss. `ink` is what is wanted, drawn finer
/// than the dots: its samples lie as `ink_rect` says, those of the dots as `rect` says.
pub fn blurred(dots: &Dots, burn: &Burn, rect: &DotRect, ink: &Tone, ink_rect: &DotRect) -> Option<Blurred> {
    let gaps = narrow_gaps(burn, rect, ink, ink_rect);
    // Where the beam switches within a line pitch, a place has as many dots more along the lines.
    let lines = SIDE as f64 * rect.grid.along.0.max(rect.grid.across.0);
    let dots_of = |pitch: Mm| (lines / pitch.0).round() as usize;
    // What is smaller than a place is one.
    let side = (dots_of(rect.grid.along).min(rect.columns), dots_of(rect.grid.across).min(rect.rows));
    if side.0 == 0 || side.1 == 0 {
        return None;
    }
    let (across, down) = (rect.columns.div_ceil(side.0), rect.rows.div_ceil(side.1));
    // The last place of a row or of a column is moved back, so that the end of the art is looked at as well.
    let start = |i: usize, side: usize, all: usize| (i * side).min(all - side);
    let rows = parallel::map(down, |row| {
        let y = start(row, side.1, rect.rows);
        let place = |column| {
            let at = (start(column, side.0, rect.columns), y);
            Place { dots, burn, rect, ink, ink_rect, gaps: &gaps, side, at }
        };
        (0..across).filter_map(|column| place(column).alike()).collect::<Vec<_>>()
    });
    let found: Vec<(f64, (usize, usize))> = rows.into_iter().flatten().collect();
    let worst = found.iter().max_by(|a, b| a.0.total_cmp(&b.0))?.1;
    // A place that was moved back shares dots with the one before it.
    let mut cells = Dots::off(rect.columns, rect.rows);
    for &(_, (x, y)) in &found {
        (y..y + side.1).for_each(|y| (x..x + side.0).for_each(|x| cells.set(x, y, true)));
    }
    Some(Blurred { cells: cells.count(), worst: (worst.0 + side.0 / 2, worst.1 + side.1 / 2) })
}

/// Ground between two strokes of a row or of a column that are nearer to each other than the beam is wide.
fn narrow_gaps(burn: &Burn, rect: &DotRect, ink: &Tone, ink_rect: &DotRect) -> Dots {
    let (along, across) = burn.profiles();
    let samples = |diameter: f64, pitch: f64, step: f64| (diameter * pitch / step).round() as usize;
    let wide = samples(along.diameter(), rect.grid.along.0, ink_rect.grid.along.0);
    let high = samples(across.diameter(), rect.grid.across.0, ink_rect.grid.across.0);
    let mut gaps = Dots::off(ink.width(), ink.height());
    let mut above = vec![None; ink.width()];
    for y in 0..ink.height() {
        let mut left = None;
        for (i, some) in ink.row(y).chunks(LOOKED_AT).enumerate() {
            // Most of a drawing is ground.
            if !some.iter().fold(false, |any, v| any | (*v >= INK)) {
                continue;
            }
            for x in (i * LOOKED_AT..).zip(some).filter(|(_, v)| **v >= INK).map(|(x, _)| x) {
                if let Some(from) = left.filter(|&from| x - from - 1 <= wide) {
                    (from + 1..x).for_each(|x| gaps.set(x, y, true));
                }
                if let Some(from) = above[x].filter(|&from| y - from - 1 <= high) {
                    (from + 1..y).for_each(|y| gaps.set(x, y, true));
                }
                (left, above[x]) = (Some(x), Some(y));
            }
        }
    }
    gaps
}

/// A place of `side` columns and rows of dots.
struct Place<'a> {
    dots: &'a Dots,
    burn: &'a Burn,
    rect: &'a DotRect,
    ink: &'a Tone,
    ink_rect: &'a DotRect,
    gaps: &'a Dots,
    side: (usize, usize),
    /// Its first column and row.
    at: (usize, usize),
}

impl Place<'_> {
    /// The area of its narrow gaps, samples, and the place, where gaps and strokes are not told apart.
    fn alike(&self) -> Option<(f64, (usize, usize))> {
        let side = self.side;
        let (x0, y0) = self.at;
        let (rect, ink_rect) = (self.rect, self.ink_rect);
        let (dots, samples) = (&rect.grid, &ink_rect.grid);
        let across = positions(
            rect.left.0,
            dots.along.0,
            ink_rect.left.0,
            samples.along.0,
            (x0, side.0),
            self.ink.width(),
        );
        let down = positions(
            rect.top.0,
            dots.across.0,
            ink_rect.top.0,
            samples.across.0,
            (y0, side.1),
            self.ink.height(),
        );
        let gap = |x: usize, y: usize| self.gaps.get(x, y);
        let columns = across.first().map_or(0..0, |&(first, _)| first..first + across.len());
        let count: u32 = down.iter().map(|&(y, _)| self.gaps.count_in(columns.clone(), y)).sum();
        if f64::from(count) < LEAST_GAPS * (across.len() * down.len()).max(1) as f64 {
            return None;
        }
        let exposure = fine(self.dots, self.burn, x0..x0 + side.0, y0..y0 + side.1, OVER);
        let (mut of_strokes, mut of_gaps) = ((0.0f64, 0u32), (0.0f64, 0u32));
        for &(y, v) in &down {
            let row = exposure.row((v * OVER as f32) as usize);
            for &(x, u) in &across {
                let sum = match (gap(x, y), self.ink.row(y)[x] >= INK) {
                    (true, _) => &mut of_gaps,
                    (_, true) => &mut of_strokes,
                    _ => continue,
                };
                let sample = f64::from(row[(u * OVER as f32) as usize]);
                sum.0 += self.burn.response.rise_at(sample * self.burn.x_solid);
                sum.1 += 1;
            }
        }
        let mean = |(sum, n): (f64, u32)| sum / f64::from(n.max(1));
        let apart = mean(of_strokes) - mean(of_gaps);
        (of_strokes.1 > 0 && apart < TOLD_APART).then_some((f64::from(count), self.at))
    }
}

/// Samples whose centres lie within `side` dots from dot `first` on: their number and their place in those dots.
/// `start` and `pitch` are of the dots, `from` and `step` of the samples, mm.
fn positions(
    start: f64,
    pitch: f64,
    from: f64,
    step: f64,
    (first, side): (usize, usize),
    count: usize,
) -> Vec<(usize, f32)> {
    let edge = start + first as f64 * pitch - from;
    let low = (edge / step - 0.5).ceil().max(0.0) as usize;
    let inside = |i: usize| ((i as f64 + 0.5) * step - edge) / pitch;
    (low..count).map(|i| (i, inside(i) as f32)).take_while(|&(_, u)| u < side as f32 - 1e-4).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::placement::Grid;
    use crate::progress::Silent;
    use crate::screen::{Options, diffusion};

    /// Stripes of ink `stroke` dots wide, one each `period` dots, as floyd-steinberg lays them down.
    fn stripes(stroke: f64, period: f64, beam: f64) -> Option<Blurred> {
        stripes_of(stroke, period, beam, 96)
    }

    /// The same of `rows` rows.
    fn stripes_of(stroke: f64, period: f64, beam: f64, rows: usize) -> Option<Blurred> {
        let of = |columns: usize, rows: usize, pitch: f64| {
            let grid = Grid { along: Mm(pitch), across: Mm(pitch) };
            DotRect { left: Mm(1.0), top: Mm(2.0), columns, rows, grid }
        };
        let (rect, fine) = (of(96, rows, 0.1), of(4 * 96, 4 * rows, 0.025));
        let on = |x: f64| if x.rem_euclid(period) < stroke { 1.0 } else { 0.0 };
        let ink: Vec<f32> = (0..384 * 4 * rows).map(|i| on(((i % 384) as f64 + 0.5) / 4.0)).collect();
        let ink = Tone::from_vec(384, 4 * rows, ink);
        let mean = |i: usize| (0..4).map(|k| ink.row(0)[i % 96 * 4 + k]).sum::<f32>() / 4.0;
        let tone = Tone::from_vec(96, rows, (0..96 * rows).map(mean).collect());
        let burn = Burn::plain(beam, beam);
        let dots = diffusion::FLOYD_STEINBERG.dots(&tone, &Options::new(burn, 0.1, 0.1), &Silent);
        blurred(&dots, &burn, &rect, &ink, &fine)
    }

    #[test]
    fn strokes_and_gaps_of_half_a_dot_run_together() {
        let found = stripes(0.55, 1.2, 1.4).unwrap();
        assert!(found.cells > 96 * 96 / 2, "{found:?}");
    }

    #[test]
    fn art_lower_than_a_place_and_its_last_rows_are_looked_at() {
        // Whether low or high, all of it runs together, and no dot of it counts twice.
        for rows in [5, 8, 13] {
            let found = stripes_of(0.55, 1.2, 1.4, rows).unwrap();
            assert!((24 * rows as u64..=96 * rows as u64).contains(&found.cells), "{rows}: {found:?}");
            assert!(found.worst.1 < rows, "{rows}: {found:?}");
        }
        assert_eq!(stripes_of(3.0, 7.7, 1.4, 5), None);
    }

    #[test]
    fn narrow_gaps_are_found_along_rows_and_columns() {
        let n = 150;
        let grid = Grid { along: Mm(0.1), across: Mm(0.1) };
        let rect = DotRect { left: Mm(0.0), top: Mm(0.0), columns: n, rows: n, grid };
        let on = |x: usize, y: usize| (x * x + 3 * y + x * y / 7).is_multiple_of(11) && x / 40 != 1;
        let ink = Tone::from_vec(n, n, (0..n * n).map(|i| f32::from(u8::from(on(i % n, i / n)))).collect());
        // A beam of four samples along and two across.
        let gaps = narrow_gaps(&Burn::plain(4.0, 2.0), &rect, &ink, &rect);
        let (wide, high) = (4, 2);
        let mut found = 0;
        for (x, y) in (0..n).flat_map(|y| (0..n).map(move |x| (x, y))) {
            // The nearest ink either way, and the gap between the two.
            let left = (0..x).rev().find(|&i| on(i, y)).zip((x + 1..n).find(|&i| on(i, y)));
            let above = (0..y).rev().find(|&i| on(x, i)).zip((y + 1..n).find(|&i| on(x, i)));
            let narrow = |ends: Option<(usize, usize)>, most| ends.is_some_and(|(a, b)| b - a - 1 <= most);
            let gap = !on(x, y) && (narrow(left, wide) || narrow(above, high));
            assert_eq!(gaps.get(x, y), gap, "{x}, {y}");
            found += u32::from(gap);
        }
        assert!(found > 1000, "{found}");
    }

    #[test]
    fn those_of_the_beams_width_do_not() {
        assert_eq!(stripes(2.0, 4.3, 1.4), None);
        assert_eq!(stripes(3.0, 7.7, 1.4), None);
    }

    #[test]
    fn a_hairline_alone_and_large_shapes_lose_nothing() {
        assert_eq!(stripes(0.5, 13.3, 1.4), None);
        assert_eq!(stripes(20.0, 43.3, 1.4), None);
    }
}
