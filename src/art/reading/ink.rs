//! Ink: what of a drawing differs from the ground that it lies on.
//!
//! The ground is the tone along the border (or none, where that is transparent). The share of ink of a place is its
//! distance from the ground in luma and colour differences (ITU-R BT.709-6, item 3), where code values are blended by
//! whatever drew the edges: along an edge the distance is the share of the ink's cover. So white lettering on black
//! is ink, and yellow on white, hardly darker, is seen by its colour.
//!
//! What each share becomes is settled by the tones that are found ([`super::tones`]). Inks that touch and differ in colour, but
//! hardly in their distance from the ground, are told apart before ([`super::alike`]).

use super::alike::{AlikeInks, Inks};
use super::lost::Marked;
use super::tones::Tones;
use super::white::WhiteInk;
use crate::art::colours::{packed, unpacked};
use crate::art::{Colours, Format, Raster, Rendered};
use crate::colour::{Curve, linear_to_srgb, srgb_to_linear};
use crate::parallel;
use crate::plane::{Alpha, Light};
use crate::texts::text;

/// How the shares of ink of a drawing become marks.
#[derive(Debug, Clone)]
pub struct Inked {
    /// Share of ink and what it becomes, rising; empty where it stays as it is.
    steps: Vec<(f64, f64)>,
    /// A note for the person, where the ground is not white.
    pub note: Option<String>,
    /// Inks of different colours that touch and get nearly the same mark all the same.
    pub alike: Option<AlikeInks>,
}

/// Luma and the two colour differences of packed codes, each 0..1.
pub(super) fn opponent_of(code: f32) -> [f32; 3] {
    opponent(unpacked(code).map(|c| f32::from(c) / 255.0))
}

/// Luma and the two colour differences of red, green and blue codes, 0..1.
fn opponent([r, g, b]: [f32; 3]) -> [f32; 3] {
    let y = 0.2126 * r + 0.7152 * g + 0.0722 * b;
    [y, (b - y) / 1.8556, (r - y) / 1.5748]
}

/// What ground and ink are found in.
struct Planes<'a> {
    light: &'a Light,
    alpha: Option<&'a Alpha>,
    /// Red, green and blue codes, packed, where there are colours.
    codes: Option<&'a Light>,
    lossy: bool,
}

/// Least share of ink of a place, and least share of places with it, for a ground to be one: art of one tone all over
/// is all ink.
pub(super) const SEEN: (f32, usize) = (0.1, 5000);

/// Finds ground and ink of a drawing: the drawing as dark ink on white (code 1 − share of ink, as linear light), and how
/// its tones are settled once it is rendered.
pub fn inked(raster: &Raster) -> (Raster, Inked) {
    let codes = raster.colours.as_ref().map(Colours::packed);
    let planes = Planes {
        light: &raster.light,
        alpha: raster.alpha.as_ref(),
        codes: codes.as_ref(),
        lossy: matches!(raster.facts.format, Format::Jpeg | Format::WebP),
    };
    let (light, inked) = planes.inked(planes.ground());
    let (alpha, likeness, facts) = (raster.alpha.clone(), raster.likeness.clone(), raster.facts.clone());
    (Raster { light, alpha, colours: None, likeness, facts }, inked)
}

/// Share of transparency from which it is the ground: rounded corners alone are less.
const AIR: f64 = 0.15;

/// Share of ink of red, green and blue codes, 0..1, on white.
pub fn share_of_ink(rgb: [f32; 3]) -> f32 {
    distance(opponent(rgb), WHITE).min(1.0)
}

/// Does the same to an SVG drawing, rendered, whose ground is not white or whose inks are coloured; else changes nothing: its
/// greys are the tones that were drawn.
pub fn on_its_ground(rendered: &mut Rendered) -> Option<Inked> {
    let codes = rendered.codes.take();
    let planes = Planes {
        light: &rendered.light,
        alpha: rendered.alpha.as_ref(),
        codes: codes.as_ref(),
        lossy: false,
    };
    let ground = planes.ground();
    let white_ink = || planes.alpha.is_some() && planes.white_ink(&planes.shares(WHITE)).is_some();
    if ground.1 && codes.is_none() && !white_ink() {
        return None;
    }
    let (light, inked) = planes.inked(ground);
    if inked.note.is_none() && codes.is_none() {
        return None;
    }
    rendered.light = light;
    inked.settle(&mut rendered.light, 1.0);
    Some(inked)
}

