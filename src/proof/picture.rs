//! `proof.png`: the whole blank as it is forecast to look after cleaning.

use std::borrow::Cow;

use super::canvas::{Picture, ProofError};
use super::ground::{self, hatch};
use super::layout::{Layout, Look, Resampling};
use super::legend::{Key, Legend, stack, strip};
use super::report::{Footing, Standing, sign};
use crate::blank::Blank;
use crate::colour::srgb8;
use crate::job::kit::Surface;
use crate::placement::DotRect;
use crate::texts::text;
use crate::units::short;

/// What is drawn around a look.
#[derive(Debug, Clone, Copy)]
pub struct Scene<'a> {
    /// The piece.
    pub blank: &'a Blank,
    /// What it is made of.
    pub surface: Surface,
    /// Where the dots lie.
    pub rect: &'a DotRect,
    /// Relative luminance of the unmarked piece.
    pub y_unmarked: f64,
    /// Relative luminance of a full mark.
    pub y_marked: f64,
    /// How much of the process was measured.
    pub footing: Footing,
    /// Worst spots to ring, mm from the blank's lower left corner.
    pub spots: &'a [(f64, f64)],
}

/// Share of a pixel that must be over-burnt for it to be striped.
const STRIPED: f32 = 0.02;

/// The piece as forecast, with its legend.
///
/// `look` covers exactly the dots of `scene.rect` in samples of [`Layout::samples`]' size; any other size is resampled in
/// linear light, by exact areas or, where [`Layout::smooth`] asks for it, through a smooth filter.
///
/// # Errors
/// When the look's planes do not have its size, or the legend cannot be drawn.
pub fn proof(scene: &Scene, layout: &Layout, look: &Look) -> Result<Picture, ProofError> {
    with_legend(&ringed(scene, layout, look)?, scene, layout)
}

/// The piece as forecast with rings around its worst spots, without legend: for a page that has its own words.
///
/// # Errors
/// When the look's planes do not have its size.
pub fn ringed(scene: &Scene, layout: &Layout, look: &Look) -> Result<Picture, ProofError> {
    let mut picture = piece(scene, layout, look)?;
    let k = layout.width as f64 / 1100.0;
    for &spot in scene.spots {
        ground::ring(&mut picture, layout.pixel_of(scene.blank, spot), 13.0 * k, 2.0 * k);
    }
    Ok(picture)
}

/// The picture of a piece with its legend below.
///
/// # Errors
/// When the legend cannot be drawn.
pub fn with_legend(picture: &Picture, scene: &Scene, layout: &Layout) -> Result<Picture, ProofError> {
    let grey = |y: f64| [srgb8(y as f32); 3];
    let mut keys = vec![
        Key::Patch(grey(scene.y_unmarked), text!("proof.legend.left-alone").into()),
        Key::Patch(grey(scene.y_marked), text!("proof.legend.full-mark").into()),
        Key::OverBurn(text!("proof.legend.over-burnt").into()),
        Key::Margin(text!("proof.legend.margin").into()),
    ];
    if !scene.spots.is_empty() {
        keys.push(Key::Ring(text!("proof.legend.worst-spot").into()));
    }
    let title = text!(
        "proof.forecast.title",
        width = short(scene.rect.width(), 2),
        height = short(scene.rect.height(), 2),
        surface = scene.surface,
        shape = scene.blank.shape
    );
    let standing = standing_line(scene.footing);
    let legend = Legend { title: &title, standing: &standing, pixel: layout.pixel, keys: &keys };
    Ok(stack(picture, &strip(layout.width, &legend)?))
}

/// How far a forecast can be trusted, in one line.
pub fn standing_line(footing: Footing) -> String {
    let (standing, words) = match footing {
        Footing::Assumed => (Standing::Assumed, text!("proof.forecast.assumed")),
        Footing::InPart => (Standing::Assumed, text!("proof.forecast.in-part")),
        Footing::Measured => (Standing::Measured, text!("proof.forecast.measured")),
    };
    format!("{} {words}", sign(standing))
}

