//! Look: one pass of the forecast over all dots, reduced to the blocks of a proof picture and to sums.

use crate::mark::{Burn, Forecast, Taps};
use crate::plane::{Dots, Tone};
use crate::proof::layout::{Layout, Look};
use crate::proof::loupe::Window;

/// The forecast, reduced.
#[derive(Debug, Clone)]
pub struct Reduced {
    /// Luminance and over-burnt share of each block.
    pub look: Look,
    /// Greatest exposure of each block, relative to the one at which over-burn begins; empty where the
    /// coating never chars.
    pub dose: Vec<f32>,
    /// Mean mark fraction over all dots.
    pub mean_mark: f64,
    /// Dots whose mark fraction is at least one half.
    pub marked_dots: f64,
    /// Over-burnt area, in dots.
    pub charred_dots: f64,
}

/// Sums of one block row of one band.
struct Blocks {
    block_row: usize,
    mark: Vec<f32>,
    charred: Vec<f32>,
    peak: Vec<f32>,
}

/// Forecasts all dots and reduces them to the blocks of `layout`. The same bytes for any thread count:
/// bands are reduced on their own and added in order.
pub fn reduce(forecast: &Forecast, dots: &Dots, layout: &Layout) -> Reduced {
    let (sx, sy) = (layout.step_along, layout.step_across);
    let (columns, rows) = (dots.width().div_ceil(sx), dots.height().div_ceil(sy));
    let burn = forecast.burn();
    let over_burn_from = burn.over_burn_from() as f32;
    let bands = forecast.bands(dots, |band| {
        let mut blocks: Vec<Blocks> = Vec::new();
        let (mut sum, mut marked, mut charred) = (0.0f64, 0u64, 0.0f64);
        for i in 0..band.rows() {
            let block_row = (band.first + i) / sy;
            if blocks.last().is_none_or(|b| b.block_row != block_row) {
                let zeros = || vec![0.0f32; columns];
                blocks.push(Blocks { block_row, mark: zeros(), charred: zeros(), peak: zeros() });
            }
            let Some(b) = blocks.last_mut() else { continue };
            let at = i * band.width;
            let (marks, chars, peaks) = (
                &band.mark[at..at + band.width],
                &band.charred[at..at + band.width],
                &band.peak[at..at + band.width],
            );
            let (mut row_mark, mut row_char) = (0.0f32, 0.0f32);
            for (c, m) in marks.chunks(sx).enumerate() {
                let s: f32 = m.iter().sum();
                b.mark[c] += s;
                row_mark += s;
                marked += m.iter().filter(|&&v| v >= 0.5).count() as u64;
            }
            for (c, q) in chars.chunks(sx).enumerate() {
                let s: f32 = q.iter().sum();
                b.charred[c] += s;
                row_char += s;
            }
            for (c, p) in peaks.chunks(sx).enumerate() {
                b.peak[c] = p.iter().copied().fold(b.peak[c], f32::max);
            }
            sum += f64::from(row_mark);
            charred += f64::from(row_char);
        }
        (blocks, sum, marked, charred)
    });
    let n = columns * rows;
    let (mut mark, mut burnt, mut peak) = (vec![0.0f32; n], vec![0.0f32; n], vec![0.0f32; n]);
    let (mut sum, mut marked, mut charred) = (0.0f64, 0u64, 0.0f64);
    for (blocks, s, m, c) in bands {
        sum += s;
        marked += m;
        charred += c;
        for b in blocks {
            let at = b.block_row * columns..(b.block_row + 1) * columns;
            for (to, from) in mark[at.clone()].iter_mut().zip(&b.mark) {
                *to += from;
            }
            for (to, from) in burnt[at.clone()].iter_mut().zip(&b.charred) {
                *to += from;
            }
            for (to, from) in peak[at].iter_mut().zip(&b.peak) {
                *to = to.max(*from);
            }
        }
    }
    let (unmarked, span) =
        (burn.response.y_unmarked as f32, (burn.response.y_marked - burn.response.y_unmarked) as f32);
    for r in 0..rows {
        let high = sy.min(dots.height() - r * sy);
        for c in 0..columns {
            let cells = (high * sx.min(dots.width() - c * sx)) as f32;
            let i = r * columns + c;
            mark[i] = (unmarked + mark[i] / cells * span).clamp(0.0, 1.0);
            burnt[i] /= cells;
            peak[i] /= over_burn_from;
        }
    }
    let all = (dots.width() * dots.height()).max(1) as f64;
    let look = Look {
        columns,
        rows,
        step_along: sx as f64,
        step_across: sy as f64,
        luminance: mark,
        over_burn: if charred > 0.0 { burnt } else { Vec::new() },
    };
    let dose = if over_burn_from.is_finite() { peak } else { Vec::new() };
    Reduced { look, dose, mean_mark: sum / all, marked_dots: marked as f64, charred_dots: charred }
}

