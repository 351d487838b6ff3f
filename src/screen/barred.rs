//! Barred: places where the tone is so dark that dots are kept off every second row.
//!
//! A line takes the head its whole length, however few its dots are. Where little is marked half of the lines hold all
//! dots as well: those that stay have their gaps filled, the others become gaps that are crossed in a hurry, or are not
//! run along at all. What can be marked so ends where the dots of the lines that stay run into each other, and they show
//! as lines before that.

use super::Options;
use super::fitted::mark_table::MarkTable;
use crate::parallel;
use crate::plane::{Dots, Tone};

/// Rows either side over whose mean a place counts as dark: where that is one tone, it is one stretch of line.
const SOFT: usize = 4;
/// Line pitches either side over whose mean a place of a row is held against its surroundings: lighter detail keeps its
/// lines. And by how much that mean may be lighter.
const NEAR: usize = 1;
const LIGHTER: f32 = 1.3;

/// The greatest share of [`reach`] up to which rows may be barred.
pub const MOST: f32 = 1.1;

/// The mark of every second row solid: what can be marked without the others.
pub fn reach(table: &MarkTable) -> f32 {
    // Codes of a half cell in rows from two before to one after it: 3, 5, 5 and 3 dots.
    const SECOND: usize = 0b111 | 0b11111 << 8;
    const BETWEEN: usize = 0b11111 << 3 | 0b111 << 13;
    table.halves[SECOND] + table.halves[BETWEEN]
}

/// The places that stay free of dots; `None` where all may have some.
pub fn barred(tone: &Tone, table: &MarkTable, options: &Options) -> Option<Dots> {
    let dark = options.barred.min(MOST) * reach(table);
    if dark <= 0.0 || tone.width() == 0 {
        return None;
    }
    let (width, height) = (tone.width(), tone.height());
    // As far along a row as across the rows, on the piece.
    let columns = ((options.pitch_across_mm / options.pitch_along_mm).round() as usize).clamp(1, 8);
    let mut barred = Dots::off(width, height);
    let stride = barred.stride();
    parallel::bands(barred.bits_mut(), stride, 64, |first, band| {
        let mut sums = vec![0.0f64; width + 1];
        let mut mean = |y: usize, rows: usize, aside: usize| -> Vec<f32> {
            let from_to = y.saturating_sub(rows)..(y + rows + 1).min(height);
            let mut tall = vec![0.0f32; width];
            for y in from_to.clone() {
                tall.iter_mut()
                    .zip(tone.row(y))
                    .for_each(|(t, &v)| *t += if v > 0.0 { v.min(1.0) } else { 0.0 });
            }
            for (x, &t) in tall.iter().enumerate() {
                sums[x + 1] = sums[x] + f64::from(t);
            }
            let aside = aside * columns;
            // Away from both ends all means are over as many places, and several are taken at once.
            let all = 2 * aside + 1;
            let inner = if width > all { aside..width - aside } else { 0..0 };
            let places = (all * from_to.len()) as f64;
            for (t, (left, right)) in
                tall[inner.clone()].iter_mut().zip(sums.iter().zip(&sums[all.min(width)..]))
            {
                *t = ((right - left) / places) as f32;
            }
            for x in (0..inner.start).chain(inner.end..width) {
                let (left, right) = (x.saturating_sub(aside), (x + aside + 1).min(width));
                tall[x] = ((sums[right] - sums[left]) / ((right - left) * from_to.len()) as f64) as f32;
            }
            tall
        };
        for (i, row) in band.chunks_exact_mut(stride).enumerate().filter(|(i, _)| (first + i) % 2 == 1) {
            let (soft, near) = (mean(first + i, SOFT, SOFT), mean(first + i, 0, NEAR));
            for (byte, (soft, near)) in row.iter_mut().zip(soft.chunks(8).zip(near.chunks(8))) {
                let bars = soft.iter().zip(near).enumerate();
                *byte = bars.fold(0, |byte, (k, (&soft, &near))| {
                    byte | (u8::from(soft < dark && near < LIGHTER * dark) << (7 - k))
                });
            }
        }
    });
    Some(barred)
}

/// Clears the dots that are barred.
pub fn clear(dots: &mut Dots, barred: &Dots) {
    dots.bits_mut().iter_mut().zip(barred.bits()).for_each(|(dots, barred)| *dots &= !barred);
}