/// The piece as forecast, without legend and rings: for contact sheets and for putting together.
///
/// # Errors
/// When the look's planes do not have its size.
pub fn piece(scene: &Scene, layout: &Layout, look: &Look) -> Result<Picture, ProofError> {
    painted(scene, layout, look, true)
}

/// The piece as forecast and nothing else: no margin line, and what is over-burnt in its own tone.
///
/// # Errors
/// When the look's planes do not have its size.
pub fn plain(scene: &Scene, layout: &Layout, look: &Look) -> Result<Picture, ProofError> {
    painted(scene, layout, look, false)
}

fn painted(
    scene: &Scene,
    layout: &Layout,
    look: &Look,
    for_the_workshop: bool,
) -> Result<Picture, ProofError> {
    let fill = rows(scene, layout, look, for_the_workshop)?;
    Ok(ground::paint(layout, scene.blank, Some(scene.surface), for_the_workshop, fill))
}

/// What paints a row of pixels as if the blank were everywhere: the look where there are dots, else bare, in grey.
///
/// # Errors
/// When the look's planes do not have its size.
pub fn row_of_look<'a>(
    scene: &'a Scene,
    layout: &Layout,
    look: &'a Look,
) -> Result<impl Fn(usize, &mut [u8]) + Sync + Send + 'a, ProofError> {
    rows(scene, layout, look, false)
}

/// The same, with what is over-burnt striped where it is `for_the_workshop`.
fn rows<'a>(
    scene: &'a Scene,
    layout: &Layout,
    look: &'a Look,
    for_the_workshop: bool,
) -> Result<impl Fn(usize, &mut [u8]) + Sync + Send + 'a, ProofError> {
    let want = look.columns * look.rows;
    for plane in [&look.luminance, &look.over_burn] {
        if plane.len() != want && !(plane.is_empty() && std::ptr::eq(plane, &look.over_burn)) {
            return Err(ProofError::Size { have: plane.len(), want });
        }
    }
    let rect = scene.rect;
    let axis = if layout.smooth { Resampling::smooth } else { Resampling::new };
    let axis_x = axis(
        (layout.left, layout.pixel, layout.width),
        (rect.left.0, rect.grid.along.0, rect.columns),
        (look.columns, look.step_along),
    );
    let axis_y = axis(
        (layout.top, layout.pixel, layout.height),
        (rect.top.0, rect.grid.across.0, rect.rows),
        (look.rows, look.step_across),
    );
    let bare = srgb8(scene.y_unmarked as f32);
    let stripe = (layout.width / 360).max(3);
    Ok(move |y: usize, row: &mut [u8]| {
        row.fill(bare);
        let (first_row, rows) = axis_y.at(y);
        if rows.is_empty() {
            return;
        }
        // Down each column first, then along the row: a pixel may reach over several samples each way.
        let light_of = down(&look.luminance, look.columns, (first_row, rows));
        let burnt_of = down(&look.over_burn, look.columns, (first_row, rows));
        let share_down: f32 = rows.iter().sum();
        for (x, pixel) in row.chunks_exact_mut(3).enumerate() {
            let (first, columns) = axis_x.at(x);
            if columns.is_empty() {
                continue;
            }
            let along = |of: &[f32]| -> f32 {
                of.get(first..).unwrap_or_default().iter().zip(columns).map(|(v, w)| w * v).sum()
            };
            let (light, burnt) = (along(&light_of), along(&burnt_of));
            let share = share_down * columns.iter().sum::<f32>();
            if for_the_workshop && burnt >= STRIPED {
                pixel.copy_from_slice(&hatch(x, y, stripe));
            } else {
                pixel.fill(srgb8(light + (1.0 - share) * scene.y_unmarked as f32));
            }
        }
    })
}