/// The look where tones are made by power: each place by its own exposure, `levels[k] / full` of a solid's.
pub fn of_tone(burn: &Burn, tone: &Tone, levels: &[u32], full: u32, layout: &Layout) -> Reduced {
    let reached: Vec<f64> =
        levels.iter().map(|&s| burn.mark(f64::from(s) / f64::from(full.max(1)))).collect();
    let top = levels.len().saturating_sub(1) as f32;
    let mark_of =
        |wanted: f32| reached.get((wanted.clamp(0.0, 1.0) * top + 0.5) as usize).copied().unwrap_or(0.0);
    let (sx, sy) = (layout.step_along, layout.step_across);
    let (columns, rows) = (tone.width().div_ceil(sx), tone.height().div_ceil(sy));
    let mut luminance = vec![0.0f32; columns * rows];
    let (mut sum, mut marked) = (0.0, 0u64);
    for r in 0..rows {
        let high = sy.min(tone.height() - r * sy);
        for c in 0..columns {
            let wide = sx.min(tone.width() - c * sx);
            let mut block = 0.0;
            for y in r * sy..r * sy + high {
                for &wanted in &tone.row(y)[c * sx..c * sx + wide] {
                    let mark = mark_of(wanted);
                    block += mark;
                    marked += u64::from(mark >= 0.5);
                }
            }
            sum += block;
            luminance[r * columns + c] = burn.look_of(block / (high * wide) as f64) as f32;
        }
    }
    let all = (tone.width() * tone.height()).max(1) as f64;
    Reduced {
        look: Look {
            columns,
            rows,
            step_along: sx as f64,
            step_across: sy as f64,
            luminance,
            over_burn: Vec::new(),
        },
        dose: Vec::new(),
        mean_mark: sum / all,
        marked_dots: marked as f64,
        charred_dots: 0.0,
    }
}

/// The look of a window of dots at eight samples a dot each way, straight from the beam's weights: for a
/// loupe, where the roundness of the beam shows.
pub fn of_window(burn: &Burn, dots: &Dots, window: &Window) -> Look {
    const OVER: usize = 8;
    let radius = Taps::radius_for(burn.along.max(burn.across));
    let taps = Taps::new(burn.along, burn.across, OVER, radius);
    let n = 2 * radius + 1;
    let (columns, rows) = (window.columns * OVER, window.rows * OVER);
    let on = |x: isize, y: isize| {
        let inside = x >= 0 && y >= 0 && (x as usize) < dots.width() && (y as usize) < dots.height();
        inside && dots.get(x as usize, y as usize)
    };
    // Along the lines first: one row of samples for each line that reaches into the window.
    let lines = window.rows + 2 * radius;
    let mut along = vec![0.0f32; lines * columns];
    for (i, row) in along.chunks_exact_mut(columns).enumerate() {
        let y = (window.row + i) as isize - radius as isize;
        for (s, e) in row.iter_mut().enumerate() {
            let x = (window.column + s / OVER) as isize - radius as isize;
            let weights = &taps.along[(s % OVER) * n..][..n];
            *e = weights.iter().enumerate().filter(|(j, _)| on(x + *j as isize, y)).map(|(_, w)| w).sum();
        }
    }
    let over_burn_from = burn.over_burn_from();
    let mut look = Look {
        columns,
        rows,
        step_along: 1.0 / OVER as f64,
        step_across: 1.0 / OVER as f64,
        luminance: vec![0.0; columns * rows],
        over_burn: vec![0.0; columns * rows],
    };
    for r in 0..rows {
        let weights = &taps.across[(r % OVER) * n..][..n];
        for c in 0..columns {
            let exposure: f32 =
                weights.iter().enumerate().map(|(j, w)| w * along[(r / OVER + j) * columns + c]).sum();
            let i = r * columns + c;
            look.luminance[i] = burn.response.look(f64::from(exposure) * burn.x_solid) as f32;
            look.over_burn[i] = f32::from(f64::from(exposure) >= over_burn_from);
        }
    }
    look
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::placement::{DotRect, Grid};
    use crate::units::Mm;

    fn pattern() -> Dots {
        let mut d = Dots::off(203, 157);
        for y in 0..157 {
            for x in 0..203 {
                d.set(x, y, (x * 7 + y * 13) % 11 < 4 || (60..90).contains(&x));
            }
        }
        d
    }

    #[test]
    fn blocks_hold_the_same_sums_as_the_plane() {
        let burn = Burn::plain(1.5, 1.5);
        let forecast = Forecast::new(&burn);
        let dots = pattern();
        let p = Mm(0.1);
        let rect = DotRect { left: p, top: p, columns: 203, rows: 157, grid: Grid { along: p, across: p } };
        let blank = crate::blank::Blank { shape: "rect:22x18mm".parse().unwrap(), margin: Mm(0.5) };
        let mut layout = Layout::new(&blank, &rect, 2400);
        (layout.step_along, layout.step_across) = (3, 5);
        let reduced = reduce(&forecast, &dots, &layout);
        let plane = forecast.plane(&dots);
        assert!((reduced.mean_mark - plane.mean()).abs() < 1e-6);
        // Looks go from 0 to 1, so a block's luminance is its mean mark fraction.
        let (c, r) = (20, 30);
        let mut sum = 0.0;
        for y in r * 5..r * 5 + 5 {
            sum += plane.row(y)[c * 3..c * 3 + 3].iter().sum::<f32>();
        }
        assert!((reduced.look.luminance[r * reduced.look.columns + c] - sum / 15.0).abs() < 1e-6);
        assert_eq!(reduced.look.over_burn.len(), 0);
    }

    #[test]
    fn a_window_has_the_mean_of_its_forecast() {
        let burn = Burn::plain(1.5, 1.5);
        let dots = pattern();
        let window = Window { column: 50, row: 40, columns: 60, rows: 50 };
        let look = of_window(&burn, &dots, &window);
        let mean: f64 =
            look.luminance.iter().map(|&v| f64::from(v)).sum::<f64>() / look.luminance.len() as f64;
        let plane = Forecast::new(&burn).plane(&dots);
        let mut want = 0.0;
        for y in 40..90 {
            want += plane.row(y)[50..110].iter().map(|&v| f64::from(v)).sum::<f64>();
        }
        assert!((mean - want / 3000.0).abs() < 0.003, "{mean} {}", want / 3000.0);
    }
}
