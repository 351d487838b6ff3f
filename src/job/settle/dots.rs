//! How dots are made of the tones, and into which files.

use crate::job::asked::DotsJob;
use crate::job::error::PlanError;
use crate::job::settle::pitch::Pitches;
use crate::job::words::{BeamOn, BurnTime, Packing};
use crate::mark::{Burn, Unsure};
use crate::screen::{self, Options, SCREENS, Screen};
use crate::texts::text;

/// The screen that is used when none is named.
const DEFAULT_SCREEN: &str = "auto";

/// How dots are made, and into which files.
#[derive(Debug, Clone)]
pub struct SettledDots {
    /// The screen.
    pub screen: &'static Screen,
    /// The screens' settings, for art that is a photo; see [`Plan::options`](crate::job::Plan::options).
    pub options: Options,
    /// The time that the burn may take.
    pub time: BurnTime,
    /// The colour for 'beam on'.
    pub beam_on: BeamOn,
    /// Whether a TIFF is written, and how it is packed.
    pub tiff: Option<Packing>,
    /// Whether a BMP is written.
    pub bmp: bool,
}

/// The screen of that name.
///
/// # Errors
/// Where there is none; the sentence names a near one, and all.
pub fn screen(name: &str) -> Result<&'static Screen, PlanError> {
    screen::find(name).ok_or_else(|| {
        let names: Vec<&'static str> = SCREENS.iter().map(|s| s.name).collect();
        PlanError::unknown("screen", name, &names)
    })
}

/// The screen that is asked for, or the usual one.
pub(super) fn asked(dots: &DotsJob) -> Result<&'static Screen, PlanError> {
    screen(dots.screen.as_deref().unwrap_or(DEFAULT_SCREEN))
}

pub(super) fn settle(
    dots: &DotsJob,
    time: Option<BurnTime>,
    (burn, unsure): (Burn, Unsure),
    pitches: &Pitches,
) -> Result<SettledDots, PlanError> {
    if let Some(known) = dots.known.filter(|k| !(0.0..=Unsure::MOST).contains(&k.0)) {
        return Err(PlanError::absurd(text!("job.wrong.known", known)));
    }
    // As many as a line pitch holds, where it holds them in whole.
    let (grid, times) = (pitches.grid(), pitches.across.0 / pitches.along.0);
    let whole = (1.5..3.5).contains(&times) && (times / times.round() - 1.0).abs() < 0.01;
    let switches = if whole { times.round() as u32 } else { 1 };
    let usual = Options { unsure, switches, ..Options::new(burn, grid.along.0, grid.across.0) };
    Ok(SettledDots {
        screen: asked(dots)?,
        options: options(dots, usual)?,
        time: time.unwrap_or_default(),
        beam_on: dots.beam_on.unwrap_or(BeamOn::Black),
        tiff: dots.tiff,
        bmp: dots.bmp.unwrap_or(false),
    })
}

/// The screens' settings: what was asked, and the usual ones where nothing was.
fn options(dots: &DotsJob, usual: Options) -> Result<Options, PlanError> {
    let options = Options {
        level: dots.level.unwrap_or(usual.level),
        matrix: dots.matrix.unwrap_or(usual.matrix),
        serpentine: dots.serpentine.unwrap_or(usual.serpentine),
        as_published: dots.as_published.unwrap_or(usual.as_published),
        ruling_per_mm: dots.ruling_per_mm.unwrap_or(usual.ruling_per_mm),
        angle_deg: dots.angle_deg.unwrap_or(usual.angle_deg),
        effort: dots.effort.unwrap_or(usual.effort),
        ..usual
    };
    let Options { matrix, ruling_per_mm: ruling, angle_deg: angle, effort, .. } = options;
    let wrong = if ![2, 4, 8, 16].contains(&matrix) {
        text!("job.wrong.matrix", matrix)
    } else if !(0.2..=20.0).contains(&ruling) {
        text!("job.wrong.ruling", ruling)
    } else if !(-360.0..=360.0).contains(&angle) {
        text!("job.wrong.angle", angle)
    } else if !(1..=64).contains(&effort) {
        text!("job.wrong.effort", effort)
    } else {
        return Ok(options);
    };
    Err(PlanError::absurd(wrong))
}