/// The sum of some rows of a plane, each with its share; none of a plane that is empty.
fn down<'a>(plane: &'a [f32], columns: usize, (first, shares): (usize, &[f32])) -> Cow<'a, [f32]> {
    let row = |r: usize| plane.get((first + r) * columns..(first + r + 1) * columns).unwrap_or_default();
    // Most pictures show each row as it is.
    if let [share] = shares
        && *share == 1.0
    {
        return Cow::Borrowed(row(0));
    }
    let mut sum = vec![0.0f32; row(0).len()];
    for (r, share) in shares.iter().enumerate() {
        sum.iter_mut().zip(row(r)).for_each(|(s, v)| *s += share * v);
    }
    Cow::Owned(sum)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::linear_light;
    use crate::parallel;
    use crate::plane::Dots;
    use crate::proof::made::{keep, lighthouse, scene_parts};

    #[test]
    fn the_mean_light_of_the_dots_is_kept() {
        let (blank, rect) = scene_parts("rect:100x60mm", 1137, 658, 25.4 / 304.0, 25.4 / 280.0);
        let dots = lighthouse(1137, 658);
        let layout = Layout::new(&blank, &rect, 2400);
        let look = Look::of_dots(&dots, &layout, 0.1, 0.9);
        let scene = Scene {
            blank: &blank,
            surface: Surface::Slate,
            rect: &rect,
            y_unmarked: 0.1,
            y_marked: 0.9,
            footing: Footing::Assumed,
            spots: &[],
        };
        let axis_sum: f64 =
            look.luminance.iter().map(|&v| f64::from(v)).sum::<f64>() / look.luminance.len() as f64;
        assert!((axis_sum - (0.1 + 0.8 * dots.coverage())).abs() < 1e-6);
        // Every pixel well inside the dots, back in linear light, against the coverage there.
        let p = piece(&scene, &layout, &look).unwrap();
        let (mut sum, mut n) = (0.0, 0.0);
        let linear = |v: u8| f64::from(linear_light()[usize::from(v)]);
        for y in 0..p.height {
            for x in 0..p.width {
                let (mx, my) = (layout.left + x as f64 * layout.pixel, layout.top + y as f64 * layout.pixel);
                let inside = |m: f64, a: f64, w: f64| m >= a + 1.0 && m + layout.pixel <= a + w - 1.0;
                if inside(mx, rect.left.0, rect.width()) && inside(my, rect.top.0, rect.height()) {
                    sum += linear(p.get(x, y)[0]);
                    n += 1.0;
                }
            }
        }
        let one = |d: f64, pitch: f64| (d / pitch).round() as usize;
        let (mut on, mut all) = (0.0, 0.0);
        for y in one(1.0, rect.grid.across.0)..658 - one(1.0, rect.grid.across.0) {
            for x in one(1.0, rect.grid.along.0)..1137 - one(1.0, rect.grid.along.0) {
                on += f64::from(u8::from(dots.get(x, y)));
                all += 1.0;
            }
        }
        assert!((sum / n - (0.1 + 0.8 * on / all)).abs() < 0.004, "{} {}", sum / n, 0.1 + 0.8 * on / all);
    }

    #[test]
    fn the_thread_count_does_not_change_a_byte() {
        let (blank, rect) = scene_parts("round:90mm", 1017, 1017, 25.4 / 304.0, 25.4 / 304.0);
        let layout = Layout::new(&blank, &rect, 2400);
        let look = Look::of_dots(&lighthouse(1017, 1017), &layout, 0.03, 0.65);
        let scene = Scene {
            blank: &blank,
            surface: Surface::Glass,
            rect: &rect,
            y_unmarked: 0.03,
            y_marked: 0.65,
            footing: Footing::Assumed,
            spots: &[(30.0, 40.0)],
        };
        let one = parallel::with_threads(1, || proof(&scene, &layout, &look).unwrap());
        for n in [2, 3, 7] {
            assert!(one == parallel::with_threads(n, || proof(&scene, &layout, &look).unwrap()));
        }
        keep("proof-dots.png", &one.to_png(Some(layout.pixel)).unwrap());
    }

    #[test]
    fn pieces_of_every_kind_are_drawn() {
        for (shape, surface, w, h, pitch, unmarked, marked) in [
            ("round:90mm", Surface::Glass, 1017, 1017, 25.4 / 304.0, 0.03, 0.65),
            ("rect:100x100mm:r8mm", Surface::Slate, 1085, 1085, 0.0875, 0.05, 0.3),
            ("rect:60x20mm:r3mm", Surface::Metal, 628, 171, 0.0875, 0.04, 0.5),
            ("rect:108x108mm:r1mm", Surface::Tile, 1177, 1177, 0.0875, 0.8, 0.04),
        ] {
            let (blank, rect) = scene_parts(shape, w, h, pitch, pitch);
            let layout = Layout::new(&blank, &rect, 2400);
            let mut dots = lighthouse(w, h);
            for y in 0..h {
                let keep = rect.allowed(&blank, y);
                dots.keep_only(y, keep);
            }
            let mut look = Look::of_dots(&dots, &layout, unmarked, marked);
            look.over_burn = vec![0.0; look.columns * look.rows];
            let (cx, cy) = (look.columns * 3 / 10, look.rows / 3);
            for y in 0..look.rows / 9 {
                for x in 0..look.columns / 14 {
                    look.over_burn[(cy + y) * look.columns + cx + x] = 0.4;
                }
            }
            let spot = rect.centre(&blank, w * 3 / 10 + w / 28, h / 3 + h / 18);
            let scene = Scene {
                blank: &blank,
                surface,
                rect: &rect,
                y_unmarked: unmarked,
                y_marked: marked,
                footing: Footing::Assumed,
                spots: &[spot],
            };
            let p = proof(&scene, &layout, &look).unwrap();
            assert!(p.width <= 2400 && p.height <= 2400);
            let (sx, sy) = layout.pixel_of(&blank, spot);
            let striped = (0..12).any(|i| p.get(sx as usize + i, sy as usize) == ground::OVER_BURN);
            assert!(striped, "{surface}: the over-burnt place is striped");
            keep(&format!("proof-{surface}.png"), &p.to_png(Some(layout.pixel)).unwrap());
        }
    }

    #[test]
    fn a_process_that_was_measured_but_for_one_value_is_not_said_to_be_assumed() {
        let said = |power, values| standing_line(Footing::of(power, values));
        let (assumed, measured) = ([Standing::Assumed; 5], [Standing::Measured; 5]);
        assert_eq!(said(Standing::Given, assumed), "? process assumed, not measured on this machine");
        assert_eq!(said(Standing::Given, measured), "✓ process measured by a wedge");
        let mut all_but_looks = measured;
        all_but_looks[1] = Standing::Assumed;
        for (power, values) in [(Standing::Given, all_but_looks), (Standing::Measured, assumed)] {
            assert_eq!(said(power, values), "? process measured in part, the rest assumed");
        }
    }

    #[test]
    fn planes_of_another_size_are_refused() {
        let (blank, rect) = scene_parts("round:90mm", 100, 100, 0.5, 0.5);
        let layout = Layout::new(&blank, &rect, 2400);
        let mut look = Look::of_dots(&Dots::off(100, 100), &layout, 0.03, 0.65);
        let scene = Scene {
            blank: &blank,
            surface: Surface::Glass,
            rect: &rect,
            y_unmarked: 0.03,
            y_marked: 0.65,
            footing: Footing::Measured,
            spots: &[],
        };
        look.over_burn = vec![0.0; 3];
        assert!(piece(&scene, &layout, &look).is_err());
        look.over_burn.clear();
        look.luminance.pop();
        assert!(piece(&scene, &layout, &look).is_err());
    }
}
