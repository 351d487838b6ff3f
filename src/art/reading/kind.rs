//! The three ways in which art is read.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::texts::text;

/// How art is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// The look of its tones is kept.
    Photo,
    /// What is ink is marked, whichever way the coating goes.
    Drawing,
    /// A drawing or print on paper, seen by a camera or scanner: the paper's shadow and colour are taken away, then
    /// it is a drawing.
    Paper,
}

impl Kind {
    /// Whether its ink is marked, as of a drawing; else the look of its tones is kept.
    pub fn is_drawn(self) -> bool {
        self != Kind::Photo
    }

    /// With its article, as in a sentence: `a photo`, `a drawing`, `a drawing on paper`.
    pub fn in_words(self) -> &'static str {
        match self {
            Kind::Photo => text!("art.kind.photo"),
            Kind::Drawing => text!("art.kind.drawing"),
            Kind::Paper => text!("art.kind.paper"),
        }
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Kind::Photo => "photo",
            Kind::Drawing => "drawing",
            Kind::Paper => "paper",
        })
    }
}

impl FromStr for Kind {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        match text {
            "photo" => Ok(Kind::Photo),
            "drawing" => Ok(Kind::Drawing),
            "paper" => Ok(Kind::Paper),
            _ => Err(text!("art.kind.unknown", text)),
        }
    }
}
