//! The walk: one pass of the forecast over all dots, which brings home the sums, the blocks of a
//! picture and what detail is lost.

use super::blocks::{self, BandBlocks, Blocks};
use super::forecast::{Band, Forecast};
use super::lost::{self, BandLost, LineWork, Lost};
use super::sums::{self, BandSums, Sums};
use crate::plane::Dots;
use crate::progress::{Progress, Stopped};
use crate::vector;

/// What a walk is to bring home besides the sums.
#[derive(Debug, Clone, Copy)]
pub struct Wish<'a> {
    /// Dots of a picture's block along and across the lines, 1 and more.
    pub blocks: (usize, usize),
    /// The ink of a drawing, of as many columns and rows as there are dots, to find what of it is lost.
    pub ink: Option<&'a LineWork>,
}

/// What a walk brought home.
#[derive(Debug, Clone, PartialEq)]
pub struct Walked {
    /// What the burn comes to.
    pub sums: Sums,
    /// The forecast by blocks.
    pub blocks: Blocks,
    /// The detail that is lost, where ink was given and any is.
    pub lost: Option<Lost>,
}

/// Walks over all dots once. Each row is a step of `progress`; the same bytes for any number of threads.
///
/// # Errors
/// [`Stopped`] where the person asked for it.
pub fn walk(
    forecast: &Forecast,
    dots: &Dots,
    wish: Wish<'_>,
    progress: &dyn Progress,
) -> Result<Walked, Stopped> {
    let sides = (wish.blocks.0.max(1), wish.blocks.1.max(1));
    let halo = wish.ink.map_or(0, |_| lost::halo(forecast));
    let bands = forecast.bands_with_halo(dots, halo, progress, |band| {
        vector::widest(BandWalk { forecast, dots, band, wish: Wish { blocks: sides, ..wish } })
    })?;
    let (mut of_sums, mut of_blocks, mut of_lost) = (Vec::new(), Vec::new(), Vec::new());
    for (sums, blocks, lost) in bands {
        of_sums.push(sums);
        of_blocks.push(blocks);
        of_lost.extend(lost);
    }
    Ok(Walked {
        sums: sums::together(forecast, dots, of_sums),
        blocks: blocks::together(forecast, (dots.width(), dots.height()), sides, of_blocks),
        lost: lost::together(of_lost),
    })
}

/// The sums alone, for trying one burn after another.
///
/// # Errors
/// [`Stopped`] where the person asked for it.
pub fn sums(forecast: &Forecast, dots: &Dots, progress: &dyn Progress) -> Result<Sums, Stopped> {
    let bands = forecast
        .bands_with_halo(dots, 0, progress, |band| vector::widest(BandSumming { forecast, dots, band }))?;
    Ok(sums::together(forecast, dots, bands))
}

/// All that a walk takes from a band, as a work for the widest vectors.
struct BandWalk<'a> {
    forecast: &'a Forecast,
    dots: &'a Dots,
    band: &'a Band<'a>,
    wish: Wish<'a>,
}

impl vector::Work for BandWalk<'_> {
    type Output = (BandSums, BandBlocks, Option<BandLost>);

    #[inline(always)]
    fn call(self) -> Self::Output {
        let BandWalk { forecast, dots, band, wish } = self;
        let (mut sums, mut blocks) = (BandSums::default(), BandBlocks::new(forecast, band, wish.blocks));
        for y in band.own.clone() {
            let charred = (band.top(y) >= forecast.over_burn_from()).then(|| band.charred(y));
            let sum = blocks.row(y, band.marks(y), band.peaks(y), charred);
            sums.row(dots, forecast, band, y, Some(sum));
        }
        (sums, blocks, wish.ink.map(|ink| BandLost::of(band, ink, forecast)))
    }
}

/// The sums alone of a band, as a work for the widest vectors.
struct BandSumming<'a> {
    forecast: &'a Forecast,
    dots: &'a Dots,
    band: &'a Band<'a>,
}

impl vector::Work for BandSumming<'_> {
    type Output = BandSums;

    #[inline(always)]
    fn call(self) -> BandSums {
        let mut sums = BandSums::default();
        for y in self.band.own.clone() {
            sums.row(self.dots, self.forecast, self.band, y, None);
        }
        sums
    }
}