impl Planes<'_> {
    fn inked(&self, (ground, plain): ([f32; 3], bool)) -> (Light, Inked) {
        let mut share = self.shares(ground);
        let differs = share.data().iter().filter(|s| **s > SEEN.0).count();
        let plain = plain || differs * SEEN.1 < share.data().len();
        if plain && ground != WHITE {
            share = self.shares(WHITE);
        }
        let white_ink = if plain { self.white_ink(&share) } else { None };
        if let Some(white) = &white_ink {
            let from_black = self.shares(BLACK);
            let w = share.width();
            parallel::bands(share.data_mut(), w, 32, |first, band| {
                for (i, s) in band.iter_mut().enumerate() {
                    let (x, y) = (i % w, first + i / w);
                    if white.at(x, y) {
                        *s = from_black.row(y)[x];
                    }
                }
            });
        }
        let inks = self.codes.and_then(|codes| Inks::of(codes, &share, self.alpha, self.lossy));
        let inks = inks.map(|mut inks| {
            inks.tell_apart(&mut share);
            inks
        });
        let steps = Tones::of(&share, self.alpha, self.lossy).steps();
        let mark = |s: f64| if steps.is_empty() { s } else { along(&steps, s) };
        let alike = inks.and_then(|inks| inks.alike(mark)).or_else(|| self.lost(&share, mark));
        let curve = Curve::new(|s| srgb_to_linear(1.0 - s));
        let w = share.width();
        parallel::bands(share.data_mut(), w, 32, |_, band| curve.apply(band));
        let note = (!plain).then(|| {
            if ground[0] < 0.5 {
                text!("art.ink.ground-dark").to_string()
            } else {
                text!("art.ink.ground-tinted").to_string()
            }
        });
        let white = || text!("art.ink.white").to_string();
        let note = note.or_else(|| white_ink.map(|_| white()));
        (share, Inked { steps, note, alike })
    }

    /// Two inks whose edges are lost, by the shares of ink and the mark that each becomes.
    fn lost(&self, share: &Light, mark: impl Fn(f64) -> f64) -> Option<AlikeInks> {
        let mark = Curve::new(mark);
        let Some(codes) = self.codes else {
            let grey =
                |i: usize| packed([(Curve::coding().at(self.light.data()[i]) * 255.0).round() as u8; 3]);
            return Marked { code: grey, share, alpha: self.alpha, mark }.lost();
        };
        Marked { code: |i: usize| codes.data()[i], share, alpha: self.alpha, mark }.lost()
    }

    /// Where white is ink, by the shares of ink on white.
    fn white_ink(&self, share: &Light) -> Option<WhiteInk> {
        WhiteInk::of(share, self.alpha?)
    }
}

impl Inked {
    /// Brings the drawing, rendered to dots, to the marks that its tones mean. `enlarged` is how many dots there are
    /// to a picture element: from two on, edges are drawn steeper about their middle, since a soft ramp would be
    /// screened as a tone.
    pub fn settle(&self, light: &mut Light, enlarged: f64) {
        let soft = if enlarged > 1.5 { 0.25 * (1.0 - 1.0 / enlarged) } else { 0.0 };
        let two_tone = self.steps.len() <= 4;
        if self.steps.is_empty() && soft == 0.0 {
            return;
        }
        let steps = if self.steps.is_empty() { vec![(0.0, 0.0), (1.0, 1.0)] } else { self.steps.clone() };
        let become_ = |share: f64| {
            let v = along(&steps, share);
            if two_tone { ((v - soft) / (1.0 - 2.0 * soft)).clamp(0.0, 1.0) } else { v }
        };
        let curve = Curve::new(|y| srgb_to_linear(1.0 - become_(1.0 - linear_to_srgb(y))));
        let w = light.width();
        parallel::bands(light.data_mut(), w, 16, |_, band| curve.apply(band));
    }
}

/// The value of the polygon through `points` at `x`; level beyond its ends.
fn along(points: &[(f64, f64)], x: f64) -> f64 {
    let i = points.partition_point(|p| p.0 <= x);
    match (i.checked_sub(1).and_then(|i| points.get(i)), points.get(i)) {
        (Some(a), Some(b)) => a.1 + (b.1 - a.1) * (x - a.0) / (b.0 - a.0).max(1e-9),
        (Some(end), None) | (None, Some(end)) => end.1,
        (None, None) => x,
    }
}

