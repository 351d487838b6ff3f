//! Findings about the art and its place: art-changed, coarse-art, cut, empty-border, empty-cell, flowed-text, list-mark,
//! missing-glyph, no-text, off-middle, picture-border, picture-within, reading-unsure, sheet-edge, tonal-drawing.

use super::{Finding, Remedy, Severity, spot};
use crate::art::Kind;
use crate::art::reading::Decision;
use crate::job::settle::Of;
use crate::said::Said;
use crate::texts::text;
use crate::units::{MM_PER_INCH, Mm, short};

/// The pixels of what is shown of a picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShownPixels {
    /// Columns and rows.
    pub pixels: (f64, f64),
    /// Whether they are a part of the picture.
    pub part: bool,
    /// Whether they are two tones, drawn, whose edges stay sharp however much they are enlarged.
    pub sharp: bool,
    /// The picture.
    pub of: Of,
}

/// `coarse-art`: fewer source pixels than dots; where edges stay sharp it is a note. `dots` are those that show them (columns,
/// rows); `width` and `height` are the true size. `coarser` gives the least pitch from the given one on that the machine makes
/// without a fault of its own, where there is one.
pub fn coarse_art(
    shown: ShownPixels,
    dots: (usize, usize),
    (width, height): (Mm, Mm),
    coarser: impl Fn(Mm) -> Option<Mm>,
) -> Option<Finding> {
    let ShownPixels { pixels: source, part, sharp, of } = shown;
    let ratio = (source.0 / dots.0 as f64).min(source.1 / dots.1 as f64);
    if ratio >= 0.98 {
        return None;
    }
    let severity = if ratio < 0.5 && !sharp { Severity::Caution } else { Severity::Note };
    let (columns, rows) = (source.0.round(), source.1.round());
    let ((dots_across, dots_down), times) = (dots, short(1.0 / ratio, 2));
    let message = match (part, sharp) {
        (false, false) => text!("findings.coarse-art.soft", columns, rows, dots_across, dots_down, times),
        (false, true) => text!("findings.coarse-art.sharp", columns, rows, dots_across, dots_down, times),
        (true, false) => text!("findings.coarse-art.part.soft", columns, rows, dots_across, dots_down, times),
        (true, true) => text!("findings.coarse-art.part.sharp", columns, rows, dots_across, dots_down, times),
    };
    if sharp {
        let remedy = Remedy::new("picture", 1.0 / ratio, "times", text!("findings.coarse-art.larger"));
        return Some(Finding::new("coarse-art", severity, message).with(remedy));
    }
    let fitting = width.0 * ratio;
    let text = text!("findings.coarse-art.size", width = short(fitting, 1));
    let mut finding = Finding::new("coarse-art", severity, message)
        .with(sized(fitting, text, height.0 / width.0, of).verified(true));
    if let Some(pitch) = coarser(Mm(width.0 / (dots.0 as f64 * ratio))) {
        let dpi = MM_PER_INCH / pitch.0;
        let text = text!("findings.coarse-art.pitch", pitch, dpi = short(dpi, 1));
        finding = finding.with(Remedy::new("pitch", pitch.0, "mm", text).verified(true));
    }
    Some(finding)
}

/// A remedy that makes a picture so wide; its height is so many times that.
pub fn sized(width: f64, text: impl Into<Said>, height: f64, of: Of) -> Remedy {
    // Rounded down, so that it is no larger than what was found to do.
    let tenths = short((width * 10.0).floor() / 10.0, 1);
    let size = format!("{tenths}x{}mm", short(width * height, 3));
    Remedy::new("size", width, "mm", text).set(of.key("place"), size)
}

/// `art-changed`: files of a job that is prepared again are not those that it was first prepared with, by their names.
pub fn changed(names: &[String]) -> Option<Finding> {
    let first = names.first()?;
    let message = match names {
        [_] => text!("findings.art-changed.one", picture = first),
        _ => {
            let pictures = names.join(text!("findings.art-changed.and"));
            text!("findings.art-changed.many", pictures)
        }
    };
    Some(Finding::new("art-changed", Severity::Caution, message).with(Remedy::new(
        "art",
        0.0,
        "",
        text!("findings.art-changed.look"),
    )))
}

