//! Values of a wedge as they are typed, and the machine that it is for.

use super::super::failure::Failure;
use super::super::options::{BlankOptions, ProcessOptions};
use crate::job::asked::DotsJob;
use crate::job::{Job, Plan, plan};
use crate::screen::threshold::THRESHOLD;
use crate::texts::text;
use crate::units::{Mm, Pitch};
use crate::wedge::draw;

/// Values of `6..30mm/s` in `count` steps, of a list `6,12,30mm/s` or of a single value; the unit stands once.
pub(super) fn values<T: std::str::FromStr>(
    text: &str,
    count: usize,
    log: bool,
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
        let (a, b) = (number(&one(a)?), number(&one(b)?));
        return Ok(draw::steps(a, b, count, log).into_iter().map(make).collect());
    }
    text.split(',').map(one).collect()
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
