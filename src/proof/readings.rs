//! `readings.png`: art by both of its likely readings side by side, as forecast, with the option that asks for each.

use super::canvas::{Picture, ProofError, draw, escape};
use super::layout::{Layout, Look};
use super::legend::{INK, PAPER};
use super::picture::{Scene, piece};
use crate::art::Kind;
use crate::texts::text;

/// Art by one of its readings, as forecast.
#[derive(Debug, Clone)]
pub struct OneReading {
    /// The reading.
    pub kind: Kind,
    /// The forecast look.
    pub look: Look,
}

/// Art by both of its likely readings, at the same place of the same piece.
#[derive(Debug, Clone)]
pub struct Readings {
    /// How both are drawn.
    pub layout: Layout,
    /// As it is read.
    pub first: OneReading,
    /// As it may be read.
    pub second: OneReading,
}

/// Height of the line of words over each picture, pixels.
const WORDS: usize = 54;

/// Both readings in one picture.
///
/// # Errors
/// When lettering cannot be drawn or a look does not have its size.
pub fn picture(scene: &Scene, readings: &Readings) -> Result<Picture, ProofError> {
    let layout = &readings.layout;
    let both = [
        (&readings.first, text!("proof.readings.first")),
        (&readings.second, text!("proof.readings.second")),
    ];
    let width = 2 * layout.width;
    let mut body = String::new();
    for (i, (one, how)) in both.iter().enumerate() {
        let x = i * layout.width + 16;
        let words = escape(&format!("{how}: {}", one.kind.in_words()));
        body += &format!(
            r#"<text x="{x}" y="23" font-size="18" font-weight="bold" fill="{INK}">{words}</text><text x="{x}" y="44" font-size="15" fill="{INK}">--read-as {}</text>"#,
            one.kind
        );
    }
    let head = draw(width, WORDS, PAPER, &body)?;
    let mut whole = Picture::filled(width, WORDS + layout.height, PAPER);
    whole.lay(&head, 0, 0);
    for (i, (one, _)) in both.iter().enumerate() {
        whole.lay(&piece(scene, layout, &one.look)?, i * layout.width, WORDS);
    }
    Ok(whole)
}
