//! What is asked for in place of the wanted tone, where a beam is wide or narrow.
//!
//! Wide beams reach further than the codes of cells, and what dots further away give is put on the outermost ones (see
//! [`MarkTable`]). That keeps solids right, but not the tones between: at three pitches they came out up to 0.02 too dark.
//! So a curve puts them right, as the dot-gain curve does for screens that know no beam: flat tones are diffused, and
//! what the whole forecast makes of them tells which tone to ask for.
//!
//! Under narrow beams a solid stays short of a full mark. Search and diffusion make up for what it lacks with dots around
//! it. A white stroke is the better for it; but on a white ground dark strokes are filled in, lettering until it
//! cannot be read. So where all around is white, little more than a solid is asked for.

use std::borrow::Cow;

use super::super::{Options, model_diffusion};
use super::mark_table::MarkTable;
use crate::lately::Lately;
use crate::mark::{Burn, Forecast, Unsure};
use crate::parallel;
use crate::plane::Tone;
use crate::progress::Silent;

/// Beams up to so many pitches are felt within the table: their tones are right to 0.0005.
const WITHIN_TABLE: f64 = 2.1;
/// Dots on a side of a flat patch, and those at its edges that do not count.
const SIDE: usize = 160;
const EDGE: usize = 16;
/// Tones of the patches between none and all.
const LEVELS: [f32; 20] = [
    0.01, 0.025, 0.05, 0.1, 0.15, 0.2, 0.26, 0.32, 0.38, 0.44, 0.5, 0.56, 0.62, 0.68, 0.74, 0.8, 0.85, 0.9,
    0.95, 0.98,
];
/// Steps of the curve as it is applied.
const STEPS: usize = 1024;

/// How much more than a solid may be asked for anywhere. In photos making up for all that is lacking looks better (at a
/// beam of one pitch, whose solid is 0.84, 0.6 dB; so much, 0.3 dB).
const MORE: f32 = 0.04;
/// How much of its surroundings must be bare for a dot to be asked for more than [`MORE`], and for all that is wanted.
const BARE: [f32; 2] = [0.35, 0.75];
/// Dots either way that are around a dot.
const AROUND: usize = 6;

/// The tone to ask for.
pub fn target<'a>(tone: &'a Tone, table: &MarkTable, options: &Options) -> Cow<'a, Tone> {
    let tone = match table.solid.filter(|solid| solid + MORE < 1.0) {
        Some(solid) => Cow::Owned(within_reach(tone, solid)),
        None => Cow::Borrowed(tone),
    };
    if options.burn.along.max(options.burn.across) > WITHIN_TABLE {
        return Cow::Owned(put_right(&tone, table, options));
    }
    tone
}

/// The tone, no more above a solid than its surroundings allow: all where they are bare, [`MORE`] where they are as
/// light as a solid.
fn within_reach(tone: &Tone, solid: f32) -> Tone {
    let (width, height) = (tone.width(), tone.height());
    let mut asked = tone.clone();
    // Shares of a solid, summed over the rows around; what lies beyond the plane is like its outermost rows and columns.
    let share = |t: f32| if t > 0.0 { (t / solid).min(1.0) } else { 0.0 };
    parallel::bands(asked.data_mut(), width.max(1), 64, |first, band| {
        let row = |y: isize| tone.row(y.clamp(0, height as isize - 1) as usize);
        let mut columns = vec![0.0f32; width];
        for (i, asked) in band.chunks_exact_mut(width).enumerate() {
            let y = (first + i) as isize;
            columns.fill(0.0);
            for y in y - AROUND as isize..=y + AROUND as isize {
                columns.iter_mut().zip(row(y)).for_each(|(c, &t)| *c += share(t));
            }
            for (x, asked) in asked.iter_mut().enumerate().filter(|(_, t)| **t > solid) {
                let around = (x as isize - AROUND as isize..=x as isize + AROUND as isize)
                    .map(|x| columns[x.clamp(0, width as isize - 1) as usize]);
                let bare = 1.0 - around.sum::<f32>() / ((2 * AROUND + 1) * (2 * AROUND + 1)) as f32;
                let more = (1.0 - solid) * ((bare - BARE[0]) / (BARE[1] - BARE[0])).clamp(0.0, 1.0);
                *asked = asked.min(solid + more.max(MORE));
            }
        }
    });
    asked
}

/// The tone that the whole forecast makes the wanted one of.
fn put_right(tone: &Tone, table: &MarkTable, options: &Options) -> Tone {
    let Options { burn, unsure, serpentine, barred, pitch_along_mm, pitch_across_mm, .. } = *options;
    let of = (burn, unsure, serpentine, barred, [pitch_along_mm, pitch_across_mm]);
    let curve = LATELY.get(of, || curve(table, options));
    let mut asked = tone.clone();
    parallel::bands(asked.data_mut(), tone.width().max(1), 64, |_, band| {
        for t in band {
            let place = if *t > 0.0 { t.min(1.0) * STEPS as f32 } else { 0.0 };
            let step = (place as usize).min(STEPS - 1);
            *t = curve[step] + (place - step as f32) * (curve[step + 1] - curve[step]);
        }
    });
    asked
}

/// Curves, each with all that the diffusion of a flat tone hangs on.
static LATELY: Lately<Of, Vec<f32>> = Lately::new(8);
type Of = (Burn, Unsure, bool, f32, [f64; 2]);

/// What to ask for, by wanted tone in [`STEPS`].
fn curve(table: &MarkTable, options: &Options) -> Vec<f32> {
    let forecast = Forecast::new(&options.burn);
    let marks = parallel::map(LEVELS.len(), |i| {
        let dots = model_diffusion::diffuse(&Tone::filled(SIDE, SIDE, LEVELS[i]), table, options, &Silent);
        let marks = forecast.plane(&dots);
        let rows = (EDGE..SIDE - EDGE).flat_map(|y| &marks.row(y)[EDGE..SIDE - EDGE]);
        rows.map(|&m| f64::from(m)).sum::<f64>() as f32 / ((SIDE - 2 * EDGE) * (SIDE - 2 * EDGE)) as f32
    });
    // Rising pairs of what was forecast and what was asked; where solids char, the first that reaches a mark counts.
    let mut pairs = vec![(0.0f32, 0.0f32)];
    for (mark, level) in marks.into_iter().zip(LEVELS).chain([(1.0, 1.0)]) {
        if mark > pairs.last().map_or(0.0, |p| p.0) + 1e-4 {
            pairs.push((mark, level));
        }
    }
    (0..=STEPS)
        .map(|step| {
            let wanted = step as f32 / STEPS as f32;
            let after = pairs.iter().position(|p| p.0 >= wanted).unwrap_or(pairs.len() - 1).max(1);
            let ((m0, a0), (m1, a1)) = (pairs[after - 1], pairs[after]);
            (a0 + (wanted - m0) / (m1 - m0) * (a1 - a0)).clamp(0.0, 1.0)
        })
        .collect()
}
