//! `loupe.png`: a small place at high magnification, the dots and their forecast side by side.

use super::canvas::{Picture, ProofError, draw, escape};
use super::ground::hatch;
use super::layout::{Look, Resampling};
use super::legend::{INK, Key, Legend, PAPER, stack, strip};
use super::picture::{Scene, standing_line};
use crate::colour::srgb8;
use crate::plane::Dots;
use crate::texts::text;
use crate::units::short;

/// Pixels of each of the two panels along its longer side.
const PANEL: usize = 640;
/// Pixels between the panels.
const GAP: usize = 20;

/// The dots that a loupe shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DotWindow {
    /// First column.
    pub column: usize,
    /// First row, from the top.
    pub row: usize,
    /// Columns.
    pub columns: usize,
    /// Rows.
    pub rows: usize,
}

/// The window of about `side` by `side` mm around a point in machine coordinates (mm from the blank's
/// lower left corner), moved inside the marked rectangle where it would stick out.
///
/// # Errors
/// When the point itself lies outside the marked rectangle.
pub fn window(scene: &Scene, (x, y): (f64, f64), side: f64) -> Result<DotWindow, ProofError> {
    let (rect, high) = (scene.rect, scene.blank.shape.height());
    let (u, v) = (x - rect.left.0, high - y - rect.top.0);
    if !(0.0..=rect.width()).contains(&u) || !(0.0..=rect.height()).contains(&v) {
        let mm = |v: f64| short(v, 2);
        return Err(ProofError::OutsideArt {
            at: format!("{} mm, {} mm", mm(x), mm(y)),
            area: text!(
                "proof.loupe.area",
                left = mm(rect.left.0),
                right = mm(rect.left.0 + rect.width()),
                lower = mm(high - rect.top.0 - rect.height()),
                upper = mm(high - rect.top.0)
            ),
        });
    }
    let part = |at: f64, pitch: f64, count: usize| {
        let n = ((side / pitch).round() as usize).clamp(1, count);
        let first = ((at / pitch) - n as f64 / 2.0).round().max(0.0) as usize;
        (first.min(count - n), n)
    };
    let (column, columns) = part(u, rect.grid.along.0, rect.columns);
    let (row, rows) = part(v, rect.grid.across.0, rect.rows);
    Ok(DotWindow { column, row, columns, rows })
}

