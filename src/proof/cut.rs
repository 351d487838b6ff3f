//! The cut of a cone: its mantle as a sector, in true size, to be printed, cut out and laid round the piece.

use std::f64::consts::PI;

use super::canvas::{Picture, ProofError, escape};
use super::layout::{Layout, Look};
use super::legend::PAPER;
use super::page::data_uri;
use super::picture::Scene;
use super::round::{tent, unrolled};
use crate::blank::Mantle;
use crate::colour::srgb8;
use crate::parallel;
use crate::texts::text;
use crate::units::short;

/// Size of a pixel of the forecast in it, mm, and its most pixels along a side.
const PIXEL: f64 = 0.15;
const MOST: f64 = 3000.0;
/// What is left free round the sector, mm.
const EDGE: f64 = 5.0;
/// Room for the words below, mm.
const WORDS: f64 = 16.0;
/// Chords stay this close to an arc, mm.
const CHORD_ERROR: f64 = 0.01;

/// A mantle unrolled to a sector, its top above. Places of the sheet are mm to the right of the middle and down.
struct Sector {
    mantle: Mantle,
    /// Radius of the foot's circle, mm.
    foot: f64,
    /// 1 where radii grow towards the top, −1 where they shrink.
    sign: f64,
}

impl Sector {
    fn of(mantle: &Mantle) -> Option<Sector> {
        let foot = mantle.unrolled_foot()?;
        Some(Sector { mantle: *mantle, foot, sign: if mantle.top > mantle.foot { 1.0 } else { -1.0 } })
    }

    /// Where a place of the mantle comes to lie: `aside` mm round it from the middle opposite the seam, `up` mm along it.
    fn sheet(&self, (aside, up): (f64, f64)) -> (f64, f64) {
        let radius = self.foot + self.sign * up;
        let (sin, cos) = libm::sincos(aside / radius);
        (radius * sin, -self.sign * radius * cos)
    }

    /// The place of the mantle that lies there; it may lie beyond the ends or the seam.
    fn mantle(&self, (x, down): (f64, f64)) -> (f64, f64) {
        let radius = x.hypot(down);
        (radius * libm::atan2(x, -self.sign * down), self.sign * (radius - self.foot))
    }

    /// Half the girth `up` mm from the foot, mm.
    fn half(&self, up: f64) -> f64 {
        PI / 2.0 * self.mantle.across(up)
    }

    /// A way along the mantle, straight from place to place there, as points of the sheet.
    fn way(&self, places: &[(f64, f64)]) -> Vec<(f64, f64)> {
        let mut points: Vec<(f64, f64)> = places.first().map(|&p| self.sheet(p)).into_iter().collect();
        for pair in places.windows(2) {
            let (p, q) = (pair[0], pair[1]);
            // A chord over the angle t stays within r t²/8 of its arc. What runs straight up the piece takes one.
            let radius = |up: f64| self.foot + self.sign * up;
            let turned = (q.0 / radius(q.1) - p.0 / radius(p.1)).abs();
            let most = (8.0 * CHORD_ERROR / radius(p.1).max(radius(q.1))).sqrt();
            let parts = (turned / most - 1e-9).ceil().clamp(1.0, 2000.0) as usize;
            points.extend((1..=parts).map(|i| {
                let t = i as f64 / parts as f64;
                self.sheet((p.0 + t * (q.0 - p.0), p.1 + t * (q.1 - p.1)))
            }));
        }
        points
    }
}

