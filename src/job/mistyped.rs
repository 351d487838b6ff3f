//! Values of the wrong kind, such as a number where a text belongs: which key it is, what belongs there, and an example; and
//! values that are missing from a file of one's own.

use std::path::Path;

use super::{Coating, FileError, Machine, ProcessFile, file, machine_keys};
use crate::texts::{self, text};

/// A key of a job, process or coating file: its table, its name, a value as in TOML, and the name of the text that
/// says what may stand there.
struct Key(&'static str, &'static str, &'static str, &'static str);

/// Keys that are easily given a value of another kind. Where the table is empty, the key means the same in all of them.
const KEYS: &[Key] = &[
    Key("art", "page", "1", "page"),
    Key("layer", "border", "\"1mm\"", "border"),
    Key("layer", "clear", "\"0.5mm\"", "clear"),
    Key("layer", "inset", "\"2mm\"", "inset"),
    Key("layer", "lines", "1", "lines"),
    Key("layer", "arc_mm", "30", "arc"),
    Key("blank", "shape", "\"round:90mm\"", "shape"),
    Key("blank", "margin", "\"2.5mm\"", "length"),
    Key("tone", "ceiling", "\"95%\"", "share-above-0"),
    Key("dots", "known", "\"10%\"", "known"),
    Key("dots", "level", "\"50%\"", "share"),
    Key("dots", "matrix", "8", "matrix"),
    Key("dots", "ruling_per_mm", "2", "ruling"),
    Key("dots", "angle_deg", "45", "angle"),
    Key("dots", "effort", "4", "effort"),
    Key("dots", "pitch_across", "\"0.0875mm\"", "pitch"),
    Key("scan", "run_up", "\"2mm\"", "length"),
    Key("scan", "trim", "\"0mm\"", "length"),
    Key("look", "unmarked", "0.04", "luminance"),
    Key("look", "marked", "0.6", "luminance"),
    Key("look", "charred", "0.2", "luminance"),
    Key("response", "x_half", "\"2.2J/mm2\"", "exposure"),
    Key("response", "x_char", "\"9J/mm2\"", "exposure"),
    Key("response", "rise", "4", "rise"),
    Key("response", "char_rise", "4", "rise"),
    Key("response", "schwarzschild", "0.9", "schwarzschild"),
    Key("start", "exposure", "\"4.5J/mm2\"", "exposure"),
    Key("start", "least_power", "\"1W\"", "least-power"),
    Key("", "power", "\"80%\"", "share-above-0"),
    Key("", "speed", "\"12.5mm/s\"", "speed"),
    Key("", "passes", "1", "passes"),
    Key("", "pitch", "\"0.0875mm\"", "pitch"),
    Key("", "v0", "\"12.5mm/s\"", "v0"),
    Key("", "sigma", "0.05", "sigma"),
    Key("", "turn", "90", "turn"),
    Key("", "mirror", "true", "true-false"),
    Key("", "invert", "true", "true-false"),
];

/// What is wrong where a value at the byte `at` of the text of a `what` file is of another kind than is wanted, as the
/// parser's `message` says; `None` where it says something else.
pub(super) fn said(what: &str, text: &str, span: (usize, usize), message: &str) -> Option<String> {
    if let Some(field) = message.strip_prefix("unknown field `").filter(|_| what == "order") {
        return of_the_piece(field.split('`').next()?);
    }
    if let Some(field) = message.strip_prefix("missing field `") {
        return missing(what, field.split('`').next()?);
    }
    let neither = message.starts_with("data did not match any variant of untagged enum");
    if let Some(wrong) = headed(text, span.0).filter(|_| neither).and_then(|key| within(text, key)) {
        return Some(wrong);
    }
    let (table, key) = key_at(text, span.0)?;
    let value = text.get(span.0..span.1).map_or("", str::trim);
    let is_long = value.is_empty() || value.len() > 40 || value.contains('\n');
    let value = if is_long { text!("job.kind.what-stands-there") } else { value };
    if let Some(known) = message.strip_prefix("unknown variant ").and_then(|m| m.split_once(", expected ")) {
        let known = known.1.replace('`', "");
        let wanted = match (known.strip_prefix("one of "), known.split_once(" or ")) {
            (Some(words), _) => text!("job.kind.one-of", words),
            (None, Some((first, second))) => text!("job.kind.either", first, second),
            (None, None) => known,
        };
        return Some(text!("job.kind", name = key, value, wanted));
    }
    if neither {
        let example = match key {
            "machine" => "diode-5w",
            "coating" => "poster-paint",
            "process" => "process.toml",
            _ => return None,
        };
        if is_long || value.starts_with(['{', '[']) {
            return within(text, key);
        }
        return Some(text!("job.kind.name-or-file", name = key, value, example));
    }
    let kinds = message.strip_prefix("invalid type: ").or(message.strip_prefix("invalid value: "))?;
    let wanted = kind(kinds.rsplit_once(", expected ")?.1)?;
    let name = if key == "value" { text!("job.kind.value-of", key, table) } else { key.to_string() };
    Some(match example(what, table, key) {
        Some((example, range)) => {
            text!("job.kind.example", name, value, wanted, key, example, range)
        }
        None => text!("job.kind", name, value, wanted),
    })
}