/// White paper: luma and colour differences.
pub(super) const WHITE: [f32; 3] = [1.0, 0.0, 0.0];
/// Black, from which white ink is told.
const BLACK: [f32; 3] = [0.0; 3];

impl Planes<'_> {
    /// The ground (luma and colour differences), and whether it is white or nothing, as usual.
    fn ground(&self) -> ([f32; 3], bool) {
        let raster = self;
        let (w, h) = (raster.light.width(), raster.light.height());
        // Where a fair part is air, the art lies on that, though a frame of ink runs along its border.
        let air = raster.alpha.map_or(0, |a| a.data().iter().filter(|a| **a < 0.5).count());
        if air as f64 > AIR * (w * h) as f64 {
            return (WHITE, true);
        }
        let frame = (w.min(h) / 100).max(1);
        let code = Curve::coding();
        let at = |x: usize, y: usize| -> [f32; 3] {
            match raster.codes {
                Some(codes) => opponent_of(codes.row(y)[x]),
                None => [code.at(raster.light.row(y)[x]), 0.0, 0.0],
            }
        };
        let mut border: Vec<[f32; 3]> = Vec::new();
        let mut all = 0usize;
        for y in 0..h {
            let inner = y >= frame && y + frame < h;
            let xs: Vec<usize> = if inner {
                (0..frame).chain(w.saturating_sub(frame).max(frame)..w).collect()
            } else {
                (0..w).collect()
            };
            for x in xs {
                all += 1;
                if raster.alpha.is_none_or(|a| a.row(y)[x] >= 0.5) {
                    border.push(at(x, y));
                }
            }
        }
        if border.len() * 2 < all {
            return (WHITE, true);
        }
        let middle = border.len() / 2;
        let median = std::array::from_fn(|k| {
            let mut values: Vec<f32> = border.iter().map(|p| p[k]).collect();
            *values.select_nth_unstable_by(middle, f32::total_cmp).1
        });
        let near = border.iter().filter(|p| distance(**p, median) < 0.08).count();
        // A border of many tones is no ground: paper is assumed.
        if near * 2 < border.len() || distance(median, WHITE) < 0.03 {
            return (WHITE, true);
        }
        (median, false)
    }
}

pub(super) fn distance(a: [f32; 3], b: [f32; 3]) -> f32 {
    let d: f32 = a.iter().zip(b).map(|(a, b)| (a - b) * (a - b)).sum();
    d.sqrt()
}

impl Planes<'_> {
    /// The distance of each place from the ground, at most 1. A lossy file stores colours at half the density and rougher
    /// than luma, so that they bleed over edges: there the least difference of colour around counts.
    fn shares(&self, ground: [f32; 3]) -> Light {
        let (raster, lossy) = (self, self.lossy);
        if let Some(codes) = raster.codes {
            let each = |f: &(dyn Fn([f32; 3]) -> f32 + Sync)| {
                let mut out = codes.clone();
                let w = out.width();
                parallel::bands(out.data_mut(), w, 32, |_, band| {
                    // Most places have their neighbour's colour.
                    let (mut last, mut is) = (f32::NAN, 0.0);
                    for v in band {
                        if *v != last {
                            (last, is) = (*v, f(opponent_of(*v)));
                        }
                        *v = is;
                    }
                });
                out
            };
            if !lossy {
                return each(&|it| distance(it, ground).min(1.0));
            }
            let mut luma = each(&|it| it[0] - ground[0]);
            let tint = each(&|[_, b, r]| distance([0.0, b, r], [0.0, ground[1], ground[2]]));
            let tint = least(&tint);
            let w = luma.width();
            parallel::bands(luma.data_mut(), w, 32, |first, band| {
                for (l, t) in band.iter_mut().zip(&tint.data()[first * w..]) {
                    *l = (*l * *l + t * t).sqrt().min(1.0);
                }
            });
            return luma;
        }
        let off = f64::from(ground[0]);
        let tint = f64::from(ground[1] * ground[1] + ground[2] * ground[2]);
        let curve = Curve::new(|y| {
            let d = linear_to_srgb(y) - off;
            (d * d + tint).sqrt().min(1.0)
        });
        let mut out = raster.light.clone();
        let w = out.width();
        parallel::bands(out.data_mut(), w, 32, |_, band| curve.apply(band));
        out
    }
}

