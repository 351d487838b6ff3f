//! Kinds: the pieces of trays that are prepared, set and finished alike, and what a ticket says of each kind. One order may
//! mix glass to be painted with slate that must stay bare: steps of the first piece alone would spoil the others.

use super::report::{Footing, Report, Standing, StepFacts};
use super::sheet::Stated;
use super::steps::passes;
use super::ticket::burn_settings;
use super::tray::listed;
use super::words;
use crate::job::kit::spoken;
use crate::note::{About, Note};
use crate::texts::text;
use crate::units::short;

/// Pieces that are prepared, set and finished alike.
#[derive(Debug, Clone)]
pub struct PieceKind<'a> {
    /// What is known of the first of them.
    pub report: &'a Report,
    /// Their numbers.
    pub pieces: Vec<usize>,
}

/// The kinds of pieces, each with its number, in the order in which they come.
pub fn kinds<'a>(pieces: impl IntoIterator<Item = (usize, &'a Report)>) -> Vec<PieceKind<'a>> {
    let mut all: Vec<PieceKind<'a>> = Vec::new();
    for (number, report) in pieces {
        match all.iter_mut().find(|kind| alike(kind.report, report)) {
            Some(kind) => kind.pieces.push(number),
            None => all.push(PieceKind { report, pieces: vec![number] }),
        }
    }
    for kind in &mut all {
        kind.pieces.sort_unstable();
    }
    all
}

/// Where each blank lies is the jig's matter.
fn alike(a: &Report, b: &Report) -> bool {
    let steps = |r: &'_ Report| -> Vec<StepFacts> {
        r.steps.iter().filter(|s| s.title != text!("proof.step.lay")).cloned().collect()
    };
    a.process.coating == b.process.coating
        && a.blank.surface == b.blank.surface
        && a.placement.shown == b.placement.shown
        && burn_settings(a) == burn_settings(b)
        && steps(a) == steps(b)
}

/// What was assumed of pieces, each with its number, because nobody said: each thing once, with the pieces where that is not
/// all of them.
pub fn assumed(pieces: &[(usize, &Report)]) -> Vec<String> {
    let mut all: Vec<(&Note, Vec<usize>)> = Vec::new();
    for (number, report) in pieces {
        for note in report.notes.iter().filter(|note| note.about.is_assumed()) {
            match all.iter_mut().find(|(known, _)| *known == note) {
                Some((_, of)) => of.push(*number),
                None => all.push((note, vec![*number])),
            }
        }
    }
    let told = all.into_iter().map(|(note, mut of)| {
        // An order has no options: what is to be said is said in its file.
        let file = match note.about {
            About::Surface => {
                text!("proof.kinds.assumed.surface")
            }
            _ => "",
        };
        let said = note.says.on_page().trim_end_matches('.');
        of.sort_unstable();
        match of.len() < pieces.len() {
            true => format!("{said}{file} ({}).", numbered(&of)),
            false => format!("{said}{file}."),
        }
    });
    told.collect()
}

/// `piece 2`, `pieces 1 and 3`.
pub fn numbered(pieces: &[usize]) -> String {
    match pieces.len() {
        1 => text!("proof.numbered.one", number = listed(pieces)),
        _ => text!("proof.numbered.many", numbers = listed(pieces)),
    }
}

/// What the pieces of some kinds are called: `Pieces 1, 3 and 4 (poster paint, bare slate)`.
fn called(of: &[&PieceKind<'_>]) -> String {
    let mut pieces: Vec<usize> = of.iter().flat_map(|kind| kind.pieces.iter().copied()).collect();
    pieces.sort_unstable();
    let coatings = coatings(of.iter().copied());
    match pieces.len() {
        1 => text!("proof.called.one", number = listed(&pieces), coatings),
        _ => text!("proof.called.many", numbers = listed(&pieces), coatings),
    }
}

/// The coatings of some kinds, each once.
pub fn coatings<'k, 'a: 'k>(of: impl Iterator<Item = &'k PieceKind<'a>>) -> String {
    let mut all: Vec<&str> = Vec::new();
    for kind in of {
        let coating = spoken(&kind.report.process.coating);
        if !all.contains(&coating) {
            all.push(coating);
        }
    }
    all.join(", ")
}

