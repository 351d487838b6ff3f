//! The screen for whatever comes: flat ink solid and bare ground bare, a drawing's edges where they should be, and
//! everything else searched.
//!
//! What is flat is settled by threshold before anything else: no dot strays into it, and the haze that compression leaves in
//! a drawing's ground is not marked. Of a photo all that is left, tones and anti-aliased edges alike, is searched as one
//! picture, so there are no seams between regions. Of a drawing its tints and faint strokes are, but its edges have a search
//! of their own (see [`edges`]): `fitted` weighs an error as the eye does at reading distance, and frays them.

mod edges;
mod kinds;

use std::ops::Range;

use super::fitted::{expect, improve, mark_table::MarkTable, start, target};
use super::{Options, Screen, Wants};
use crate::parallel;
use crate::plane::{Dots, Tone};
use crate::progress::Progress;
use kinds::DotKind;

/// The screen for mixed art; `Options::drawing` says how the art was read, `Options::effort` is the search.
pub const AUTO: Screen =
    Screen { name: "auto", wants: Wants::Mark, searches: true, takes: &["effort", "time"], make: auto };

/// Tones this near to none or all count as flat: one level of 256, so that a photo's lightest tones stay.
const FLAT: f32 = 1.0 / 255.0;
/// Dots either way that must be flat too: the beam's spread reaches that far, so edges are left alone.
const AROUND: usize = 4;

/// Bits of a dot's kind.
const BARE: u8 = 1;
const INK: u8 = 2;

/// A photo or mixed art: settles what is flat, then searches for the rest. A drawing: solid ink, bare ground and edges
/// that lie where they should; only its tints are searched like a photo.
pub fn auto(tone: &Tone, options: &Options, progress: &dyn Progress) -> Dots {
    if !options.drawing {
        return searched(tone, options, progress);
    }
    let kinds = kinds::kinds(tone);
    let mut dots = Dots::off(tone.width(), tone.height());
    kinds::settle(&mut dots, &kinds, |x, y| tone.row(y)[x] >= edges::LEVEL);
    tones(tone, &mut dots, &kinds, options, progress);
    edges::lay(tone, &mut dots, &kinds, &options.burn, options.effort, progress);
    dots
}

/// Settles what is flat, within [`FLAT`] of none or all, then searches for the rest.
fn searched(tone: &Tone, options: &Options, progress: &dyn Progress) -> Dots {
    let table = MarkTable::of(&options.burn, options.unsure);
    let flat = flat(tone, FLAT);
    let mut settled = tone.clone();
    let rows = tone.width().max(1);
    parallel::bands(settled.data_mut(), rows, 64, |first, band| {
        for (t, &kind) in band.iter_mut().zip(&flat[first * rows..]) {
            *t = match kind {
                BARE => 0.0,
                INK => 1.0,
                _ => *t,
            };
        }
    });
    let settled = target::target(&settled, &table, options);
    expect(&settled, options, progress);
    let mut dots = start(&settled, &table, options, &|_| true, progress);
    keep(&mut dots, &flat);
    dots = improve(&settled, dots, &table, options, &|_| true, progress);
    keep(&mut dots, &flat);
    dots
}

/// Searches for a drawing's tones, with what lies around them; only the dots of tones are taken from the search.
fn tones(tone: &Tone, dots: &mut Dots, kinds: &[DotKind], options: &Options, progress: &dyn Progress) {
    let Some((columns, rows)) = window(kinds, tone.width(), options.switches.max(1) as usize) else { return };
    let (width, across) = (columns.len(), tone.width());
    let kind = |i: usize| kinds[(rows.start + i / width) * across + columns.start + i % width];
    let kept = |i: usize| kind(i) == DotKind::Tone;
    let mut wanted = tone.part(columns.clone(), rows.clone());
    for (i, t) in wanted.data_mut().iter_mut().enumerate() {
        match kind(i) {
            DotKind::Bare => *t = 0.0,
            DotKind::Ink => *t = 1.0,
            DotKind::Tone | DotKind::Edge => {}
        }
    }
    let table = MarkTable::of(&options.burn, options.unsure);
    let wanted = target::target(&wanted, &table, options);
    expect(&wanted, options, progress);
    let mut found = start(&wanted, &table, options, &kept, progress);
    for i in (0..width * rows.len()).filter(|&i| matches!(kind(i), DotKind::Bare | DotKind::Ink)) {
        found.set(i % width, i / width, kind(i) == DotKind::Ink);
    }
    let found = improve(&wanted, found, &table, options, &kept, progress);
    for i in (0..width * rows.len()).filter(|&i| kept(i)) {
        let (x, y) = (i % width, i / width);
        dots.set(columns.start + x, rows.start + y, found.get(x, y));
    }
}

