//! Values of a wedge as they are typed, and the machine that it is for.

use super::super::failure::Failure;
use super::super::options::{BlankOptions, ProcessOptions};
use crate::job::asked::DotsJob;
use crate::job::{Job, Plan, plan};
use crate::screen::threshold::THRESHOLD;
use crate::texts::text;
use crate::units::{Mm, Pitch};
use crate::wedge::draw;

/// Values of `6..30mm/s` in `count` steps, of a list `6,12,30mm/s` or of a single value; the unit stands once. In a range a
/// comma between digits is a decimal one. `example` is a range of them.
pub(super) fn values<T: std::str::FromStr>(
    text: &str,
    example: &str,
    (count, log): (usize, bool),
    number: impl Fn(&T) -> f64,
    make: impl Fn(f64) -> T,
) -> Result<Vec<T>, Failure>
where
    T::Err: std::fmt::Display,
{
    let unit: String =
        text.trim_start_matches(|c: char| c.is_ascii_digit() || ".,-+ ".contains(c)).trim().to_string();
    let one = |t: &str| -> Result<T, Failure> {
        let t = t.trim();
        let whole =
            if t.ends_with(|c: char| c.is_ascii_digit()) { format!("{t}{unit}") } else { t.to_string() };
        whole.parse().map_err(|e: T::Err| Failure::input(e.to_string()))
    };
    if let Some((a, b)) = text.split_once("..") {
        let end = |t: &str| match t.trim().starts_with(|c: char| c.is_ascii_digit() || ".-+".contains(c)) {
            true => one(&pointed(t)).map(|value| number(&value)),
            false => Err(Failure::input(text!("cli.wedge.range", typed = text, example))),
        };
        return Ok(draw::steps(end(a)?, end(b)?, count, log).into_iter().map(make).collect());
    }
    if let Some((a, b)) = text.split_once(['-', '–']).filter(|(a, _)| !a.trim().is_empty()) {
        let range = format!("{}..{}", pointed(a).trim(), pointed(b).trim());
        return Err(Failure::input(text!("cli.wedge.range", typed = text, example = range)));
    }
    let point = pointed(text);
    if point != text {
        let two = text.replacen(',', ", ", 1);
        return Err(Failure::input(text!("cli.wedge.comma", typed = text, point, two)));
    }
    text.split(',').map(one).collect()
}

/// With a point for the one comma, where that stands between two digits.
fn pointed(text: &str) -> String {
    let digit = |c: Option<char>| c.is_some_and(|c| c.is_ascii_digit());
    match text.split_once(',') {
        Some((a, b)) if !b.contains(',') && digit(a.chars().last()) && digit(b.chars().next()) => {
            format!("{a}.{b}")
        }
        _ => text.into(),
    }
}

pub(super) fn counts(text: &str) -> Result<(usize, usize), Failure> {
    let wrong = || Failure::input(text!("cli.wedge.steps", typed = text));
    let (a, b) = text.split_once(['x', '×']).unwrap_or((text, "1"));
    let n = |t: &str| t.trim().parse::<usize>().ok().filter(|n| (1..=20).contains(n)).ok_or_else(wrong);
    Ok((n(a)?, n(b)?))
}

/// Machine, coating, process, blank and pitch, resolved as for any job.
pub(super) fn resolve(
    blank: Option<&String>,
    margin: Option<Mm>,
    pitch: Option<Pitch>,
    names: &ProcessOptions,
) -> Result<Plan, Failure> {
    let blank = BlankOptions { blank: blank.cloned(), margin, surface: None };
    // A sheet is in whole pitches: a screen to which a dot is a dot stands for all of them.
    let dots = DotsJob { pitch, screen: Some(THRESHOLD.name.into()), ..DotsJob::default() };
    let job = Job { blank: blank.asked()?, dots, ..names.references() };
    Ok(plan::resolve(&job)?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::MmPerS;

    fn speeds(typed: &str) -> Result<Vec<f64>, String> {
        let all = values(typed, "7.5..30mm/s", (2, false), |v: &MmPerS| v.0, MmPerS);
        all.map(|all| all.iter().map(|v| v.0).collect()).map_err(|e| e.sentence.to_string())
    }

    #[test]
    fn a_range_may_have_decimal_commas() {
        for typed in ["7.5..30mm/s", "7,5..30 mm/s", "7,5mm/s .. 30,0mm/s"] {
            assert_eq!(speeds(typed), Ok(vec![7.5, 30.0]), "{typed}");
        }
        assert_eq!(speeds("6,12,30mm/s"), Ok(vec![6.0, 12.0, 30.0]));
        assert_eq!(speeds("6, 12mm/s"), Ok(vec![6.0, 12.0]));
    }

    #[test]
    fn what_is_no_range_is_refused_with_one() {
        for (typed, said) in [
            ("7,5-30mm/s", "write for example 7.5..30mm/s"),
            ("7,5 – 30 mm/s", "write for example 7.5..30 mm/s"),
            ("..30mm/s", "write for example 7.5..30mm/s"),
            ("12,5mm/s", "write 12.5mm/s for one, or 12, 5mm/s for two"),
        ] {
            let why = speeds(typed).unwrap_err();
            assert!(why.contains(said), "{typed}: {why}");
        }
    }
}
