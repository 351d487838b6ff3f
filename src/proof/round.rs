//! The round piece as it is looked at: three views of a cylinder or a cone, from the forecast of its unrolled mantle.

use std::f64::consts::TAU;

use super::canvas::{Picture, ProofError, draw, escape};
use super::ground::BENCH;
use super::layout::{Layout, Look};
use super::legend::{INK, PAPER};
use super::picture::{Scene, row_of_look};
use crate::blank::Mantle;
use crate::colour::{linear_light, srgb8};
use crate::parallel;
use crate::texts::{self, text};
use crate::units::short;

/// Where each view is looked at from, in turns from the front, which is opposite the seam; and its text.
const VIEWS: [(f64, &str); 3] = [(-1.0 / 3.0, "left"), (0.0, "front"), (1.0 / 3.0, "right")];
/// How dark the rim is beside the middle: only so that the eye sees it round, no forecast.
const RIM: f64 = 0.35;

/// A cylinder or a cone from three sides, all of its girth, `width` pixels wide; seen straight from the side, so that a place
/// `x` to the right of a view's middle is `R asin(x/R)` further round.
///
/// # Errors
/// When the look's planes do not have its size, or the lettering cannot be drawn.
pub fn views(
    scene: &Scene<'_>,
    layout: &Layout,
    look: &Look,
    mantle: &Mantle,
    width: usize,
) -> Result<Picture, ProofError> {
    let gap = width / 40;
    let across = ((width - 4 * gap) / 3).max(1);
    let pixel = mantle.widest() / across as f64;
    let rows = ((mantle.height.0 / pixel).round() as usize).max(1);
    let light = unrolled(scene, layout, look)?;
    let letters = (width as f64 / 50.0).max(11.0);
    let below = (2.4 * letters) as usize;
    let mut all = Picture::filled(width, rows + 2 * gap, BENCH);
    let stride = 3 * width;
    parallel::bands(&mut all.rgb[gap * stride..][..rows * stride], stride, 8, |first, band| {
        for (y, pixels) in (first..).zip(band.chunks_exact_mut(stride)) {
            // A pixel is as high along the mantle as it is wide, and more where that slopes.
            let climb = mantle.slant() / mantle.height.0;
            let down = (y as f64 + 0.5) * pixel * climb;
            let row = mixed(&light, layout, down, pixel * climb);
            let round = Round { radius: mantle.across(mantle.slant() - down) / 2.0, girth: mantle.girth() };
            for (i, &(turn, _)) in VIEWS.iter().enumerate() {
                let left = gap + i * (across + gap);
                for (x, pixel_at) in pixels[3 * left..][..3 * across].chunks_exact_mut(3).enumerate() {
                    let x = (x as f64 - across as f64 / 2.0) * pixel;
                    if let Some((from, to, shade)) = round.seen((x, x + pixel), turn) {
                        pixel_at.fill(srgb8((round.mean(&row, (from, to), layout) * shade) as f32));
                    }
                }
            }
        }
    });
    let mut body = String::new();
    for (i, (_, view)) in VIEWS.iter().enumerate() {
        let name = escape(texts::say(&format!("proof.round.view.{view}")));
        body += &format!(
            r#"<text x="{}" y="{}" font-size="{letters}" text-anchor="middle" fill="{INK}">{name}</text>"#,
            (gap + i * (across + gap)) as f64 + across as f64 / 2.0,
            1.5 * letters
        );
    }
    let words = draw(width, below, PAPER, &body)?;
    Ok(super::legend::stack(&all, &words))
}

/// A circle round the piece.
struct Round {
    /// Its radius, mm.
    radius: f64,
    /// The widest girth of the piece, mm: the width of its unrolled mantle, whose middle is opposite the seam.
    girth: f64,
}

impl Round {
    /// From where to where round the piece, mm of the unrolled mantle, a pixel looks that goes from one place beside the
    /// view's middle to another, mm; and how light it is drawn. `None` beside the piece.
    fn seen(&self, (from, to): (f64, f64), turn: f64) -> Option<(f64, f64, f64)> {
        let s = (from + to) / 2.0 / self.radius;
        if s.abs() >= 1.0 {
            return None;
        }
        let at = |x: f64| {
            let turned = TAU * turn + libm::asin((x / self.radius).clamp(-1.0, 1.0));
            self.girth / 2.0 + turned * self.radius
        };
        Some((at(from), at(to), RIM + (1.0 - RIM) * (1.0 - s * s).sqrt()))
    }

