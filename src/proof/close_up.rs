//! Close-up: the forecast of a window of dots, large, for a loupe.

use super::layout::Look;
use super::loupe::DotWindow;
use crate::mark::{Burn, Taps};
use crate::plane::Dots;

/// The look of a window of dots at eight samples a dot each way, straight from the beam's weights: for a
/// loupe, where the roundness of the beam shows.
pub fn close_up(burn: &Burn, dots: &Dots, window: &DotWindow) -> Look {
    const OVER: usize = 8;
    let radius = Taps::radius_for(burn.along.max(burn.across));
    let taps = Taps::of(burn.profiles(), OVER, radius);
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
    use crate::mark::Forecast;

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
    fn a_window_has_the_mean_of_its_forecast() {
        let burn = Burn::plain(1.5, 1.5);
        let dots = pattern();
        let window = DotWindow { column: 50, row: 40, columns: 60, rows: 50 };
        let look = close_up(&burn, &dots, &window);
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