/// `no-text`: every text of a piece of an order is empty in its row, so that its pictures alone are marked.
pub fn unlettered() -> Finding {
    Finding::new("no-text", Severity::Caution, text!("findings.no-text")).with(Remedy::new(
        "text",
        0.0,
        "",
        text!("findings.no-text.fill"),
    ))
}

/// The most letters of a text that a finding shows.
const SHOWN_LETTERS: usize = 40;

/// `empty-cell`: cells of these columns are empty in the row of a piece of an order, and others fill them; `text` is what is left
/// of the text that asks for them, nothing where it is left out.
pub fn half_filled(text: &str, columns: &[String]) -> Finding {
    let lines: Vec<&str> = text.lines().map(str::trim).filter(|line| !line.is_empty()).collect();
    let mut left = lines.join(" / ");
    if left.chars().count() > SHOWN_LETTERS {
        left = left.chars().take(SHOWN_LETTERS).chain(['…']).collect();
    }
    let column = columns.first().map_or("", String::as_str);
    let several = (columns.len() != 1).then(|| columns.join(text!("findings.empty-cell.and")));
    let cells = match &several {
        None => text!("findings.empty-cell.cells.one", column),
        Some(columns) => text!("findings.empty-cell.cells.many", columns),
    };
    if left.is_empty() {
        let message = match several {
            None => text!("findings.empty-cell.left-out.one", column),
            Some(columns) => text!("findings.empty-cell.left-out.many", columns),
        };
        let text = text!("findings.empty-cell.belongs", cells);
        let remedy = Remedy::new("text", 0.0, "", text);
        return Finding::new("empty-cell", Severity::Caution, message).with(remedy);
    }
    let message = match several {
        None => text!("findings.empty-cell.without.one", column, left),
        Some(columns) => text!("findings.empty-cell.without.many", columns, left),
    };
    let braced: Vec<String> = columns.iter().map(|column| format!("{{{column}}}")).collect();
    let remedy = |text: String| Remedy::new("text", 0.0, "", text);
    Finding::new("empty-cell", Severity::Caution, message)
        .with(remedy(text!("findings.empty-cell.fill", cells)))
        .with(remedy(text!("findings.empty-cell.layer", columns = braced.join(", "))))
}

/// `list-mark`: what stands in a column of an order begins with the sign of a list, as most cells there do.
pub fn list_mark(column: &str, sign: &str) -> Finding {
    let message = text!("findings.list-mark", sign, column);
    let text = text!("findings.list-mark.take-out", column);
    Finding::new("list-mark", Severity::Caution, message).with(Remedy::new("text", 0.0, "", text))
}

/// A drawing that loses less than this share of its ink at the blank's edge is not cut: rounding to whole dots takes
/// as much.
const CUT_FROM: f64 = 0.003;

/// `cut`: lettering reaches past the drawing's page by `past`, a share of the page's side, and ends there.
pub fn cut_by_page(past: f64) -> Finding {
    let percent = (past * 100.0).ceil();
    let message = text!("findings.cut.page", percent);
    let text = text!("findings.cut.page.larger", percent);
    Finding::new("cut", Severity::Caution, message).with(Remedy::new("page", percent, "%", text))
}