    /// The mean of a row of the mantle from one place to another, mm, weighed as a tent that reaches as far either way; the
    /// row goes on round after a turn.
    fn mean(&self, row: &[f32], (from, to): (f64, f64), layout: &Layout) -> f64 {
        let half_turn = self.radius * TAU / 2.0;
        let at = |mm: f64| (mm - layout.left) / layout.pixel;
        tent((at(from) + at(to)) / 2.0, at(to) - at(from))
            .map(|(i, share)| {
                let aside = layout.left + (i as f64 + 0.5) * layout.pixel - self.girth / 2.0;
                let within = (aside + half_turn).rem_euclid(2.0 * half_turn) - half_turn;
                let place = at(within + self.girth / 2.0).max(0.0) as usize;
                share * f64::from(row.get(place).copied().unwrap_or(0.0))
            })
            .sum()
    }
}

/// The row of the mantle `down` mm from its upper edge, weighed as a tent that reaches `high` mm either way.
fn mixed(light: &[f32], layout: &Layout, down: f64, high: f64) -> Vec<f32> {
    let mut row = vec![0.0; layout.width];
    for (i, share) in tent((down - layout.top) / layout.pixel, high / layout.pixel) {
        let from = usize::try_from(i).unwrap_or(0) * layout.width;
        for (to, from) in row.iter_mut().zip(light.get(from..).unwrap_or_default()) {
            *to += share as f32 * from;
        }
    }
    row
}

/// Pixels and their shares under a tent that reaches `reach` of them either way, and no less than two: so it has no answer
/// to what changes from pixel to pixel, as rows may where every second line is spared, and no beats show.
pub(super) fn tent(centre: f64, reach: f64) -> impl Iterator<Item = (isize, f64)> {
    let reach = reach.max(2.0);
    let all = (centre - reach).floor() as isize..=(centre + reach).floor() as isize;
    let weight = move |i: isize| (1.0 - (i as f64 + 0.5 - centre).abs() / reach).max(0.0);
    let sum: f64 = all.clone().map(weight).sum();
    all.map(move |i| (i, weight(i) / sum))
}

/// The mantle in linear light, in the pixels of the layout, bare beside the dots.
pub(super) fn unrolled(scene: &Scene<'_>, layout: &Layout, look: &Look) -> Result<Vec<f32>, ProofError> {
    let paint = row_of_look(scene, layout, look)?;
    let mut rgb = vec![0u8; 3 * layout.width];
    let mut light = Vec::with_capacity(layout.width * layout.height);
    for y in 0..layout.height {
        paint(y, &mut rgb);
        light.extend(rgb.chunks_exact(3).map(|p| linear_light()[usize::from(p[0])]));
    }
    Ok(light)
}

/// How far the surface lies below its highest line where the beam meets it `aside` mm beside that, mm:
/// `s = R − √(R² − e²)`, by Pythagoras.
pub fn fall(diameter: f64, aside: f64) -> f64 {
    let r = diameter / 2.0;
    let e = aside.abs().min(r);
    e * e / (r + (r * r - e * e).sqrt())
}

