//! Trays for people: the tray from above with its numbers, the pieces with their names, the ticket.

use minijinja::value::Serde;
use minijinja::{Value, context};

use super::canvas::{Picture, ProofError, draw, escape, letters};
use super::ground::BENCH;
use super::kinds::{self, PieceKind, numbered};
use super::legend::{INK, PAPER};
use super::page::fill;
use super::reduce::reduced;
use super::report::{Report, StepFacts};
use super::sheet::{Sheet, Stated, severity};
use super::words;
use crate::findings::Severity;
use crate::job::kit::spoken;
use crate::texts::text;
use crate::units::{duration, short};

/// Longest side of the picture of a tray, pixels.
const SIDE: f64 = 1800.0;
/// Columns of the page of pieces.
const COLUMNS: usize = 4;
/// Width of a piece on that page, and the gap around it, pixels.
const CELL: usize = 420;
const GAP: usize = 28;

/// A piece as it is shown on its tray.
#[derive(Debug, Clone)]
pub struct ShownPiece<'a> {
    /// Its number.
    pub number: usize,
    /// Whether it is marked now.
    pub to_mark: bool,
    /// Its name.
    pub name: &'a str,
    /// The finished piece, the size of a pixel and the picture's left and upper edge from the blank's, mm.
    pub picture: &'a Picture,
    /// Pixel size and place.
    pub layout: &'a super::layout::Layout,
    /// The lower left corner of its blank on the tray, and the blank's width and height, mm.
    pub corner: (f64, f64),
    /// The blank's width and height, mm.
    pub sides: (f64, f64),
}

