//! Opened art: a raster in linear light, or a drawing; and what the file said of itself.

use super::colours::Colours;
use super::likeness::Likeness;
use super::resolution::Resolution;
use super::sniff::Format;
use super::vector::{Lettering, Vector};
use crate::note::Note;
use crate::plane::{Alpha, Light};
use crate::texts::text;

/// An opened picture file: nothing of the file is needed any more.
#[derive(Debug, Clone)]
pub enum Art {
    /// Picture elements, in linear light.
    Raster(Raster),
    /// A drawing, drawn anew at each density.
    Vector(Vector),
}

/// A picture of picture elements, upright, in linear light.
#[derive(Debug, Clone)]
pub struct Raster {
    /// Relative luminance, 0 (black) to 1 (white).
    pub light: Light,
    /// Opacity, where the file has any that is not 1 everywhere.
    pub alpha: Option<Alpha>,
    /// What it looks like, small and in its colours.
    pub likeness: Likeness,
    /// Its colours, where it has any to speak of: two inks may be as light as each other.
    pub colours: Option<Colours>,
    /// What the file said of itself.
    pub facts: Facts,
}

/// What a raster file said of itself.
#[derive(Debug, Clone, PartialEq)]
pub struct Facts {
    /// The file's format, by its content.
    pub format: Format,
    /// Bits a sample as stored (1 to 32).
    pub bits: u8,
    /// How colours are stored.
    pub model: Model,
    /// Whether every picture element is one of at most two tones.
    pub bilevel: bool,
    /// How the colours were read, in words (`sRGB, as no profile is embedded`).
    pub colour: String,
    /// Whether an embedded profile decided that.
    pub profile: bool,
    /// Dots an inch the file claims, where it does.
    pub resolution: Option<Resolution>,
    /// Things a person should know about the opening (a damaged profile passed over, a first frame taken).
    pub notes: Vec<Note>,
}

/// How a file stores its colours.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Model {
    /// One channel.
    Grey,
    /// Red, green, blue (also a palette).
    Rgb,
    /// Cyan, magenta, yellow, black.
    Cmyk,
}

impl Art {
    /// Width and height in source units: picture elements of a raster, user units of a drawing; never zero.
    pub fn size(&self) -> (f64, f64) {
        match self {
            Art::Raster(r) => (r.light.width() as f64, r.light.height() as f64),
            Art::Vector(v) => v.size(),
        }
    }

    /// Columns and rows of picture elements; `None` for a drawing, which has any density.
    pub fn pixels(&self) -> Option<(usize, usize)> {
        match self {
            Art::Raster(r) => Some((r.light.width(), r.light.height())),
            Art::Vector(_) => None,
        }
    }

    /// Things a person should know about the opening.
    pub fn notes(&self) -> &[Note] {
        match self {
            Art::Raster(r) => &r.facts.notes,
            Art::Vector(v) => v.notes(),
        }
    }

    /// What became of a drawing's text; `None` for picture elements.
    pub fn lettering(&self) -> Option<&Lettering> {
        match self {
            Art::Raster(_) => None,
            Art::Vector(v) => Some(v.lettering()),
        }
    }

    /// The share of a drawing's page that pictures take which it holds beside other things; `None` where there are none.
    pub fn picture_within(&self) -> Option<f64> {
        match self {
            Art::Raster(_) => None,
            Art::Vector(v) => v.pictures_within(),
        }
    }

    /// One line for the ticket: `JPEG, 4000 x 3000, 8 bits, colours read as sRGB, as no profile is embedded`.
    pub fn describe(&self) -> String {
        match self {
            Art::Raster(r) => {
                let Facts { format, bits, colour: colours, .. } = &r.facts;
                let (width, height) = (r.light.width(), r.light.height());
                match bits {
                    1 => text!("art.described.bit", format, width, height, bits, colours),
                    _ => text!("art.described.bits", format, width, height, bits, colours),
                }
            }
            Art::Vector(v) => {
                let (w, h) = v.size();
                let (width, height) = (crate::units::short(w, 2), crate::units::short(h, 2));
                match v.format() {
                    // A unit of PDF is 1/72 inch (ISO 32000, 8.3.2.3).
                    format @ Format::Pdf => text!("art.described.points", format, width, height),
                    format => text!("art.described.units", format, width, height),
                }
            }
        }
    }
}
