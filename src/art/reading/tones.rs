//! Tones: what fills a notable area of a drawing evenly is meant.
//!
//! The strongest ink becomes solid and so do inks nearly as strong, unless two of them touch, where lettering would drown; a
//! tint stays one. The ripple of a compression beside an edge is none of these: each tone draws to itself what lies within the
//! ripple's height.

use crate::plane::{Alpha, Light};

/// An ink of this share of the strongest is meant to be solid (common practice in preparing line art, no source).
const SOLID_FROM: f64 = 0.72;
/// The share that a strong ink gets where it touches a stronger one.
pub(super) const BESIDE: f64 = 0.6;
/// Least share of a tint that is meant: it must show.
const LEAST_TINT: f64 = 0.12;
/// The strongest ink is brought to solid from no less than this: below, it is the noise of an empty picture.
const LEAST_INK: f64 = 0.06;
/// Half width of a tone, of 255.
const TONE: usize = 8;
/// Opacity from which a place is solid.
const SOLID: f32 = 0.95;
/// Most of the ripple that is taken for one.
const MOST_RIPPLE: f64 = 0.22;

/// The tones of a drawing, by their shares of ink.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Tones {
    /// Shares that fill a notable area evenly, rising, the ground left out; each with whether it touches a stronger one.
    tones: Vec<(f64, bool)>,
    /// The share of the strongest ink.
    strongest: f64,
    /// Height of the ripple beside edges.
    ripple: f64,
}

/// The least opacity of places that tell what the inks are: where most are solid, a soft shadow is none of them.
pub(super) fn least_opacity(alpha: &Alpha) -> f32 {
    let (solid, seen) = alpha.data().iter().fold((0usize, 0usize), |(solid, seen), a| {
        (solid + usize::from(*a >= SOLID), seen + usize::from(*a >= 0.5))
    });
    if solid * 2 >= seen { SOLID } else { 0.5 }
}

impl Tones {
    /// Of the shares of ink of a drawing.
    pub fn of(share: &Light, alpha: Option<&Alpha>, lossy: bool) -> Tones {
        let (w, h) = (share.width(), share.height());
        let least = alpha.map_or(0.0, least_opacity);
        let opaque = |x: usize, y: usize| alpha.is_none_or(|a| a.row(y)[x] >= least);
        let step: f32 = if lossy { 8.0 / 255.0 } else { 2.5 / 255.0 };
        let (mut flat, mut all) = (vec![0u64; 256], vec![0u64; 256]);
        let mut places = 0u64;
        let code = |v: f32| ((v * 255.0).round() as usize).min(255);
        for y in 0..h {
            let (row, below) = (share.row(y), share.row((y + 1).min(h - 1)));
            for x in 0..w {
                if !opaque(x, y) {
                    continue;
                }
                let v = row[x];
                places += 1;
                all[code(v)] += 1;
                let right = row[(x + 1).min(w - 1)];
                flat[code(v)] += u64::from((right - v).abs() <= step && (below[x] - v).abs() <= step);
            }
        }
        let inked: u64 = all[26..].iter().sum();
        let mut peaks = peaks(&flat, places, inked);
        peaks.sort_unstable();
        let strongest = match peaks.last() {
            Some(&top) => top as f64 / 255.0,
            None => quantile(&all[26..], 0.98).map_or(1.0, |i| (i + 26) as f64 / 255.0),
        };
        let tones = peaks
            .iter()
            .enumerate()
            .map(|(i, &p)| (p as f64 / 255.0, touches(share, p, &peaks[i + 1..])))
            .collect();
        let ripple = if lossy { ripple(share, &peaks) } else { 0.0 };
        Tones { tones, strongest: strongest.clamp(LEAST_INK, 1.0), ripple }
    }

    /// Share of ink and what it becomes; empty where nothing changes.
    pub fn steps(&self) -> Vec<(f64, f64)> {
        let scale = 1.0 / self.strongest;
        let mut levels: Vec<(f64, f64)> = vec![(0.0, 0.0)];
        for &(p, touching) in &self.tones {
            let share = (p * scale).min(1.0);
            let mark = match share {
                s if s >= 0.999 => 1.0,
                s if s >= SOLID_FROM && touching => s.min(BESIDE),
                s if s >= SOLID_FROM => 1.0,
                s => s.max(LEAST_TINT),
            };
            let least = levels.last().map_or(0.0, |l| l.1);
            levels.push((p, mark.max(least)));
        }
        if levels.len() == 1 {
            levels.push((self.strongest, 1.0));
        }
        let plain = levels.len() == 2 && self.strongest >= 0.97 && self.ripple < 0.02;
        if plain {
            return Vec::new();
        }
        let mut steps: Vec<(f64, f64)> = Vec::new();
        for (i, &(p, mark)) in levels.iter().enumerate() {
            let before = if i > 0 { p - levels[i - 1].0 } else { f64::INFINITY };
            let after = levels.get(i + 1).map_or(f64::INFINITY, |n| n.0 - p);
            let width = self.ripple.min(before.min(after) / 3.0);
            if i > 0 {
                steps.push((p - width, mark));
            }
            // What is stronger than the strongest is as solid.
            steps.push((if i + 1 == levels.len() { p.max(p - width + 1e-6) } else { p + width }, mark));
        }
        steps.dedup_by(|b, a| b.0 <= a.0);
        steps
    }
}

