//! Border: the plain border of a photo, as old prints and screenshots have.
//!
//! It is one tone, all around. Where it is light, as paper, light may fall off over it and something may be written on it: then
//! its tone is that of the outer edge beside each place, and lines between the edge and its last bare one may hold ink.

use crate::plane::median;
use std::ops::Range;

/// A border is as even as this, L*, but for a twentieth of it (creases, specks), and the picture within stands out from it by
/// twice as much along seven tenths of each side, so that the even ground of a portrait is none (own judgement).
const EVEN: f32 = 3.0;
const BARE: f64 = 0.95;
/// What it takes of a side at most, as a share.
const WIDEST: f64 = 0.25;
/// Blocks between a border and the picture that belong to neither.
const BETWEEN: usize = 2;
/// Share of a line that is bare where something is written, at least.
const WRITTEN: f64 = 0.6;
/// L* of paper in the light that falls on it, at least, and how much that light differs around the print, at most.
const PAPER: f32 = 60.0;
const FALL: f32 = 30.0;
/// The tone beside a place is the middle one of so large a share of the side.
const BESIDE: usize = 8;
/// From line to line the light changes by so much at most, L*.
const DRIFT: f32 = 0.5;

/// The columns and rows of blocks that lie within a plain border; `None` where there is none on all four sides. `blocks` are
/// their L* and which of them are opaque, row after row.
pub(super) fn inside(
    blocks: (&[f32], &[bool]),
    (w, h): (usize, usize),
) -> Option<(Range<usize>, Range<usize>)> {
    let print = Print { blocks, w, h };
    let edges = [0, 1, 2, 3].map(|side| print.line(side, 0, print.whole(side)));
    let tone = median(edges.iter().flatten().copied())?;
    let even = edges.each_ref().map(|edge| vec![tone; edge.len()]);
    print.within(&even, None).or_else(|| {
        let own = edges.each_ref().map(|edge| beside(edge));
        let all = || own.iter().flatten().copied();
        let (least, most) = (all().fold(f32::INFINITY, f32::min), all().fold(0.0, f32::max));
        // Of what is not a number nothing is told.
        let paper = least >= PAPER && most - least <= FALL && !all().any(f32::is_nan);
        if paper { print.within(&own, Some(WRITTEN)) } else { None }
    })
}

/// The tone beside each place of an edge.
fn beside(edge: &[f32]) -> Vec<f32> {
    let reach = (edge.len() / BESIDE / 2).max(2);
    let around = |k: usize| k.saturating_sub(reach)..(k + reach + 1).min(edge.len());
    (0..edge.len()).map(|k| median(edge[around(k)].iter().copied()).unwrap_or(f32::NAN)).collect()
}

/// A photo in blocks.
struct Print<'a> {
    blocks: (&'a [f32], &'a [bool]),
    w: usize,
    h: usize,
}

impl Print<'_> {
    /// Line `i` from each edge in turn (left, right, top, bottom), the part of it that lies in `part` of the other way.
    fn line(&self, side: usize, i: usize, part: Range<usize>) -> Vec<f32> {
        let (data, opaque) = self.blocks;
        let at = |x: usize, y: usize| {
            let place = y * self.w + x;
            if opaque[place] { data[place] } else { f32::NAN }
        };
        part.map(|k| match side {
            0 => at(i, k),
            1 => at(self.w - 1 - i, k),
            2 => at(k, i),
            _ => at(k, self.h - 1 - i),
        })
        .collect()
    }

    /// All of a line from that edge.
    fn whole(&self, side: usize) -> Range<usize> {
        if side < 2 { 0..self.h } else { 0..self.w }
    }

    /// What lies within a border of these tones, a value a place along each side; `written` is the share of a line that is bare
    /// where something may be written on it.
    fn within(&self, tones: &[Vec<f32>; 4], written: Option<f64>) -> Option<(Range<usize>, Range<usize>)> {
        let (w, h) = (self.w, self.h);
        let mut deep = [(0, 0.0); 4];
        for (side, deep) in deep.iter_mut().enumerate() {
            *deep = self.deep(side, &tones[side], written)?;
        }
        let [left, right, top, bottom] = deep.map(|(lines, _)| lines + BETWEEN);
        if left + right >= w || top + bottom >= h {
            return None;
        }
        let (columns, rows) = (left..w - right, top..h - bottom);
        let stands_out = |side: usize| {
            let part = if side < 2 { rows.clone() } else { columns.clone() };
            let (lines, shift) = deep[side];
            let line = self.line(side, lines + BETWEEN, part.clone());
            let off = line.iter().zip(&tones[side][part]).map(|(v, tone)| v - tone - shift);
            share(&off.collect::<Vec<f32>>(), |off| off.abs() > 2.0 * EVEN) >= 0.7
        };
        (0..4).all(stands_out).then_some((columns, rows))
    }

    /// How many lines of a border there are on one side, and by how much its tone has changed at the last of them; `None` where
    /// there is none, or no end of it.
    fn deep(&self, side: usize, tones: &[f32], written: Option<f64>) -> Option<(usize, f32)> {
        let most = (WIDEST * if side < 2 { self.w } else { self.h } as f64) as usize;
        let (mut bare, mut shift) = ((0, 0.0), 0.0f32);
        for i in 0..most {
            let line = self.line(side, i, self.whole(side));
            let off: Vec<f32> = line.iter().zip(tones).map(|(v, tone)| v - tone).collect();
            if written.is_some() {
                let now = median(off.iter().copied()).unwrap_or(f32::NAN);
                shift = if (now - shift).abs() <= DRIFT { now } else { shift };
            }
            let even = share(&off, |off| (off - shift).abs() <= EVEN);
            let ink = |least: f64| even >= least && share(&off, |off| off - shift > EVEN) <= 1.0 - BARE;
            if even >= BARE {
                bare = (i + 1, shift);
            } else if !written.is_some_and(ink) {
                return (bare.0 > 0).then_some(bare);
            }
        }
        None
    }
}

fn share(values: &[f32], is: impl Fn(f32) -> bool) -> f64 {
    values.iter().filter(|v| is(**v)).count() as f64 / values.len().max(1) as f64
}
