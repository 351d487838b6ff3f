//! Sheet: a page to print and to work from, on one side of A4 or Letter: ticket and wedge share it.
//!
//! A browser cannot be asked to make a text fit, so the size of the letters and the room of the picture are settled
//! here from the number of letters, for the width of A4 and the height of Letter: what fits both fits either.

use minijinja::value::Serde;
use minijinja::{Value, context};

use super::canvas::{Picture, ProofError};
use super::page::data_uri;
use super::reduce::reduced;
use super::report::{Standing, StepFacts, class, sign};
use crate::findings::Severity;
use crate::texts::text;

/// Longest side of the picture on the page, pixels: 235 dpi at its greatest printed width. Reduced here, because a
/// viewer that shrinks fine dots by its own means shows moiré that the piece will not have.
const PICTURE_SIDE: usize = 780;

/// What such a page holds beside what is its own.
pub struct Sheet<'a> {
    /// What it is, in two words.
    pub kind: &'a str,
    /// The piece.
    pub title: String,
    /// What it is made of, on one line or two.
    pub about: String,
    /// Whether the process was measured, and what follows from it.
    pub standing: (Standing, &'a str),
    /// Why it must not be burnt, where it must not.
    pub stopped: Option<&'a str>,
    /// From which side a mirrored piece is seen.
    pub shown: Option<&'a str>,
    /// What is set on the machine.
    pub settings: Vec<Stated>,
    /// What the piece will look like.
    pub picture: &'a Picture,
    /// What the picture is.
    pub picture_title: &'a str,
    /// What to know of the picture.
    pub caption: String,
    /// What to do, in order; none where it must not be burnt.
    pub steps: &'a [StepFacts],
    /// What to beware of.
    pub cautions: &'a [String],
    /// Letters of each paragraph of each block beside the steps: in full, and where room is scarce.
    pub beside: [Vec<Vec<usize>>; 2],
}

/// A severity's mark, its class in the style, and its word.
pub(super) fn severity(severity: Severity) -> (&'static str, &'static str, &'static str) {
    match severity {
        Severity::Stop => ("■", "stop", text!("proof.severity.stop")),
        Severity::Caution => ("▲", "caution", text!("proof.severity.caution")),
        Severity::Note => ("●", "note", text!("proof.severity.note")),
    }
}

/// One setting in large figures.
#[derive(Debug, Clone, PartialEq)]
pub struct Stated {
    /// What is set.
    pub name: &'static str,
    /// To which value, with its unit.
    pub text: String,
    /// The same in other words.
    pub small: String,
    /// Where the value comes from, where that is worth saying.
    pub standing: Option<Standing>,
}

impl Stated {
    /// A setting whose origin says nothing.
    pub fn new(name: &'static str, text: String, small: String) -> Stated {
        Stated { name, text, small, standing: None }
    }
}

impl Sheet<'_> {
    /// The values for `sheet.html`, under the name `sheet`.
    ///
    /// # Errors
    /// When the picture has no pixels.
    pub fn values(&self) -> Result<Value, ProofError> {
        let fit = self.fit();
        let (standing, text) = self.standing;
        let png = reduced(self.picture, PICTURE_SIDE)?.to_png(None);
        let png = png.map_err(|e| ProofError::Page(e.to_string()))?;
        let settings: Vec<Value> = self
            .settings
            .iter()
            .map(|s| {
                context! {
                    name => s.name,
                    text => s.text.clone(),
                    small => s.small.clone(),
                    word => s.standing.map(|k| k.to_string()),
                    class => s.standing.map(class),
                    sign => s.standing.map(sign),
                }
            })
            .collect();
        Ok(context! {
            kind => self.kind,
            title => self.title.clone(),
            about => self.about.clone(),
            standing => context! { word => standing.to_string(), class => class(standing), sign => sign(standing), text },
            stopped => self.stopped,
            shown => self.shown,
            settings,
            picture => data_uri(&png),
            picture_title => self.picture_title,
            caption => self.caption.clone(),
            steps => Value::from(Serde(self.steps)),
            cautions => Value::from(Serde(self.cautions)),
            letter_pt => fit.letter_pt,
            picture_mm => fit.picture_mm,
            picture_left => fit.picture_left,
            brief => fit.brief,
        })
    }

    /// The largest letters with which all fits, a picture of good size first.
    fn fit(&self) -> Fit {
        const SIZES: [f64; 8] = [9.6, 9.0, 8.6, 8.2, 7.8, 7.4, 7.0, 6.6];
        for (least_picture, brief, smallest) in [(66.0f64, false, 7.4), (45.0, false, 6.6), (45.0, true, 6.6)]
        {
            for letter_pt in SIZES.into_iter().filter(|&pt| pt >= smallest) {
                let room = self.room(letter_pt, brief);
                let sides = [(room.right, false), (room.left, true)];
                let wanted = least_picture.min(self.highest(letter_pt));
                let fits = |(mm, left): &(f64, bool)| {
                    let other = if *left { room.right + room.picture } else { room.left + room.picture };
                    *mm >= wanted && other >= 0.0
                };
                if let Some((mm, picture_left)) = sides.into_iter().find(fits) {
                    return Fit { letter_pt, picture_mm: mm.min(MOST_PICTURE).floor(), picture_left, brief };
                }
            }
        }
        Fit { letter_pt: 6.6, picture_mm: 45.0, picture_left: true, brief: true }
    }

    /// How high the picture is where it is as wide as its column, mm.
    fn highest(&self, letter_pt: f64) -> f64 {
        let column = 0.45 * (WIDTH - 1.6 * letter_pt * 25.4 / 72.0);
        column * self.picture.height as f64 / self.picture.width.max(1) as f64
    }

    /// What the words leave of both columns with letters of that size.
    fn room(&self, letter_pt: f64, brief: bool) -> Room {
        let rem = letter_pt * 25.4 / 72.0;
        let line = 1.32 * rem;
        // Lines break at words, so that a little of each is lost.
        let lines = |count: usize, width: f64, size: f64| {
            (count as f64 * LETTER * size * rem / width * 1.03).ceil().max(1.0) * size
        };
        let count = |t: &str| t.chars().count();
        let heading = 2.75 * rem;
        let (left, right) = (0.55 * (WIDTH - 1.6 * rem), 0.45 * (WIDTH - 1.6 * rem));
        let title = WIDTH - 23.5 * rem;
        let mut used = 1.9 * rem + lines(count(&self.title), title, 1.85 * 1.15) * rem;
        used += lines(count(&self.about), title, 1.0) * line + 6.1 * rem;
        if let Some(why) = self.stopped {
            used += 5.0 * rem + lines(count(why), WIDTH - 3.0 * rem, 1.0) * line;
        }
        if let Some(shown) = self.shown {
            used += 1.4 * rem + lines(count(shown), WIDTH - 2.0 * rem, 1.0) * line;
        }
        let column = 0.5 * WIDTH - 3.8 * rem;
        let cautions: f64 =
            self.cautions.iter().map(|c| lines(count(c), column, 1.0) * line + 0.2 * rem).sum();
        // Two columns are seldom of one height.
        used += heading + 1.0 * rem + 0.5 * cautions + 1.5 * line;
        let open = HEIGHT - used;
        let beside: f64 = self.beside[usize::from(brief)]
            .iter()
            .map(|block| {
                let width = right - 4.0 * rem;
                1.2 * rem + block.iter().map(|&n| lines(n, width, 1.0) * line).sum::<f64>()
            })
            .sum();
        let figure = heading + 1.1 * rem + lines(count(&self.caption), right, 0.85) * line;
        if self.steps.is_empty() {
            return Room { left: open - heading - beside, right: open - figure, picture: 0.0 };
        }
        let steps: f64 =
            self.steps.iter().map(|s| lines(count(&s.text), left - 8.0 * rem, 1.0) * line + 0.55 * rem).sum();
        Room {
            left: open - heading - steps - figure,
            right: open - heading - beside - figure,
            picture: figure,
        }
    }
}