/// The codes, of 255, at which even places gather, the ground left out; at most five.
fn peaks(flat: &[u64], places: u64, inked: u64) -> Vec<usize> {
    let mut left = flat.to_vec();
    let mass = |bins: &[u64], at: usize, by: usize| {
        bins[at.saturating_sub(by)..(at + by + 1).min(256)].iter().sum::<u64>()
    };
    // The ground's own.
    left[..TONE + 4].fill(0);
    let mut found = Vec::new();
    for _ in 0..8 {
        let Some(peak) = (0..256).max_by_key(|&i| (mass(&left, i, 2), std::cmp::Reverse(i))) else { break };
        let core = mass(&left, peak, 3);
        if core * 200 < places && core * 12 < inked || core * 2000 < places || core == 0 {
            break;
        }
        // A tone stands for itself; a gradient, or the foot of another tone, has as much beside it.
        let alone = core * 10 >= mass(flat, peak, TONE - 1) * 6;
        left[peak.saturating_sub(2 * TONE)..(peak + 2 * TONE + 1).min(256)].fill(0);
        if alone {
            found.push(peak);
        }
        if found.len() == 5 {
            break;
        }
    }
    found
}

/// Whether a notable part of a tone's border is with one of the stronger tones rather than with the ground.
fn touches(share: &Light, tone: usize, stronger: &[usize]) -> bool {
    const APART: usize = 4;
    if stronger.is_empty() {
        return false;
    }
    let (w, h) = (share.width(), share.height());
    let of = |v: f32, t: usize| (v * 255.0 - t as f32).abs() <= TONE as f32;
    let (mut border, mut with) = (0u64, 0u64);
    let mut pair = |a: f32, b: f32| {
        let (a, b) = if of(a, tone) { (a, b) } else { (b, a) };
        if of(a, tone) && !of(b, tone) {
            border += 1;
            with += u64::from(stronger.iter().any(|&s| of(b, s)));
        }
    };
    for y in 0..h {
        let row = share.row(y);
        for x in 0..w {
            if x + APART < w {
                pair(row[x], row[x + APART]);
            }
            if y + APART < h {
                pair(row[x], share.row(y + APART)[x]);
            }
        }
    }
    with * 20 > border
}

/// How high the ripple of a lossy compression stands on the bare ground near edges.
fn ripple(share: &Light, peaks: &[usize]) -> f64 {
    const NEAR: usize = 2;
    let (w, h) = (share.width(), share.height());
    // Places within two elements of ink are its edge, not its ripple.
    let mut edge = vec![false; w * h];
    for y in 0..h {
        for (x, &v) in share.row(y).iter().enumerate() {
            if v > 0.4 {
                for j in y.saturating_sub(NEAR)..(y + NEAR + 1).min(h) {
                    edge[j * w + x.saturating_sub(NEAR)..j * w + (x + NEAR + 1).min(w)].fill(true);
                }
            }
        }
    }
    let mut bins = vec![0u64; 256];
    for (i, &v) in share.data().iter().enumerate() {
        let code = (v * 255.0).round() as usize;
        if !edge[i] && (3..102).contains(&code) && peaks.iter().all(|p| p.abs_diff(code) > TONE) {
            bins[code] += 1;
        }
    }
    let all: u64 = bins.iter().sum();
    if all * 1000 < share.data().len() as u64 {
        return 0.03;
    }
    let top = quantile(&bins, 0.97).map_or(0.0, |c| c as f64 / 255.0);
    (top + 0.01).clamp(0.03, MOST_RIPPLE)
}

fn quantile(bins: &[u64], share: f64) -> Option<usize> {
    let all: u64 = bins.iter().sum();
    let mut gone = 0;
    bins.iter().position(|n| {
        gone += n;
        all > 0 && gone as f64 >= share * all as f64
    })
}