/// What to do about a key that a machine or coating file lacks: such a file is made from one of the kit, which has them all.
fn missing(what: &str, key: &str) -> Option<String> {
    Some(match what {
        "machine" => {
            let command = "dotwright kit show diode-5w > my-laser.toml";
            text!("job.missing.machine", key, command)
        }
        "coating" => {
            let command = "dotwright kit show poster-paint > my-paint.toml";
            text!("job.missing.coating", key, command)
        }
        _ => return None,
    })
}

/// Where a key of a piece belongs that stands beside the blank of an order; `None` for what is no key of a piece.
fn of_the_piece(key: &str) -> Option<String> {
    Some(match key {
        "machine" | "coating" | "process" => text!("job.of-piece.name", key),
        "layer" => text!("job.of-piece.layer").to_string(),
        "art" | "tone" | "dots" | "burn" | "scan" => text!("job.of-piece.table", key),
        _ => return None,
    })
}

/// What is wrong within a table that stands where a name may, too: the parser says only that it is neither.
fn within(text: &str, key: &str) -> Option<String> {
    let all: toml::Table = toml::from_str(text).ok()?;
    let own = toml::to_string(all.get(key).or_else(|| all.get("piece")?.get(key))?).ok()?;
    let path = Path::new(key);
    let wrong = match key {
        "machine" => file::parse::<Machine>("machine", path, &own).err(),
        "coating" => file::parse::<Coating>("coating", path, &own).err(),
        "process" => file::parse::<ProcessFile>("process", path, &own).err(),
        _ => None,
    };
    match wrong? {
        FileError::Wrong { cause, .. } => Some(format!("{key}: {cause}")),
        _ => None,
    }
}

/// The last name of the table whose head stands in the line of a byte of a text.
fn headed(text: &str, at: usize) -> Option<&str> {
    let line = text.get(..at)?.rfind('\n').map_or(0, |n| n + 1);
    let head = text.get(line..)?.lines().next()?.trim().strip_prefix('[')?;
    Some(last_word(head.split(']').next()?))
}

/// What belongs there, where it is one of the kinds that a file has.
fn kind(expected: &str) -> Option<&'static str> {
    Some(match expected {
        "a string" | "string" | "str" => text!("job.kind.text"),
        "f64" | "f32" | "a number" => text!("job.kind.number"),
        "u8" | "u16" | "u32" | "u64" | "usize" | "i16" | "i32" | "i64" => text!("job.kind.whole"),
        "a boolean" | "bool" => text!("job.kind.true-false"),
        "a sequence" => text!("job.kind.list"),
        "a map" => text!("job.kind.table"),
        e if e.starts_with("struct ") => text!("job.kind.table"),
        _ => return None,
    })
}

/// A value of a key as in TOML, and what may stand there.
fn example(what: &str, table: &str, key: &str) -> Option<(&'static str, &'static str)> {
    if what == "machine" {
        return machine_keys::example(table, key);
    }
    let own = KEYS.iter().find(|k| k.0 == table && k.1 == key);
    let any = || KEYS.iter().find(|k| k.0.is_empty() && k.1 == key);
    own.or_else(any).and_then(|k| Some((k.2, texts::known(&format!("job.range.{}", k.3))?)))
}

/// The last name of the table, and the key, of what stands at a byte of a text.
fn key_at(text: &str, at: usize) -> Option<(&str, &str)> {
    let before = text.get(..at)?;
    let line = before.rfind('\n').map_or(0, |n| n + 1);
    // The key stands before the last = up to here, or, where the span begins with the key, before the next.
    let here = text.get(line..)?.lines().next().unwrap_or_default();
    let equals = match (before.get(line..)?.rfind('='), here.find('=')) {
        (Some(n), _) | (None, Some(n)) => line + n,
        // A list over several lines.
        (None, None) => before.rfind('=')?,
    };
    let said = text.get(..equals)?;
    let key = last_word(said);
    if key.is_empty() {
        return None;
    }
    // A table on one line: x_half = { value = ... }.
    if let Some((owner, _)) = said.get(line..).and_then(|own| own.split_once('{')) {
        return Some((last_word(owner.trim_end().trim_end_matches('=')), key));
    }
    let head = said.lines().rev().map(str::trim).find(|l| l.starts_with('['));
    let table = head.map_or("", |l| l.trim_start_matches('[').split(']').next().unwrap_or_default());
    Some((last_word(table), key))
}