/// The loupe's picture. `look` covers exactly the dots of `window`; several samples a dot show the beam's
/// roundness (eight is plenty).
///
/// # Errors
/// When the look's planes do not have its size, the window lies outside `dots`, or the lettering fails.
pub fn loupe(scene: &Scene, dots: &Dots, window: &DotWindow, look: &Look) -> Result<Picture, ProofError> {
    let want = look.columns * look.rows;
    if look.luminance.len() != want || !(look.over_burn.is_empty() || look.over_burn.len() == want) {
        return Err(ProofError::Size { have: look.luminance.len(), want });
    }
    if window.column + window.columns > dots.width() || window.row + window.rows > dots.height() {
        let have = dots.width() * dots.height();
        return Err(ProofError::Size { have, want: window.columns * window.rows });
    }
    let (along, across) = (scene.rect.grid.along.0, scene.rect.grid.across.0);
    let (w, h) = (window.columns as f64 * along, window.rows as f64 * across);
    let pixel = w.max(h) / PANEL as f64;
    let (pw, ph) = (((w / pixel).round() as usize).max(1), ((h / pixel).round() as usize).max(1));
    let mut both = Picture::filled(2 * pw + 3 * GAP, ph, PAPER);
    both.lay(&dot_panel(dots, window, (pw, ph)), GAP, 0);
    both.lay(&look_panel(look, window, (along, across), pixel, (pw, ph)), 2 * GAP + pw, 0);
    let head = |x: usize, text: &str| {
        format!(r#"<text x="{x}" y="27" font-size="18" fill="{INK}">{}</text>"#, escape(text))
    };
    let words = head(GAP, text!("proof.loupe.dots")) + &head(2 * GAP + pw, text!("proof.loupe.forecast"));
    let headed = stack(&draw(both.width, 40, PAPER, &words)?, &both);
    let (cx, cy) =
        scene.rect.centre(scene.blank, window.column + window.columns / 2, window.row + window.rows / 2);
    let title = text!(
        "proof.loupe.title",
        x = short(cx, 1),
        y = short(cy, 1),
        width = short(w, 2),
        height = short(h, 2),
        columns = window.columns,
        rows = window.rows
    );
    let grey = |y: f64| [srgb8(y as f32); 3];
    let keys = [
        Key::Patch(grey(scene.y_unmarked), text!("proof.legend.left-alone").into()),
        Key::Patch(grey(scene.y_marked), text!("proof.legend.full-mark").into()),
        Key::OverBurn(text!("proof.legend.over-burnt").into()),
    ];
    let standing = standing_line(scene.footing);
    let legend = Legend { title: &title, standing: &standing, pixel, keys: &keys };
    Ok(stack(&headed, &strip(headed.width, &legend)?))
}

/// Each dot as a black cell; a thin lighter line parts neighbours where cells are large enough.
fn dot_panel(dots: &Dots, window: &DotWindow, (pw, ph): (usize, usize)) -> Picture {
    let mut panel = Picture::filled(pw, ph, [255; 3]);
    let scale = pw as f64 / window.columns as f64;
    for (y, row) in panel.rgb.chunks_exact_mut(3 * pw).enumerate() {
        for (x, pixel) in row.chunks_exact_mut(3).enumerate() {
            let (c, r) = (x * window.columns / pw, y * window.rows / ph);
            if dots.get(window.column + c, window.row + r) {
                let starts = |i: usize, n: usize, size: usize| i > 0 && i * n / size != (i - 1) * n / size;
                let seam = scale >= 6.0 && (starts(x, window.columns, pw) || starts(y, window.rows, ph));
                pixel.fill(if seam { 90 } else { 0 });
            }
        }
    }
    panel
}

fn look_panel(
    look: &Look,
    window: &DotWindow,
    (along, across): (f64, f64),
    pixel: f64,
    (pw, ph): (usize, usize),
) -> Picture {
    let ax = Resampling::new((0.0, pixel, pw), (0.0, along, window.columns), (look.columns, look.step_along));
    let ay = Resampling::new((0.0, pixel, ph), (0.0, across, window.rows), (look.rows, look.step_across));
    let mut panel = Picture::filled(pw, ph, [0; 3]);
    for (y, row) in panel.rgb.chunks_exact_mut(3 * pw).enumerate() {
        let (first_row, rows) = ay.at(y);
        for (x, p) in row.chunks_exact_mut(3).enumerate() {
            let (first, columns) = ax.at(x);
            let (mut light, mut share, mut burnt) = (0.0f32, 0.0f32, 0.0f32);
            for (r, wr) in rows.iter().enumerate() {
                for (c, wc) in columns.iter().enumerate() {
                    let at = (first_row + r) * look.columns + first + c;
                    light += wr * wc * look.luminance[at];
                    share += wr * wc;
                    burnt += wr * wc * look.over_burn.get(at).copied().unwrap_or(0.0);
                }
            }
            if burnt >= 0.5 {
                p.copy_from_slice(&hatch(x, y, 5));
            } else {
                p.fill(srgb8(light / share.max(1e-6)));
            }
        }
    }
    panel
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::kit::Surface;
    use crate::job::process::Footing;
    use crate::mark::{Burn, Taps};
    use crate::proof::made::{keep, lighthouse, scene_parts};

    #[test]
    fn a_loupe_shows_dots_and_forecast_side_by_side() {
        let (blank, rect) = scene_parts("round:90mm", 1017, 1017, 25.4 / 304.0, 25.4 / 304.0);
        let dots = lighthouse(1017, 1017);
        let scene = Scene {
            blank: &blank,
            surface: Surface::Glass,
            rect: &rect,
            y_unmarked: 0.03,
            y_marked: 0.65,
            footing: Footing::Assumed,
            spots: &[],
        };
        let win = window(&scene, (50.0, 68.0), 5.0).unwrap();
        assert_eq!((win.columns, win.rows), (60, 60));
        // The plain burn model, sampled eight times a dot.
        let (burn, taps) = (Burn::plain(1.436, 1.436), Taps::new(1.436, 1.436, 8, 3));
        let n = 2 * taps.radius + 1;
        let mut look = Look {
            columns: 480,
            rows: 480,
            step_along: 0.125,
            step_across: 0.125,
            luminance: Vec::new(),
            over_burn: Vec::new(),
        };
        for y in 0..480 {
            for x in 0..480 {
                let mut e = 0.0;
                for (j, wy) in taps.across[y % 8 * n..][..n].iter().enumerate() {
                    for (i, wx) in taps.along[x % 8 * n..][..n].iter().enumerate() {
                        let (c, r) =
                            (win.column + x / 8 + i - taps.radius, win.row + y / 8 + j - taps.radius);
                        e += if dots.get(c, r) { f64::from(wx * wy) } else { 0.0 };
                    }
                }
                look.luminance.push((0.03 + 0.62 * burn.mark(e)) as f32);
                look.over_burn.push(if (x as f32 - 120.0).hypot(y as f32 - 150.0) < 40.0 {
                    1.0
                } else {
                    0.0
                });
            }
        }
        let p = loupe(&scene, &dots, &win, &look).unwrap();
        keep("loupe.png", &p.to_png(None).unwrap());
        let on = dots.get(win.column + 30, win.row + 30);
        let at = p.get(GAP + 640 * 61 / 120, 40 + 640 * 61 / 120)[0];
        assert_eq!(at < 128, on);
    }

    #[test]
    fn a_window_stays_inside_and_a_point_outside_is_refused() {
        let (blank, rect) = scene_parts("rect:100x60mm", 950, 550, 0.1, 0.1);
        let scene = Scene {
            blank: &blank,
            surface: Surface::Tile,
            rect: &rect,
            y_unmarked: 0.8,
            y_marked: 0.1,
            footing: Footing::Measured,
            spots: &[],
        };
        let w = window(&scene, (2.6, 57.4), 6.0).unwrap();
        assert_eq!(w, DotWindow { column: 0, row: 0, columns: 60, rows: 60 });
        let w = window(&scene, (97.4, 2.6), 6.0).unwrap();
        assert_eq!((w.column, w.row), (890, 490));
        let e = window(&scene, (1.0, 30.0), 6.0).unwrap_err().to_string();
        assert!(e.contains("from 2.5 mm to 97.5 mm"), "{e}");
    }
}