/// `cut`: `share` of a drawing's ink lies where no dot may be, past the margin or outside the blank; `inside`: it is placed as
/// large as fits. `of` is what loses it, where it is one alone.
pub fn cut_by_blank(share: f64, inside: bool, of: Option<Of>) -> Option<Finding> {
    (share >= CUT_FROM).then(|| {
        let message = text!("findings.cut.blank", percent = short((share * 100.0).max(1.0), 0));
        let text =
            if inside { text!("findings.cut.blank.smaller") } else { text!("findings.cut.blank.whole") };
        let typed = match (of, inside) {
            (None, _) => "",
            (Some(Of::Art), true) => ", with --place",
            (Some(Of::Art), false) => " with --place inside",
            (Some(Of::Layer(_)), true) => " (place in its --layer)",
            (Some(Of::Layer(_)), false) => " (place = 'inside' in its --layer)",
        };
        let remedy = Remedy::new("place", 100.0 * share, "%", Said::from(text).line(typed));
        // Placed inside, it lies within the margin.
        Finding::new("cut", Severity::Caution, message).with(match of.filter(|_| !inside) {
            Some(of) => remedy.set(of.key("place"), "inside").verified(true),
            None => remedy,
        })
    })
}

/// `missing-glyph`: characters that no font at hand has, in a drawing's lettering or in a text that was `typed`.
pub fn missing_glyph(missing: &[char], typed: bool) -> Option<Finding> {
    (!missing.is_empty()).then(|| {
        let list = missing.iter().map(|c| c.to_string()).collect::<Vec<_>>().join(" ");
        let message = text!("findings.missing-glyph", characters = list);
        let (unit, without) = match missing {
            [_] => ("character", text!("findings.missing-glyph.without.one")),
            _ => ("characters", text!("findings.missing-glyph.without.many")),
        };
        let outlines = text!("findings.missing-glyph.outlines");
        let text = Said::default()
            .line(text!("findings.missing-glyph.installed.line"))
            .line(text!("findings.missing-glyph.file.line"))
            .and(if typed { without } else { outlines });
        Finding::new("missing-glyph", Severity::Caution, message).with(Remedy::new(
            "lettering",
            missing.len() as f64,
            unit,
            text,
        ))
    })
}

/// `flowed-text`: the drawing has text in a frame of its own, which no drawing library but a browser sets.
pub fn flowed_text() -> Finding {
    Finding::new("flowed-text", Severity::Caution, text!("findings.flowed-text")).with(Remedy::new(
        "lettering",
        0.0,
        "",
        text!("findings.flowed-text.outlines"),
    ))
}

/// A picture that takes less of a drawing is a mark or a texture (own judgement).
const LEAST_PICTURE: f64 = 0.03;

/// `picture-within`: a picture takes `share` of a drawing that is read as ink.
pub fn picture_within(share: f64) -> Option<Finding> {
    (share >= LEAST_PICTURE).then(|| {
        let message = text!("findings.picture-within", percent = short((100.0 * share).min(100.0), 0));
        let text = Said::from(text!("findings.picture-within.two-files"))
            .line(text!("findings.picture-within.two-files.line"));
        Finding::new("picture-within", Severity::Caution, message).with(Remedy::new("layers", 0.0, "", text))
    })
}

/// A remedy that inverts a picture, or no longer does.
pub fn exchanged(of: Of, invert: bool) -> Remedy {
    let (key, typed) = match (of, invert) {
        (Of::Art, true) => ("tone.invert".to_string(), "--invert".to_string()),
        (Of::Art, false) => ("tone.invert".to_string(), "leave out --invert".to_string()),
        (of, invert) => (of.key("invert"), format!("invert = {invert} in its --layer")),
    };
    let text = Said::from(text!("findings.exchange")).line(format!(": {typed}"));
    Remedy::new("invert", 0.0, "", text).set(key, invert.to_string())
}

/// `tonal-drawing`: the strokes of a drawing make the tones of a picture, where marks are light.
pub fn tonal_drawing(of: Of) -> Finding {
    let mut remedy = exchanged(of, true);
    remedy.text.push(text!("findings.tonal-drawing.look"));
    Finding::new("tonal-drawing", Severity::Caution, text!("findings.tonal-drawing")).with(remedy)
}

