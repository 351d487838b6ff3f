//! Alike: inks that touch and differ in colour, but hardly in how far they are from the ground.
//!
//! Shares of ink are one number: red and navy differ as much from white, so that red lettering on a navy panel would be one
//! solid with it. Inks are found by their colours, as flat places gather about them. Of two that touch and are alike, the one
//! that touches more of the ground (or is larger) stays as strong as it is, and the other becomes a tint of it, as where a strong
//! ink touches a stronger one.

use super::ink::{SEEN, WHITE, distance, opponent_of};
use super::tones::{BESIDE, least_opacity};
use crate::art::colours::unpacked;
use crate::parallel;
use crate::plane::{Alpha, Light};

/// Inks that differ by less of the share are alike: their tones would be taken for one.
const ALIKE: f64 = 0.08;
/// Marks that differ by less look the same on the piece, beside each other.
pub(super) const SAME_MARK: f64 = 0.12;
/// Inks are of different colours from this distance on.
const OTHER_COLOUR: f32 = 0.15;
/// What lies within so much of an ink's colour is that ink.
const NEAR: f32 = 0.06;
/// Most inks that are looked for.
const MOST: usize = 8;
/// Neighbours are looked for so many elements away, beyond a soft edge.
const APART: usize = 4;
/// What of a place's colour no mixture of ground and two inks explains, from where it counts as little and as none of theirs.
const UNEXPLAINED: (f32, f32) = (0.06, 0.14);

/// Labels of places beside the numbers of inks.
const GROUND: u8 = 254;
const MIXED: u8 = 255;

/// Two inks that touch and get nearly the same mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct AlikeInks {
    /// Red, green and blue codes of the one that there is more of.
    pub larger: [u8; 3],
    /// Red, green and blue codes of the other.
    pub smaller: [u8; 3],
}

/// A colour that fills a notable area evenly.
#[derive(Debug, Clone)]
struct Ink {
    code: f32,
    colour: [f32; 3],
    places: u64,
    /// Its distance from the ground, and the share of ink that it gets.
    found: f64,
    share: f64,
    /// The number of the ink that it is told apart from.
    beside: Option<usize>,
}

/// The inks of a drawing, and which of them touch.
pub(super) struct Inks<'a> {
    codes: &'a Light,
    ground: [f32; 3],
    inks: Vec<Ink>,
    /// Pairs of neighbours: of each ink with each other, with the ground, and with anything.
    with: Vec<Vec<u64>>,
    with_ground: Vec<u64>,
    border: Vec<u64>,
}

