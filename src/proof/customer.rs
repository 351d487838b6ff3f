//! `customer.png`: the art as it was brought, and the piece as it is forecast beside it, to be sent for approval: no
//! margin, no stripes, no figures of the trade.

use super::canvas::{Picture, ProofError, blend, draw, escape, wrapped};
use super::ground::BENCH;
use super::layout::{Layout, Look};
use super::legend::{INK, PAPER};
use super::picture::{self, Scene};
use super::reduce::{as_seen, reduced};
use super::report::Footing;
use super::round;
use crate::art::Likeness;
use crate::blank::Shape;
use crate::texts::text;
use crate::units::short;

/// Side of either half, pixels.
const SIDE: usize = 960;
/// Between and around them.
const GAP: usize = 28;
/// Size of the letters.
const LETTERS: usize = 24;
/// Letters of a line.
const LINE: usize = 72;

/// The two side by side. `mirrored` work is shown from the side that it is looked at from.
///
/// # Errors
/// When the look's planes do not have its size, or the lettering cannot be drawn.
pub fn customer(
    original: &Likeness,
    scene: &Scene,
    layout: &Layout,
    look: &Look,
    mirrored: bool,
) -> Result<Picture, ProofError> {
    let mut piece = match scene.blank.shape.turned() {
        Some(mantle) => reduced(&round::views(scene, layout, look, &mantle, layout.width)?, SIDE)?,
        None => as_seen(&picture::plain(scene, layout, look)?, layout.pixel, SIDE)?,
    };
    if mirrored {
        piece = flipped(&piece);
    }
    let original = enlarged(reduced(&over_bench(original), SIDE)?);
    let high = original.height.max(piece.height);
    let finished = text!("proof.customer.finished", size = size(&scene.blank.shape));
    let mut beside = vec![finished.as_str()];
    match scene.footing {
        Footing::Assumed => {
            beside.push(text!("proof.customer.assumed"));
        }
        Footing::InPart => beside.push(text!("proof.customer.in-part")),
        Footing::Measured => {}
    }
    let mut all = Picture::filled(2 * SIDE + 3 * GAP, high + 2 * GAP, PAPER);
    let mut body = String::new();
    let mut lines = 0;
    for (i, (half, said)) in
        [(original, vec![text!("proof.customer.original")]), (piece, beside)].iter().enumerate()
    {
        let x = GAP + i * (SIDE + GAP);
        all.lay(half, x + (SIDE - half.width) / 2, GAP + (high - half.height) / 2);
        let said: Vec<String> = said.iter().flat_map(|sentence| wrapped(sentence, LINE)).collect();
        for (n, line) in said.iter().enumerate() {
            body += &text(x, n * LETTERS * 3 / 2 + LETTERS, line);
        }
        lines = lines.max(said.len());
    }
    let below = draw(all.width, lines * LETTERS * 3 / 2 + GAP, PAPER, &body)?;
    Ok(super::legend::stack(&all, &below))
}

fn text(x: usize, y: usize, words: &str) -> String {
    format!(r#"<text x="{x}" y="{y}" font-size="{LETTERS}" fill="{INK}">{}</text>"#, escape(words))
}

/// A size as a customer says it.
fn size(shape: &Shape) -> String {
    match *shape {
        Shape::Round { diameter } => text!("proof.size.round", diameter = short(diameter.0, 1)),
        Shape::Rect { width, height, .. } => {
            text!("proof.size.flat", width = short(width.0, 1), height = short(height.0, 1))
        }
        Shape::Cylinder { diameter, height, .. } => {
            text!("proof.size.cylinder", diameter = short(diameter.0, 1), height = short(height.0, 1))
        }
        Shape::Cone { foot, top, height, .. } => text!(
            "proof.size.cone",
            foot = short(foot.0, 1),
            top = short(top.0, 1),
            height = short(height.0, 1)
        ),
    }
}

/// What is transparent shows the bench: a grey on which black and white ink are both seen.
fn over_bench(l: &Likeness) -> Picture {
    let mut p = Picture::filled(l.width, l.height, BENCH);
    for (pixel, from) in p.rgb.chunks_exact_mut(3).zip(l.rgba.chunks_exact(4)) {
        blend(pixel, [from[0], from[1], from[2]], f32::from(from[3]) / 255.0);
    }
    p
}

/// Left and right changed.
fn flipped(p: &Picture) -> Picture {
    let mut out = p.clone();
    for (to, from) in out.rgb.chunks_exact_mut(3 * p.width).zip(p.rgb.chunks_exact(3 * p.width)) {
        for (a, b) in to.chunks_exact_mut(3).zip(from.chunks_exact(3).rev()) {
            a.copy_from_slice(b);
        }
    }
    out
}

/// As many whole times larger as fit: a small logo stays as coarse as it is, and says so.
fn enlarged(p: Picture) -> Picture {
    let times = SIDE / p.width.max(p.height).max(1);
    if times < 2 {
        return p;
    }
    let mut out = Picture::filled(p.width * times, p.height * times, [0; 3]);
    for (y, row) in out.rgb.chunks_exact_mut(3 * p.width * times).enumerate() {
        for (x, pixel) in row.chunks_exact_mut(3).enumerate() {
            pixel.copy_from_slice(&p.get(x / times, y / times));
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::blank::Surface;
    use crate::proof::ground::{MARGIN, OVER_BURN};
    use crate::proof::made::{keep, lighthouse, scene_parts};

    #[test]
    fn a_customer_sees_the_piece_and_nothing_of_the_workshop() {
        let (blank, rect) = scene_parts("round:90mm", 971, 971, 0.0875, 0.0875);
        let layout = Layout::new(&blank, &rect, 2400);
        let mut look = Look::of_dots(&lighthouse(971, 971), &layout, 0.03, 0.65);
        look.over_burn = vec![1.0; look.columns * look.rows];
        let scene = Scene {
            blank: &blank,
            surface: Surface::Glass,
            rect: &rect,
            y_unmarked: 0.03,
            y_marked: 0.65,
            footing: Footing::Assumed,
            spots: &[(30.0, 40.0)],
        };
        let mut rgba = Vec::new();
        (0..40 * 30).for_each(|i| rgba.extend([200, (i % 255) as u8, 40, if i % 40 < 5 { 0 } else { 255 }]));
        let original = Likeness { width: 40, height: 30, rgba };
        let seen = |mirrored| customer(&original, &scene, &layout, &look, mirrored).unwrap();
        let p = seen(false);
        keep("customer.png", &p.to_png(None).unwrap());
        let colours = |p: &Picture, c: [u8; 3]| p.rgb.chunks_exact(3).filter(|v| *v == c).count();
        assert_eq!((colours(&p, OVER_BURN), colours(&p, MARGIN)), (0, 0));
        // The mirrored one is the other way round on the right and the same on the left.
        let m = seen(true);
        let half = |p: &Picture, x: usize| {
            p.rgb.chunks_exact(3 * p.width).map(|r| r[3 * x..3 * (x + 900)].to_vec()).collect::<Vec<_>>()
        };
        assert_eq!(half(&p, GAP), half(&m, GAP));
        assert_ne!(half(&p, 2 * GAP + SIDE), half(&m, 2 * GAP + SIDE));
        let (a, b) = (p.get(2 * GAP + SIDE + 300, 400), m.get(2 * GAP + 2 * SIDE - 301, 400));
        assert!(a.iter().zip(b).all(|(a, b)| a.abs_diff(b) < 30), "{a:?} {b:?}");
    }
}