/// `reading-unsure`: the art may as well be read as `other`; `readings.png` shows both.
pub fn reading_unsure(reading: &Decision, other: Kind) -> Finding {
    let (kind, percent) = (reading.kind.in_words(), short(reading.sure * 100.0, 0));
    let message = text!("findings.reading-unsure", kind, percent, other = other.in_words());
    let text = Said::from(text!("findings.reading-unsure.look")).line(then_say(Of::Art, other, reading));
    let mut finding = Finding::new("reading-unsure", Severity::Caution, message);
    finding.of_order = Some(may_be(reading, other));
    finding.with(asked("read-as", text, (other, reading), Of::Art))
}

/// How unsure the reading is, where no picture shows both.
fn may_be(reading: &Decision, other: Kind) -> String {
    let (kind, percent) = (reading.kind.in_words(), short(reading.sure * 100.0, 0));
    text!("findings.reading-unsure.layer", kind, percent, other = other.in_words())
}

/// What the command line adds: how the picture is read another way, or as it was.
fn then_say(of: Of, other: Kind, reading: &Decision) -> String {
    let typed = |kind: Kind| of.typed("read_as", &kind.to_string());
    text!("findings.reading-unsure.say.line", other = typed(other), kind = typed(reading.kind))
}

/// A remedy that asks how a picture is to be read: what is asked for is never in doubt.
fn asked(change: &'static str, text: Said, (other, reading): (Kind, &Decision), of: Of) -> Remedy {
    let answer = |kind: Kind| {
        let text = text!("findings.reading-unsure.answer", kind = kind.in_words());
        Remedy::new(change, 0.0, "", text).set(of.key("read_as"), kind.to_string())
    };
    let answers = vec![answer(other), answer(reading.kind)];
    Remedy { answers, ..Remedy::new(change, 0.0, "", text) }
}

/// `reading-unsure` of a picture among layers, which `readings.png` does not show.
pub fn layer_unsure(reading: &Decision, other: Kind, of: Of) -> Finding {
    let message = may_be(reading, other);
    let text = Said::from(text!("findings.reading-unsure.layer.look")).line(then_say(of, other, reading));
    Finding::new("reading-unsure", Severity::Caution, message).with(asked(
        "reading of a layer",
        text,
        (other, reading),
        of,
    ))
}

/// What lies around a sheet of paper that does not fill the picture, or around a photo.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Around {
    /// Share of the picture that the sheet or the photo fills.
    pub share: f64,
    /// What a crop may leave, where one is good for something.
    pub alone: Option<Alone>,
    /// What it is, and what becomes of it.
    pub what: Beyond,
}

/// The sheet or the photo alone: left and upper edge, width and height, in shares of the art as opened.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Alone {
    /// All that may be left of the picture.
    pub most: [f64; 4],
    /// What must be left of it.
    pub kept: Option<[f64; 4]>,
}

impl Alone {
    /// As a crop in per cent, inwards, so that none of the table is left; where the picture itself ends, so may what is drawn.
    /// In whole per cent, with some room, unless that would cut into what must be left. `None` where it would leave nothing.
    fn in_percent(&self) -> Option<[f64; 4]> {
        let edges = |[left, top, width, height]: [f64; 4]| {
            [left, top, left + width, top + height].map(|v| v * 1000.0)
        };
        let inwards = |of: f64, room: f64| {
            let from = |v: f64| if v < 1e-5 { 0.0 } else { ((v + room) / of - 1e-6).ceil() * of };
            let to = |v: f64| if v > 1000.0 - 1e-5 { 1000.0 } else { ((v - room) / of + 1e-6).floor() * of };
            let [l, t, r, b] = edges(self.most);
            [from(l), from(t), to(r), to(b)]
        };
        let [l, t, r, b] = inwards(10.0, 5.0);
        let whole = self.kept.is_none_or(|kept| {
            let [left, top, right, bottom] = edges(kept);
            l <= left + 1e-5 && t <= top + 1e-5 && r >= right - 1e-5 && b >= bottom - 1e-5
        });
        let [l, t, r, b] = if whole { [l, t, r, b] } else { inwards(1.0, 0.0) };
        (r - l >= 10.0 && b - t >= 10.0).then_some([l, t, r - l, b - t].map(|v| v / 10.0))
    }
}

