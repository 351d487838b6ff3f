//! Findings about layers that meet: bare-unseen, layers-cross.

use super::{Finding, Remedy, Severity};
use crate::blank::Blank;
use crate::said::Said;
use crate::texts::text;
use crate::units::short;

/// What a layer does to those below it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum How {
    /// It lies across what is marked there.
    Across,
    /// Two photos are marked over each other.
    Doubled,
    /// It covers one of them.
    Covers,
    /// It clears one of them away.
    Clears,
}

/// How much of a layer is met or lost.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    /// Share of its ink.
    pub share: f64,
    /// Of a text the share of the letter that suffers most, where that says more than the share of all.
    pub letter: Option<f64>,
}

impl Part {
    /// So much of one letter where one is meant, else of all.
    fn percent(&self) -> String {
        short((100.0 * self.letter.unwrap_or(self.share)).min(100.0), 0)
    }
}

/// How a layer is asked for, and so how it is moved.
#[derive(Debug, Clone, PartialEq)]
pub enum AskedAs {
    /// It is the job's own art.
    Art,
    /// A text of which nothing else was said, on the command line by `--text`.
    Text(String),
    /// A layer with more than its text.
    Layer,
}

/// A layer as a remedy speaks of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Spoken {
    /// What it is called.
    pub name: String,
    /// How it is asked for.
    pub asked: AskedAs,
    /// Whether it is set against another place of the blank than its middle.
    pub anchored: bool,
    /// Whether it is a text rather than a picture.
    pub text: bool,
}

/// `layers-cross`: what the `upper` layer does to the `lower` one, to how much of it; remedies are added by who knows how the
/// layers are said.
pub fn crossing(how: How, part: Part, upper: &Spoken, lower: &Spoken) -> Finding {
    let (percent, strokes) = (part.percent(), upper.text);
    let (upper, lower) = (&upper.name, &lower.name);
    let message = match (how, part.letter.is_some()) {
        (How::Across, true) => text!("findings.layers-cross.across.letter", upper, percent),
        (How::Across, false) if strokes => text!("findings.layers-cross.across.strokes", upper, percent),
        (How::Across, false) => text!("findings.layers-cross.across.ink", upper, percent),
        (How::Doubled, true) => text!("findings.layers-cross.doubled.letter", upper, lower, percent),
        (How::Doubled, false) => text!("findings.layers-cross.doubled", upper, lower, percent),
        (How::Covers, true) => text!("findings.layers-cross.covers.letter", upper, percent, lower),
        (How::Covers, false) => text!("findings.layers-cross.covers", upper, percent, lower),
        (How::Clears, true) => text!("findings.layers-cross.clears.letter", upper, percent, lower),
        (How::Clears, false) => text!("findings.layers-cross.clears", upper, percent, lower),
    };
    Finding::new("layers-cross", Severity::Caution, message)
}

fn remedy(change: &'static str, text: impl Into<Said>) -> Remedy {
    Remedy::new(change, 0.0, "", text)
}

/// The remedy that gives each of the `layers`, which are all that can be moved, a place of its own; without an example where
/// they are `None`, or too many for the blank.
pub fn apart(blank: &Blank, layers: Option<&[Spoken]>) -> Remedy {
    let places = layers.and_then(|layers| {
        let boxes = stacked(blank, layers)?;
        let each: Vec<String> = layers.iter().zip(boxes).map(|(layer, at)| layer.placed(at)).collect();
        let (last, others) = each.split_last()?;
        Some(text!("findings.layers-cross.apart.line", others = others.join(", "), last))
    });
    remedy("places", Said::from(text!("findings.layers-cross.apart")).line(places.unwrap_or_default()))
}

/// The remedy that clears what lies below the layer.
pub fn cleared(layer: &Spoken) -> Remedy {
    let text = Said::from(text!("findings.layers-cross.clear"))
        .line(format!(" ({})", layer.with("clear = '0.6mm'")));
    remedy("clear", text)
}

/// The remedy that lays the `lower` layer above the upper one.
pub fn above(lower: &Spoken, upper: &Spoken) -> Remedy {
    let more = lower.with("clear = '0.6mm'");
    let (lower, upper) = (&lower.name, &upper.name);
    let text = Said::from(text!("findings.layers-cross.above", lower, upper)).line(text!(
        "findings.layers-cross.above.line",
        more,
        upper
    ));
    remedy("order", text)
}

