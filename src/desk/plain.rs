//! Plain: what the command line says, without its options: the page has fields and buttons in their place.

/// Where a text begins to speak of the command line.
fn option(text: &str) -> Option<usize> {
    ["--", "'dotwright"].iter().filter_map(|sign| text.find(sign)).min()
}

/// A remedy without the options of the command line: of several ways those that need none, where there are such.
pub(super) fn plain_remedy(text: &str) -> String {
    let ways: Vec<&str> = text.split(", or ").filter(|way| option(way).is_none()).collect();
    if ways.is_empty() { plain(text) } else { ways.join(", or ") }
}

/// A text without the options of the command line: without the brackets in which they stand, or the clauses, and with all
/// else that it says.
pub(super) fn plain(text: &str) -> String {
    let mut text = text.to_string();
    // Each turn takes one out.
    while let Some(at) = option(&text) {
        let shorter = without_bracket(&text, at).unwrap_or_else(|| without_clause(&text, at));
        if shorter.len() >= text.len() {
            break;
        }
        text = shorter;
    }
    text
}

/// Without the bracket round `at`, where it stands in one.
fn without_bracket(text: &str, at: usize) -> Option<String> {
    // A name within it may have brackets of its own.
    let mut open = Vec::new();
    for (i, c) in text[..at].char_indices() {
        match c {
            '(' => open.push(i),
            ')' => drop(open.pop()),
            _ => {}
        }
    }
    let opens = open.pop()?;
    let mut inner = 0;
    let closes = text[at..].char_indices().find_map(|(i, c)| match c {
        ')' if inner == 0 => Some(at + i),
        ')' => {
            inner -= 1;
            None
        }
        '(' => {
            inner += 1;
            None
        }
        _ => None,
    })?;
    let (before, after) = (text[..opens].trim_end(), &text[closes + 1..]);
    Some(format!("{before}{after}"))
}

/// What parts the clauses of a sentence, and sentences.
const PARTS: &[&str] = &["; ", ". ", ": ", ", or ", ", then "];
/// Words with which a clause begins that says nothing without the one behind it.
const HANGING: &[&str] = &["where ", "if ", "when ", "unless ", "for "];
/// Words behind "or" that go on with what was named, rather than with another way.
const NAMED: &[&str] = &["a ", "an ", "the ", "its "];
/// Words that lead to an option and say nothing without it.
const LEADING: &[&str] = &[" with", " by", " as", " and say", " and use"];

/// Without the clause in which `at` stands.
fn without_clause(text: &str, at: usize) -> String {
    let last = PARTS.iter().filter_map(|part| Some((text[..at].rfind(part)?, *part))).max();
    let begins = last.map_or(0, |(from, part)| from + part.len());
    let clause = &text[begins..at];
    // Of a clause with a comma the half that names the option goes, unless the other hangs on it.
    let hangs = HANGING.iter().any(|word| clause.starts_with(word));
    let comma = clause.rfind(", ").filter(|_| !hangs).map(|from| begins + from);
    let ways = text[at..].match_indices(", or ").map(|(from, _)| at + from);
    let way =
        ways.filter(|from| !NAMED.iter().any(|word| text[from + ", or ".len()..].starts_with(word))).min();
    let stop = ["; ", ". ", " ("].iter().filter_map(|part| Some(at + text[at..].find(part)?)).min();
    let ends = stop.unwrap_or(text.len());
    if let Some(way) = way.filter(|way| comma.is_none() && *way < ends) {
        // Another way takes the place of this one.
        return format!("{}{}", &text[..begins], &text[way + ", or ".len()..]);
    }
    let from = match (comma, last) {
        (Some(comma), _) => comma,
        (None, Some((from, _))) => from,
        (None, None) => {
            // Nothing stands before it but what leads to it.
            let before = text[..at].trim_end();
            let led = LEADING.iter().find_map(|word| before.strip_suffix(word));
            return match (led, &text[ends..]) {
                (Some(led), rest) => format!("{led}{rest}"),
                (None, "") => before.to_string(),
                (None, rest) => rest.trim_start_matches([';', '.', ' ']).to_string(),
            };
        }
    };
    let before = text[..from].trim_end_matches([' ', ',', ':', ';']);
    // The last of three took the "and" with it.
    let before =
        match before.rfind(", ").filter(|_| text[from..].starts_with(", and ") && !before.ends_with('.')) {
            Some(comma) if !before[..comma].is_empty() => {
                format!("{}, and {}", &before[..comma], &before[comma + 2..])
            }
            _ => before.to_string(),
        };
    format!("{before}{}", &text[ends..])
}

#[cfg(test)]
mod tests {
    use super::{plain, plain_remedy};
    use crate::blank::Blank;
    use crate::findings::art::{cut_by_blank, missing_glyph, picture_within};
    use crate::findings::axis::other_axis;
    use crate::findings::layers::{Said, Spoken, apart, cleared};
    use crate::placement::Along;
    use crate::units::Mm;

