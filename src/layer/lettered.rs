//! Lettered: a text as a drawing, straight or along an arc.

use super::{LayerArt, drawn};
use crate::art::{Art, OpenError, Opening};
use crate::placement::{Align, Place};
use crate::units::Mm;

/// Size of the letters of a drawing that is measured, user units.
const EM: f64 = 100.0;
/// Height above the base line and depth below it that a line always has, in its size: so that names with and without
/// high or deep letters are of one size. Those of the font that ships (own measurement).
const ABOVE: f64 = 0.76;
const BELOW: f64 = 0.24;
/// Distance of lines in their size (common practice of setting).
const LEADING: f64 = 1.2;
/// The most of a circle that a text takes.
const MOST_TURN: f64 = 0.97;
/// Size of the letters along an arc, user units, and the longest side of a drawing of it.
const FINE: f64 = 1000.0;
const LARGEST: f64 = 200_000.0;
/// Room around a text that is measured, user units.
const ROOM: f64 = 4000.0;

/// A text that is to be drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Lettered {
    /// The text; lines end with a line feed.
    pub text: String,
    /// The family of its font; `None`: the one that ships.
    pub font: Option<String>,
    /// Whether it is bold.
    pub bold: bool,
    /// Into how many lines a text of one may be broken at its spaces, where its letters become larger so.
    pub lines: u32,
    /// Where its lines begin or end; `None`: in the middle.
    pub align: Option<Align>,
    /// The radius of the circle along which it runs, over the top; below zero along the bottom.
    pub arc: Option<Mm>,
}

impl Lettered {
    /// The text as art of the size that `place` says. Along an arc, `place` is a box: the greatest length and the height
    /// of the line. Where it is to stand in the `middle` from above to below, its letters do, and not the room of its lines.
    ///
    /// # Errors
    /// Where the fonts or the drawing library fail.
    pub fn drawn(&self, place: Place, middle: bool, opening: &Opening) -> Result<LayerArt, OpenError> {
        let name = format!("'{}'", self.text.replace('\n', " / "));
        if self.arc.is_none() && self.lines > 1 && !self.text.contains('\n') {
            return self.broken((place, middle), opening, name);
        }
        self.set((place, middle), opening, name).map(|(art, _)| art)
    }

    /// In the number of lines that makes the letters largest in their box, the fewest of those.
    fn broken(&self, place: (Place, bool), opening: &Opening, name: String) -> Result<LayerArt, OpenError> {
        let mut best: Option<(LayerArt, f64)> = None;
        for lines in 1..=self.lines as usize {
            let Some(text) = broken(&self.text, lines) else { break };
            let one = Lettered { text, lines: 1, ..self.clone() };
            let (art, size) = one.set(place, opening, name.clone())?;
            if best.as_ref().is_none_or(|(_, before)| size > before * 1.05) {
                best = Some((art, size));
            }
        }
        match best {
            Some((art, _)) => Ok(art),
            None => self.set(place, opening, name).map(|(art, _)| art),
        }
    }

    /// The text in the lines that it has, and the size of its letters: mm in a box, else as a share of its width.
    fn set(
        &self,
        (place, middle): (Place, bool),
        opening: &Opening,
        name: String,
    ) -> Result<(LayerArt, f64), OpenError> {
        let (body, lines) = self.straight();
        let wide = body.replace("@", &ROOM.to_string());
        let tall = ROOM + lines as f64 * LEADING * EM;
        let measured = drawn(&wide, (2.0 * ROOM, tall), opening, &name)?;
        let ink = ink(&measured).unwrap_or([ROOM - EM, ROOM / 2.0 - EM, ROOM + EM, ROOM / 2.0]);
        if let (Some(radius), Place::Box { width, height }) = (self.arc, place) {
            let natural = (ink[2] - ink[0]) / EM;
            return Ok((self.along(radius.0, (natural, width.0, height.0), opening, name)?, height.0));
        }
        let (left, right) = (ink[0].min(ROOM), ink[2].max(ROOM));
        let top = ink[1].min(ROOM / 2.0 - ABOVE * EM);
        let last = ROOM / 2.0 + (lines - 1) as f64 * LEADING * EM;
        let bottom = ink[3].max(last + BELOW * EM);
        let down = if middle { 0.5 * (top + bottom - ink[1] - ink[3]) } else { 0.0 };
        let body = format!(
            r#"<g transform="translate({} {})">{}</g>"#,
            -left,
            down - top,
            body.replace("@", &ROOM.to_string())
        );
        let size = ((right - left).max(1.0), bottom - top);
        let letters = match place {
            Place::Box { width, height } => EM * (width.0 / size.0).min(height.0 / size.1),
            Place::Inside | Place::Cover => EM / size.0.max(size.1),
        };
        Ok((LayerArt { art: drawn(&body, size, opening, &name)?, place, name }, letters))
    }

