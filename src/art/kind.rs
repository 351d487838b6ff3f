//! Photo or drawing: read from the tones and how they lie, with the reason in words.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::{Art, Raster};
use crate::colour::{Curve, linear_to_srgb};

/// How art is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// The look of its tones is kept.
    Photo,
    /// What is ink is marked, whichever way the coating goes.
    Drawing,
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Kind::Photo => "photo",
            Kind::Drawing => "drawing",
        })
    }
}

impl FromStr for Kind {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        match text {
            "photo" => Ok(Kind::Photo),
            "drawing" => Ok(Kind::Drawing),
            _ => Err(format!("'{text}' is not a way to read art; write photo or drawing")),
        }
    }
}

/// Picture elements looked at, at most about this many: rows are skipped in larger pictures.
const ENOUGH: usize = 2_000_000;
/// Codes (of 255) by which neighbours may differ on a flat place: the noise of a good JPEG.
const FLAT: i32 = 3;
/// Half width of a tone in codes: the same noise, seen in the histogram.
const TONE: usize = 6;
/// Most tones of a drawing.
const MOST_TONES: usize = 4;

/// What the picture elements that are not transparent look like.
#[derive(Debug, Default)]
struct Tally {
    /// All of them, by code value.
    all: u64,
    histogram: Vec<u64>,
    /// Those whose right and lower neighbours look the same, by code value.
    flat: Vec<u64>,
    /// Every place looked at; and those that are clearly transparent or opaque, and clearly transparent.
    places: u64,
    clear_cut: u64,
    transparent: u64,
}

/// Decides how art is read when nobody says, and why. Rules of thumb of this program (no source):
/// a drawing lies nearly wholly in a few flat tones that stand apart; all else is a photo.
pub fn decide(art: &Art) -> (Kind, String) {
    let raster = match art {
        Art::Vector(_) => return (Kind::Drawing, "it is an SVG drawing".to_string()),
        Art::Raster(r) => r,
    };
    if raster.facts.bilevel {
        return (Kind::Drawing, "it has no more than two tones".to_string());
    }
    let t = tally(raster);
    if t.all == 0 {
        return (Kind::Drawing, "nothing of it is opaque".to_string());
    }
    let (tones, flat_share) = tones(&t.flat, t.all);
    let apart = stands_apart(&t.histogram, t.all);
    let percent = |v: f64| format!("{:.0} %", (v * 100.0).floor());
    let stencil =
        t.clear_cut as f64 >= 0.85 * t.places as f64 && t.transparent as f64 >= 0.03 * t.places as f64;
    // Thin strokes have hardly a flat place inside, so a cut-out may have fewer.
    if stencil && (flat_share >= 0.7 || few_codes(&t.histogram, t.all)) {
        return (
            Kind::Drawing,
            format!(
                "it is cut out on transparency and {} of it lies in {}",
                percent(flat_share),
                count(tones)
            ),
        );
    }
    if apart && flat_share >= 0.85 {
        return (
            Kind::Drawing,
            format!("{} of it lies in {} that stand apart", percent(flat_share), count(tones)),
        );
    }
    (
        Kind::Photo,
        format!("its tones run into each other: only {} of it lies in few flat tones", percent(flat_share)),
    )
}

fn count(tones: usize) -> String {
    if tones == 1 { "one flat tone".to_string() } else { format!("{tones} flat tones") }
}

fn tally(raster: &Raster) -> Tally {
    let (w, h) = (raster.light.width(), raster.light.height());
    let step = (w * h / ENOUGH).max(1);
    let curve = Curve::new(linear_to_srgb);
    let codes = |y: usize| -> Vec<i32> {
        raster.light.row(y).iter().map(|&v| (curve.at(v) * 255.0).round() as i32).collect()
    };
    let cover = |x: usize, y: usize| raster.alpha.as_ref().map_or(1.0, |a| a.row(y)[x]);
    let mut t = Tally { histogram: vec![0; 256], flat: vec![0; 256], ..Tally::default() };
    for y in (0..h).step_by(step) {
        let below_row = (y + 1).min(h - 1);
        let (row, below) = (codes(y), codes(below_row));
        for (x, (&c, &under)) in row.iter().zip(&below).enumerate() {
            let a = cover(x, y);
            t.places += 1;
            t.clear_cut += u64::from(!(0.02..=0.98).contains(&a));
            t.transparent += u64::from(a < 0.02);
            if a < 0.5 {
                continue;
            }
            t.all += 1;
            let at = c.clamp(0, 255) as usize;
            t.histogram[at] += 1;
            let right = row.get(x + 1).copied().unwrap_or(c);
            // Beside transparency the neighbour's hidden colour means nothing.
            let same = |n: i32, nx: usize, ny: usize| (n - c).abs() <= FLAT || cover(nx, ny) < 0.5;
            if same(right, (x + 1).min(w - 1), y) && same(under, x, below_row) {
                t.flat[at] += 1;
            }
        }
    }
    t
}

/// How many tones, of at most [`MOST_TONES`], the flat places gather in, and what share of all that is.
fn tones(flat: &[u64], all: u64) -> (usize, f64) {
    let mut left = flat.to_vec();
    let (mut tones, mut gathered) = (0, 0u64);
    for _ in 0..MOST_TONES {
        let Some((peak, &most)) = left.iter().enumerate().max_by_key(|&(i, &n)| (n, std::cmp::Reverse(i)))
        else {
            break;
        };
        // A tone that fills less than a thousandth is none.
        if most * 1000 < all {
            break;
        }
        let end = (peak + TONE + 1).min(left.len());
        for n in &mut left[peak.saturating_sub(TONE)..end] {
            gathered += *n;
            *n = 0;
        }
        tones += 1;
    }
    (tones, gathered as f64 / all as f64)
}

/// Whether something stands clearly apart (64 codes) from the commonest tone: ink from its paper.
/// A night picture that is all but black does not pass.
fn stands_apart(histogram: &[u64], all: u64) -> bool {
    let main =
        histogram.iter().enumerate().max_by_key(|&(i, &n)| (n, std::cmp::Reverse(i))).map_or(0, |(i, _)| i);
    let far: u64 =
        histogram.iter().enumerate().filter(|(i, _)| i.abs_diff(main) >= 64).map(|(_, &n)| n).sum();
    // Three in a thousand: a thin outline on a large sheet.
    far * 1000 >= 3 * all
}

/// Whether 99 % of the picture elements have one of at most 16 codes.
fn few_codes(histogram: &[u64], all: u64) -> bool {
    let mut sorted = histogram.to_vec();
    sorted.sort_unstable_by(|a, b| b.cmp(a));
    sorted.iter().take(16).sum::<u64>() * 100 >= 99 * all
}