/// What lies around a sheet or a photo.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Beyond {
    /// What the sheet lies on: it is left bare.
    LeftBare,
    /// The same, but something dark reaches the sheet's edge at this place of the blank (mm).
    Reached((f64, f64)),
    /// What may be the same paper in a shadow: it is kept.
    Kept,
    /// What may as well be drawn there: it is kept as ink.
    Drawn,
    /// What may lie around a sheet whose edges are marked: it is kept.
    Unclear,
    /// The even border of a photo: it is marked as part of it.
    Border,
}

/// `sheet-edge`: the sheet of paper does not fill the picture, or a sharp edge across it may be a shadow's; a caution where it is not
/// `sure` that there is a sheet at all, and where what lies beyond it is marked. `picture-border`: a photo has an even border. `of` is the picture.
pub fn around(around: &Around, sure: bool, of: Of) -> Option<Finding> {
    let percent = short(around.share * 100.0, 0);
    let crop = around.alone.and_then(|alone| alone.in_percent());
    let (finding, text) = match around.what {
        Beyond::LeftBare => {
            let message = text!("findings.sheet-edge.bare", percent);
            let severity = if sure { Severity::Note } else { Severity::Caution };
            let again = || Remedy::new("picture", 0.0, "", text!("findings.sheet-edge.bare.again"));
            let finding = Finding::new("sheet-edge", severity, message);
            let finding = if crop.is_none() { finding.with(again()) } else { finding };
            (finding, text!("findings.sheet-edge.alone"))
        }
        Beyond::Reached(at) => {
            let message = text!("findings.sheet-edge.reached", percent, place = spot(at));
            let finding = taken_again(message, text!("findings.sheet-edge.reached.again"));
            return Some(Finding { at_mm: Some(at), ..finding });
        }
        Beyond::Kept => {
            let message = text!("findings.sheet-edge.kept", percent);
            let finding = taken_again(message, text!("findings.sheet-edge.kept.shadow"));
            (finding, text!("findings.sheet-edge.kept.alone"))
        }
        // The sheet alone would be cut through what is drawn.
        Beyond::Drawn => {
            let message = text!("findings.sheet-edge.drawn");
            return Some(taken_again(message, text!("findings.sheet-edge.drawn.again")));
        }
        Beyond::Unclear => {
            let message = text!("findings.sheet-edge.unclear");
            return Some(taken_again(message, text!("findings.sheet-edge.unclear.again")));
        }
        Beyond::Border => {
            crop?;
            let message = text!("findings.picture-border", percent);
            let finding = Finding::new("picture-border", Severity::Note, message);
            (finding, text!("findings.picture-border.without"))
        }
    };
    let Some([l, t, w, h]) = crop else { return Some(finding) };
    let crop = format!("{l}%,{t}%,{w}%,{h}%");
    let text = Said::from(text).line(format!(": {}", of.typed("crop", &crop)));
    Some(finding.with(Remedy::new("crop", w, "%", text).set(of.key("crop"), crop)))
}

/// `off-middle`: what is drawn lies `off` mm beside the middle of its page, the rest of which is empty, and would be so many
/// times `larger` without that. `drawn` is the part of the art as opened that holds it: left, upper, right and lower edge, in
/// shares.
pub fn off_middle(off: f64, larger: f64, drawn: [f64; 4], of: Of) -> Finding {
    let off = short(off, 1);
    let message = if larger >= 1.05 {
        text!("findings.off-middle.larger", off, times = short(larger, 1))
    } else {
        text!("findings.off-middle", off)
    };
    let text = text!("findings.off-middle.crop");
    Finding::new("off-middle", Severity::Caution, message).with(drawn_alone(text, drawn, of))
}