    /// Its lines without the spaces at their ends, which would push the letters out of the middle.
    fn lines_of_text(&self) -> impl Iterator<Item = &str> {
        self.text.split('\n').map(str::trim)
    }

    /// Its lines below each other, `@` for where they begin or end, and their number.
    fn straight(&self) -> (String, usize) {
        let mut body = String::new();
        let mut count = 0;
        for line in self.lines_of_text() {
            let y = ROOM / 2.0 + count as f64 * LEADING * EM;
            body.push_str(&format!(r#"<text x="@" y="{y}" {}>{}</text>"#, self.look(EM), escaped(line)));
            count += 1;
        }
        (body, count)
    }

    /// Along a circle of `radius` mm: `natural` is its length in its size, `most` the greatest length and `height` the
    /// height of the line, mm.
    fn along(
        &self,
        radius: f64,
        (natural, most, height): (f64, f64, f64),
        opening: &Opening,
        name: String,
    ) -> Result<LayerArt, OpenError> {
        let r = radius.abs();
        let most = most.min(MOST_TURN * std::f64::consts::TAU * r);
        let size = (height / (ABOVE + BELOW)).min(most / natural.max(1e-6));
        let side = 2.0 * (r + size);
        // Drawn large: the drawing library finds places along a curve to half a user unit.
        let scale = (FINE / size.max(1e-6)).min(LARGEST / side);
        let (r, c, size) = (r * scale, (r + size) * scale, size * scale);
        // From the far side of the circle on, so that the middle of the path is the middle of the text.
        let (from, to, sweep) = if radius > 0.0 { (c + r, c - r, 1) } else { (c - r, c + r, 0) };
        let path = format!("M{c} {from}A{r} {r} 0 0 {sweep} {c} {to}A{r} {r} 0 0 {sweep} {c} {from}");
        let body = format!(
            r##"<defs><path id="a" d="{path}"/></defs><text {}><textPath href="#a" startOffset="50%">{}</textPath></text>"##,
            self.look(size),
            escaped(&self.lines_of_text().collect::<Vec<_>>().join(" "))
        );
        let art = drawn(&body, (2.0 * c, 2.0 * c), opening, &name)?;
        Ok(LayerArt { art, place: Place::Box { width: Mm(side), height: Mm(side) }, name })
    }

    fn look(&self, size: f64) -> String {
        let family = self.font.as_deref().unwrap_or("DejaVu Sans");
        let weight = if self.bold { "bold" } else { "normal" };
        let anchor = match self.align {
            _ if self.arc.is_some() => "middle",
            Some(Align::Left) => "start",
            Some(Align::Right) => "end",
            Some(Align::Middle) | None => "middle",
        };
        format!(
            r#"xml:space="preserve" font-family="{}" font-weight="{weight}" font-size="{size}" text-anchor="{anchor}""#,
            escaped(&format!("'{}'", family.replace('\'', "")))
        )
    }
}

/// A text broken at its spaces into so many lines, the longest as short as it can be; `None` where it has fewer words.
fn broken(text: &str, lines: usize) -> Option<String> {
    let words: Vec<&str> = text.split_whitespace().collect();
    if words.len() < lines {
        return None;
    }
    let length =
        |from: usize, to: usize| words[from..to].iter().map(|w| w.chars().count() + 1).sum::<usize>();
    // The least longest line of the first `end` words in so many lines, and where the last of them begins.
    let mut least = vec![vec![(usize::MAX, 0); words.len() + 1]; lines + 1];
    least[0][0] = (0, 0);
    for line in 1..=lines {
        for end in line..=words.len() {
            for from in line - 1..end {
                let longest = least[line - 1][from].0.max(length(from, end));
                if least[line - 1][from].0 < usize::MAX && longest < least[line][end].0 {
                    least[line][end] = (longest, from);
                }
            }
        }
    }
    let mut all = Vec::new();
    let mut end = words.len();
    for line in (1..=lines).rev() {
        let from = least[line][end].1;
        all.push(words[from..end].join(" "));
        end = from;
    }
    all.reverse();
    Some(all.join("\n"))
}

/// Text as XML has it; what cannot stand there is left out.
fn escaped(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '@' => out.push_str("&#64;"),
            '\t' => out.push(' '),
            c if c.is_control() || matches!(c, '\u{FFFE}' | '\u{FFFF}') => {}
            c => out.push(c),
        }
    }
    out
}

