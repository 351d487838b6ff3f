//! The coating: how it looks, how it answers to the beam, and how it is worked with.

use serde::{Deserialize, Serialize};

use super::file::{Absurd, unless};
use super::kit;
use super::process::Standing;
use crate::mark::Response;
use crate::texts::text;
use crate::units::{JoulesPerMm2, MmPerS, Share, Watts};

/// A coating file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Coating {
    /// What it is called.
    pub name: String,
    /// Whether the numbers are common practice (`assumed`) or stated by the maker (`given`).
    #[serde(default = "given")]
    pub standing: Standing,
    /// Where the numbers come from.
    #[serde(default)]
    pub source: String,
    /// What it usually goes on, in words.
    pub used_on: String,
    /// How the piece looks.
    pub look: CoatingLook,
    /// How it answers to exposure.
    pub response: ResponseFile,
    /// Where to start.
    pub start: Start,
    /// How it is worked with.
    pub work: Work,
}

fn given() -> Standing {
    Standing::Given
}

/// Relative luminances (0..1) of the piece after cleaning.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CoatingLook {
    /// Where nothing was marked.
    pub unmarked: f64,
    /// Where it is fully marked.
    pub marked: f64,
    /// Where it is charred.
    pub charred: f64,
}

/// The response's numbers; see [`Response`].
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ResponseFile {
    /// Effective exposure at half the mark.
    pub x_half: JoulesPerMm2,
    /// Steepness of the rise.
    pub rise: f64,
    /// Effective exposure at half the char.
    pub x_char: JoulesPerMm2,
    /// Steepness of the char.
    pub char_rise: f64,
    /// Schwarzschild exponent, 0.5 to 1.2.
    pub schwarzschild: f64,
    /// Reference speed of the reciprocity law.
    pub v0: MmPerS,
}

/// Where to start.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Start {
    /// Power setting to start with.
    pub power: Share,
    /// Effective exposure of a solid to start with; the speed follows from it and the laser's power.
    pub exposure: JoulesPerMm2,
    /// The weakest laser (optical power) that is known to mark it.
    pub least_power: Watts,
}

/// How it is worked with, for the ticket.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Work {
    /// How the blank is cleaned before.
    pub clean: String,
    /// How the coating is mixed; empty where nothing is.
    #[serde(default)]
    pub mix: String,
    /// How it is put on; empty where the blank needs no coating.
    #[serde(default)]
    pub apply: String,
    /// How long and how it dries; empty where it need not.
    #[serde(default)]
    pub dry: String,
    /// How the rest is taken off after marking.
    pub wash_off: String,
    /// How the piece is finished; empty where it is done.
    #[serde(default)]
    pub finish: String,
    /// What to beware of with this coating.
    #[serde(default)]
    pub cautions: Vec<String>,
}

impl Coating {
    /// What it is called in the language of the page: of the kit's, or as its maker calls it.
    pub fn called(&self) -> &str {
        kit::spoken(&self.name)
    }

    /// Whether a mark is lighter than the bare place.
    pub fn marks_lighter(&self) -> bool {
        self.look.marked > self.look.unmarked
    }

    /// The response as the forecast needs it.
    pub fn response(&self) -> Response {
        let r = &self.response;
        Response {
            y_unmarked: self.look.unmarked,
            y_marked: self.look.marked,
            y_char: self.look.charred,
            x_half: r.x_half.0,
            rise: r.rise,
            x_char: r.x_char.0,
            char_rise: r.char_rise,
            schwarzschild: r.schwarzschild,
            v0: r.v0,
        }
    }

    /// Refuses values that no coating has, naming the key.
    ///
    /// # Errors
    /// The first value that is out of its range, or a mark that is as light as the bare coating.
    pub fn check(&self) -> Result<(), Absurd> {
        let looks =
            [("unmarked", self.look.unmarked), ("marked", self.look.marked), ("charred", self.look.charred)];
        for (key, y) in looks {
            unless((0.0..=1.0).contains(&y), key, text!("job.must.luminance", value = y))?;
        }
        let contrast = (self.look.marked - self.look.unmarked).abs();
        unless(contrast >= 0.02, "marked", text!("job.coating.looks-alike"))?;
        let r = &self.response;
        unless(r.x_half.0 > 0.0, "x_half", text!("job.must.above", low = "0 J/mm2"))?;
        unless(r.x_char.0 > 0.0, "x_char", text!("job.must.above", low = "0 J/mm2"))?;
        unless((0.5..=50.0).contains(&r.rise), "rise", text!("job.coating.rises"))?;
        unless(
            (0.5..=50.0).contains(&r.char_rise),
            "char_rise",
            text!("job.must.from-to", low = 0.5, high = 50),
        )?;
        unless(
            (0.3..=1.5).contains(&r.schwarzschild),
            "schwarzschild",
            text!("job.must.from-to", low = 0.3, high = 1.5),
        )?;
        unless(r.v0.0 > 0.0, "v0", text!("job.must.above", low = "0 mm/s"))?;
        unless(self.start.power.0 > 0.0, "power", text!("job.must.above", low = "0 %"))?;
        unless(self.start.exposure.0 > 0.0, "exposure", text!("job.must.above", low = "0 J/mm2"))?;
        unless(self.start.least_power.0 >= 0.0, "least_power", text!("job.must.not-negative"))?;
        Ok(())
    }
}
