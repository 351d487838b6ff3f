//! The round piece as it is looked at: three views of a cylinder, from the forecast of its unrolled mantle.

use std::f64::consts::TAU;

use super::canvas::{Picture, ProofError, draw};
use super::ground::BENCH;
use super::layout::{Layout, Look};
use super::legend::{INK, PAPER};
use super::picture::{Scene, row_of_look};
use crate::colour::{linear_light, srgb8};
use crate::units::short;

/// Where each view is looked at from, in turns from the front, which is opposite the seam; and what it is called.
const VIEWS: [(f64, &str); 3] = [
    (-1.0 / 3.0, "a third of a turn to the left"),
    (0.0, "front"),
    (1.0 / 3.0, "a third of a turn to the right"),
];
/// How dark the rim is beside the middle: only so that the eye sees it round, no forecast.
const RIM: f64 = 0.35;

/// A cylinder of `diameter` mm from three sides, all of its girth, `width` pixels wide; seen straight from the side, so
/// that a place `x` to the right of a view's middle is `R asin(x/R)` further round.
///
/// # Errors
/// When the look's planes do not have its size, or the lettering cannot be drawn.
pub fn views(
    scene: &Scene<'_>,
    layout: &Layout,
    look: &Look,
    diameter: f64,
    width: usize,
) -> Result<Picture, ProofError> {
    let gap = width / 40;
    let across = ((width - 4 * gap) / 3).max(1);
    let pixel = diameter / across as f64;
    let height = scene.blank.shape.height();
    let rows = ((height / pixel).round() as usize).max(1);
    let light = unrolled(scene, layout, look)?;
    let letters = (width as f64 / 50.0).max(11.0);
    let below = (2.4 * letters) as usize;
    let mut body = String::new();
    let mut all = Picture::filled(width, rows + 2 * gap, BENCH);
    for (i, &(turn, name)) in VIEWS.iter().enumerate() {
        let left = gap + i * (across + gap);
        let columns: Vec<(f64, f64, f64)> = (0..across).map(|x| seen(x, across, turn)).collect();
        for y in 0..rows {
            let row = (((y as f64 + 0.5) * pixel - layout.top) / layout.pixel) as usize;
            let row = light.get(row * layout.width..(row + 1) * layout.width).unwrap_or_default();
            for (x, &(from, to, shade)) in columns.iter().enumerate() {
                let at = |turns: f64| (turns * TAU / 2.0 * diameter - layout.left) / layout.pixel;
                let girth = TAU / 2.0 * diameter / layout.pixel;
                let grey = srgb8((mean(row, (at(from), at(to)), (at(0.0), girth)) * shade) as f32);
                let place = 3 * ((gap + y) * all.width + left + x);
                all.rgb[place..place + 3].fill(grey);
            }
        }
        body += &format!(
            r#"<text x="{}" y="{}" font-size="{letters}" text-anchor="middle" fill="{INK}">{name}</text>"#,
            left as f64 + across as f64 / 2.0,
            1.5 * letters
        );
    }
    let words = draw(width, below, PAPER, &body)?;
    Ok(super::legend::stack(&all, &words))
}

/// From where to where round the piece column `x` of a view looks, in turns from the seam, and how light it is drawn.
fn seen(x: usize, across: usize, turn: f64) -> (f64, f64, f64) {
    let at = |edge: usize| {
        let s = (2.0 * edge as f64 / across as f64 - 1.0).clamp(-1.0, 1.0);
        0.5 + turn + libm::asin(s) / TAU
    };
    let s = 2.0 * (x as f64 + 0.5) / across as f64 - 1.0;
    (at(x), at(x + 1), RIM + (1.0 - RIM) * (1.0 - s * s).sqrt())
}