/// What is left of the columns once the words and the picture's own words stand in them, mm.
struct Room {
    left: f64,
    right: f64,
    /// Height of the picture's own words.
    picture: f64,
}

/// How the page is set.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Fit {
    letter_pt: f64,
    picture_mm: f64,
    /// Whether the picture stands above the steps instead of above what is beside them.
    picture_left: bool,
    /// Whether only the first remedy of each finding is printed.
    brief: bool,
}

/// Width of A4 and height of Letter within the margins of `sheet.html`, mm, the height less a little: beside what the estimate
/// of the letters keeps in hand, it is for fonts that are wider.
const WIDTH: f64 = 210.0 - 24.0;
const HEIGHT: f64 = (279.4 - 20.0) * 0.985;
/// The picture's greatest height, mm: as wide as its column.
const MOST_PICTURE: f64 = 82.0;
/// Mean advance of a letter, in letter sizes.
const LETTER: f64 = 0.57;

#[cfg(test)]
mod tests {
    use super::*;

    fn sheet<'a>(picture: &'a Picture, steps: &'a [StepFacts], beside: usize) -> Sheet<'a> {
        Sheet {
            kind: "Workbench ticket",
            title: "lighthouse.jpg".into(),
            about: "on glass".into(),
            standing: (Standing::Assumed, "not measured"),
            stopped: None,
            shown: None,
            settings: Vec::new(),
            picture,
            picture_title: "What to expect",
            caption: "The finished piece.".into(),
            steps,
            cautions: &[],
            beside: [vec![vec![300]; beside], vec![vec![120]; beside]],
        }
    }

    #[test]
    fn more_words_take_first_from_the_picture_then_from_the_letters_then_from_the_remedies() {
        let picture = Picture::filled(1, 1, [9; 3]);
        let step = StepFacts { title: "Coat".into(), text: "Brush one thin, even coat on it.".into() };
        let steps = vec![step; 10];
        let fits: Vec<Fit> = [1, 4, 6, 9].map(|n| sheet(&picture, &steps, n).fit()).to_vec();
        assert_eq!((fits[0].letter_pt, fits[0].picture_mm, fits[0].picture_left), (9.6, MOST_PICTURE, false));
        assert!(fits[1].picture_left || fits[1].picture_mm < fits[0].picture_mm, "{fits:?}");
        assert!(fits.windows(2).all(|f| f[0].letter_pt >= f[1].letter_pt), "{fits:?}");
        assert!(!fits[0].brief && sheet(&picture, &steps, 12).fit().brief, "{fits:?}");
    }

    #[test]
    fn a_page_that_must_not_be_burnt_has_no_steps_and_still_a_picture() {
        let picture = Picture::filled(1, 1, [9; 3]);
        let mut s = sheet(&picture, &[], 2);
        s.stopped = Some("It would char.");
        let fit = s.fit();
        assert!(!fit.picture_left && fit.picture_mm >= 66.0, "{fit:?}");
    }
}