impl<'a> Inks<'a> {
    /// `None` where there are no two that could be taken for each other.
    pub fn of(codes: &'a Light, share: &Light, alpha: Option<&Alpha>, lossy: bool) -> Option<Inks<'a>> {
        let (inks, ground) = found(codes, share, alpha, lossy);
        let other = |a: &Ink, b: &Ink| distance(a.colour, b.colour) > OTHER_COLOUR;
        if !inks.iter().enumerate().any(|(i, a)| inks[i + 1..].iter().any(|b| other(a, b))) {
            return None;
        }
        let labels = labels(codes, share, alpha, &inks);
        let n = inks.len();
        let mut it = Inks {
            codes,
            ground,
            inks,
            with: vec![vec![0; n]; n],
            with_ground: vec![0; n],
            border: vec![0; n],
        };
        it.count(&labels, (codes.width(), codes.height()));
        Some(it)
    }

    fn count(&mut self, labels: &[u8], (w, h): (usize, usize)) {
        let mut pair = |a: u8, b: u8| {
            if a == b {
                return;
            }
            for (one, other) in [(a, b), (b, a)] {
                let Some(border) = self.border.get_mut(usize::from(one)) else { continue };
                *border += 1;
                if other == GROUND {
                    self.with_ground[usize::from(one)] += 1;
                } else if let Some(n) = self.with[usize::from(one)].get_mut(usize::from(other)) {
                    *n += 1;
                }
            }
        };
        for y in (0..h).step_by(every(w, h)) {
            let row = &labels[y * w..(y + 1) * w];
            row.iter().zip(row.iter().skip(APART)).for_each(|(a, b)| pair(*a, *b));
            if let Some(below) = labels.get((y + APART) * w..(y + APART + 1) * w) {
                row.iter().zip(below).for_each(|(a, b)| pair(*a, *b));
            }
        }
    }

    /// Whether two inks of different colours share a notable part of either's border.
    fn touch(&self, i: usize, j: usize) -> bool {
        i != j
            && self.with[i][j] * 20 > self.border[i].min(self.border[j])
            && distance(self.inks[i].colour, self.inks[j].colour) > OTHER_COLOUR
    }

    /// Gives alike inks that touch different shares, and puts these into the plane of shares.
    pub fn tell_apart(&mut self, share: &mut Light) {
        let mut order: Vec<usize> = (0..self.inks.len()).collect();
        order.sort_by_key(|&i| {
            (std::cmp::Reverse((self.with_ground[i], self.inks[i].places)), self.inks[i].code as u32)
        });
        for (at, &j) in order.iter().enumerate() {
            let settled = &order[..at];
            let beside = |share: f64| {
                settled
                    .iter()
                    .copied()
                    .find(|&i| self.touch(i, j) && (self.inks[i].share - share).abs() < ALIKE)
            };
            let Some(i) = beside(self.inks[j].share) else { continue };
            let tint = self.inks[i].share * BESIDE;
            // A third ink that touches both is half of that.
            let tint = [tint, tint * 0.5].into_iter().find(|t| beside(*t).is_none()).unwrap_or(tint);
            self.inks[j].share = tint;
            self.inks[j].beside = Some(i);
        }
        let changed: Vec<Mix> = (0..self.inks.len()).filter_map(|j| self.mix(j)).collect();
        if changed.is_empty() {
            return;
        }
        let (w, codes) = (share.width(), self.codes);
        parallel::bands(share.data_mut(), w, 32, |first, band| {
            // Most places have their neighbour's colour.
            let (mut last, mut less) = (f32::NAN, 0.0);
            for (s, &code) in band.iter_mut().zip(&codes.data()[first * w..]) {
                if code != last {
                    let colour = opponent_of(code);
                    (last, less) = (code, changed.iter().map(|m| m.less(colour)).fold(0.0, f32::max));
                }
                *s = (*s - less).max(0.0);
            }
        });
    }

    /// How an ink that was told apart is taken out of mixtures.
    fn mix(&self, j: usize) -> Option<Mix> {
        let ink = &self.inks[j];
        let beside = ink.beside?;
        let others = (0..self.inks.len()).filter(|k| ![j, beside].contains(k)).map(|k| self.inks[k].colour);
        Some(Mix {
            ground: self.ground,
            beside: less(self.inks[beside].colour, self.ground),
            ink: less(ink.colour, self.ground),
            others: others.collect(),
            change: (ink.found - ink.share) as f32,
        })
    }

    /// The two that touch most of those which get nearly the same `mark`.
    pub fn alike(&self, mark: impl Fn(f64) -> f64) -> Option<AlikeInks> {
        let marks: Vec<f64> = self.inks.iter().map(|ink| mark(ink.share)).collect();
        let n = self.inks.len();
        let pairs = (0..n).flat_map(|i| (i + 1..n).map(move |j| (i, j)));
        let same = pairs.filter(|&(i, j)| self.touch(i, j) && (marks[i] - marks[j]).abs() < SAME_MARK);
        let (i, j) = same.max_by_key(|&(i, j)| (self.with[i][j], std::cmp::Reverse((i, j))))?;
        let (i, j) = if self.inks[i].places >= self.inks[j].places { (i, j) } else { (j, i) };
        Some(AlikeInks { larger: unpacked(self.inks[i].code), smaller: unpacked(self.inks[j].code) })
    }
}

/// A ground and two inks, of which every colour along an edge is mixed.
struct Mix {
    ground: [f32; 3],
    beside: [f32; 3],
    ink: [f32; 3],
    /// Other inks, which are no mixture.
    others: Vec<[f32; 3]>,
    /// What the ink's share loses.
    change: f32,
}

impl Mix {
    /// What a place of this colour loses: as much as there is of the ink in it.
    fn less(&self, colour: [f32; 3]) -> f32 {
        if self.others.iter().any(|o| distance(*o, colour) < NEAR) {
            return 0.0;
        }
        let c = less(colour, self.ground);
        let (aa, bb, ab) =
            (dot(self.beside, self.beside), dot(self.ink, self.ink), dot(self.beside, self.ink));
        let (ca, cb) = (dot(c, self.beside), dot(c, self.ink));
        let det = aa * bb - ab * ab;
        let (mut a, mut b) = if det > 1e-6 {
            ((ca * bb - cb * ab) / det, (cb * aa - ca * ab) / det)
        } else {
            (0.0, cb / bb.max(1e-6))
        };
        if a < 0.0 {
            (a, b) = (0.0, cb / bb.max(1e-6));
        } else if b < 0.0 {
            (a, b) = (ca / aa.max(1e-6), 0.0);
        }
        let b = b.clamp(0.0, 1.0);
        let rest: [f32; 3] = std::array::from_fn(|k| c[k] - a * self.beside[k] - b * self.ink[k]);
        let (from, to) = UNEXPLAINED;
        let trust = ((to - dot(rest, rest).sqrt()) / (to - from)).clamp(0.0, 1.0);
        b * trust * self.change
    }
}

fn less(a: [f32; 3], b: [f32; 3]) -> [f32; 3] {
    std::array::from_fn(|k| a[k] - b[k])
}

fn dot(a: [f32; 3], b: [f32; 3]) -> f32 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Colours of a drawing are gathered in cubes of so many bits a side.
const BITS: u32 = 5;
/// Of a large picture every so many rows are looked at: enough for what fills a notable area.
pub(super) fn every(w: usize, h: usize) -> usize {
    (w * h / 1_000_000).clamp(1, 8)
}

/// Parts of a picture that are gathered each by itself.
const PARTS: usize = 8;

/// What gathers in a cube of colours, or about one.
#[derive(Debug, Clone, Copy, Default)]
struct Gathered {
    flat: u64,
    sum: [u64; 3],
    /// Of shares, in steps of 1/65535.
    share: u64,
}

impl Gathered {
    fn add(&mut self, other: &Gathered) {
        self.flat += other.flat;
        (0..3).for_each(|k| self.sum[k] += other.sum[k]);
        self.share += other.share;
    }