/// `empty-border`: what is drawn lies in the middle of a page that is empty around it, and would be so many times `larger`
/// without that. `drawn` as in [`off_middle`].
pub fn empty_border(larger: f64, drawn: [f64; 4], of: Of) -> Finding {
    let message = text!("findings.empty-border", times = short(larger, 1));
    let text = text!("findings.empty-border.crop");
    Finding::new("empty-border", Severity::Note, message).with(drawn_alone(text, drawn, of))
}

/// The crop that leaves what is `drawn` alone: nothing of that is cut off.
fn drawn_alone(text: &'static str, drawn: [f64; 4], of: Of) -> Remedy {
    // Outwards to a tenth of a per cent.
    let [left, top, right, bottom] = drawn.map(|v| v * 1000.0);
    let from = |v: f64| (v + 1e-6).floor().max(0.0) / 10.0;
    let side = |low: f64, high: f64| short((high - 1e-6).ceil().min(1000.0) / 10.0 - from(low), 1);
    let (width, height) = (side(left, right), side(top, bottom));
    let crop = format!("{}%,{}%,{width}%,{height}%", short(from(left), 1), short(from(top), 1));
    let text = Said::from(text).line(format!(": {}", of.typed("crop", &crop)));
    Remedy::new("crop", (right - left) / 10.0, "%", text).set(of.key("crop"), crop).verified(true)
}