    #[test]
    fn a_page_says_nothing_of_options() {
        for (text, said) in [
            ("use the sheet alone: --crop 1%,2%,3%,4%", "use the sheet alone"),
            ("lines along y: --axis y", "lines along y"),
            (
                "letters run together; make it larger, or set it anew with --text 'Anna'",
                "letters run together; make it larger",
            ),
            ("noise was smoothed (--levels off leaves the tones alone)", "noise was smoothed"),
            ("place it 80 mm wide or smaller, or use --place inside", "place it 80 mm wide or smaller"),
            ("the blank is glass; say --surface for another", "the blank is glass"),
            (
                "burn a wedge on a spare blank ('dotwright wedge draw --out w')",
                "burn a wedge on a spare blank",
            ),
            ("lower the power to 78% (3.9W)", "lower the power to 78% (3.9W)"),
            (
                "speed of 9 mm/s, with the power lowered alike to 60% and the pitch kept (--speed 9mm/s --power 60% --pitch 0.1mm); but then the piece stays nearly bare",
                "speed of 9 mm/s, with the power lowered alike to 60% and the pitch kept; but then the piece stays nearly bare",
            ),
            (
                "it has 3 pages; page 1 was taken, choose another with --page",
                "it has 3 pages; page 1 was taken",
            ),
            (
                "dots are on every second line only; on all lines (--time 100%) it would take longer and look no better",
                "dots are on every second line only; on all lines it would take longer and look no better",
            ),
            (
                "Assumed: the blank is glass; say --surface, or a blank of the kit, where it is not",
                "Assumed: the blank is glass",
            ),
            (
                "DejaVu was used instead; name its file with --fonts, or turn lettering into outlines",
                "DejaVu was used instead; turn lettering into outlines",
            ),
            (
                "it holds a picture; where that is a photo and is not read as one, say --read-as photo",
                "it holds a picture",
            ),
            (
                "it reads backwards. Prepare it again without --mirror unless that is wanted. It is glass.",
                "it reads backwards. It is glass.",
            ),
            ("it reads backwards. Prepare it without --mirror.", "it reads backwards"),
            ("name a larger blank with --blank; it is too small", "name a larger blank; it is too small"),
        ] {
            assert_eq!(plain(text), said);
        }
    }

    #[test]
    fn a_remedy_is_a_whole_sentence_without_options() {
        let lettering = missing_glyph(&['☂']).unwrap().remedies.remove(0).text;
        let whole = cut_by_blank(0.2, false).unwrap().remedies.remove(0).text;
        let layer = |name: &str, said: Said| Spoken { name: name.into(), said, anchored: false, text: false };
        let layers = [layer("ship (2).png", Said::Layer), layer("'Anna'", Said::Text("Anna".into()))];
        let blank = Blank { shape: "round:90mm".parse().unwrap(), margin: Mm(2.5) };
        let (apart, cleared) = (apart(&blank, Some(&layers)).text, cleared(&layers[0]).text);
        let two = picture_within(0.4).unwrap().remedies.remove(0).text;
        let axis = other_axis(Along::Y, (100.0, 75.0), 600.0).unwrap().remedies.remove(0).text;
        for (text, said) in [
            (lettering.as_str(), "turn the lettering into outlines (paths) in the drawing program"),
            (whole.as_str(), "place it whole"),
            (
                "move it 1.9 mm nearer to the middle, with --at 0mm,1.9mm",
                "move it 1.9 mm nearer to the middle",
            ),
            (apart.as_str(), "give each a place of its own"),
            (cleared.as_str(), "or clear what lies below it"),
            (two.as_str(), "save the picture and the drawing as two files and lay one above the other"),
            (axis.as_str(), "lines along y, about 25% less time"),
            ("place it 80 mm wide or smaller, or use --place inside", "place it 80 mm wide or smaller"),
            (
                "use a larger picture, or make it at most 43 mm wide",
                "use a larger picture, or make it at most 43 mm wide",
            ),
            ("look at readings.png, then say --read-as photo, or --read-as paper", "look at readings.png"),
            (
                "take poster paint: --coating poster-paint (a laser of 3W or more)",
                "take poster paint (a laser of 3W or more)",
            ),
            ("use the sheet alone: --crop 1%,2%,3%,4%", "use the sheet alone"),
            ("lines along y: --axis y", "lines along y"),
            (
                "burn a wedge on a spare blank ('dotwright wedge draw --out DIR'), which measures them all, read it, and pass its process file with --process",
                "burn a wedge on a spare blank, which measures them all, and read it",
            ),
            (
                "where it is to be read, make the whole piece larger, or set it anew with --text",
                "where it is to be read, make the whole piece larger",
            ),
        ] {
            assert_eq!(plain_remedy(text), said);
        }
    }
}