/// The tray from above, each piece at its spot with its number; that of a piece that is not marked now is crossed out.
///
/// # Errors
/// When lettering cannot be drawn.
pub fn from_above(tray: (f64, f64), shown: &[ShownPiece<'_>]) -> Result<Picture, ProofError> {
    let pixel = tray.0.max(tray.1) / SIDE;
    let pixels = |mm: f64| ((mm / pixel).round().max(1.0)) as usize;
    let mut all = Picture::filled(pixels(tray.0), pixels(tray.1), BENCH);
    for one in shown {
        let (x, y) = one.corner;
        let longest = one.picture.width.max(one.picture.height) as f64 * one.layout.pixel;
        let mut small = reduced(one.picture, pixels(longest))?;
        if !one.to_mark {
            pale(&mut small);
        }
        let place = |mm: f64| ((mm / pixel).round().max(0.0)) as usize;
        let left = place(x + one.layout.left);
        let top = place(tray.1 - y - one.sides.1 + one.layout.top);
        let fits = |at: usize, side: usize, of: usize| at.min(of.saturating_sub(side));
        all.lay(&small, fits(left, small.width, all.width), fits(top, small.height, all.height));
        let badge = number(one.number, !one.to_mark)?;
        let (bx, by) = (place(x), place(tray.1 - y - one.sides.1));
        all.lay(&badge, fits(bx, badge.width, all.width), fits(by, badge.height, all.height));
    }
    Ok(all)
}

/// Leaves a third of a picture on the bench.
fn pale(picture: &mut Picture) {
    for pixel in picture.rgb.chunks_exact_mut(3) {
        for (value, bench) in pixel.iter_mut().zip(BENCH) {
            *value = ((u16::from(*value) + 2 * u16::from(bench)) / 3) as u8;
        }
    }
}

/// A number on paper.
fn number(n: usize, crossed: bool) -> Result<Picture, ProofError> {
    const HIGH: usize = 34;
    let text = n.to_string();
    let wide = 14 + (letters(&text) * 24.0).ceil() as usize;
    let cross = match crossed {
        true => format!(
            r#"<path d="M3,{} L{},3 M3,3 L{},{}" stroke="{INK}" stroke-width="3"/>"#,
            HIGH - 3,
            wide - 3,
            wide - 3,
            HIGH - 3
        ),
        false => String::new(),
    };
    let body = format!(
        r#"<rect x="1" y="1" width="{}" height="{}" fill="none" stroke="{INK}" stroke-width="2"/><text x="{}" y="25" font-size="24" font-weight="bold" text-anchor="middle" fill="{INK}">{text}</text>{cross}"#,
        wide - 2,
        HIGH - 2,
        wide as f64 / 2.0
    );
    draw(wide, HIGH, PAPER, &body)
}

/// The finished pieces side by side with their numbers and names, to be sent for approval.
///
/// # Errors
/// When lettering cannot be drawn.
pub fn pieces(title: &str, shown: &[ShownPiece<'_>]) -> Result<Picture, ProofError> {
    let columns = COLUMNS.min(shown.len().max(1));
    let small = shown.iter().map(|s| reduced(s.picture, CELL)).collect::<Result<Vec<_>, _>>()?;
    let high = small.iter().map(|p| p.height).max().unwrap_or(1);
    let (step_x, step_y) = (CELL + GAP, high + 2 * GAP);
    let rows = shown.len().div_ceil(columns);
    let (width, top) = (GAP + columns * step_x, 3 * GAP);
    let mut body = format!(
        r#"<text x="{GAP}" y="{}" font-size="30" font-weight="bold" fill="{INK}">{}</text>"#,
        2 * GAP,
        escape(title)
    );
    for (i, one) in shown.iter().enumerate() {
        let (x, y) = (GAP + i % columns * step_x, top + i / columns * step_y);
        body += &format!(
            r#"<text x="{x}" y="{}" font-size="20" fill="{INK}">{}</text>"#,
            y + high + GAP,
            escape(&caption(one))
        );
    }
    let mut all = draw(width, top + rows * step_y + GAP, PAPER, &body)?;
    for (i, piece) in small.iter().enumerate() {
        let (x, y) = (GAP + i % columns * step_x, top + i / columns * step_y);
        all.lay(piece, x + (CELL - piece.width) / 2, y + (high - piece.height) / 2);
    }
    Ok(all)
}

/// Its number, by which findings name it, and its name.
fn caption(one: &ShownPiece<'_>) -> String {
    cut(&format!("{} {}", one.number, one.name))
}

/// A name that fits below its piece.
fn cut(name: &str) -> String {
    if name.chars().count() <= 34 { name.to_string() } else { name.chars().take(33).chain(['…']).collect() }
}

/// What the ticket of an order says of one tray.
#[derive(Debug, Clone)]
pub struct TrayFacts {
    /// Its number, from 1.
    pub number: usize,
    /// Width and height, mm.
    pub sides: (f64, f64),
    /// The program's zero, right of and above the tray's lower left corner, mm.
    pub zero: (f64, f64),
    /// Time of its program, s; `None` where there is none.
    pub seconds: Option<f64>,
    /// Whether all its pieces are marked already, so that it needs none.
    pub done: bool,
    /// What the jig is called in which its blanks lie; several trays may share one.
    pub jig: String,
    /// The drawing that names the spots, where the jig is there already.
    pub drawn: Option<String>,
    /// Whether a program beside the jig marks the edges of the blanks on a card.
    pub on_card: bool,
}

/// A piece in the ticket's list.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct PieceFacts {
    /// Its number in the order of marking.
    pub number: usize,
    /// Whether it is marked now; else it is marked already, or left as it is.
    pub to_mark: bool,
    /// Its tray.
    pub tray: usize,
    /// Its spot on the tray, counted from 1.
    pub spot: usize,
    /// What it is called.
    pub name: String,
    /// Its row of the table.
    pub row: usize,
    /// Its blank.
    pub blank: String,
    /// The lower left corner of its blank on the tray, mm.
    pub left_mm: f64,
    /// See `left_mm`.
    pub bottom_mm: f64,
    /// How long it takes by itself, s.
    pub time_s: Option<f64>,
    /// The names of what was found, cautions and stops.
    pub findings: Vec<String>,
}

/// Why some pieces are not marked now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Left {
    /// Which, in a sentence.
    pub says: String,
    /// The same of one of them, in the list.
    pub word: &'static str,
}

/// The same finding of one piece or several.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct SharedFinding {
    /// How serious it is.
    pub severity: Severity,
    /// Its name.
    pub name: &'static str,
    /// What it says of the first of them.
    pub message: String,
    /// The numbers of the pieces.
    pub pieces: Vec<usize>,
    /// What would mend it, best first.
    pub remedies: Vec<SharedRemedy>,
    /// Of which of them it says something else, and what.
    pub others: Vec<OtherPieces>,
}