/// The cut of a cone as an SVG in millimetres: the outline to cut along, the forecast and the box of the art on it, the line
/// opposite the seam, and a rule to check the print by. `None` for a piece that is no cone.
///
/// # Errors
/// When the look's planes do not have its size, or the picture cannot be encoded.
pub fn cut(scene: &Scene<'_>, layout: &Layout, look: &Look) -> Result<Option<String>, ProofError> {
    let Some(mantle) = scene.blank.shape.turned() else { return Ok(None) };
    let Some(sector) = Sector::of(&mantle) else { return Ok(None) };
    let slant = mantle.slant();
    let (foot, top) = (sector.half(0.0), sector.half(slant));
    let outline = sector.way(&[(-foot, 0.0), (foot, 0.0), (top, slant), (-top, slant), (-foot, 0.0)]);
    let least = |f: fn(&(f64, f64)) -> f64| outline.iter().map(f).fold(f64::INFINITY, f64::min);
    let most = |f: fn(&(f64, f64)) -> f64| outline.iter().map(f).fold(f64::NEG_INFINITY, f64::max);
    let (left, upper) = (least(|p| p.0) - EDGE, least(|p| p.1) - EDGE);
    let (width, height) = (most(|p| p.0) + EDGE - left, most(|p| p.1) + EDGE - upper);
    let picture = laid(&sector, &unrolled(scene, layout, look)?, layout, (left, upper), (width, height));
    let png = data_uri(&picture.to_png(None).map_err(|e| ProofError::Page(e.to_string()))?);
    let path = |points: &[(f64, f64)], style: &str| {
        let d: Vec<String> =
            points.iter().map(|p| format!("{} {}", short(p.0 - left, 3), short(p.1 - upper, 3))).collect();
        format!("<path d=\"M{}\" {style}/>\n", d.join("L"))
    };
    let rect = scene.rect;
    let (high, low) = (slant - rect.top.0, slant - rect.top.0 - rect.height());
    let [at_foot, at_top] = rect
        .sides(&scene.blank.shape)
        .map(|(left, right)| [left, right].map(|x| x - PI * mantle.widest() / 2.0));
    let art = sector.way(&[
        (at_foot[0], low),
        (at_foot[1], low),
        (at_top[1], high),
        (at_top[0], high),
        (at_foot[0], low),
    ]);
    let front = sector.way(&[(0.0, 0.0), (0.0, slant)]);
    let middle = width / 2.0;
    let line = |y: f64, words: &str| {
        format!("<text x=\"{}\" y=\"{}\">{}</text>\n", short(middle, 3), short(height + y, 3), escape(words))
    };
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{0}mm\" height=\"{1}mm\" viewBox=\"0 0 {0} {1}\" fill=\"none\" stroke=\"#000\" stroke-width=\"0.2\">\n",
        short(width, 3),
        short(height + WORDS, 3)
    );
    svg += &format!(
        "<image width=\"{}\" height=\"{}\" preserveAspectRatio=\"none\" href=\"{png}\"/>\n",
        short(width, 3),
        short(height, 3)
    );
    svg += &path(&outline, "stroke-linejoin=\"round\"");
    svg += &path(&art, "stroke=\"#3a7cba\" stroke-dasharray=\"2 1.5\"");
    svg += &path(&front, "stroke=\"#3a7cba\" stroke-dasharray=\"6 1.5 1 1.5\"");
    svg += "<g fill=\"#000\" stroke=\"none\" font-family=\"sans-serif\" font-size=\"3\" text-anchor=\"middle\">\n";
    svg += &line(
        2.0,
        &text!(
            "proof.cut.cone",
            foot = short(mantle.foot.0, 2),
            top = short(mantle.top.0, 2),
            height = short(mantle.height.0, 2),
            slope = short(slant, 2)
        ),
    );
    svg += &line(6.5, text!("proof.cut.print"));
    svg += &line(11.0, text!("proof.cut.rule"));
    svg += "</g>\n";
    svg += &format!(
        "<path d=\"M{0} {1}h50m0 -1v2m-50 0v-2\"/>\n</svg>\n",
        short(middle - 25.0, 3),
        short(height + 13.5, 3)
    );
    Ok(Some(svg))
}