/// What the curve does to the focus, in sentences. The head never leaves the piece's highest line: what turns is the piece.
pub fn focus(mantle: &Mantle, beam: f64, tolerance: f64) -> String {
    let diameter = mantle.narrowest();
    let mm = |v: f64| match v < 0.0005 {
        true => text!("proof.focus.least").to_string(),
        false => short(v, 3),
    };
    let focus = text!(
        "proof.focus",
        beam = short(beam, 3),
        falls = mm(fall(diameter, beam / 2.0)),
        falls_aside = mm(fall(diameter, tolerance)),
        aside = short(tolerance, 2),
    );
    if !mantle.is_cone() {
        return focus;
    }
    let lower = short((mantle.widest() - diameter) / 2.0, 1);
    format!("{} {focus}", text!("proof.focus.level", tilt = short(mantle.tilt(), 1), lower))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::blank::Surface;
    use crate::proof::made::{keep, lighthouse, scene_parts};
    use crate::proof::report::Footing;

    #[test]
    fn the_surface_falls_away_as_a_circle_does() {
        // By hand: R 36.5, e 0.5: 36.5 − √(1332.25 − 0.25) = 0.003425 mm; e²/2R = 0.003425.
        assert!((fall(73.0, 0.5) - 0.003_425).abs() < 1e-6);
        assert!((fall(10.0, 3.0) - 1.0).abs() < 1e-12 && (fall(10.0, 9.0) - 5.0).abs() < 1e-12);
    }

    #[test]
    fn the_middle_of_each_view_is_its_third_of_the_girth_and_its_sides_are_a_quarter_turn_away() {
        // 60 mm across on a mantle that is 80 mm across where it is widest: both have their fronts at the same place.
        let round = Round { radius: 30.0, girth: 80.0 * TAU / 2.0 };
        for (turn, _) in VIEWS {
            let front = 40.0 * TAU / 2.0 + turn * 60.0 * TAU / 2.0;
            let (from, to, light) = round.seen((-0.01, 0.01), turn).unwrap();
            assert!(((from + to) / 2.0 - front).abs() < 1e-9 && light > 0.999);
            assert!((round.seen((-30.0, -29.0), turn).unwrap().0 - (front - 15.0 * TAU / 2.0)).abs() < 1e-9);
            assert!((round.seen((29.0, 30.0), turn).unwrap().1 - (front + 15.0 * TAU / 2.0)).abs() < 1e-9);
            assert!(round.seen((30.0, 31.0), turn).is_none());
        }
    }

    #[test]
    fn a_tent_has_all_of_its_shares_and_its_middle() {
        for (centre, reach) in [(3.5, 1.0), (3.2, 0.4), (7.9, 4.3)] {
            let all: Vec<(isize, f64)> = tent(centre, reach).collect();
            assert!((all.iter().map(|t| t.1).sum::<f64>() - 1.0).abs() < 1e-12);
            let middle: f64 = all.iter().map(|&(i, share)| (i as f64 + 0.5) * share).sum();
            assert!((middle - centre).abs() < 0.05, "{centre}: {middle}");
        }
    }

    /// The views of a piece with a lighthouse of so many dots on it.
    fn of_a_lighthouse(shape: &str, (columns, rows): (usize, usize), name: &str) -> Picture {
        let (blank, rect) = scene_parts(shape, columns, rows, 0.1, 0.1);
        let layout = Layout::new(&blank, &rect, 2400);
        let look = Look::of_dots(&lighthouse(columns, rows), &layout, 0.7, 0.05);
        let scene = Scene {
            blank: &blank,
            surface: Surface::Metal,
            rect: &rect,
            y_unmarked: 0.7,
            y_marked: 0.05,
            footing: Footing::Assumed,
            spots: &[],
        };
        let p = views(&scene, &layout, &look, &blank.shape.turned().unwrap(), 1600).unwrap();
        keep(name, &p.to_png(None).unwrap());
        p
    }

    #[test]
    fn a_cone_is_drawn_as_wide_as_it_is() {
        let p = of_a_lighthouse("cone:40x60x50mm", (800, 400), "cone.png");
        // 480 pixels are 60 mm: 8 a mm. The middle view begins at 40 + 480 + 40; half way down the piece is 50 mm across.
        let high = 40 + 8 * 25;
        let (left, right) = (560 + 40, 560 + 440);
        assert_eq!((p.get(left - 3, high), p.get(right + 3, high)), (BENCH, BENCH));
        assert!(p.get(left + 3, high) != BENCH && p.get(right - 3, high) != BENCH);
    }

    #[test]
    fn a_cylinder_is_drawn_from_three_sides() {
        let p = of_a_lighthouse("cylinder:73x100mm", (2200, 900), "round.png");
        // The seam lies in no view's middle, and is bare: it is seen a sixth of a turn from the middle of the outer two,
        // sin 60° of the radius to the left of the left one's middle.
        let (gap, across) = (40, 480);
        let x = gap as f64 + across as f64 / 2.0 * (1.0 - (TAU / 6.0).sin());
        let bare = p.get(x.round() as usize, 400)[0];
        let shade = RIM + (1.0 - RIM) * (TAU / 6.0).cos();
        assert!(bare.abs_diff(srgb8((0.7 * shade) as f32)) <= 3, "{bare}");
    }
}