/// What would mend a finding of pieces.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct SharedRemedy {
    /// In words; of some of the pieces alone where it names those.
    pub text: String,
    /// Whether it is known to mend it.
    pub verified: bool,
}

/// Pieces of which a finding says something else than of the first.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct OtherPieces {
    /// What, with their numbers.
    pub message: String,
    /// Their numbers.
    pub pieces: Vec<usize>,
}

impl SharedFinding {
    /// Letters of its paragraphs on the page; `brief` as the page prints it where room is scarce.
    fn paragraphs(&self, brief: bool) -> Vec<usize> {
        let remedies = match (brief, self.severity) {
            (true, Severity::Note) => 0,
            (true, _) => 1,
            (false, _) => usize::MAX,
        };
        let remedies = self.remedies.iter().take(remedies).map(|r| r.text.chars().count() + 26);
        let others = self.others.iter().map(|o| o.message.chars().count());
        [self.message.chars().count() + self.name.len() + 12, numbered(&self.pieces).len() + 5]
            .into_iter()
            .chain(remedies)
            .chain(others)
            .collect()
    }
}

/// The ticket of an order; `of` is what is known of each piece that is marked, by its number in the order of marking.
///
/// # Errors
/// When a picture has no pixels.
pub fn ticket(
    title: &str,
    of: &[(usize, &Report)],
    trays: &[(TrayFacts, Picture)],
    pieces: &[PieceFacts],
    common: &[SharedFinding],
    skipped: &[String],
    left: Option<&Left>,
) -> Result<String, ProofError> {
    let Some((tray, picture)) = trays.first() else {
        return Err(ProofError::Page(text!("proof.why.no-tray").into()));
    };
    let stopped = trays.iter().any(|(t, _)| t.seconds.is_none() && !t.done);
    let total: f64 = trays.iter().filter_map(|(t, _)| t.seconds).sum();
    let kinds = kinds::kinds(of.iter().copied());
    let Some(PieceKind { report: first, .. }) = kinds.first() else {
        return Err(ProofError::Page(text!("proof.why.no-piece").into()));
    };
    let to_mark: Vec<usize> = pieces.iter().filter(|p| p.to_mark).map(|p| p.number).collect();
    let mut settings = kinds::settings(&kinds, !stopped);
    if !stopped {
        let about = match trays.iter().filter(|(t, _)| !t.done).count() {
            _ if left.is_some() => text!("proof.tray.time.alone", pieces = numbered(&to_mark)),
            _ if trays.len() == 1 => text!("proof.tray.time.all").to_string(),
            to_mark => trays_counted(to_mark),
        };
        settings.push(Stated::new(text!("proof.setting.time"), duration(total), about));
    }
    let said: Vec<Value> = common
        .iter()
        .map(|c| {
            let (mark, class, word) = severity(c.severity);
            context! { mark, word, class, name => c.name, message => c.message.clone(), pieces => numbered(&c.pieces), remedies => Value::from(Serde(&c.remedies)), others => Value::from(Serde(&c.others)) }
        })
        .collect();
    let paragraphs = |brief: bool| -> Vec<Vec<usize>> {
        let of_left = left.iter().map(|left| vec![left.says.chars().count()]);
        of_left.chain(common.iter().map(|c| c.paragraphs(brief))).collect()
    };
    let more: Vec<Value> = trays
        .iter()
        .skip(1)
        .map(|(t, picture)| {
            let png = reduced(picture, 780)?.to_png(None).map_err(|e| ProofError::Page(e.to_string()))?;
            Ok(context! { number => t.number, picture => super::page::data_uri(&png) })
        })
        .collect::<Result<_, ProofError>>()?;
    let steps: Vec<StepFacts> = if stopped {
        Vec::new()
    } else {
        steps(&kinds::steps(&kinds), trays, left.map(|_| to_mark.as_slice()))
    };
    let (standing, cautions, seen_from) =
        (kinds::standing(&kinds), kinds::cautions(&kinds), kinds::shown(&kinds));
    let about = about(pieces.len(), trays, left.map(|_| to_mark.as_slice()), &kinds);
    let sheet = Sheet {
        kind: text!("proof.tray.kind"),
        title: title.to_string(),
        about,
        standing: (standing.0, &standing.1),
        stopped: stopped.then_some(text!("proof.tray.stopped")),
        shown: seen_from.as_deref(),
        settings,
        picture,
        picture_title: text!("proof.tray.picture"),
        caption: match (left, words::zero_of_tray(tray.zero)) {
            (Some(_), zero) => text!("proof.tray.caption.left", zero),
            (None, zero) => text!("proof.tray.caption", zero),
        },
        steps: &steps,
        cautions: &cautions,
        beside: [paragraphs(false), paragraphs(true)],
    };
    let values = context! {
        sheet => sheet.values()?,
        title,
        findings => said,
        caution => text!("proof.severity.caution"),
        left => left.map(|left| context! { says => left.says.clone(), word => left.word }),
        pieces => Value::from(Serde(pieces)),
        trays => more,
        skipped => Value::from(Serde(skipped)),
        assumed => kinds::assumed(of),
        written_by => first.written_by.clone(),
    };
    fill("tray.html", include_str!("tray.html"), values)
}

