//! Lost: edges of a drawing that are seen, and on whose two sides the mark is the same.
//!
//! Small lettering on a panel fills too little to be an ink that is told apart ([`super::alike`]), and may be all that matters.
//! So what is lost is counted in edges, not in area. Of 32 drawings made up, PNG and JPEG, in which lettering or windows drown, all
//! are told; of 59 in which nothing does, and of 35 drawings of other kinds, none.

use super::alike::{AlikeInks, SAME_MARK, every};
use super::ink::{SEEN, distance, opponent_of};
use crate::art::colours::unpacked;
use crate::colour::Curve;
use crate::plane::{Alpha, Light};
use std::collections::BTreeMap;

/// The two sides of an edge lie so many elements apart, beyond a soft rim; and as far beyond each, the mark is still the same:
/// the rim of a stroke on bare ground is none.
const APART: usize = 4;
/// Colours so far apart are seen to differ.
const OTHER_COLOUR: f32 = 0.25;
/// Opacity from which a place is there.
const OPAQUE: f32 = 0.95;
/// Of so many edges that are seen, one is lost at least.
const ONE_IN: u64 = 20;
/// Places beside lost edges, as a share of the picture's width and height together: four are one along an edge.
const LEAST: f64 = 0.3;
/// As many at least of the smallest picture.
const FEWEST: u64 = 100;
/// Bits of each of red, green and blue, by which edges are gathered.
const BITS: u32 = 3;

/// A drawing and its marks.
pub(super) struct Marked<'a, C> {
    /// Red, green and blue codes of a place, packed.
    pub code: C,
    pub share: &'a Light,
    pub alpha: Option<&'a Alpha>,
    /// What a share of ink becomes.
    pub mark: Curve,
}

/// Lost edges between two colours.
#[derive(Default)]
struct Edges {
    count: u64,
    /// Clear edges count for more: what is mixed along a soft one has not the inks' colours.
    weight: f64,
    sums: [[u64; 3]; 2],
}

impl<C: Fn(usize) -> f32> Marked<'_, C> {
    /// The two inks that most of the lost edges lie between, where these are a notable part of all.
    pub fn lost(&self) -> Option<AlikeInks> {
        let (w, h) = (self.share.width(), self.share.height());
        let (mut kept, mut lost) = (0u64, 0u64);
        let mut between: BTreeMap<[usize; 2], Edges> = BTreeMap::new();
        let mut places = vec![0u64; 1 << (3 * BITS)];
        let mut look = |i: usize, step: usize, before: usize, after: usize| {
            let Some((apart, is_lost)) = self.edge(i, step, (before, after)) else { return };
            if !is_lost {
                kept += 1;
                return;
            }
            lost += 1;
            let mut sides = [i, i + APART * step].map(|i| unpacked((self.code)(i)));
            sides.sort_by_key(|side| cube(*side));
            let edges = between.entry(sides.map(cube)).or_default();
            edges.count += 1;
            edges.weight += f64::from(apart * apart);
            for (sum, side) in edges.sums.iter_mut().zip(sides) {
                sum.iter_mut().zip(side).for_each(|(sum, code)| *sum += u64::from(code));
            }
        };
        let every = every(w, h);
        for y in (0..h).step_by(every) {
            for x in 0..w {
                let i = y * w + x;
                places[cube(unpacked((self.code)(i)))] += 1;
                if x + APART < w {
                    look(i, 1, x, w - 1 - APART - x);
                }
                if y + APART < h {
                    look(i, w, y, h - 1 - APART - y);
                }
            }
        }
        let places_lost = lost * every as u64;
        let few = places_lost < FEWEST || (places_lost as f64) < LEAST * (w + h) as f64;
        if few || lost * ONE_IN < lost + kept {
            return None;
        }
        let (cubes, edges) = between.iter().max_by(|a, b| a.1.weight.total_cmp(&b.1.weight))?;
        let mean = |k: usize| edges.sums[k].map(|sum| (sum / edges.count.max(1)).min(255) as u8);
        let (larger, smaller) = if places[cubes[0]] >= places[cubes[1]] { (0, 1) } else { (1, 0) };
        Some(AlikeInks { larger: mean(larger), smaller: mean(smaller) })
    }

    /// How far apart in colour the two sides of an edge are that is seen from a place on by steps of so many, and whether it is
    /// lost; there is room for so many steps before and after it.
    fn edge(&self, i: usize, step: usize, (before, after): (usize, usize)) -> Option<(f32, bool)> {
        let j = i + APART * step;
        let (a, b) = ((self.code)(i), (self.code)(j));
        let is_there = |i: usize| self.alpha.is_none_or(|a| a.data()[i] >= OPAQUE);
        let apart = match (is_there(i), is_there(j)) {
            (false, false) => return None,
            (true, true) if a == b => return None,
            (true, true) => distance(opponent_of(a), opponent_of(b)),
            _ => 1.0,
        };
        if apart <= OTHER_COLOUR {
            return None;
        }
        let share = |i: usize| if is_there(i) { self.share.data()[i] } else { 0.0 };
        let same = |from: usize, steps: usize| {
            let marks = (0..=steps).map(|k| self.mark.at(share(from + k * step)));
            let (low, high) = marks.fold((1.0f32, 0.0f32), |(l, h), m| (l.min(m), h.max(m)));
            f64::from(high - low) < SAME_MARK
        };
        if (self.mark.at(share(i)) - self.mark.at(share(j))).abs() >= SAME_MARK as f32 {
            return Some((apart, false));
        }
        let (before, after) = (before.min(APART), after.min(APART));
        let inked = share(i) > SEEN.0 && share(j) > SEEN.0;
        (inked && same(i - before * step, before + APART + after)).then_some((apart, true))
    }
}