    fn code(&self) -> f32 {
        let n = self.flat.max(1);
        crate::art::colours::packed(self.sum.map(|s| ((s + n / 2) / n).min(255) as u8))
    }

    fn colour(&self) -> [f32; 3] {
        opponent_of(self.code())
    }
}

/// The inks, largest first, and the colour of the ground.
fn found(codes: &Light, share: &Light, alpha: Option<&Alpha>, lossy: bool) -> (Vec<Ink>, [f32; 3]) {
    let (w, h) = (codes.width(), codes.height());
    let step = if lossy { 10 } else { 3 };
    let least = alpha.map_or(0.0, least_opacity);
    let near = |a: [u8; 3], b: f32| a.iter().zip(unpacked(b)).all(|(a, b)| a.abs_diff(b) <= step);
    let parts = parallel::map(h.min(PARTS), |part| {
        let mut cubes = vec![Gathered::default(); 1 << (3 * BITS)];
        let (mut places, mut inked) = (0u64, 0u64);
        let rows = h * part / PARTS.min(h)..h * (part + 1) / PARTS.min(h);
        for y in rows.step_by(every(w, h)) {
            let (row, below, shares) = (codes.row(y), codes.row((y + 1).min(h - 1)), share.row(y));
            for x in 0..w {
                if alpha.is_some_and(|a| a.row(y)[x] < least) {
                    continue;
                }
                places += 1;
                inked += u64::from(shares[x] > SEEN.0);
                let code = unpacked(row[x]);
                if near(code, row[(x + 1).min(w - 1)]) && near(code, below[x]) {
                    let cube = code.iter().fold(0, |at, c| (at << BITS) | usize::from(c >> (8 - BITS)));
                    let share = (shares[x] * 65535.0).round() as u64;
                    cubes[cube].add(&Gathered { flat: 1, sum: code.map(u64::from), share });
                }
            }
        }
        (cubes, places, inked)
    });
    let mut cubes = vec![Gathered::default(); 1 << (3 * BITS)];
    let (mut places, mut inked) = (0u64, 0u64);
    for (part, p, i) in &parts {
        cubes.iter_mut().zip(part).for_each(|(all, one)| all.add(one));
        (places, inked) = (places + p, inked + i);
    }
    let mut left: Vec<Gathered> = cubes.into_iter().filter(|c| c.flat > 0).collect();
    let all = left.clone();
    let about = |of: &[Gathered], middle: [f32; 3], reach: f32| {
        let mut sum = Gathered::default();
        of.iter().filter(|c| distance(c.colour(), middle) < reach).for_each(|c| sum.add(c));
        sum
    };
    let (mut inks, mut ground) = (Vec::new(), None);
    for _ in 0..2 * MOST {
        let Some(peak) = (0..left.len()).max_by_key(|&i| (left[i].flat, std::cmp::Reverse(i))) else { break };
        let middle = left[peak].colour();
        let core = about(&left, middle, NEAR);
        if core.flat * 200 < places && core.flat * 12 < inked || core.flat * 2000 < places || core.flat == 0 {
            break;
        }
        // An ink stands for itself; a gradient has as much beside it.
        let alone = core.flat * 10 >= about(&all, middle, 2.0 * NEAR).flat * 6;
        let share = core.share as f64 / 65535.0 / core.flat as f64;
        left.retain(|c| distance(c.colour(), middle) >= NEAR);
        if share <= f64::from(SEEN.0) {
            ground.get_or_insert(core.colour());
        } else if alone && inks.len() < MOST {
            inks.push(Ink {
                code: core.code(),
                colour: core.colour(),
                places: core.flat,
                found: share,
                share,
                beside: None,
            });
        }
    }
    (inks, ground.unwrap_or(WHITE))
}

/// Of each place the number of its ink, or what else it is.
fn labels(codes: &Light, share: &Light, alpha: Option<&Alpha>, inks: &[Ink]) -> Vec<u8> {
    let w = codes.width();
    let mut out = vec![MIXED; codes.data().len()];
    parallel::bands(&mut out, w, 32, |first, band| {
        let (mut last, mut label) = (f32::NAN, MIXED);
        for (i, out) in band.iter_mut().enumerate() {
            let at = first * w + i;
            let (code, share) = (codes.data()[at], share.data()[at]);
            if share <= SEEN.0 || alpha.is_some_and(|a| a.data()[at] < 0.5) {
                *out = GROUND;
                continue;
            }
            if code != last {
                let colour = opponent_of(code);
                let of = inks.iter().position(|ink| distance(ink.colour, colour) < 1.3 * NEAR);
                (last, label) = (code, of.map_or(MIXED, |k| k as u8));
            }
            *out = label;
        }
    });
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::art::reading::{inked, on_its_ground};
    use crate::art::{Art, Kind, Raster, View, open, render};
    use crate::colour::linear_to_srgb;

    type Rgb = [u8; 3];
    const WHITE_CODE: Rgb = [255; 3];
    const NAVY: Rgb = [10, 61, 98];
    const RED: Rgb = [230, 30, 30];

    /// A panel on white with three strokes on it, 30 high.
    fn panel(panel: Rgb, stroke: Rgb) -> Raster {
        let mut png = std::io::Cursor::new(Vec::new());
        image::RgbImage::from_fn(300, 200, |x, y| {
            let on = (20..280).contains(&x) && (20..180).contains(&y);
            let inner = (50..250).contains(&x) && (35..165).contains(&y) && (y - 35) % 50 < 30;
            image::Rgb(if inner {
                stroke
            } else if on {
                panel
            } else {
                WHITE_CODE
            })
        })
        .write_to(&mut png, image::ImageFormat::Png)
        .unwrap();
        let Art::Raster(r) = open(&png.into_inner(), "made").unwrap() else { panic!() };
        r
    }

    fn drawn(panel: Rgb, stroke: Rgb) -> Art {
        let fill = |[r, g, b]: Rgb| format!("fill='rgb({r},{g},{b})'");
        let strokes: String = (0..3)
            .map(|i| format!("<rect x='50' y='{}' width='200' height='30' {}/>", 35 + 50 * i, fill(stroke)))
            .collect();
        let svg = format!(
            "<svg xmlns='http://www.w3.org/2000/svg' width='300' height='200'><rect width='300' height='200' fill='white'/>\
             <rect x='20' y='20' width='260' height='160' {}/>{strokes}</svg>",
            fill(panel)
        );
        open(svg.as_bytes(), "made").unwrap()
    }

    /// The marks of ground, panel and stroke, and the inks that are alike all the same.
    fn marks(raster: &Raster) -> ([f64; 3], Option<AlikeInks>) {
        let (raster, inked) = inked(raster);
        let mut light = raster.light;
        inked.settle(&mut light, 1.0);
        (at(&light), inked.alike)
    }

    fn at(light: &Light) -> [f64; 3] {
        [(5, 5), (30, 100), (150, 50)].map(|(x, y)| 1.0 - linear_to_srgb(f64::from(light.row(y)[x])))
    }

    #[test]
    fn colours_that_differ_as_much_from_the_ground_are_told_apart_as_picture_and_as_drawing() {
        let pairs = [(NAVY, RED), ([27, 94, 32], [198, 40, 40]), ([128, 0, 128], [0, 110, 40])];
        for (panel_ink, stroke) in pairs {
            let ([bare, ink, tint], alike) = marks(&panel(panel_ink, stroke));
            assert!(bare < 0.001 && ink > 0.99, "{panel_ink:?}: {bare} {ink}");
            assert!((0.2..0.7).contains(&tint), "{panel_ink:?} {stroke:?}: {tint}");
            assert_eq!(alike, None);
            let art = drawn(panel_ink, stroke);
            let mut shown = render(&art, &View::default(), 300, 200, Kind::Drawing).unwrap();
            assert!(on_its_ground(&mut shown).is_some_and(|inked| inked.alike.is_none()));
            let as_drawing = at(&shown.light);
            for (a, b) in as_drawing.iter().zip([bare, ink, tint]) {
                assert!((a - b).abs() < 0.02, "{panel_ink:?} {stroke:?}: {as_drawing:?}");
            }
        }
    }

    #[test]
    fn a_soft_shadow_is_no_ink_beside_the_ink_that_casts_it() {
        for (ink, strength) in [("#a11", 0.6), ("#123a6b", 0.6), ("#1d6fa5", 0.9)] {
            let svg = format!(
                "<svg xmlns='http://www.w3.org/2000/svg' width='400' height='200' viewBox='0 0 200 100'><filter id='f'>\
                 <feDropShadow dx='3' dy='3' stdDeviation='2' flood-opacity='{strength}'/></filter>\
                 <circle cx='50' cy='50' r='35' fill='{ink}' filter='url(#f)'/></svg>"
            );
            let art = open(svg.as_bytes(), "made").unwrap();
            let mut shown = render(&art, &View::default(), 400, 200, Kind::Drawing).unwrap();
            assert!(on_its_ground(&mut shown).is_some_and(|inked| inked.alike.is_none()));
            let mark = 1.0 - linear_to_srgb(f64::from(shown.light.row(100)[100]));
            assert!(mark > 0.99, "{ink}: {mark}");
        }
    }

    #[test]
    fn inks_apart_from_each_other_and_inks_of_one_colour_stay_solid() {
        // The same red and navy, but with bare ground between them.
        let mut raster = panel(WHITE_CODE, RED);
        let (got, alike) = marks(&raster);
        assert!(got[2] > 0.99 && alike.is_none(), "{got:?}");
        raster = panel([40, 60, 120], [30, 50, 105]);
        let (got, alike) = marks(&raster);
        assert!(got[1] > 0.99 && alike.is_none(), "{got:?}");
    }

    #[test]
    fn what_gets_nearly_the_same_mark_all_the_same_is_named() {
        // Both touch black and become the tint beside it.
        let mut png = std::io::Cursor::new(Vec::new());
        let (blue, red) = ([60, 90, 220], [235, 60, 60]);
        image::RgbImage::from_fn(300, 200, |x, y| {
            let on = (20..280).contains(&x) && (20..180).contains(&y);
            let inner = (50..250).contains(&x) && (50..150).contains(&y);
            image::Rgb(match (on, inner) {
                (true, true) if x < 150 => blue,
                (true, true) => red,
                (true, false) => [0; 3],
                _ => WHITE_CODE,
            })
        })
        .write_to(&mut png, image::ImageFormat::Png)
        .unwrap();
        let Art::Raster(raster) = open(&png.into_inner(), "made").unwrap() else { panic!() };
        let (raster, inked) = inked(&raster);
        let mut light = raster.light;
        inked.settle(&mut light, 1.0);
        let mark = |x: usize| 1.0 - linear_to_srgb(f64::from(light.row(100)[x]));
        let named = inked.alike.map(|a| [a.larger, a.smaller]);
        let apart = (mark(100) - mark(200)).abs() >= SAME_MARK;
        assert_eq!(named.is_none(), apart, "{} {} {named:?}", mark(100), mark(200));
    }

    #[test]
    fn threads_do_not_change_a_byte() {
        let art = panel(NAVY, RED);
        let one = parallel::with_threads(1, || inked(&art).0.light);
        assert!([2, 3, 7].into_iter().all(|n| parallel::with_threads(n, || inked(&art).0.light) == one));
    }
}