/// `bare-unseen`: a layer is to be left bare where hardly anything is marked.
pub fn bare_unseen(name: &str) -> Finding {
    let message = text!("findings.bare-unseen", layer = name);
    let bare =
        Said::from(text!("findings.bare-unseen.marked")).line(" (leave bare = true out of its --layer)");
    let places =
        Said::from(text!("findings.bare-unseen.elsewhere")).line(" (place, anchor and at in its --layer)");
    Finding::new("bare-unseen", Severity::Caution, message)
        .with(remedy("bare", bare))
        .with(remedy("places", places))
}

impl Spoken {
    /// How the layer is said with `more`.
    fn with(&self, more: &str) -> String {
        let typed = match &self.asked {
            AskedAs::Text(text) => typed(text),
            _ => None,
        };
        match typed {
            Some(text) => format!("--layer \"text = {text}, {more}\" without --text"),
            None => format!("{more} in the --layer of {}", self.name),
        }
    }

    /// How the layer is laid into a box of this width and height in the middle, moved up by `up`.
    fn placed(&self, (width, height, up): (f64, f64, f64)) -> String {
        let mm = |v: f64| short(v, 1);
        let (size, at) = (format!("{}x{}mm", mm(width), mm(height)), format!("0mm,{}mm", mm(up)));
        match (&self.asked, self.anchored) {
            (AskedAs::Art, false) => format!("--place {size} --at {at} for the art"),
            (AskedAs::Art, true) => format!("--place {size} --anchor middle --at {at} for the art"),
            (_, false) => self.with(&format!("place = '{size}', at = '{at}'")),
            (_, true) => self.with(&format!("place = '{size}', anchor = 'middle', at = '{at}'")),
        }
    }
}

/// A text as it is typed within a layer in double quotes; `None` where a shell or the layer would read it otherwise.
fn typed(text: &str) -> Option<String> {
    let strange = |c: char| matches!(c, '\'' | '"' | '\\' | '$' | '`') || (c.is_control() && c != '\n');
    (!text.contains(strange)).then(|| format!("'{}'", text.replace('\n', "\\n")))
}

/// A picture is given so many times the height of a text, and so much lies between two, in the heights of a text (own
/// judgement).
const OF_A_PICTURE: f64 = 5.0;
const BETWEEN: f64 = 0.5;
/// The share of the printable height that all take together.
const OF_THE_HEIGHT: f64 = 0.8;
/// A lower box is none to read a text in, mm.
const LEAST_MM: f64 = 2.0;