/// The mean of a row from one place to another, in pixels of it; the piece goes on round from `start` for a `girth`.
fn mean(row: &[f32], (from, to): (f64, f64), (start, girth): (f64, f64)) -> f64 {
    let count = ((to - from).ceil() as usize).clamp(1, 400);
    let step = (to - from) / count as f64;
    let sum: f64 = (0..count)
        .map(|i| {
            let at = from + (i as f64 + 0.5) * step;
            let wrapped = start + (at - start).rem_euclid(girth);
            f64::from(row.get(wrapped.max(0.0) as usize).copied().unwrap_or(0.0))
        })
        .sum();
    sum / count as f64
}

/// The mantle in linear light, in the pixels of the layout, bare beside the dots.
fn unrolled(scene: &Scene<'_>, layout: &Layout, look: &Look) -> Result<Vec<f32>, ProofError> {
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

/// What the curve does to the focus, in a sentence. The head never leaves the piece's highest line: what turns is the piece.
pub fn focus(diameter: f64, beam: f64, tolerance: f64) -> String {
    let mm = |v: f64| if v < 0.0005 { "less than 0.001".to_string() } else { short(v, 3) };
    format!(
        "The beam meets the piece at its highest line, so the focus is the same along a line and all round; over the beam's own {} mm the surface falls away by {} mm, and {} mm if the head stands {} mm beside the middle of the rotary. A piece that wobbles goes out of focus by as much as it wobbles",
        short(beam, 3),
        mm(fall(diameter, beam / 2.0)),
        mm(fall(diameter, tolerance)),
        short(tolerance, 2)
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::blank::Surface;
    use crate::proof::made::{keep, lighthouse, scene_parts};
    use crate::proof::report::Standing;

    #[test]
    fn the_surface_falls_away_as_a_circle_does() {
        // By hand: R 36.5, e 0.5: 36.5 − √(1332.25 − 0.25) = 0.003425 mm; e²/2R = 0.003425.
        assert!((fall(73.0, 0.5) - 0.003_425).abs() < 1e-6);
        assert!((fall(10.0, 3.0) - 1.0).abs() < 1e-12 && (fall(10.0, 9.0) - 5.0).abs() < 1e-12);
    }

    #[test]
    fn the_middle_of_each_view_is_its_third_of_the_girth_and_its_sides_are_a_quarter_turn_away() {
        for (turn, _) in VIEWS {
            let (from, to, light) = seen(500, 1001, turn);
            assert!(((from + to) / 2.0 - 0.5 - turn).abs() < 1e-12 && light > 0.999);
            assert!((seen(0, 1001, turn).0 - (0.25 + turn)).abs() < 1e-12);
            assert!((seen(1000, 1001, turn).1 - (0.75 + turn)).abs() < 1e-12);
        }
    }

    #[test]
    fn a_cylinder_is_drawn_from_three_sides() {
        let (blank, rect) = scene_parts("cylinder:73x100mm", 2200, 900, 0.1, 0.1);
        let layout = Layout::new(&blank, &rect, 2400);
        let dots = lighthouse(2200, 900);
        let look = Look::of_dots(&dots, &layout, 0.7, 0.05);
        let scene = Scene {
            blank: &blank,
            surface: Surface::Metal,
            rect: &rect,
            y_unmarked: 0.7,
            y_marked: 0.05,
            standing: Standing::Assumed,
            spots: &[],
        };
        let p = views(&scene, &layout, &look, 73.0, 1600).unwrap();
        keep("round.png", &p.to_png(None).unwrap());
        // The seam lies in no view's middle, and is bare: it is seen a sixth of a turn from the middle of the outer two,
        // sin 60° of the radius to the left of the left one's middle.
        let (gap, across) = (40, 480);
        let x = gap as f64 + across as f64 / 2.0 * (1.0 - (TAU / 6.0).sin());
        let bare = p.get(x.round() as usize, 400)[0];
        let shade = RIM + (1.0 - RIM) * (TAU / 6.0).cos();
        assert!(bare.abs_diff(srgb8((0.7 * shade) as f32)) <= 3, "{bare}");
    }
}
