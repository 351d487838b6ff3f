//! Layers: what the program draws itself on a piece, a text or a border, as art like any other.

mod border;
mod lettered;

pub use border::border;
pub use lettered::Lettered;

use crate::art::{self, Art, OpenError, Opening};
use crate::placement::Place;

/// The art of a layer, and how large it becomes.
#[derive(Debug, Clone)]
pub struct LayerArt {
    /// The art.
    pub art: Art,
    /// How large it becomes.
    pub place: Place,
    /// What it is called in sentences.
    pub name: String,
}

/// Opens a drawing that the program made.
fn drawn(body: &str, (width, height): (f64, f64), opening: &Opening, name: &str) -> Result<Art, OpenError> {
    let svg =
        format!(r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}">{body}</svg>"#);
    // Ink that fills nearly all of its box is no ground.
    Ok(match art::open_as(svg.as_bytes(), name, &Opening { page: 1, ..opening.clone() })? {
        Art::Vector(drawing) => Art::Vector(drawing.on_nothing()),
        art => art,
    })
}
