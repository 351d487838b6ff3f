//! The screen for whatever comes: flat ink solid and bare ground bare, a drawing's edges where they should be, and
//! everything else searched.
//!
//! What is flat is settled by threshold before anything else: no dot strays into it, and the haze that compression leaves in
//! a drawing's ground is not marked. Of a photo all that is left, tones and anti-aliased edges alike, is searched as one
//! picture, so there are no seams between regions. Of a drawing its tints and faint strokes are, but its edges have a search
//! of their own (see [`edges`]): `fitted` weighs an error as the eye does at reading distance, and frays them.

mod edges;
mod kinds;

use super::fitted::{expect, improve, mark_table::MarkTable, start, target};
use super::{Options, Screen, Wants};
use crate::parallel;
use crate::plane::{Dots, Tone};
use crate::progress::Progress;
use kinds::Kind;

/// The screen for mixed art; `Options::drawing` says how the art was read, `Options::effort` is the search.
pub const AUTO: Screen = Screen {
    name: "auto",
    about: "true edges and solid ink in drawings, fitted to the tones elsewhere: the best for whatever comes",
    wants: Wants::Mark,
    searches: true,
    takes: &["effort", "known", "time"],
    make: auto,
};

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
        return searched(tone, FLAT, options, &|_| true, progress);
    }
    let kinds = kinds::kinds(tone);
    let mut dots = if kinds.contains(&Kind::Tone) {
        searched(tone, kinds::FLAT, options, &|i| kinds[i] == Kind::Tone, progress)
    } else {
        Dots::off(tone.width(), tone.height())
    };
    edges::lay(tone, &mut dots, &kinds, &options.burn, options.effort, progress);
    dots
}

/// Settles what is flat, within `near` of none or all, then searches for the rest; only dots that are `kept` need to come out
/// as they should.
fn searched(
    tone: &Tone,
    near: f32,
    options: &Options,
    kept: &(dyn Fn(usize) -> bool + Sync),
    progress: &dyn Progress,
) -> Dots {
    let table = MarkTable::of(&options.burn, options.unsure);
    let flat = flat(tone, near);
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
    let mut dots = start(&settled, &table, options, kept, progress);
    keep(&mut dots, &flat);
    dots = improve(&settled, dots, &table, options, kept, progress);
    keep(&mut dots, &flat);
    dots
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
