//! Sizes: how much a wedge holds, from the whole of it down to what a slow coating leaves time for.

use crate::wedge::target::WedgeKind;

/// The side of a patch, mm: it holds 80 apertures of grain, which give its mean to 0.1 L*.
pub const PATCH_MM: f64 = 4.0;
/// The time that a wedge may take to burn, s: half an hour and a little.
pub const MOST_SECONDS: f64 = 35.0 * 60.0;

/// The most of a cylinder's girth that a wedge takes, in turns: within 20° either way of its middle a photo shows the mantle
/// nearly flat (0.8 % of half the strip's width off at most, by `sin φ / sin 20° − φ / 20°`).
const STRIP: f64 = 1.0 / 9.0;
/// Below this no strip has room for finder marks and patches, mm.
pub const LEAST_STRIP: f64 = 12.0;

/// How much of a girth a wedge takes, mm.
pub fn strip(girth: f64) -> f64 {
    (girth * STRIP * 10.0).floor() / 10.0
}

/// How much a wedge holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WedgeSize<'a> {
    /// Columns by rows, as `--steps` takes them.
    pub steps: &'a str,
    /// The most that a patch measures either way, mm.
    pub patch: f64,
    /// Screens, at most.
    pub screens: usize,
    /// Tone: steps of coverage.
    pub coverages: usize,
    /// Combined: combs, at most.
    pub combs: usize,
}

/// A size with as many coverages and combs as the whole has.
const fn size(steps: &'static str, patch: f64, screens: usize) -> WedgeSize<'static> {
    WedgeSize { steps, patch, screens, coverages: 10, combs: 3 }
}

/// The sizes of a kind, the whole of it first. Of two that fit the blank and the time the earlier one is worth more: a patch
/// of 3 mm still holds 30 apertures, one of 2.4 mm 16 (at a blur of 0.1 mm); fewer steps cost more than smaller ones, for the
/// curve rests on them.
pub fn sizes(kind: WedgeKind) -> &'static [WedgeSize<'static>] {
    const COMBINED: &[WedgeSize<'static>] = &[
        size("6x5", PATCH_MM, 2),
        size("5x5", PATCH_MM, 2),
        size("5x4", PATCH_MM, 2),
        size("6x5", 3.2, 2),
        size("6x5", 2.6, 2),
        size("5x4", 2.6, 2),
        size("5x4", 2.6, 1),
    ];
    const EXPOSURE: &[WedgeSize<'static>] = &[
        size("6x6", PATCH_MM, 0),
        size("6x5", PATCH_MM, 0),
        size("6x6", 3.2, 0),
        size("6x5", 3.2, 0),
        size("6x5", 2.6, 0),
        size("6x4", PATCH_MM, 0),
        size("6x3", PATCH_MM, 0),
        size("5x4", 2.6, 0),
        size("5x3", PATCH_MM, 0),
        size("4x3", PATCH_MM, 0),
        size("4x4", 2.4, 0),
        size("4x3", 2.4, 0),
        // Tags of 25 to 30 mm: the least that a response is fitted to.
        size("3x3", 2.4, 0),
        size("5x2", 2.4, 0),
        size("4x2", 2.4, 0),
        size("3x2", 2.4, 0),
    ];
    const TIMING: &[WedgeSize<'static>] =
        &[size("3", PATCH_MM, 0), size("2", PATCH_MM, 0), size("1", PATCH_MM, 0)];
    const TONE: &[WedgeSize<'static>] = &[
        size("1x1", PATCH_MM, usize::MAX),
        size("1x1", 3.0, usize::MAX),
        size("1x1", 2.6, 2),
        size("1x1", 2.6, 1),
    ];
    match kind {
        WedgeKind::Combined => COMBINED,
        WedgeKind::Exposure => EXPOSURE,
        WedgeKind::Timing => TIMING,
        WedgeKind::Tone => TONE,
    }
}

/// Sizes for blanks that have no room for any of [`sizes`], where that kind was asked for: fewer settings, tones and combs.
pub fn small_sizes(kind: WedgeKind) -> &'static [WedgeSize<'static>] {
    const fn combined(steps: &'static str, screens: usize, combs: usize) -> WedgeSize<'static> {
        WedgeSize { combs, ..size(steps, 2.6, screens) }
    }
    const fn tone(coverages: usize, screens: usize) -> WedgeSize<'static> {
        WedgeSize { coverages, ..size("1x1", 2.6, screens) }
    }
    const COMBINED: &[WedgeSize<'static>] = &[
        combined("6x5", 2, 2),
        combined("5x4", 2, 2),
        combined("5x4", 1, 2),
        combined("4x4", 1, 2),
        combined("5x3", 1, 2),
        combined("4x3", 1, 2),
        combined("4x4", 1, 1),
        combined("3x3", 1, 1),
    ];
    // The fine patterns take eight columns in any case.
    const TONE: &[WedgeSize<'static>] = &[tone(8, 2), tone(8, 1)];
    match kind {
        WedgeKind::Combined => COMBINED,
        WedgeKind::Tone => TONE,
        WedgeKind::Exposure | WedgeKind::Timing => &[],
    }
}