/// What some kinds say, each thing once, with the kinds that say it.
fn by_words<'k, 'a, 't>(
    kinds: &'k [PieceKind<'a>],
    said: impl Fn(&PieceKind<'a>) -> Option<&'t str>,
) -> Vec<(&'t str, Vec<&'k PieceKind<'a>>)> {
    let mut all: Vec<(&'t str, Vec<&'k PieceKind<'a>>)> = Vec::new();
    for kind in kinds {
        let Some(words) = said(kind) else { continue };
        match all.iter_mut().find(|(known, _)| *known == words) {
            Some((_, of)) => of.push(kind),
            None => all.push((words, vec![kind])),
        }
    }
    all
}

/// What is set for a burn; what differs between the kinds is told by the step that sets it, where there are steps.
pub fn settings(kinds: &[PieceKind<'_>], steps: bool) -> Vec<Stated> {
    let mut all: Vec<Vec<Stated>> = kinds.iter().map(|kind| burn_settings(kind.report)).collect();
    if all.is_empty() {
        return Vec::new();
    }
    let first = all.remove(0);
    let told = if steps { text!("proof.kinds.settings.step") } else { text!("proof.kinds.settings.differ") };
    first
        .into_iter()
        .enumerate()
        .map(|(i, setting)| match all.iter().all(|other| other.get(i) == Some(&setting)) {
            true => setting,
            false => Stated::new(setting.name, text!("proof.kinds.settings.by-piece").into(), told.into()),
        })
        .collect()
}

/// The steps of all kinds in one order; what is not for all pieces names those that it is for.
pub fn steps(kinds: &[PieceKind<'_>]) -> Vec<StepFacts> {
    let mut titles: Vec<&str> = Vec::new();
    for kind in kinds {
        let mut at = 0;
        for step in &kind.report.steps {
            match titles.iter().position(|t| *t == step.title) {
                Some(known) => at = known + 1,
                None => {
                    titles.insert(at, &step.title);
                    at += 1;
                }
            }
        }
    }
    let mut all = Vec::new();
    for title in titles {
        let said = by_words(kinds, |kind| {
            kind.report.steps.iter().find(|s| s.title == title).map(|s| s.text.as_str())
        });
        let step = |text: String| StepFacts { title: title.to_string(), text };
        match said.as_slice() {
            // The jig lays all blanks.
            [(text, _), ..] if title == text!("proof.step.lay") => all.push(step((*text).to_string())),
            [(text, of)] if of.len() == kinds.len() => all.push(step((*text).to_string())),
            _ if title == text!("proof.step.set") => all.push(step(set(kinds))),
            _ => all.extend(said.iter().map(|(text, of)| step(format!("{}: {text}", called(of))))),
        }
    }
    all
}

/// The step that sets the machine, where it is set in more than one way.
fn set(kinds: &[PieceKind<'_>]) -> String {
    let of_kind = |kind: &PieceKind<'_>| {
        let p = &kind.report.process;
        let watts = p.power_share.value * p.rated_power_w.value;
        text!(
            "proof.kinds.set.one",
            pieces = called(&[kind]),
            power = short(p.power_share.value * 100.0, 1),
            watts = short(watts, 2),
            rated = short(p.rated_power_w.value, 2),
            speed = short(p.speed_mm_per_s.value, 2),
            speed_per_minute = short(p.speed_mm_per_s.value * 60.0, 1),
            passes = passes(p.passes.value),
        )
    };
    let each: Vec<String> = kinds.iter().map(of_kind).collect();
    text!("proof.kinds.set", settings = each.join(" "))
}

/// Whether the process was measured for all of them, and what follows from it.
pub fn standing(kinds: &[PieceKind<'_>]) -> (Standing, String) {
    let of = |footing: Footing| kinds.iter().filter(move |k| k.report.process.footing() == footing);
    let text = match (of(Footing::Assumed).count(), of(Footing::InPart).count(), kinds.len()) {
        (0, 0, _) => return (Standing::Measured, text!("proof.standing.measured").into()),
        (0, _, 1) => text!("proof.standing.in-part.one").to_string(),
        (0, ..) => text!("proof.standing.in-part.many", coatings = coatings(of(Footing::InPart))),
        (_, _, 1) => text!("proof.standing.assumed.one").to_string(),
        _ => text!("proof.standing.assumed.many", coatings = coatings(of(Footing::Assumed))),
    };
    (Standing::Assumed, text)
}

/// From which side mirrored pieces are seen.
pub fn shown(kinds: &[PieceKind<'_>]) -> Option<String> {
    let said = by_words(kinds, |kind| kind.report.placement.shown.as_deref());
    match said.as_slice() {
        [] => None,
        [(text, of)] if of.len() == kinds.len() => Some((*text).to_string()),
        all => {
            Some(all.iter().map(|(text, of)| format!("{}: {text}", called(of))).collect::<Vec<_>>().join(" "))
        }
    }
}

/// What to beware of with any of them.
pub fn cautions(kinds: &[PieceKind<'_>]) -> Vec<String> {
    words::together(kinds.iter().map(|kind| kind.report.cautions.as_slice()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::blank::Surface;
    use crate::job::kit;
    use crate::proof::made::report;
    use crate::proof::steps::{after, before, step};
    use crate::said::Said;

    /// What is known of a piece of this coating.
    fn of(coating: &str, on: Surface, power: f64) -> Report {
        let mut r = report();
        let c = kit::coating(coating).unwrap();
        r.process.coating = c.name.clone();
        r.process.power_share.value = power;
        r.blank.surface = words::surface(on).into();
        r.placement.shown = None;
        r.steps = before(&c.work, on);
        r.steps.extend([step("Lay", "in its jig"), step("Set", format!("to {power}")), step("Mark", "it")]);
        r.steps.extend(after(&c.work, on));
        r.cautions = ["Eyewear on.".to_string()].into_iter().chain(c.work.cautions).collect();
        r.cautions.push("The manual comes first.".into());
        r
    }

    #[test]
    fn pieces_of_one_kind_have_the_steps_of_a_piece() {
        let (a, b) = (of("poster-paint", Surface::Glass, 0.9), of("poster-paint", Surface::Glass, 0.9));
        let all = kinds([(2, &b), (1, &a)]);
        assert_eq!((all.len(), all[0].pieces.as_slice()), (1, &[1, 2][..]));
        assert_eq!(steps(&all), a.steps);
        assert_eq!((settings(&all, true), cautions(&all)), (burn_settings(&a), a.cautions.clone()));
    }

    #[test]
    fn what_was_assumed_is_said_once_with_its_pieces() {
        let glass = Said::two(
            "Assumed: the blank is glass; say --surface, or a blank of the kit, where it is not.",
            "Assumed: the blank is glass.",
        );
        let glass = Note::new(About::Surface, glass);
        let machine = "Assumed: the machine is the kit's diode 5 W.";
        let of_kit = Report { notes: vec![Note::new(About::Assumed, machine)], ..report() };
        let notes = [of_kit.notes.clone(), vec![glass, Note::fact("Pitch 0.1 mm: as asked.")]].concat();
        let plain = Report { notes, ..report() };
        assert_eq!(
            assumed(&[(3, &plain), (2, &of_kit), (1, &plain)]),
            [
                machine,
                "Assumed: the blank is glass; say surface under [piece.blank] in the order, or a blank of the kit, where it is not (pieces 1 and 3)."
            ]
        );
    }

    #[test]
    fn what_is_for_some_pieces_alone_names_them() {
        let (glass, slate) = (of("poster-paint", Surface::Glass, 0.9), of("bare-slate", Surface::Slate, 0.8));
        let all = kinds([(1, &glass), (2, &slate), (3, &glass)]);
        let said = steps(&all);
        let with = |title: &str| -> Vec<&str> {
            said.iter().filter(|s| s.title == title).map(|s| s.text.as_str()).collect()
        };
        // Slate is never painted.
        let coat = with("Coat");
        assert!(coat.len() == 1 && coat[0].starts_with("Pieces 1 and 3 (poster paint"), "{coat:?}");
        let clean = with("Clean");
        assert!(clean.len() == 2 && clean[1].starts_with("Piece 2 ("), "{clean:?}");
        let set = with("Set");
        assert!(
            set.len() == 1 && set[0].contains("90 % (4.5 W of 5 W)") && set[0].contains("80 % (4 W of 5 W)")
        );
        assert_eq!((with("Lay"), with("Mark")), (vec!["in its jig"], vec!["it"]));
        let titles: Vec<&str> = said.iter().map(|s| s.title.as_str()).collect();
        let at = |title: &str| titles.iter().position(|t| *t == title).unwrap();
        assert!(
            at("Coat") < at("Dry") && at("Dry") < at("Lay") && at("Mark") < at("Clean off"),
            "{titles:?}"
        );
        let set = settings(&all, true);
        assert_eq!((set[0].text.as_str(), set[1].text.as_str()), ("by piece", "12.5 mm/s"));
        let cautions = cautions(&all);
        assert_eq!(cautions.last().map(String::as_str), Some("The manual comes first."));
        assert_eq!(cautions.iter().filter(|c| *c == "Eyewear on.").count(), 1);
        let (standing, text) = standing(&all);
        assert!(standing == Standing::Assumed && text.contains("one piece of each kind"), "{text}");
    }

    #[test]
    fn what_was_measured_in_part_is_not_said_to_be_unmeasured() {
        let (mut glass, mut slate) =
            (of("poster-paint", Surface::Glass, 0.9), of("bare-slate", Surface::Slate, 0.8));
        let said = |all: &[&Report]| standing(&kinds(all.iter().enumerate().map(|(i, r)| (i + 1, *r)))).1;
        assert!(
            said(&[&glass, &slate]).starts_with("not measured on this machine (poster paint, bare slate)")
        );
        slate.process.power_share.standing = Standing::Measured;
        assert!(said(&[&glass, &slate]).starts_with("not measured on this machine (poster paint): try one"));
        glass.process.beam_along_mm.standing = Standing::Measured;
        assert_eq!(
            said(&[&glass, &slate]),
            "measured on this machine in part (poster paint, bare slate): try one piece of each kind first, or burn a wedge"
        );
        assert!(said(&[&slate]).starts_with("measured on this machine in part: try one piece first"));
    }
}