#[cfg(test)]
mod tests {
    use super::super::{SCREENS, Wants};
    use super::*;
    use crate::mark::{Burn, Forecast, Unsure};
    use crate::progress::Silent;

    fn options(switches: u32, unsure: Unsure, barred: f32) -> Options {
        let burn = Burn::plain(1.4 * f64::from(switches), 1.4);
        let along = 0.0875 / f64::from(switches);
        Options { switches, unsure, barred, ..Options::new(burn, along, 0.0875) }
    }

    #[test]
    fn what_every_second_row_can_mark_is_what_the_forecast_says() {
        let burn = Burn::plain(1.4, 1.4);
        let mut dots = Dots::off(64, 64);
        (0..64).step_by(2).for_each(|y| (0..64).for_each(|x| dots.set(x, y, true)));
        let marks = Forecast::new(&burn).plane(&dots);
        let mean = (20..40).flat_map(|y| &marks.row(y)[20..40]).map(|&m| f64::from(m)).sum::<f64>() / 400.0;
        let ours = f64::from(reach(&MarkTable::new(&burn)));
        assert!((ours - mean).abs() < 0.005, "{ours} {mean}");
    }

    #[test]
    fn dark_tones_are_kept_on_every_second_row() {
        // From bare to full within 300 columns of whole pitches.
        for (switches, unsure) in
            [(1, Unsure::default()), (2, Unsure::default()), (2, Unsure { beam: 0.1, exposure: 0.1 })]
        {
            let (w, h) = (300 * switches as usize, 120);
            let tone = Tone::from_vec(w, h, (0..w * h).map(|i| (i % w) as f32 / w as f32).collect());
            for screen in SCREENS.iter().filter(|s| s.searches || s.name == "model-diffusion") {
                assert_eq!(screen.wants, Wants::Mark);
                let options = options(switches, unsure, 0.9);
                let dark = 0.9 * reach(&MarkTable::new(&options.burn));
                let dots = screen.dots(&tone, &options, &Silent);
                // A soft edge is as wide as the mean is taken.
                let edge = (dark * w as f32) as usize;
                let aside = 6 * switches as usize;
                let on = |columns: std::ops::Range<usize>, odd: usize| {
                    (odd..h)
                        .step_by(2)
                        .flat_map(|y| columns.clone().map(move |x| (x, y)))
                        .filter(|&(x, y)| dots.get(x, y))
                        .count()
                };
                assert_eq!(on(0..edge - aside, 1), 0, "{}", screen.name);
                assert!(on(0..edge - aside, 0) > 100 && on(edge + aside..w, 1) > 1000, "{}", screen.name);
                // The rows that stay make up for it.
                let marks = Forecast::new(&options.burn).plane(&dots);
                let mean = |p: &[f32]| p.iter().map(|&v| f64::from(v)).sum::<f64>() / p.len() as f64;
                for from in (0..edge - aside).step_by(20 * switches as usize).skip(1) {
                    let to = from + 20 * switches as usize;
                    let all =
                        |p: &dyn Fn(usize) -> Vec<f32>| mean(&(20..h - 20).flat_map(p).collect::<Vec<_>>());
                    let (got, wanted) =
                        (all(&|y| marks.row(y)[from..to].to_vec()), all(&|y| tone.row(y)[from..to].to_vec()));
                    assert!(
                        (got - wanted).abs() < 0.02,
                        "{} {switches} at {from}: {got} {wanted}",
                        screen.name
                    );
                }
            }
        }
    }

    #[test]
    fn light_detail_keeps_its_lines() {
        let (w, h) = (200, 60);
        let tone = Tone::from_vec(w, h, (0..w * h).map(|i| if i / w == 31 { 0.9 } else { 0.05 }).collect());
        let options = options(1, Unsure::default(), 0.9);
        let barred = barred(&tone, &MarkTable::new(&options.burn), &options).unwrap();
        assert!((0..w).all(|x| barred.get(x, 11) && !barred.get(x, 12)));
        assert!((0..w).all(|x| !barred.get(x, 31)), "a light line on a row that would be barred");
        assert_eq!(
            super::barred(&tone, &MarkTable::new(&options.burn), &Options { barred: 0.0, ..options }),
            None
        );
    }
}
