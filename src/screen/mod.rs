//! Screens: tones to dots, one family a file.
//!
//! To add a screen: write its file with one [`Screen`] constant, and name that constant in [`SCREENS`].

pub mod auto;
pub mod barred;
pub mod blue_noise;
pub mod clustered;
pub mod diffusion;
pub mod fitted;
pub mod model_diffusion;
pub mod ordered;
pub(crate) mod remembered;
pub mod simd;
pub mod threshold;
mod threshold_array;

pub use simd::path;

use crate::mark::{Burn, Unsure};
use crate::placement::Along;
use crate::plane::{Dots, Tone};
use crate::progress::Progress;
use crate::texts;
use crate::units::Share;

/// What a screen's input is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wants {
    /// Dot coverage: the wanted mark after the dot-gain curve of this screen.
    Coverage,
    /// The wanted mark itself: the screen knows the beam and sees to the dot gain on its own.
    Mark,
}

/// The settings of all screens; each reads those that concern it. All are resolved, none is optional.
#[derive(Debug, Clone, PartialEq)]
pub struct Options {
    /// Threshold's level: marked where the wanted coverage is at least this. Default 50 %.
    pub level: Share,
    /// Bayer: side of the matrix in dots, 2, 4, 8 or 16. Default 8.
    pub matrix: u32,
    /// Error diffusion: every second row from right to left. Default true.
    pub serpentine: bool,
    /// Error diffusion: start with no error and drop what leaves at the sides, as the publications do.
    /// Default false: the start is seeded and the sides give nothing away.
    pub as_published: bool,
    /// Clustered dots: ruling in clusters a millimetre. Default 2.
    pub ruling_per_mm: f64,
    /// Clustered dots: angle of the ruling in degrees, counter-clockwise. Default 45.
    pub angle_deg: f64,
    /// Distance between dots of a row, mm.
    pub pitch_along_mm: f64,
    /// Distance between rows, mm.
    pub pitch_across_mm: f64,
    /// Searching screens: how much search, in passes over the plane (a count, not a clock, so that the
    /// same job gives the same bytes). Default 4: eight bring 0.01 to 0.03 dB for twice the time.
    pub effort: u32,
    /// Auto: the art was read as a drawing, so that its edges are to be true, and tones within 2 % of none or all are
    /// the haze of its compression and not meant. Default false.
    pub drawing: bool,
    /// The burn that the dots are made for.
    pub burn: Burn,
    /// How far the burn may be off: screens that know the beam make the dots whose expected mark is best. Default: known.
    pub unsure: Unsure,
    /// Dots of a line to a line pitch, where the beam may switch finer than lines lie apart. Default 1.
    pub switches: u32,
    /// Screens that know the beam keep dots off every second line where less than this is to be marked, as a share of what
    /// the other lines can mark alone: from 0, the default, nowhere, to [`barred::MOST`].
    pub barred: f32,
}

impl Options {
    /// The defaults for a burn and pitches in mm.
    pub fn new(burn: Burn, pitch_along_mm: f64, pitch_across_mm: f64) -> Self {
        Options {
            level: Share(0.5),
            matrix: 8,
            serpentine: true,
            as_published: false,
            ruling_per_mm: 2.0,
            angle_deg: 45.0,
            pitch_along_mm,
            pitch_across_mm,
            effort: 4,
            drawing: false,
            burn,
            unsure: Unsure::default(),
            switches: 1,
            barred: 0.0,
        }
    }

    /// The same for planes with rows as columns and columns as rows.
    pub fn turned(&self) -> Options {
        Options {
            pitch_along_mm: self.pitch_across_mm,
            pitch_across_mm: self.pitch_along_mm,
            burn: Burn { lines: self.burn.lines.turned(), ..self.burn },
            ..self.clone()
        }
    }
}

/// One way to turn tones into dots.
pub struct Screen {
    /// Its name on the command line and in job files.
    pub name: &'static str,
    /// What its input is.
    pub wants: Wants,
    /// Whether it searches, for as many passes as [`Options::effort`] says.
    pub searches: bool,
    /// The options of the command line that it has a use for and other screens have not.
    pub takes: &'static [&'static str],
    /// How it makes the dots, see [`Screen::dots`]. Where it knows the beam, lines are rows.
    pub(crate) make: fn(&Tone, &Options, &dyn Progress) -> Dots,
}

impl Screen {
    /// One line for `--help` and for lists, from the texts.
    pub fn about(&self) -> &'static str {
        texts::known(&format!("screen.about.{}", self.name)).unwrap_or(self.name)
    }

    /// Makes the dots: same size as the tone. Values outside 0..1 are read as 0 or 1. Where the
    /// progress asks to stop, what is done so far is returned.
    ///
    /// A screen that knows the beam sees lines as rows: along a row the beam is swept and may switch finer than lines lie
    /// apart, and rows are what can be spared. Where lines run along y it is given the picture with rows and columns exchanged.
    pub fn dots(&self, tone: &Tone, options: &Options, progress: &dyn Progress) -> Dots {
        match options.burn.lines {
            Along::Y if self.wants == Wants::Mark => {
                (self.make)(&tone.transposed(), &options.turned(), progress).transposed()
            }
            _ => (self.make)(tone, options, progress),
        }
    }
}

impl std::fmt::Debug for Screen {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Screen({})", self.name)
    }
}

/// All screens, in the order in which they are listed.
pub const SCREENS: &[&Screen] = &[
    &threshold::THRESHOLD,
    &ordered::BAYER,
    &diffusion::FLOYD_STEINBERG,
    &diffusion::JARVIS_JUDICE_NINKE,
    &diffusion::STUCKI,
    &diffusion::OSTROMOUKHOV,
    &diffusion::ZHOU_FANG,
    &blue_noise::BLUE_NOISE,
    &clustered::CLUSTERED,
    &model_diffusion::MODEL_DIFFUSION,
    &fitted::FITTED,
    &auto::AUTO,
];

/// The screen of that name.
pub fn find(name: &str) -> Option<&'static Screen> {
    SCREENS.iter().copied().find(|s| s.name == name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_screen_has_its_line_in_the_texts() {
        assert!(SCREENS.iter().all(|screen| screen.about() != screen.name));
    }
}
