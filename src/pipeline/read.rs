//! Read: the art as it is read, and rendered to dots so that only light is left: of a photo its own, of a drawing or a
//! sheet of paper that of dark ink on white.

use std::borrow::Cow;

use super::error::PipelineError;
use crate::art::reading::{self, AlikeInks, Decision, Inked, PaperSheet, Ruled};
use crate::art::{self, Art, Kind, Rendered, View, Window};
use crate::job::words::ReadAs;
use crate::proof::words;
use crate::texts::text;

/// Art with its reading.
pub(super) struct ReadArt<'a> {
    /// How it is read.
    pub reading: Decision,
    art: Cow<'a, Art>,
    inked: Option<Inked>,
}

/// What was rendered, and what came out of it.
pub(super) struct Drawn {
    /// Drawn and alpha, one value a dot.
    pub rendered: Rendered,
    /// Where the sheet of paper lies in what is seen, where it does not fill it.
    pub sheet: Option<PaperSheet>,
    /// A note for the person, where the ground of a drawing is not white.
    pub note: Option<String>,
    /// Inks that touch and get nearly the same mark.
    pub alike: Option<AlikeInks>,
}

impl<'a> ReadArt<'a> {
    /// Reads the art as asked, or decides by the part of it that is used.
    pub fn new(crop: Window, art: &'a Art, read_as: ReadAs) -> ReadArt<'a> {
        let asked = |kind| Decision::asked(kind, words::as_asked());
        let reading = match read_as {
            ReadAs::Auto => reading::decide(art, crop),
            ReadAs::Photo => asked(Kind::Photo),
            ReadAs::Drawing => asked(Kind::Drawing),
            ReadAs::Paper => asked(Kind::Paper),
        };
        let mut read = ReadArt { reading, art: Cow::Borrowed(art), inked: None };
        match (read.reading.kind, art) {
            (Kind::Drawing, Art::Raster(raster)) => {
                let (raster, inked) = reading::inked(raster);
                read.art = Cow::Owned(Art::Raster(raster));
                read.inked = Some(inked);
            }
            (Kind::Paper, Art::Raster(raster)) => {
                if let Some(raster) = reading::by_colour(raster, crop) {
                    read.art = Cow::Owned(Art::Raster(raster));
                }
            }
            _ => {}
        }
        read
    }

    /// What `view` shows of it in `columns` x `rows` dots.
    ///
    /// # Errors
    /// Art that cannot be drawn, or a view of it that cannot be.
    pub fn render(&self, view: &View, columns: usize, rows: usize) -> Result<Drawn, PipelineError> {
        let mut rendered = art::render(&self.art, view, columns, rows, self.reading.kind)?;
        let (mut sheet, mut note, mut alike) = (None, None, None);
        if let Some(inked) = &self.inked {
            let seen = view.region().width() * self.art.size().0;
            let along = if view.turn.swaps() { rows } else { columns };
            inked.settle(&mut rendered.light, along as f64 / seen.max(1.0));
            note.clone_from(&inked.note);
            alike = inked.alike;
        } else if self.reading.kind == Kind::Drawing
            && !on_nothing(&self.art)
            && let Some(inked) = reading::on_its_ground(&mut rendered)
        {
            (note, alike) = (inked.note, inked.alike);
        }
        if self.reading.kind == Kind::Paper {
            let (light, found, ruled) = reading::flattened(&rendered.light);
            rendered.light = light;
            sheet = found;
            note = ruled.map(|ruled| match ruled {
                Ruled::Squares => text!("art.squared").to_string(),
                Ruled::Lines => text!("art.lined").to_string(),
            });
        }
        Ok(Drawn { rendered, sheet, note, alike })
    }
}

/// Whether art is known to lie on no ground: what the program draws itself.
fn on_nothing(art: &Art) -> bool {
    matches!(art, Art::Vector(drawing) if drawing.is_on_nothing())
}

/// The part of the art as opened that lies between these edges (left, top, right, bottom) of what `view` shows.
pub(super) fn crop_to([left, top, right, bottom]: [f64; 4], view: &View) -> Window {
    let (a, b) = (view.window.at((left, top)), view.window.at((right, bottom)));
    View { window: Window { left: a.0, top: a.1, right: b.0, bottom: b.1 }, ..*view }.region()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_drawn_in_yellow_on_paper_is_marked_as_what_is_drawn_in_black() {
        let sheet = image::RgbImage::from_fn(240, 160, |x, y| {
            image::Rgb(match (x, y) {
                (40..80, 60..100) => [252, 232, 50],
                (160..170, 30..130) => [20, 20, 24],
                _ => [248, 246, 240],
            })
        });
        let mut file = std::io::Cursor::new(Vec::new());
        sheet.write_to(&mut file, image::ImageFormat::Png).unwrap();
        let art = art::open(&file.into_inner(), "made").unwrap();
        let read = ReadArt::new(Window::WHOLE, &art, ReadAs::Paper);
        let light = read.render(&View::default(), 240, 160).unwrap().rendered.light;
        let [sun, black, bare] = [60, 165, 120].map(|x| light.row(80)[x]);
        assert!(sun < 0.1 && black < 0.02 && bare > 0.98, "{sun} {black} {bare}");
    }
}