/// Dots around a drawing's tones that are looked at with them: as far as a search looks.
const BESIDE: usize = 32;

/// Columns, from a whole line pitch on, and rows, from an even one on (as every second one may be barred), that hold all tones
/// and what lies around them; none where there are none.
fn window(kinds: &[DotKind], width: usize, switches: usize) -> Option<(Range<usize>, Range<usize>)> {
    let tones = || kinds.iter().enumerate().filter(|(_, kind)| **kind == DotKind::Tone).map(|(i, _)| i);
    let (first, last) = (tones().next()? / width, tones().next_back()? / width);
    let (left, right) = tones().map(|i| i % width).fold((width, 0), |(l, r), x| (l.min(x), r.max(x)));
    let left = left.saturating_sub(BESIDE) / switches * switches;
    let rows = first.saturating_sub(BESIDE) / 2 * 2..(last + 1 + BESIDE).min(kinds.len() / width);
    Some((left..(right + 1 + BESIDE).min(width), rows))
}

/// Lays the dots of flat places as they must be.
fn keep(dots: &mut Dots, flat: &[u8]) {
    let (width, stride) = (dots.width(), dots.stride());
    if width == 0 {
        return;
    }
    parallel::bands(dots.bits_mut(), stride, 64, |first, band| {
        for (row, kinds) in band.chunks_exact_mut(stride).zip(flat[first * width..].chunks_exact(width)) {
            for (byte, kinds) in row.iter_mut().zip(kinds.chunks(8)) {
                for (k, &kind) in kinds.iter().enumerate() {
                    let mask = 0x80u8 >> k;
                    match kind {
                        BARE => *byte &= !mask,
                        INK => *byte |= mask,
                        _ => {}
                    }
                }
            }
        }
    });
}

/// For each dot [`BARE`] or [`INK`] where all dots around it are so, else 0.
fn flat(tone: &Tone, near: f32) -> Vec<u8> {
    let (width, height) = (tone.width(), tone.height());
    let mut along = vec![0u8; width * height];
    if along.is_empty() {
        return along;
    }
    parallel::bands(&mut along, width, 64, |first, band| {
        // What lies beyond the plane agrees with both.
        let mut kinds = vec![BARE | INK; width + 2 * AROUND];
        for (i, row) in band.chunks_exact_mut(width).enumerate() {
            for (kind, &t) in kinds[AROUND..].iter_mut().zip(tone.row(first + i)) {
                *kind = u8::from(t <= near) * BARE + u8::from(t >= 1.0 - near) * INK;
            }
            row.copy_from_slice(&kinds[..width]);
            for shift in 1..=2 * AROUND {
                row.iter_mut().zip(&kinds[shift..]).for_each(|(all, kind)| *all &= kind);
            }
        }
    });
    let mut both = vec![BARE | INK; width * height];
    parallel::bands(&mut both, width, 64, |first, band| {
        for (i, row) in band.chunks_exact_mut(width).enumerate() {
            let y = first + i;
            for near in
                along.chunks_exact(width).take((y + AROUND + 1).min(height)).skip(y.saturating_sub(AROUND))
            {
                row.iter_mut().zip(near).for_each(|(all, kind)| *all &= kind);
            }
        }
    });
    both
}

#[cfg(test)]
mod tests;