/// The number of the cube of colours that red, green and blue codes lie in.
fn cube(codes: [u8; 3]) -> usize {
    codes.iter().fold(0, |at, c| (at << BITS) | usize::from(c >> (8 - BITS)))
}

#[cfg(test)]
mod tests {
    use crate::art::reading::{AlikeInks, inked};
    use crate::art::{Art, open};

    type Rgb = [u8; 3];
    const WHITE: Rgb = [255; 3];
    const BLACK: Rgb = [10, 10, 12];
    const RED: Rgb = [205, 30, 40];
    const GREEN: Rgb = [20, 100, 70];

    /// What is told of a panel with small lettering: 16 strokes of 3 x 20.
    fn told(ground: Rgb, panel: Rgb, ink: Rgb, format: image::ImageFormat) -> Option<AlikeInks> {
        let picture = image::RgbImage::from_fn(900, 600, |x, y| {
            let on = (150..750).contains(&x) && (150..450).contains(&y);
            let lettered = (400..528).contains(&x) && (290..310).contains(&y) && (x - 400) % 8 < 3;
            image::Rgb(if lettered {
                ink
            } else if on {
                panel
            } else {
                ground
            })
        });
        let mut file = std::io::Cursor::new(Vec::new());
        picture.write_to(&mut file, format).unwrap();
        let Art::Raster(raster) = open(&file.into_inner(), "made").unwrap() else { panic!() };
        inked(&raster).1.alike
    }

    #[test]
    fn small_lettering_that_drowns_in_its_panel_is_told_with_its_colour() {
        let greys = (WHITE, [150; 3], [10; 3]);
        for (ground, panel, ink) in [(BLACK, GREEN, WHITE), (WHITE, RED, BLACK), greys] {
            let alike = told(ground, panel, ink, image::ImageFormat::Png);
            assert_eq!(alike, Some(AlikeInks { larger: panel, smaller: ink }));
        }
        assert!(told(WHITE, RED, BLACK, image::ImageFormat::Jpeg).is_some());
    }

    #[test]
    fn lettering_that_shows_is_not() {
        for format in [image::ImageFormat::Png, image::ImageFormat::Jpeg] {
            for (ground, panel, ink) in [(WHITE, RED, WHITE), (BLACK, GREEN, BLACK), (WHITE, WHITE, BLACK)] {
                assert_eq!(told(ground, panel, ink, format), None, "{ground:?} {panel:?} {ink:?}");
            }
        }
    }
}