/// The box of its letters, user units: left, top, right and bottom.
fn ink(art: &Art) -> Option<[f64; 4]> {
    match art {
        Art::Vector(v) => v.letters(),
        Art::Raster(_) => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_spread_over_lines_evenly() {
        assert_eq!(broken("Jean-Baptiste de la Fontaine", 2).unwrap(), "Jean-Baptiste\nde la Fontaine");
        assert_eq!(broken("one two three four five six", 3).unwrap(), "one two\nthree four\nfive six");
        assert_eq!(broken("Tom", 2), None);
    }

    #[test]
    fn spaces_at_the_ends_of_lines_move_no_letter() {
        let drawn = |text: &str, arc| {
            let text = Lettered { text: text.into(), font: None, bold: false, lines: 1, align: None, arc };
            let place = Place::Box { width: Mm(30.0), height: Mm(9.0) };
            let art = text.drawn(place, true, &Opening::default()).unwrap().art;
            (art.size(), ink(&art))
        };
        for arc in [None, Some(Mm(20.0))] {
            let plain = drawn("Zoë\nTable", arc);
            for text in ["Zoë\nTable ", "Zoë\u{a0}\nTable", " Zoë\n\u{a0}Table \u{a0}"] {
                assert_eq!(drawn(text, arc), plain, "{text:?}");
            }
        }
    }

    #[test]
    fn a_text_is_broken_where_its_letters_become_larger() {
        let place = Place::Box { width: Mm(30.0), height: Mm(9.0) };
        let text = |text: &str, lines| Lettered {
            text: text.into(),
            font: None,
            bold: false,
            lines,
            align: None,
            arc: None,
        };
        let aspect = |t: Lettered| {
            let art = t.drawn(place, true, &Opening::default()).unwrap().art;
            let (w, h) = art.size();
            w / h
        };
        let long = "Jean-Baptiste de la Fontaine";
        assert!(aspect(text(long, 2)) < 0.7 * aspect(text(long, 1)));
        assert_eq!(aspect(text("Bo Lind", 3)), aspect(text("Bo Lind", 1)));
    }

    #[test]
    fn what_means_something_in_xml_is_only_text() {
        let art = |t: &str| {
            let text = Lettered {
                text: t.into(),
                font: Some("O'Hara & <b>".into()),
                bold: false,
                lines: 1,
                align: Some(Align::Left),
                arc: None,
            };
            text.drawn(Place::Inside, true, &Opening::default()).unwrap().art.size()
        };
        assert!(art("<A & \"B\"> @").0 > art("A B").0);
        let _ = art("\u{1}\u{FFFE}x");
    }
}