/// The forecast on the sheet, whose upper left corner lies at a place of it.
fn laid(
    sector: &Sector,
    light: &[f32],
    layout: &Layout,
    (left, upper): (f64, f64),
    (width, height): (f64, f64),
) -> Picture {
    let pixel = PIXEL.max(width.max(height) / MOST);
    let count = |mm: f64| ((mm / pixel).round() as usize).max(1);
    let mut picture = Picture::filled(count(width), count(height), PAPER);
    let (across, down) = (width / picture.width as f64, height / picture.height as f64);
    let girth = sector.mantle.girth();
    let slant = sector.mantle.slant();
    let stride = 3 * picture.width;
    parallel::bands(&mut picture.rgb, stride, 8, |first, band| {
        for (y, row) in (first..).zip(band.chunks_exact_mut(stride)) {
            for (x, rgb) in row.chunks_exact_mut(3).enumerate() {
                let place = (left + (x as f64 + 0.5) * across, upper + (y as f64 + 0.5) * down);
                let (aside, up) = sector.mantle(place);
                if (0.0..=slant).contains(&up) && aside.abs() <= sector.half(up) {
                    rgb.fill(srgb8(seen(light, layout, (girth / 2.0 + aside, slant - up), across) as f32));
                }
            }
        }
    });
    picture
}

/// The light of the unrolled mantle, mm to the right of its left edge and down, weighed as a tent that reaches `reach` mm
/// either way.
fn seen(light: &[f32], layout: &Layout, (right, down): (f64, f64), reach: f64) -> f64 {
    let at = |mm: f64, edge: f64| (mm - edge) / layout.pixel;
    let reach = reach / layout.pixel;
    tent(at(down, layout.top), reach)
        .map(|(row, high)| {
            let from = usize::try_from(row).unwrap_or(0) * layout.width;
            let row = light.get(from..from + layout.width).unwrap_or_default();
            let mix = tent(at(right, layout.left), reach)
                .map(|(i, wide)| {
                    let light = usize::try_from(i).ok().and_then(|i| row.get(i));
                    wide * light.copied().map_or(0.0, f64::from)
                })
                .sum::<f64>();
            high * mix
        })
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Mm;

    fn sector(foot: f64, top: f64, height: f64) -> Sector {
        Sector::of(&Mantle { foot: Mm(foot), top: Mm(top), height: Mm(height) }).unwrap()
    }

    #[test]
    fn a_place_is_found_again_on_the_sheet() {
        for sector in [sector(60.0, 78.0, 120.0), sector(78.0, 60.0, 120.0)] {
            for place in [(0.0, 0.0), (-70.0, 30.0), (55.5, 119.0)] {
                let back = sector.mantle(sector.sheet(place));
                assert!(
                    (back.0 - place.0).abs() < 1e-9 && (back.1 - place.1).abs() < 1e-9,
                    "{place:?} {back:?}"
                );
            }
            // The top lies above.
            assert!(sector.sheet((0.0, 100.0)).1 < sector.sheet((0.0, 0.0)).1);
        }
    }

    #[test]
    fn the_sector_has_the_arcs_and_the_sides_of_the_mantle() {
        let sector = sector(60.0, 78.0, 120.0);
        let long = |points: &[(f64, f64)]| -> f64 {
            points.windows(2).map(|p| (p[1].0 - p[0].0).hypot(p[1].1 - p[0].1)).sum()
        };
        let slant = sector.mantle.slant();
        for (up, across) in [(0.0, 60.0), (slant, 78.0)] {
            let half = sector.half(up);
            assert!((long(&sector.way(&[(-half, up), (half, up)])) - PI * across).abs() < 0.01);
        }
        // Along the seam the girth's half is straight.
        let seam = sector.way(&[(sector.half(0.0), 0.0), (sector.half(slant), slant)]);
        assert!((long(&seam) - slant).abs() < 0.01, "{} {slant}", long(&seam));
        let (a, b) = (seam[0], seam[seam.len() - 1]);
        let off = |p: &(f64, f64)| ((b.0 - a.0) * (p.1 - a.1) - (b.1 - a.1) * (p.0 - a.0)).abs() / slant;
        assert!(seam.iter().all(|p| off(p) < 1e-6));
    }
}
