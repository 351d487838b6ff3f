//! What was found at the pieces of an order, each thing once: what it says of the first of them, what is said otherwise of the
//! others, and what would mend it at any of them.

use std::cmp::Reverse;

use crate::findings::{Finding, Remedy, Severity};
use crate::pipeline::tray::TrayPiece;
use crate::proof::kinds::numbered;
use crate::proof::tray::{OtherPieces, SharedFinding, SharedRemedy};
use crate::texts::text;

/// So many sentences of other pieces are told; of the rest, which they are.
const MOST_OTHERS: usize = 8;
/// What is set for one picture: of another, it would cut, move or size what it was not found for.
const OF_ONE_PICTURE: [&str; 3] = ["at", "crop", "place"];
/// From so many words on, clauses at their ends that two sentences share are told once.
const SHARED_WORDS: usize = 4;

/// The findings of pieces, each with its row of the table, by name; the most serious first. What is not to be said of all of
/// them names the row, where rows tell them apart. An order has no options, so it is said as the page says it.
pub(super) fn shared(all: &[(&TrayPiece<'_>, usize)], by_row: bool, is_job: bool) -> Vec<SharedFinding> {
    let each = all.iter().flat_map(|(one, row)| {
        one.piece.report.findings.iter().map(|f| Told { piece: one.number, row: *row, finding: f })
    });
    of(each, all.len(), by_row, if is_job { "" } else { "piece." })
}

/// A finding of a piece.
#[derive(Debug, Clone, Copy)]
struct Told<'a> {
    piece: usize,
    row: usize,
    finding: &'a Finding,
}

/// `piece` is what the names of the piece's tables begin with in the order's file.
fn of<'a>(
    each: impl Iterator<Item = Told<'a>>,
    count: usize,
    by_row: bool,
    piece: &str,
) -> Vec<SharedFinding> {
    let mut sorts: Vec<Vec<Told<'_>>> = Vec::new();
    for told in each {
        let sort = |f: &Finding| (f.name, f.severity);
        match sorts.iter_mut().find(|s| sort(s[0].finding) == sort(told.finding)) {
            Some(known) => known.push(told),
            None => sorts.push(vec![told]),
        }
    }
    let mut found: Vec<SharedFinding> =
        sorts.into_iter().filter_map(|sort| one_sort(sort, count, by_row, piece)).collect();
    found.sort_by_key(|c| Reverse(c.severity));
    found
}

/// The findings of one sort.
fn one_sort(mut sort: Vec<Told<'_>>, count: usize, by_row: bool, piece: &str) -> Option<SharedFinding> {
    sort.sort_by_key(|told| told.piece);
    let first = *sort.first()?;
    let pieces = numbers(&sort);
    let mut message = first.finding.in_order().to_string();
    if by_row && pieces.len() < count {
        message = text!("outputs.found.row", row = first.row, message);
    }
    if pieces.len() > 1 && first.finding.severity > Severity::Note {
        message = text!("outputs.found.first-of", count = pieces.len(), message);
    }
    Some(SharedFinding {
        severity: first.finding.severity,
        name: first.finding.name,
        message,
        remedies: remedies(&sort, count, (piece, by_row)),
        // Of notes one example is enough.
        others: match first.finding.severity {
            Severity::Note => Vec::new(),
            _ => others(&sort, first.finding.in_order()),
        },
        pieces,
    })
}

fn numbers(sort: &[Told<'_>]) -> Vec<usize> {
    let mut all: Vec<usize> = sort.iter().map(|told| told.piece).collect();
    all.dedup();
    all
}

/// A remedy, with the pieces that have it.
pub(crate) struct OfPieces<'a> {
    /// Their numbers.
    pub pieces: Vec<usize>,
    /// As each of their findings has it.
    pub all: Vec<&'a Remedy>,
}