fn taken_again(message: impl Into<Said>, again: &'static str) -> Finding {
    Finding::new("sheet-edge", Severity::Caution, message).with(Remedy::new("picture", 0.0, "", again))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pictures_that_are_not_what_they_were_are_named() {
        let said = |names: &[&str]| {
            let names: Vec<String> = names.iter().map(ToString::to_string).collect();
            changed(&names).map(|f| f.message)
        };
        assert_eq!(said(&[]), None);
        assert!(said(&["ship.png"]).unwrap().starts_with("ship.png is not the picture this job was first"));
        assert!(said(&["ship.png", "rose.svg"]).unwrap().starts_with("ship.png and rose.svg are not the"));
    }

    #[test]
    fn a_text_without_its_cells_is_told_as_what_is_left_of_it() {
        let said = |text: &str, columns: &[&str]| {
            let columns: Vec<String> = columns.iter().map(ToString::to_string).collect();
            half_filled(text, &columns).message
        };
        assert_eq!(
            said("Finn\nat ", &["seat"]),
            "the cell 'seat' is empty in its row of the table, and the rest of the text is marked without: 'Finn / at'"
        );
        assert_eq!(
            said("", &["name"]),
            "the cell 'name' is empty in its row of the table: the text that it fills is left out"
        );
        assert!(said("", &["name", "seat"]).ends_with(": the text that they fill is left out"));
        let f = half_filled("at", &["name".to_string(), "seat".to_string()]);
        assert_eq!(f.remedies[0].text.on_page(), "fill in the cells 'name' and 'seat'");
        assert!(f.remedies[1].text.contains("around {name}, {seat} out"), "{f:?}");
    }

    #[test]
    fn a_picture_with_enough_pixels_is_not_coarse() {
        let none = |_| None;
        let side = |mm: f64| (Mm(mm), Mm(mm));
        let shown = |pixels, of| ShownPixels { pixels, part: false, sharp: false, of };
        assert!(coarse_art(shown((1017.0, 1017.0), Of::Art), (1017, 1017), side(85.0), none).is_none());
        let few = shown((400.0, 500.0), Of::Layer(1));
        let f = coarse_art(few, (1017, 1017), side(85.0), none).unwrap();
        assert_eq!(f.severity, Severity::Caution);
        let two = coarse_art(ShownPixels { sharp: true, ..few }, (1017, 1017), side(85.0), none).unwrap();
        assert_eq!(two.severity, Severity::Note);
        assert!(two.message.contains("enlarged 2.54 times and stays sharp"), "{}", two.message);
        assert!(f.message.contains("2.54 times"), "{}", f.message);
        assert!(f.message.starts_with("the picture has 400 x 500 pixels"), "{}", f.message);
        let part = coarse_art(ShownPixels { part: true, ..few }, (1017, 1017), side(85.0), none).unwrap();
        assert!(part.message.starts_with("the part of the picture that is shown has 400 x 500 pixels"));
        assert!((f.remedies[0].value - 85.0 * 400.0 / 1017.0).abs() < 1e-9 && f.remedies.len() == 1);
        let steps = |p: Mm| Some(Mm((p.0 * 80.0).ceil() / 80.0));
        let size = |size: &str| size.to_string();
        assert_eq!(f.remedies[0].sets, [(size("layer.1.place"), size("33.4x33.432mm"))]);
        let f = coarse_art(shown((900.0, 900.0), Of::Art), (971, 971), side(84.9625), steps).unwrap();
        assert_eq!(f.remedies[0].sets, [(size("blank.place"), size("78.7x78.75mm"))]);
        assert!((f.remedies[1].value - 0.1).abs() < 1e-12, "{f:?}");
    }

    #[test]
    fn an_unsure_reading_names_the_other_and_the_option() {
        let reading = Decision { kind: Kind::Photo, sure: 0.617, other: Some(Kind::Paper), why: "so".into() };
        let f = reading_unsure(&reading, Kind::Paper);
        assert_eq!(
            f.message,
            "it is read as a photo, but only 62% sure: it may be a drawing on paper; readings.png shows both"
        );
        assert!(f.remedies[0].text.contains("--read-as paper"), "{f:?}");
        assert_eq!(f.in_order(), "it is read as a photo, but only 62% sure: it may be a drawing on paper");
        let answers = f.remedies[0].answers.iter().map(|a| (a.text.on_page(), a.sets[0].1.as_str()));
        let two = [("read it as a drawing on paper", "paper"), ("read it as a photo", "photo")];
        assert_eq!(answers.collect::<Vec<_>>(), two);
        let f = layer_unsure(&reading, Kind::Paper, Of::Layer(2));
        let said = "look at proof.png, then say read_as = 'paper' in its --layer, or read_as = 'photo' in its --layer if it is \
                    right as it is";
        assert_eq!(f.remedies[0].text, said);
        assert_eq!(f.remedies[0].answers[1].sets, [("layer.2.read_as".to_string(), "photo".to_string())]);
    }

    #[test]
    fn a_sheet_on_a_table_is_cut_out_by_a_crop_that_can_be_typed() {
        let alone = Some(Alone { most: [0.123, 0.1, 0.75, 0.8], kept: Some([0.2, 0.11, 0.66, 0.5]) });
        let table = Around { share: 0.56, alone, what: Beyond::LeftBare };
        let f = around(&table, true, Of::Art).unwrap();
        assert_eq!((f.name, f.severity), ("sheet-edge", Severity::Note));
        assert_eq!(around(&table, false, Of::Art).map(|f| f.severity), Some(Severity::Caution));
        let text = &f.remedies[0].text;
        let crop = text.split("--crop ").nth(1).unwrap();
        assert_eq!(crop, "13%,11%,73%,78%");
        assert!(crop.parse::<crate::job::words::Crop>().is_ok());
        // Where the sheet reaches past the picture, nothing is cut off it.
        let alone = Some(Alone { most: [0.0, 0.1, 1.0, 0.9], kept: Some([0.0, 0.2, 1.0, 0.8]) });
        let past = Around { alone, ..table };
        let f = around(&past, true, Of::Art).unwrap();
        assert_eq!(f.remedies[0].sets[0].1, "0%,11%,100%,89%");
        // What may be a shadow is a caution, with the same crop.
        let f = around(&Around { what: Beyond::Kept, ..table }, true, Of::Art).unwrap();
        assert_eq!(f.severity, Severity::Caution);
        assert!(f.message.contains("it is kept"), "{}", f.message);
        assert_eq!(f.remedies[0].text, "take the picture again without the shadow");
        assert_eq!(f.remedies[1].text, format!("if that is the table, use the sheet alone: --crop {crop}"));
        assert_eq!(f.remedies[1].text.on_page(), "if that is the table, use the sheet alone");
        assert_eq!(f.remedies[1].sets, [("art.crop".to_string(), crop.to_string())]);
        // Nothing that is drawn is cut off to make a crop of whole per cent.
        let tight = Some(Alone { most: [0.123, 0.1, 0.75, 0.8], kept: Some([0.125, 0.2, 0.6, 0.5]) });
        let f = around(&Around { alone: tight, ..table }, true, Of::Art).unwrap();
        assert_eq!(f.remedies[0].sets[0].1, "12.3%,10%,75%,80%");
        assert!(f.remedies[0].sets[0].1.parse::<crate::job::words::Crop>().is_ok());
        // Where no box of the sheet holds all of it, there is no crop.
        let f = around(&Around { alone: None, ..table }, true, Of::Art).unwrap();
        assert!(f.remedies.len() == 1 && f.remedies[0].sets.is_empty(), "{f:?}");
        assert!(f.remedies[0].text.contains("straight above"), "{f:?}");
        let f = around(&Around { alone: None, what: Beyond::Kept, ..table }, true, Of::Art).unwrap();
        assert!(f.remedies.len() == 1 && f.remedies[0].sets.is_empty(), "{f:?}");
        // What is drawn is not cut off by a crop.
        let f = around(&Around { what: Beyond::Reached((40.0, 12.5)), ..table }, true, Of::Art).unwrap();
        assert_eq!((f.severity, f.at_mm, f.remedies.len()), (Severity::Caution, Some((40.0, 12.5)), 1));
        let f = around(&Around { what: Beyond::Drawn, ..table }, true, Of::Art).unwrap();
        assert_eq!((f.name, f.severity, f.remedies.len()), ("sheet-edge", Severity::Caution, 1));
        assert!(f.message.contains("taken for drawn, and marked") && f.remedies[0].sets.is_empty(), "{f:?}");
        let f = around(&Around { what: Beyond::Unclear, ..table }, true, Of::Art).unwrap();
        assert_eq!((f.name, f.severity, f.remedies.len()), ("sheet-edge", Severity::Caution, 1));
        let f = around(&Around { what: Beyond::Border, ..table }, false, Of::Art).unwrap();
        assert_eq!((f.name, f.severity), ("picture-border", Severity::Note));
        assert_eq!(f.remedies[0].text, format!("use the photo without its border: --crop {crop}"));
        // Of a layer it is the layer's own crop.
        let f = around(&table, true, Of::Layer(0)).unwrap();
        assert_eq!(f.remedies[0].text, format!("use the sheet alone: crop = '{crop}' in its --layer"));
        assert_eq!(f.remedies[0].sets, [("layer.0.crop".to_string(), crop.to_string())]);
    }

    #[test]
    fn remedies_are_whole_sentences_without_options() {
        let unsure = Decision { kind: Kind::Photo, sure: 0.6, other: Some(Kind::Drawing), why: "so".into() };
        for (finding, page) in [
            (missing_glyph(&['☂'], false), "turn the lettering into outlines (paths) in the drawing program"),
            (missing_glyph(&['☂'], true), "take this character out of the text, or write it another way"),
            (cut_by_blank(0.2, false, Some(Of::Art)), "place it whole"),
            (cut_by_blank(0.2, true, Some(Of::Art)), "give it a size that is a little smaller"),
            (
                picture_within(0.4),
                "save the picture and the drawing as two files and lay one above the other",
            ),
            (Some(reading_unsure(&unsure, Kind::Drawing)), "look at readings.png"),
            (Some(layer_unsure(&unsure, Kind::Drawing, Of::Layer(0))), "look at proof.png"),
        ] {
            let remedy = finding.unwrap().remedies.remove(0);
            assert!(remedy.text.on_page() == page && remedy.text.contains(" --"), "{remedy:?}");
        }
    }
}