/// The least value within two elements each way.
fn least(plane: &Light) -> Light {
    const REACH: usize = 2;
    let (w, h) = (plane.width(), plane.height());
    let mut along = vec![0.0f32; w * h];
    parallel::bands(&mut along, w, 32, |first, band| {
        for (i, out) in band.chunks_exact_mut(w).enumerate() {
            let row = plane.row(first + i);
            for (x, o) in out.iter_mut().enumerate() {
                *o = row[x.saturating_sub(REACH)..(x + REACH + 1).min(w)].iter().copied().fold(1.0, f32::min);
            }
        }
    });
    let mut out = vec![0.0f32; w * h];
    parallel::bands(&mut out, w, 32, |first, band| {
        for (i, line) in band.chunks_exact_mut(w).enumerate() {
            let y = first + i;
            line.fill(1.0);
            for j in y.saturating_sub(REACH)..(y + REACH + 1).min(h) {
                line.iter_mut().zip(&along[j * w..]).for_each(|(o, &v)| *o = o.min(v));
            }
        }
    });
    Light::from_vec(w, h, out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::art::{Art, Kind, View, open};

    fn raster(w: u32, h: u32, f: impl Fn(u32, u32) -> [u8; 3]) -> Raster {
        let mut png = std::io::Cursor::new(Vec::new());
        image::RgbImage::from_fn(w, h, |x, y| image::Rgb(f(x, y)))
            .write_to(&mut png, image::ImageFormat::Png)
            .unwrap();
        let Art::Raster(r) = open(&png.into_inner(), "made").unwrap() else { panic!() };
        r
    }

    /// The mark that each colour of a row of boxes gets, on a ground; boxes of 40 with 20 between them.
    fn marks(ground: [u8; 3], boxes: &[[u8; 3]]) -> Vec<f64> {
        let w = 20 + 60 * boxes.len() as u32;
        let at = |x: u32| (x.saturating_sub(20) / 60) as usize;
        let r = raster(w, 80, |x, y| {
            if x >= 20 && (x - 20) % 60 < 40 && (20..60).contains(&y) { boxes[at(x)] } else { ground }
        });
        let (raster, inked) = inked(&r);
        let mut light = raster.light;
        inked.settle(&mut light, 1.0);
        assert!(light.row(3)[3] > 0.999, "the ground stays bare");
        (0..boxes.len()).map(|i| 1.0 - linear_to_srgb(f64::from(light.row(40)[40 + 60 * i]))).collect()
    }

    #[test]
    fn a_frame_of_ink_along_the_border_is_no_ground_where_the_rest_is_air() {
        let (w, h) = (60, 40);
        let framed = |x: usize, y: usize| x < 4 || y < 4 || x >= w - 4 || y >= h - 4;
        let alpha = (0..w * h).map(|i| f32::from(u8::from(framed(i % w, i / w)))).collect();
        let mut drawn = Rendered {
            light: Light::filled(w, h, 0.0),
            alpha: Some(Alpha::from_vec(w, h, alpha)),
            codes: None,
        };
        assert!(on_its_ground(&mut drawn).is_none());
        assert!(drawn.light.data().iter().all(|l| *l == 0.0));
    }

    #[test]
    fn the_ground_is_what_the_art_lies_on() {
        let one = |v: Vec<f64>| assert!(v.iter().all(|m| *m > 0.99), "{v:?}");
        one(marks([255; 3], &[[0; 3]]));
        one(marks([0; 3], &[[255; 3]]));
        one(marks([20, 30, 70], &[[250, 250, 240]]));
        one(marks([245, 240, 225], &[[110, 15, 20]]));
        // One ink alone is solid, however light.
        one(marks([255; 3], &[[255, 255, 0]]));
        one(marks([255; 3], &[[255, 255, 150]]));
        one(marks([255; 3], &[[128; 3]]));
    }

    #[test]
    fn strong_inks_are_solid_and_tints_stay() {
        let got = marks([255; 3], &[[0; 3], [20, 40, 110], [200, 30, 40], [150; 3], [240, 190, 30]]);
        assert!(got[..3].iter().all(|m| *m > 0.99), "{got:?}");
        assert!((got[3] - 105.0 / 255.0).abs() < 0.02, "{got:?}");
        assert!((0.3..0.7).contains(&got[4]), "{got:?}");
    }

    #[test]
    fn inks_of_a_drawing_are_those_of_its_picture() {
        let inks = [[20, 40, 110], [200, 30, 40], [240, 190, 30], [130, 200, 90]];
        for one in 0..inks.len() {
            for both in [vec![inks[one]], vec![inks[one], inks[0]], vec![inks[one], [0; 3]]] {
                let wanted = marks([255; 3], &both);
                let boxes = both.iter().enumerate().map(|(i, [r, g, b])| {
                    let x = 20 + 60 * i;
                    format!("<rect x='{x}' y='20' width='40' height='40' fill='rgb({r},{g},{b})'/>")
                });
                let w = 20 + 60 * both.len();
                let svg = format!(
                    "<svg xmlns='http://www.w3.org/2000/svg' width='{w}' height='80'><rect width='{w}' height='80' fill='white'/>{}</svg>",
                    boxes.collect::<String>()
                );
                let art = open(svg.as_bytes(), "made").unwrap();
                let mut drawn = crate::art::render(&art, &View::default(), w, 80, Kind::Drawing).unwrap();
                assert!(drawn.codes.is_some());
                let inked = on_its_ground(&mut drawn).unwrap();
                assert!(inked.note.is_none() && inked.alike.is_none());
                for (i, wanted) in wanted.iter().enumerate() {
                    let got = 1.0 - linear_to_srgb(f64::from(drawn.light.row(40)[40 + 60 * i]));
                    assert!((got - wanted).abs() < 0.02, "{both:?}: {got} for {wanted}");
                }
            }
        }
    }

    #[test]
    fn lettering_on_a_badge_does_not_drown() {
        // Red strokes on a black badge on white.
        let r = raster(200, 200, |x, y| {
            let badge = (40..160).contains(&x) && (40..160).contains(&y);
            let stroke = (60..140).contains(&x) && y % 20 < 8;
            if badge && stroke {
                [220, 20, 30]
            } else if badge {
                [0; 3]
            } else {
                [255; 3]
            }
        });
        let (raster, inked) = inked(&r);
        let mut light = raster.light;
        inked.settle(&mut light, 1.0);
        let mark = |x: usize, y: usize| 1.0 - linear_to_srgb(f64::from(light.row(y)[x]));
        assert!(mark(50, 100) > 0.99 && mark(100, 104) < 0.7, "{} {}", mark(50, 100), mark(100, 104));
    }

    #[test]
    fn a_clean_black_drawing_is_left_as_it_is() {
        let r = raster(100, 100, |x, y| [if (x / 9 + y / 9) % 3 == 0 { 0 } else { 255 }; 3]);
        let (_, inked) = inked(&r);
        assert!(inked.steps.is_empty() && inked.note.is_none());
    }

    #[test]
    fn the_ripple_of_a_jpeg_is_bare_and_an_edge_keeps_its_place() {
        let mut jpeg = std::io::Cursor::new(Vec::new());
        let picture = image::GrayImage::from_fn(256, 256, |x, y| {
            let d = (f64::from(x) - 128.0).hypot(f64::from(y) - 128.0);
            image::Luma([((d - 80.0).abs() - 6.0).clamp(0.0, 1.0).mul_add(255.0, 0.0) as u8])
        });
        let ideal: f64 = picture.pixels().map(|p| 1.0 - f64::from(p.0[0]) / 255.0).sum();
        image::codecs::jpeg::JpegEncoder::new_with_quality(&mut jpeg, 30).encode_image(&picture).unwrap();
        let Art::Raster(r) = open(&jpeg.into_inner(), "made").unwrap() else { panic!() };
        let (raster, inked) = inked(&r);
        let mut light = raster.light;
        inked.settle(&mut light, 1.0);
        let marks: Vec<f64> = light.data().iter().map(|&y| 1.0 - linear_to_srgb(f64::from(y))).collect();
        let sum: f64 = marks.iter().sum();
        assert!((sum / ideal - 1.0).abs() < 0.03, "{}", sum / ideal);
        let specks = (0..256 * 256)
            .filter(|i| ((i % 256) as f64 - 128.0).hypot((i / 256) as f64 - 128.0) < 60.0 && marks[*i] > 0.03)
            .count();
        assert!(specks < 20, "{specks}");
    }
}