/// The remedies of findings of one sort, each with its piece, once for all that `said` makes the same of; what comes first at
/// its piece comes first. Besides, the pieces of the rest, where they differ too much from piece to piece to tell all.
pub(crate) fn each_remedy<'a, T: PartialEq>(
    found: &[(usize, Vec<&'a Remedy>)],
    said: impl Fn(&'a Remedy) -> T,
) -> (Vec<OfPieces<'a>>, Vec<usize>) {
    let mut told: Vec<(T, OfPieces<'a>)> = Vec::new();
    let mut rest = Vec::new();
    for place in 0..found.iter().map(|(_, all)| all.len()).max().unwrap_or(0) {
        let most = told.len() + MOST_OTHERS;
        for (piece, remedy) in found.iter().filter_map(|(piece, all)| Some((*piece, *all.get(place)?))) {
            let words = said(remedy);
            match told.iter().position(|(known, _)| *known == words) {
                Some(at) => {
                    told[at].1.pieces.push(piece);
                    told[at].1.all.push(remedy);
                }
                None if told.len() == most => rest.push(piece),
                None => told.push((words, OfPieces { pieces: vec![piece], all: vec![remedy] })),
            }
        }
    }
    let once = |pieces: &mut Vec<usize>| {
        pieces.sort_unstable();
        pieces.dedup();
    };
    told.iter_mut().for_each(|(_, of)| once(&mut of.pieces));
    once(&mut rest);
    (told.into_iter().map(|(_, of)| of).collect(), rest)
}

/// What mends it at any of them, with the keys of the order that do, and whether that is known to. A key of an order holds for
/// every piece: what was tried of some is not known to do good to the others.
fn remedies(sort: &[Told<'_>], count: usize, (piece, by_row): (&str, bool)) -> Vec<SharedRemedy> {
    let found: Vec<(usize, Vec<&Remedy>)> =
        sort.iter().map(|told| (told.piece, told.finding.remedies.iter().collect())).collect();
    let having = numbers(sort).len();
    let (all, rest) = each_remedy(&found, words);
    let told = all.iter().filter_map(|of| {
        let remedy = *of.all.first()?;
        let (text, every) = (words(remedy), of.pieces.len() == count);
        let whole = of.pieces.len() == having;
        let of_pieces = match whole {
            true => text.to_string(),
            false => text!("outputs.found.remedy.piece", remedy = text, pieces = numbered(&of.pieces)),
        };
        let keys = keys_of(remedy, piece);
        let alike = whole && of.all.iter().all(|other| other.sets == remedy.sets);
        let written = match (keys.is_empty(), every) {
            (true, _) => of_pieces,
            _ if is_of_one_picture(remedy) && !alike => {
                let each = each_own(sort, |other| words(other) == text, piece);
                text!("outputs.found.remedy.own", remedy = text, each)
            }
            // What each row says for itself holds for no other.
            (_, false) if by_row && is_reading(remedy) => {
                text!("outputs.found.remedy.read-as", column = "reading")
            }
            (_, true) => text!("outputs.found.remedy.write", remedy = of_pieces, keys),
            _ => text!("outputs.found.remedy.write-alone", remedy = of_pieces, keys),
        };
        let verified = of.all.iter().all(|other| other.verified) && (every || remedy.sets.is_empty());
        Some(SharedRemedy { text: written, verified })
    });
    let mut told: Vec<SharedRemedy> = told.collect();
    if !rest.is_empty() {
        let text = text!("outputs.found.like", pieces = numbered(&rest));
        told.push(SharedRemedy { text, verified: false });
    }
    told
}

/// A remedy in words: of the pictures that a job has, an order has only that of its pieces.
fn words(remedy: &Remedy) -> &str {
    let asks = !remedy.answers.is_empty() && is_reading(remedy);
    if asks { text!("outputs.found.look") } else { remedy.text.on_page() }
}

/// What to write to set what a remedy sets, or what answers its question.
fn keys_of(remedy: &Remedy, piece: &str) -> String {
    match remedy.answers.as_slice() {
        [] => keys(&remedy.sets, text!("outputs.found.and"), piece),
        answers => keys(answers.iter().flat_map(|answer| &answer.sets), text!("outputs.found.or"), piece),
    }
}

/// Whether what a remedy sets was found for one picture and holds for no other.
pub(crate) fn is_of_one_picture(remedy: &Remedy) -> bool {
    let name = |key: &'_ str| key.rsplit('.').next().is_some_and(|name| OF_ONE_PICTURE.contains(&name));
    remedy.sets.iter().any(|(key, _)| name(key))
}

/// What each of the pieces is to have that have such a remedy, told once of those that are to have the same.
fn each_own(sort: &[Told<'_>], same: impl Fn(&Remedy) -> bool, piece: &str) -> String {
    let of = |told: &Told<'_>| {
        let own = told.finding.remedies.iter().filter(|remedy| same(remedy));
        own.map(|remedy| (keys_of(remedy, piece), told.piece)).collect::<Vec<_>>()
    };
    let (all, rest) = each_once(sort.iter().flat_map(of));
    let mut each: Vec<String> = all
        .into_iter()
        .map(|(keys, pieces)| text!("outputs.found.remedy.own.write", keys, pieces = numbered(&pieces)))
        .collect();
    if !rest.is_empty() {
        each.push(text!("outputs.found.like", pieces = numbered(&rest)));
    }
    each.join(text!("outputs.found.remedy.own.then"))
}

/// What is said of pieces, each thing once, with those of which it is said; and, where that comes to too much, the pieces of the
/// rest.
fn each_once<T: PartialEq>(each: impl Iterator<Item = (T, usize)>) -> (Vec<(T, Vec<usize>)>, Vec<usize>) {
    let mut all: Vec<(T, Vec<usize>)> = Vec::new();
    for (words, piece) in each {
        match all.iter_mut().find(|(known, _)| *known == words) {
            Some((_, pieces)) if pieces.last() == Some(&piece) => {}
            Some((_, pieces)) => pieces.push(piece),
            None => all.push((words, vec![piece])),
        }
    }
    let rest = if all.len() > MOST_OTHERS { all.split_off(MOST_OTHERS) } else { Vec::new() };
    let mut rest: Vec<usize> = rest.into_iter().flat_map(|(_, pieces)| pieces).collect();
    rest.sort_unstable();
    rest.dedup();
    (all, rest)
}

/// Whether all that a remedy sets is how a picture is read.
fn is_reading(remedy: &Remedy) -> bool {
    let mut sets = remedy.sets.iter().chain(remedy.answers.iter().flat_map(|answer| &answer.sets)).peekable();
    sets.peek().is_some() && sets.all(|(key, _)| key.ends_with("read_as"))
}

/// What to write in an order to set keys of a job, with where each stands.
fn keys<'a>(sets: impl IntoIterator<Item = &'a (String, String)>, joined: &str, piece: &str) -> String {
    let mut places: Vec<(String, Vec<String>)> = Vec::new();
    for (key, value) in sets {
        let (place, name) = match key.rsplit_once('.') {
            Some((table, name)) if table.starts_with("layer.") => {
                (text!("outputs.found.in-layer", piece), name)
            }
            Some((table, name)) => (text!("outputs.found.under", piece, table), name),
            None if piece.is_empty() => (text!("outputs.found.top").into(), key.as_str()),
            None => (text!("outputs.found.piece").into(), key.as_str()),
        };
        let set = match value.as_str() {
            "true" | "false" => format!("{name} = {value}"),
            text => format!("{name} = '{text}'"),
        };
        match places.iter_mut().find(|(known, _)| *known == place) {
            Some((_, all)) => all.push(set),
            None => places.push((place, vec![set])),
        }
    }
    let all: Vec<String> =
        places.iter().map(|(place, all)| format!("{} {place}", all.join(joined))).collect();
    all.join(text!("outputs.found.and"))
}

/// What is said of pieces in other words than of the first, each sentence once.
fn others(sort: &[Told<'_>], first: &str) -> Vec<OtherPieces> {
    let each = sort.iter().map(|told| (told.finding.in_order(), told.piece));
    let (all, rest) = each_once(each.filter(|(message, _)| *message != first));
    let mut told: Vec<OtherPieces> = all
        .into_iter()
        .map(|(message, pieces)| OtherPieces {
            message: format!("{}: {}", numbered(&pieces), short_of(message, first)),
            pieces,
        })
        .collect();
    if !rest.is_empty() {
        told.push(OtherPieces {
            message: text!("outputs.found.like", pieces = numbered(&rest)),
            pieces: rest,
        });
    }
    told
}

/// A sentence without the clauses at its end that it has in common with another.
fn short_of(message: &str, other: &str) -> String {
    let same = message.split(' ').rev().zip(other.split(' ').rev()).take_while(|(a, b)| a == b).count();
    let words: Vec<&str> = message.split(' ').collect();
    let first = words.len() - same;
    let clause = words[first..].iter().position(|word| word.ends_with([',', ';', ':']));
    match clause.map(|at| words.split_at(first + at + 1)) {
        Some((own, rest)) if rest.len() >= SHARED_WORDS => {
            own.join(" ").trim_end_matches([',', ';', ':']).to_string()
        }
        _ => message.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn past(name: &str, mm: &str) -> Finding {
        let message = format!("'{name}' reaches {mm} mm past the margin; what lies beyond it is left out");
        let remedy = |text: String| Remedy::new("size", 0.0, "", text);
        Finding::new("past-margin", Severity::Caution, message)
            .with(remedy(format!("move '{name}' nearer to the middle")))
            .with(remedy("use a larger blank".into()))
    }

    #[test]
    fn a_sort_keeps_its_remedies_and_the_figures_of_each_piece() {
        let (ada, bo) = (past("Ada", "2.89"), past("Bo", "0.5"));
        let note = Finding::new("assumed", Severity::Note, "never measured");
        let told = |piece, finding| Told { piece, row: piece + 1, finding };
        // Pieces come in any order, and two layers of one may say the same.
        let each =
            [told(3, &note), told(3, &bo), told(1, &note), told(1, &ada), told(2, &note), told(3, &bo)];
        let all = of(each.into_iter(), 3, true, "piece.");
        let [past, note] = all.as_slice() else { panic!("{all:?}") };
        assert_eq!(
            past.message,
            "the first of 2 pieces: row 2: 'Ada' reaches 2.89 mm past the margin; what lies beyond it is left out"
        );
        let remedies: Vec<&str> = past.remedies.iter().map(|r| r.text.as_str()).collect();
        let moved = ["move 'Ada' nearer to the middle (piece 1)", "move 'Bo' nearer to the middle (piece 3)"];
        assert_eq!(remedies, [moved[0], moved[1], "use a larger blank"]);
        let others: Vec<&str> = past.others.iter().map(|o| o.message.as_str()).collect();
        assert_eq!(others, ["piece 3: 'Bo' reaches 0.5 mm past the margin"]);
        assert_eq!((past.pieces.as_slice(), past.others[0].pieces.as_slice()), (&[1, 3][..], &[3][..]));
        assert_eq!((note.message.as_str(), note.others.len(), note.pieces.len()), ("never measured", 0, 3));
    }

    #[test]
    fn a_remedy_names_the_keys_of_the_order_and_is_checked_where_all_pieces_gain() {
        let code = || {
            let exchange = Remedy::new("invert", 0.0, "", "exchange its light and dark");
            let exchange = exchange.set("layer.0.invert", "true").verified(true);
            Finding::new("qr-code", Severity::Caution, "it comes out light on dark").with(exchange)
        };
        let of_two = |second: Finding, count: usize| {
            let findings = [code(), second];
            let told = |(i, finding)| Told { piece: i + 1, row: i + 2, finding };
            let found = of(findings.iter().enumerate().map(told), count, true, "piece.");
            (found[0].remedies[0].text.clone(), found[0].remedies[0].verified)
        };
        let write = "exchange its light and dark: write invert = true in its [[piece.layer]]";
        assert_eq!(of_two(code(), 2), (write.to_string(), true));
        let alone = ", in an order of these pieces alone, for it holds for every piece of an order";
        assert_eq!(of_two(code(), 3), (format!("{write}{alone}"), false));
        let mut untried = code();
        untried.remedies[0].verified = false;
        assert_eq!(of_two(untried, 2), (write.to_string(), false));

        let set = |key: &str, value: &str| (key.to_string(), value.to_string());
        let burn = [set("burn.speed", "9mm/s"), set("burn.power", "80%"), set("coating", "poster-paint")];
        assert_eq!(
            keys(&burn, " and ", "piece."),
            "speed = '9mm/s' and power = '80%' under [piece.burn] and coating = 'poster-paint' under [piece]"
        );
        let read = [set("art.read_as", "paper"), set("art.read_as", "photo")];
        let two = "read_as = 'paper' or read_as = 'photo' under";
        assert_eq!(keys(&read, " or ", "piece."), format!("{two} [piece.art]"));
        // Of a picture that the table names, its own row says how it is read.
        let unsure = || {
            let answer =
                |word: &str| Remedy::new("reading", 0.0, "", word.to_string()).set("art.read_as", word);
            let mut remedy = Remedy::new("reading", 0.0, "", "look at readings.png");
            remedy.answers = vec![answer("paper"), answer("photo")];
            Finding::new("reading-unsure", Severity::Caution, "it may be paper").with(remedy)
        };
        let found = unsure();
        let told = [Told { piece: 1, row: 2, finding: &found }];
        let of_row = |by_row| of(told.into_iter(), 3, by_row, "piece.")[0].remedies[0].text.clone();
        assert!(of_row(false).starts_with("look at pieces.png: write read_as"), "{}", of_row(false));
        assert!(of_row(true).contains("read_as = '{reading}' at the top of the order"), "{}", of_row(true));
        assert!(
            of_row(false).contains("under [piece.art], in an order of these pieces alone"),
            "{}",
            of_row(false)
        );
        // A job that is marked several times has no table of the piece.
        assert_eq!(keys(&read, " or ", ""), format!("{two} [art]"));
        assert_eq!(keys(&[], " and ", "piece."), "");
    }

    #[test]
    fn a_value_of_one_picture_is_said_of_its_own_pieces_alone() {
        let cropped = |crops: &[&str]| {
            let findings: Vec<Finding> = crops
                .iter()
                .map(|crop| {
                    let found = Finding::new("sheet-edge", Severity::Caution, "a sheet");
                    let again = found.with(Remedy::new("picture", 0.0, "", "take it again"));
                    match *crop {
                        "" => again,
                        crop => again.with(
                            Remedy::new("crop", 0.0, "%", "use the sheet alone").set("layer.0.crop", crop),
                        ),
                    }
                })
                .collect();
            let told = |(i, finding)| Told { piece: i + 1, row: i + 2, finding };
            let found = of(findings.iter().enumerate().map(told), crops.len(), true, "piece.");
            found[0].remedies[1].text.clone()
        };
        // The third has no such remedy.
        assert_eq!(
            cropped(&["a", "b", "", "a"]),
            "use the sheet alone: for pieces 1 and 4 write crop = 'a' in its [[piece.layer]]; for piece 2 write crop = 'b' in \
             its [[piece.layer]]; each in an order of those pieces alone, for it holds for every piece of an order"
        );
        for (crops, piece) in [(["a", ""], "piece 1"), (["", "a"], "piece 2")] {
            let said = cropped(&crops);
            let own = said.contains(&format!(": for {piece} write crop = 'a'"));
            assert!(own && said.contains("of those pieces alone"), "{said}");
        }
        assert_eq!(cropped(&["a", "a"]), "use the sheet alone: write crop = 'a' in its [[piece.layer]]");
        let many: Vec<String> = (0..12).map(|i| format!("{i}%")).collect();
        let many: Vec<&str> = many.iter().map(String::as_str).collect();
        assert!(
            cropped(&many).contains("crop = '7%' in its [[piece.layer]]; pieces 9 to 12: the like; each in")
        );
    }

    #[test]
    fn a_remedy_that_only_others_than_the_first_have_is_told_and_was_tried_of_those() {
        let burnt = |powers: &[(f64, bool)]| {
            let found = Finding::new("over-burn", Severity::Stop, "it is charred");
            powers.iter().fold(found, |found, (power, verified)| {
                let power = format!("{power}%");
                let remedy = Remedy::new("power", 0.0, "%", format!("lower the power to {power}"));
                found.with(remedy.set("burn.power", power).verified(*verified))
            })
        };
        let told = |findings: &[Finding], count: usize| {
            let each = findings.iter().enumerate();
            let each = each.map(|(i, finding)| Told { piece: i + 1, row: i + 2, finding });
            let found = of(each, count, true, "piece.");
            found[0].remedies.iter().map(|r| (r.text.clone(), r.verified)).collect::<Vec<_>>()
        };
        let write = |power: &str, pieces: &str, verified: bool| {
            let alone = match pieces {
                "" => "",
                _ => ", in an order of these pieces alone, for it holds for every piece of an order",
            };
            let key = format!("write power = '{power}' under [piece.burn]{alone}");
            (format!("lower the power to {power}{pieces}: {key}"), verified)
        };
        let (first, second) = (burnt(&[]), burnt(&[(60.0, true)]));
        assert_eq!(told(&[first, second], 2), [write("60%", " (piece 2)", false)]);
        // What one of them was not tried with is not known to mend all.
        let all = [burnt(&[(60.0, true), (50.0, true)]), burnt(&[(50.0, true)]), burnt(&[(50.0, false)])];
        assert_eq!(told(&all, 3), [write("60%", " (piece 1)", false), write("50%", "", false)]);
        assert_eq!(told(&all[..2], 2)[1], write("50%", "", true));
    }

    #[test]
    fn of_many_pieces_some_are_told_and_the_rest_counted() {
        let all: Vec<Finding> = (0..20).map(|i| past("Ada", &i.to_string())).collect();
        let each = all.iter().enumerate().map(|(i, finding)| Told { piece: i + 1, row: i + 2, finding });
        let found = of(each, 20, true, "piece.");
        assert_eq!(found[0].others.len(), MOST_OTHERS + 1);
        assert_eq!(found[0].others[MOST_OTHERS].message, "pieces 10 to 20: the like");
        let all: Vec<Finding> = (0..20).map(|i| past(&format!("Ada {i}"), "2")).collect();
        let each = all.iter().enumerate().map(|(i, finding)| Told { piece: i + 1, row: i + 2, finding });
        let found = of(each, 20, true, "piece.");
        let remedies: Vec<&str> = found[0].remedies.iter().map(|r| r.text.as_str()).collect();
        assert_eq!(remedies.len(), MOST_OTHERS + 2);
        assert_eq!(remedies[MOST_OTHERS..], ["use a larger blank", "pieces 9 to 20: the like"]);
    }
}