/// A box for each, width, height and how far up from the middle, mm: the pictures above the texts, all on the blank less its
/// margin.
fn stacked(blank: &Blank, layers: &[Spoken]) -> Option<Vec<(f64, f64, f64)>> {
    let whole = blank.to_place_on().printable()?;
    let tenths = |v: f64| (v * 10.0).floor() / 10.0;
    let half = 0.5 * OF_THE_HEIGHT * whole.height();
    // Round a piece no more than is seen from one side.
    let seen = blank.shape.turned().map_or(f64::INFINITY, |mantle| mantle.girth() / 3.0);
    let widths = [0.9, 0.75, 0.55].map(|share| (share * whole.width()).min(seen));
    let width = widths.into_iter().find(|w| whole.contains(0.5 * w, half))?;
    let weight = |layer: &Spoken| if layer.text { 1.0 } else { OF_A_PICTURE };
    let weights: f64 = layers.iter().map(weight).sum();
    let unit = 2.0 * half / (weights + BETWEEN * layers.len().saturating_sub(1) as f64);
    if layers.len() < 2 || unit < LEAST_MM {
        return None;
    }
    let mut boxes = vec![(0.0, 0.0, 0.0); layers.len()];
    let mut top = half;
    for of_text in [false, true] {
        for (layer, place) in layers.iter().zip(&mut boxes).filter(|(layer, _)| layer.text == of_text) {
            let height = unit * weight(layer);
            *place = (tenths(width), tenths(height), (10.0 * (top - 0.5 * height)).round() / 10.0);
            top -= height + BETWEEN * unit;
        }
    }
    Some(boxes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::asked::LayerJob;
    use crate::units::Mm;

    fn text(text: &str) -> Spoken {
        let name = format!("'{}'", text.replace('\n', " / "));
        Spoken { name, asked: AskedAs::Text(text.into()), anchored: false, text: true }
    }

    fn art() -> Spoken {
        Spoken { name: "ship.svg".into(), asked: AskedAs::Art, anchored: false, text: false }
    }

    fn round(across: f64) -> Blank {
        Blank { shape: format!("round:{across}mm").parse().unwrap(), margin: Mm(2.5) }
    }

    /// The layer that is to be typed.
    fn layer(said: &str) -> LayerJob {
        let typed = said.split("--layer \"").nth(1).and_then(|t| t.split('"').next()).unwrap();
        toml::from_str(&typed.replace(", ", "\n")).unwrap()
    }

    #[test]
    fn the_layer_that_is_to_have_a_place_of_its_own_is_one_that_can_be_read() {
        let said = |second: Spoken| apart(&round(90.0), Some(&[art(), second])).text;
        let anna = said(text("Anna Bright"));
        assert!(anna.starts_with("give each a place of its own (for example --place "), "{anna}");
        assert!(anna.contains(" for the art and --layer \"text = 'Anna Bright', place = '"), "{anna}");
        assert_eq!(layer(&anna).text.as_deref(), Some("Anna Bright"));
        // A line feed is typed as two letters, which the layer reads as one.
        assert!(said(text("Pat\nMole")).contains(r"text = 'Pat\nMole', "), "{}", said(text("Pat\nMole")));
        for strange in ["O'Hara", "5 $", "a \"b\"", r"a\b"] {
            let said = said(text(strange));
            assert!(said.contains(&format!("in the --layer of '{strange}'")), "{said}");
        }
        // A layer of which more was said keeps the rest; one that is anchored is set against the middle.
        let file = Spoken { name: "rose.svg".into(), asked: AskedAs::Layer, anchored: true, text: false };
        let said = said(file);
        assert!(
            said.contains("anchor = 'middle', at = '0mm,-") && said.contains("the --layer of rose.svg"),
            "{said}"
        );
    }

    #[test]
    fn places_that_are_offered_lie_apart_and_within_the_margin() {
        for blank in
            [round(30.0), round(90.0), Blank { shape: "rect:60x25mm".parse().unwrap(), margin: Mm(2.0) }]
        {
            for layers in
                [vec![text("A"), text("B")], vec![art(), text("A")], vec![text("A"), art(), text("B")]]
            {
                let Some(boxes) = stacked(&blank, &layers) else { continue };
                let whole = blank.printable().unwrap();
                for (w, h, up) in &boxes {
                    assert!(whole.contains(w / 2.0 - 0.01, up.abs() + h / 2.0 - 0.06), "{boxes:?}");
                }
                let mut ends: Vec<(f64, f64)> =
                    boxes.iter().map(|b| (b.2 - b.1 / 2.0, b.2 + b.1 / 2.0)).collect();
                ends.sort_by(|a, b| a.0.total_cmp(&b.0));
                assert!(ends.windows(2).all(|e| e[1].0 > e[0].1), "{ends:?}");
            }
        }
        assert!(stacked(&round(90.0), &vec![text("A"); 40]).is_none());
        assert_eq!(apart(&round(90.0), None).text, "give each a place of its own");
    }

    #[test]
    fn a_page_says_nothing_of_how_layers_are_typed() {
        let rose =
            Spoken { name: "rose (2).svg".into(), asked: AskedAs::Layer, anchored: false, text: false };
        let both = [rose.clone(), text("Anna")];
        let bare = bare_unseen("'Anna'").remedies;
        for (remedy, page) in [
            (&apart(&round(90.0), Some(&both)), "give each a place of its own"),
            (&cleared(&rose), "or clear what lies below it"),
            (&above(&both[1], &rose), "or lay 'Anna' above rose (2).svg, and clear what lies below it"),
            (&bare[0], "have it marked instead"),
            (&bare[1], "or lay it where more is marked"),
        ] {
            assert!(remedy.text.on_page() == page && remedy.text.contains("--layer"), "{remedy:?}");
        }
    }

    #[test]
    fn what_is_lost_is_named() {
        let part = |share, letter| Part { share, letter };
        let said = |how| crossing(how, part(0.48, None), &art(), &text("Ida")).message;
        assert!(said(How::Clears).starts_with("ship.svg clears away 48% of 'Ida', which lies below it"));
        assert!(said(How::Covers).starts_with("ship.svg covers 48% of 'Ida'"));
        let across = |part| crossing(How::Across, part, &text("Ida"), &art()).message;
        assert!(across(part(0.2, None)).contains("(20% of its strokes)"));
        // Of a long text a letter says more than its share of all.
        assert!(across(part(0.04, Some(0.6))).contains("(60% of one letter of it)"));
        let covered = crossing(How::Covers, part(0.04, Some(0.6)), &art(), &text("Ida")).message;
        assert!(covered.starts_with("ship.svg covers 60% of one letter of 'Ida', which"), "{covered}");
    }
}