/// The bare key that a text ends with.
fn last_word(text: &str) -> &str {
    let text = text.trim_end();
    let is_of_it = |c: char| c.is_ascii_alphanumeric() || c == '_' || c == '-';
    text.rsplit(|c| !is_of_it(c)).next().unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::{Job, Machine, ProcessFile, file, kit};

    fn wrong<T: serde::de::DeserializeOwned>(what: &'static str, text: &str) -> String {
        match file::parse::<T>(what, "a.toml".as_ref(), text) {
            Ok(_) => String::new(),
            Err(e) => e.to_string(),
        }
    }

    #[test]
    fn a_machine_names_the_key_an_example_and_the_range() {
        let plain = kit::entry(kit::Sort::Machine, "diode-5w").unwrap().text;
        let with = |from: &str, to: &str| {
            assert!(plain.contains(from), "{from}");
            wrong::<Machine>("machine", &plain.replacen(from, to, 1))
        };
        let said = with("power = \"5W\"", "power = 5");
        assert!(
            said.contains(
                "power is 5, but must be a text in quotes; write for example power = \"5W\" (Optical power"
            ),
            "{said}"
        );
        assert!(said.contains("at most 200 W)"), "{said}");
        let said = with("top_speed = \"100mm/s\"", "top_speed = 100");
        assert!(said.contains("top_speed is 100") && said.contains("top_speed = \"100mm/s\""), "{said}");
        let said = with("wavelength_nm = 450", "wavelength_nm = \"450nm\"");
        assert!(
            said.contains("wavelength_nm is \"450nm\", but must be a number without quotes")
                && said.contains("200 to 11000"),
            "{said}"
        );
    }

    #[test]
    fn so_does_a_job_and_a_process() {
        let said = wrong::<Job>("job", "[burn]\nspeed = '12mm/s'\npasses = 1.5\n");
        assert!(
            said.contains("line 3: passes is 1.5, but must be a whole number without quotes")
                && said.contains("passes = 1 (1 to 20)"),
            "{said}"
        );
        let said = wrong::<Job>("job", "[burn]\npower = 80\n");
        assert!(
            said.contains("power is 80, but must be a text in quotes") && said.contains("\"80%\""),
            "{said}"
        );
        let said = wrong::<Job>("job", "machine = 5\n");
        assert!(said.contains("machine is 5, but must be a name or a file in quotes"), "{said}");
        let said = wrong::<ProcessFile>("process", "rise = { value = 'steep' }\n");
        assert!(said.contains("value of rise is 'steep', but must be a number without quotes"), "{said}");
    }

    #[test]
    fn a_table_where_a_name_may_stand_tells_what_is_wrong_within() {
        let poster = kit::entry(kit::Sort::Coating, "poster-paint").unwrap().text;
        let in_job = |text: &str| format!("[coating]\n{}", text.replace("\n[", "\n[coating."));
        assert_eq!(wrong::<Job>("job", &in_job(poster)), "");
        let said = wrong::<Job>("job", &in_job(&poster.replacen("name = ", "name = 5 # ", 1)));
        assert!(said.contains("coating: name is 5, but must be a text in quotes"), "{said}");
        let said = wrong::<Job>("job", "coating = { name = 'mine' }\n");
        assert!(said.contains("coating: used_on is missing"), "{said}");
    }

    #[test]
    fn a_file_that_was_begun_small_is_told_where_a_whole_one_comes_from() {
        assert_eq!(
            wrong::<Coating>("coating", "name = 'mine'\n"),
            "coating file a.toml, line 1: used_on is missing, and a coating file needs it: 'dotwright kit show poster-paint > my-paint.toml' writes a whole one for you to change"
        );
        let said = wrong::<Machine>("machine", "name = 'mine'\n");
        assert!(
            said.contains("laser is missing") && said.contains("kit show diode-5w > my-laser.toml"),
            "{said}"
        );
    }

    #[test]
    fn one_of_a_few_words_and_a_key_of_the_piece_are_told() {
        let said = wrong::<Job>("job", "[blank]\nsurface = \"wood\"\n");
        assert!(
            said.ends_with("line 2: surface is \"wood\", but must be one of glass, tile, slate, metal"),
            "{said}"
        );
        let order = |text: &str| wrong::<crate::order::Order>("order", text);
        assert!(order("coating = 'poster-paint'\n").contains("write it below [piece]"));
        assert!(order("[[layer]]\ntext = 'x'\n").contains("write [[piece.layer]]"));
        assert!(order("colour = 'red'\n").contains("unknown field `colour`"));
    }

    #[test]
    fn what_is_no_wrong_kind_is_said_as_before() {
        let said = wrong::<Job>("job", "[burn]\nspead = '12mm/s'\n");
        assert!(said.contains("unknown field"), "{said}");
        let said = wrong::<Job>("job", "[burn]\nspeed = '12'\n");
        assert!(said.contains("has no unit"), "{said}");
    }

    #[test]
    fn the_examples_are_of_their_kind() {
        for Key(table, key, value, range) in KEYS {
            let in_job = ["art", "blank", "tone", "dots", "scan"].contains(table);
            if in_job {
                assert_eq!(wrong::<Job>("job", &format!("[{table}]\n{key} = {value}\n")), "", "{key}");
            }
            if *table == "layer" {
                assert_eq!(wrong::<Job>("job", &format!("[[layer]]\n{key} = {value}\n")), "", "{key}");
            }
            assert!(texts::known(&format!("job.range.{range}")).is_some(), "{range}");
        }
        assert_eq!(wrong::<Job>("job", "[burn]\npower = \"80%\"\nspeed = \"12.5mm/s\"\npasses = 1\n"), "");
    }
}
