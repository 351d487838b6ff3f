//! The forecast where tones are made by power instead of dots: each place by its own exposure.

use super::blocks::Blocks;
use super::response::Burn;
use super::sums::Totals;
use crate::plane::Tone;

/// Forecasts `tone`, whose wanted marks 0 to 1 are spread evenly over `levels`: S words, of which `full` is
/// a solid's power. The beam's spread is left out. Blocks are of `along` by `across` places; no place is
/// over-burnt, for no level passes the best mark.
pub fn by_power(
    burn: &Burn,
    tone: &Tone,
    levels: &[u32],
    full: u32,
    (along, across): (usize, usize),
) -> (Blocks, Totals) {
    let reached: Vec<f64> =
        levels.iter().map(|&s| burn.mark(f64::from(s) / f64::from(full.max(1)))).collect();
    let top = levels.len().saturating_sub(1) as f32;
    let mark_of =
        |wanted: f32| reached.get((wanted.clamp(0.0, 1.0) * top + 0.5) as usize).copied().unwrap_or(0.0);
    let (columns, rows) = (tone.width().div_ceil(along), tone.height().div_ceil(across));
    let mut look = vec![0.0f32; columns * rows];
    let (mut sum, mut marked) = (0.0, 0u64);
    for r in 0..rows {
        let high = across.min(tone.height() - r * across);
        for c in 0..columns {
            let wide = along.min(tone.width() - c * along);
            let mut block = 0.0;
            for y in r * across..r * across + high {
                for &wanted in &tone.row(y)[c * along..c * along + wide] {
                    let mark = mark_of(wanted);
                    block += mark;
                    marked += u64::from(mark >= 0.5);
                }
            }
            sum += block;
            look[r * columns + c] = burn.look_of(block / (high * wide) as f64) as f32;
        }
    }
    let all = (tone.width() * tone.height()).max(1) as f64;
    let blocks = Blocks { columns, rows, along, across, look, charred: Vec::new(), dose: Vec::new() };
    (blocks, Totals { mean_mark: sum / all, marked, charred: 0.0 })
}
