//! Toolpaths: the parts of a program.

use super::contour::Contour;
use super::lines::Marking;
use super::raster::RasterPath;

/// One part of a program: its moves, and what is said of them.
#[derive(Debug, Clone)]
pub struct Toolpath<'a> {
    /// Said of it in a comment; empty: nothing.
    pub remark: String,
    /// What the head does.
    pub moves: Moves<'a>,
}

/// The moves of a part.
#[derive(Debug, Clone)]
pub enum Moves<'a> {
    /// Lines of dots, with what they mark.
    Raster(Box<RasterPath>, Marking<'a>),
    /// Straight stretches at one power.
    Contour(Contour),
}

impl<'a> Toolpath<'a> {
    /// Lines of dots, with nothing said of them.
    pub fn raster(path: RasterPath, marking: Marking<'a>) -> Self {
        Toolpath { remark: String::new(), moves: Moves::Raster(Box::new(path), marking) }
    }

    /// A contour.
    pub fn contour(remark: &str, contour: Contour) -> Self {
        Toolpath { remark: remark.to_string(), moves: Moves::Contour(contour) }
    }
}