/// `1 tray`, `3 trays`.
fn trays_counted(count: usize) -> String {
    if count == 1 { text!("proof.tray.trays.one", count) } else { text!("proof.tray.trays.many", count) }
}

/// What lies on the trays and is marked with what; `only` are the pieces that are marked, where not all are.
fn about(
    count: usize,
    of: &[(TrayFacts, Picture)],
    only: Option<&[usize]>,
    kinds: &[PieceKind<'_>],
) -> String {
    let pieces = match count {
        1 => text!("proof.tray.pieces.one", count),
        _ => text!("proof.tray.pieces.many", count),
    };
    let trays = trays_counted(of.len());
    let (width, height) = of.first().map_or((0.0, 0.0), |(tray, _)| tray.sides);
    let on = text!("proof.tray.about", pieces, trays, width = short(width, 1), height = short(height, 1));
    let to_mark = only.map(|pieces| text!("proof.tray.about.to-mark", pieces = numbered(pieces)));
    let machine = kinds.first().map(|kind| spoken(&kind.report.process.machine).to_string());
    let all = [Some(on), to_mark, Some(kinds::coatings(kinds.iter())), machine];
    all.into_iter().flatten().collect::<Vec<_>>().join(" · ")
}

/// The steps of pieces as those of trays; `only` are the pieces that are marked, where not all are.
fn steps(of_piece: &[StepFacts], trays: &[(TrayFacts, Picture)], only: Option<&[usize]>) -> Vec<StepFacts> {
    let to_mark: Vec<usize> = trays.iter().filter(|(t, _)| !t.done).map(|(t, _)| t.number).collect();
    let files = |what: &str| listed_as(&to_mark, |number| format!("{what}-{number}.nc"));
    let lay = || {
        let (make, outlines) = (make(trays), files("outline"));
        match only {
            Some(pieces @ [_]) => text!("proof.tray.lay.one", make, pieces = numbered(pieces), outlines),
            Some(pieces) => text!("proof.tray.lay.many", make, pieces = numbered(pieces), outlines),
            None => text!("proof.tray.lay.all", make, outlines),
        }
    };
    let mark = || match to_mark.len() > 1 {
        true => text!("proof.tray.mark.many", programs = files("program")),
        false => text!("proof.tray.mark.one", program = files("program")),
    };
    let of = |s: &StepFacts| match s.title.as_str() {
        title if title == text!("proof.step.lay") => lay(),
        title if title == text!("proof.step.mark") => mark(),
        _ => s.text.clone(),
    };
    of_piece.iter().map(|s| StepFacts { title: s.title.clone(), text: of(s) }).collect()
}

/// Which jigs are to be made for the trays that are marked now, and how; or the one that is there.
fn make(trays: &[(TrayFacts, Picture)]) -> String {
    let mut jigs: Vec<(&str, Vec<usize>)> = Vec::new();
    for (tray, _) in trays.iter().filter(|(t, _)| !t.done) {
        match jigs.iter_mut().find(|(name, _)| *name == tray.jig) {
            Some((_, of)) => of.push(tray.number),
            None => jigs.push((&tray.jig, vec![tray.number])),
        }
    }
    let files = |ending: &str| -> Vec<String> {
        let of = |(name, of): &(&str, Vec<usize>)| {
            let file = format!("{name}.{ending}");
            match of.as_slice() {
                _ if jigs.len() == 1 => file,
                [tray] => text!("proof.tray.jig.one", file, tray),
                several => text!("proof.tray.jig.many", file, trays = listed(several)),
            }
        };
        jigs.iter().map(of).collect()
    };
    let drawn = trays.first().and_then(|(tray, _)| tray.drawn.as_deref());
    let jig = files("svg").into_iter().reduce(|jig, other| text!("proof.tray.jig.another", jig, other));
    let mut jig = drawn.map_or_else(|| jig.unwrap_or_default(), str::to_string);
    if trays.iter().any(|(t, _)| t.on_card) {
        jig = text!("proof.tray.jig.card", jig, programs = files("nc").join(", "));
    }
    match jigs.len() > 1 {
        _ if drawn.is_some() => text!("proof.tray.make.drawn", jig),
        true => text!("proof.tray.make.many", jigs = jig),
        false => text!("proof.tray.make.one", jig),
    }
}

/// Numbers as a person lists them: `1, 3 to 5 and 9`.
pub fn listed(numbers: &[usize]) -> String {
    listed_as(numbers, |number| number.to_string())
}

/// The same of what is `called` by numbers.
fn listed_as(numbers: &[usize], called: impl Fn(usize) -> String) -> String {
    let mut runs: Vec<(usize, usize)> = Vec::new();
    for &n in numbers {
        match runs.last_mut() {
            Some((_, end)) if *end + 1 == n => *end = n,
            _ => runs.push((n, n)),
        }
    }
    let words: Vec<String> = runs
        .iter()
        .flat_map(|&(a, b)| match b - a {
            0 => vec![called(a)],
            1 => vec![called(a), called(b)],
            _ => vec![text!("proof.list.run", first = called(a), last = called(b))],
        })
        .collect();
    match words.as_slice() {
        [] => String::new(),
        [one] => one.clone(),
        [all @ .., last] => text!("proof.list.and", others = all.join(", "), last),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_listed_as_people_do() {
        assert_eq!(listed(&[4]), "4");
        assert_eq!(listed(&[1, 2]), "1 and 2");
        assert_eq!(listed(&[1, 3, 4, 5, 9]), "1, 3 to 5 and 9");
    }
    #[test]
    fn the_step_that_lays_the_blanks_names_each_jig_and_the_card() {
        let tray = |number: usize, jig: &str, done| {
            let (jig, seconds) = (jig.to_string(), Some(60.0));
            let (sides, zero) = ((200.0, 200.0), (0.0, 0.0));
            let facts = TrayFacts { number, sides, zero, seconds, done, jig, drawn: None, on_card: false };
            (facts, Picture { width: 1, height: 1, rgb: vec![0; 3] })
        };
        let one = [tray(1, "jig", false), tray(2, "jig", false)];
        assert_eq!(make(&one), "Make the jig from jig.svg");
        // One that is there is not made, whatever blanks lie in it.
        let drawn =
            |tray: (TrayFacts, Picture)| (TrayFacts { drawn: Some("holder.svg".into()), ..tray.0 }, tray.1);
        assert_eq!(
            make(&[drawn(tray(1, "jig", false)), drawn(tray(2, "jig-2", false))]),
            "Take the jig drawn in holder.svg"
        );
        // Each jig with all its trays, and none for trays that are marked already.
        let all = |done: usize| {
            [(1, "jig"), (2, "jig-2"), (3, "jig"), (4, "jig-4"), (5, "jig-4"), (6, "jig-4")]
                .map(|(number, jig)| tray(number, jig, number <= done))
        };
        assert_eq!(
            make(&all(0)),
            "Make the jig from jig.svg for trays 1 and 3, another from jig-2.svg for tray 2, another from jig-4.svg for trays 4 to 6,"
        );
        assert_eq!(
            make(&all(2)),
            "Make the jig from jig.svg for tray 3, another from jig-4.svg for trays 4 to 6,"
        );
        assert_eq!(make(&all(3)), "Make the jig from jig-4.svg");
        let on_card = |done: usize| {
            make(&all(done).map(|(facts, picture)| (TrayFacts { on_card: true, ..facts }, picture)))
        };
        assert_eq!(
            on_card(3),
            "Make the jig from jig-4.svg (or fix a card to the bed and run jig-4.nc, which burns the edges of the blanks into it: eyewear on)"
        );
        let two = on_card(2);
        assert!(two.contains("run jig.nc for tray 3, jig-4.nc for trays 4 to 6, which burns"), "{two}");
    }

    #[test]
    fn a_tray_that_is_marked_already_is_not_run_again() {
        let tray = |number: usize, done: bool| {
            let seconds = (!done).then_some(60.0);
            let jig = "jig".into();
            let (sides, zero) = ((200.0, 200.0), (0.0, 0.0));
            let facts = TrayFacts { number, sides, zero, seconds, done, jig, drawn: None, on_card: false };
            (facts, Picture { width: 1, height: 1, rgb: vec![0; 3] })
        };
        let mark = |trays: &[(TrayFacts, Picture)]| {
            steps(&[super::super::steps::step("Mark", "it")], trays, None).remove(0).text
        };
        assert!(mark(&[tray(1, true), tray(2, false)]).starts_with("Run program-2.nc, and stay"));
        let rest = mark(&[tray(1, true), tray(2, false), tray(3, false)]);
        assert!(rest.starts_with("Run program-2.nc and program-3.nc, one tray after the other"), "{rest}");
        let apart = mark(&[tray(1, false), tray(2, true), tray(3, false), tray(4, false), tray(5, false)]);
        assert!(apart.starts_with("Run program-1.nc and program-3.nc to program-5.nc, one"), "{apart}");
        let report = crate::proof::made::report();
        let page = |trays: &[(TrayFacts, Picture)]| {
            ticket("Tags", &[(1, &report)], trays, &[], &[], &[], None).unwrap()
        };
        assert!(!page(&[tray(1, true), tray(2, false)]).contains("DO NOT BURN"));
        let mut stopped = tray(2, false);
        stopped.0.seconds = None;
        assert!(page(&[tray(1, true), stopped]).contains("DO NOT BURN"));
    }

    #[test]
    fn pieces_that_are_not_marked_now_are_set_apart() {
        let facts = TrayFacts {
            number: 1,
            sides: (200.0, 200.0),
            zero: (60.0, -5.5),
            seconds: Some(60.0),
            done: false,
            jig: "jig".into(),
            drawn: None,
            on_card: false,
        };
        let trays = [(facts, Picture { width: 1, height: 1, rgb: vec![0; 3] })];
        let piece = |number: usize, to_mark: bool| PieceFacts {
            number,
            to_mark,
            tray: 1,
            spot: number,
            name: format!("Ada {number}"),
            row: number + 1,
            blank: "rect:60x30mm".into(),
            left_mm: 5.0,
            bottom_mm: 5.0,
            time_s: Some(60.0),
            findings: Vec::new(),
        };
        let pieces = [piece(1, false), piece(2, true), piece(3, true)];
        let report = crate::proof::made::report();
        let left =
            Left { says: "Piece 1, Ada 1, is taken as marked already.".into(), word: "marked already" };
        let page =
            ticket("Tags", &[(2, &report), (3, &report)], &trays, &pieces, &[], &[], Some(&left)).unwrap();
        for said in [
            "Piece 1, Ada 1, is taken as marked already.",
            "· pieces 2 and 3 to be marked",
            "pieces 2 and 3 alone",
            "crossed out",
            "zero lies 60 mm right of and 5.5 mm below the tray",
        ] {
            assert!(page.contains(said), "{said}");
        }
        assert_eq!(page.matches("marked already</td>").count(), 1);
        let lay = steps(&[super::super::steps::step("Lay", "it")], &trays, Some(&[2])).remove(0).text;
        assert!(lay.contains("lay the blank of piece 2 in its spot."), "{lay}");
        let plain = number(12, false).unwrap();
        let crossed = number(12, true).unwrap();
        assert!(plain.width == crossed.width && plain.rgb != crossed.rgb);
    }
}
