//! Choice: which patch is picked, why, and what else it hangs on.

use super::exposure::ExposureFit;
use super::fitted::ResponseFit;
use super::judged::Judged;
use super::likely::LikelyTruth;
use super::pick::{Choice, pick};
use super::reach::speeds;
use crate::job::ProcessFile;
use crate::job::process::{ExposureAt, MeasuredValue};
use crate::mark::{Beam, Burn, Response};
use crate::said::Said;
use crate::texts::text;
use crate::units::{Mm, short};
use crate::wedge::apart::no_char;
use crate::wedge::ask::Ask;
use crate::wedge::measure::{Measured, PatchValue, REPEATS, Refusal};
use crate::wedge::measurement::Measurement;
use crate::wedge::reading::{NoteAbout, PickReading, ReadingNote};
use crate::wedge::spread::{robust_size, square};
use crate::wedge::target::{Pattern, TestPatch, Wedge};

/// Another patch is named where so many of a hundred likely readings pick it, and at most so many are.
const NAMED: usize = 5;
/// See [`NAMED`].
const MOST_NAMED: usize = 3;

/// The picked patch, and what a reader must know of the choice.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Chosen {
    /// The pick; none where no patch qualifies.
    pub pick: Option<PickReading>,
    /// What a reader must know.
    pub notes: Vec<ReadingNote>,
}

/// Picks the patch that a practitioner would; those with a grain above `grain_limit` (L*) are left out.
pub fn choose(wedge: &Wedge, measured: &Measured, exposure: &ExposureFit, ask: &Ask) -> Chosen {
    let grain_limit = ask.grain_limit;
    let Measured { values, lighter, .. } = measured;
    let lighter = *lighter;
    let bench = Bench::new(wedge, measured, exposure, ask);
    let choices = choices(wedge, values, exposure, &bench);
    let fitted = pick(&choices, lighter, grain_limit);
    let likely = exposure.response.likely.iter();
    let picks: Vec<usize> =
        likely.filter_map(|l| pick(&bench.under(l, &choices, wedge), lighter, grain_limit)).collect();
    let picked = fitted.map(|i| voted(i, &choices, &picks));
    let patch = |i: usize| Some((wedge.patches.get(i)?, choices.get(i)?.as_ref()?, values.get(i)?));
    let Some((p, c, value)) = picked.and_then(patch) else {
        let note = text!("wedge.pick.none", grain = grain_limit);
        return Chosen { pick: None, notes: vec![ReadingNote::fact(note)] };
    };
    let pick = reading(wedge, p, c, value.as_ref().ok(), exposure, lighter);
    let mut notes: Vec<ReadingNote> = Vec::new();
    notes.extend(picked.and_then(|i| others(wedge, i, &picks, bench.beam_known)).map(ReadingNote::fact));
    notes.extend(c.judged.and_then(|judged| found(wedge, p, judged, &bench)));
    notes.extend(short_sighted(wedge, p).map(ReadingNote::fact));
    notes.extend(edge(wedge, p, c.judged));
    Chosen { pick: Some(pick), notes }
}

/// The patch that most of the likely readings pick, of those of which `prepare` has as little to say as of the one that the
/// fitted values alone pick: these may lie in a narrow gap that hardly any of the others meets.
fn voted(fitted: usize, choices: &[Option<Choice>], picks: &[usize]) -> usize {
    let judged = |i: usize| choices.get(i).and_then(|c| c.map(|c| c.judged));
    let count = |i: usize| picks.iter().filter(|p| **p == i).count();
    let most =
        (0..choices.len()).filter(|&i| judged(i) == judged(fitted)).max_by_key(|&i| (count(i), i == fitted));
    most.unwrap_or(fitted)
}

/// Which patches else may be the right pick, by how many of the likely readings pick each; None where hardly any other is.
fn others(wedge: &Wedge, picked: usize, picks: &[usize], beam_known: bool) -> Option<String> {
    let count = |i: usize| picks.iter().filter(|p| **p == i).count();
    let mut other: Vec<(usize, usize)> = (0..wedge.patches.len()).map(|i| (count(i), i)).collect();
    other.retain(|(n, i)| *i != picked && 100 * n >= NAMED * picks.len() && *n > 0);
    other.sort_by(|a, b| b.0.cmp(&a.0).then(a.1.cmp(&b.1)));
    other.truncate(MOST_NAMED);
    if other.is_empty() {
        return None;
    }
    let name = |i: usize| wedge.patches.get(i).map_or("", |p| p.name.as_str());
    let last = other.pop().map_or(String::new(), |(n, i)| format!("{n} {}", name(i)));
    let first = text!("wedge.pick.others.pick", count = count(picked), patch = name(picked));
    let rest: String = other.iter().map(|(n, i)| format!(", {n} {}", name(*i))).collect();
    let readings = picks.len();
    let picks = text!("wedge.pick.others.and", list = first + &rest, last);
    Some(match beam_known {
        true => text!("wedge.pick.others", readings, picks),
        false => text!("wedge.pick.others.assumed-beam", readings, picks),
    })
}

/// A sentence about what a job will be told: by `prepare`, or on the page by its ticket.
fn by_job(says: impl Fn(&str) -> String) -> Said {
    Said::two(says("'prepare'"), says(text!("wedge.pick.the-ticket")))
}

/// What `prepare` would find of the pick, where it would find something of every patch, and what is best then.
fn found(wedge: &Wedge, pick: &TestPatch, judged: Judged, bench: &Bench) -> Option<ReadingNote> {
    let pitch = wedge.pitch_across;
    match judged {
        Judged::Clear => None,
        Judged::TooFast => {
            let most = wedge.carries.map_or(0.0, |c| c.switched.0);
            // As much exposure as the pick had, in the middle of the range.
            let slower = 0.65 * most / pick.dial.speed.0;
            let power = 100.0 * pick.dial.power.0 * libm::pow(slower, wedge.expected.schwarzschild);
            let says = by_job(|job| text!("wedge.pick.too-fast", pitch, most = short(most, 1), job));
            let powers = powers((0.7 * power).max(1.0), (1.4 * power).clamp(2.0, 100.0));
            let range = both(range(wedge, (0.4 * most, most)), powers);
            Some(ReadingNote::range(NoteAbout::Beyond, says, range))
        }
        Judged::UnderBurnt if bench.response.chars_before_full() => {
            let share = short(100.0 * bench.reached(wedge, pick), 0);
            Some(ReadingNote::fact(by_job(|job| text!("wedge.pick.chars-first", share, job))))
        }
        _ => {
            let all = Judged::all(&bench.burn(wedge, pick), pick.dial.speed.0, bench.switched);
            let finding = named(&all);
            Some(ReadingNote::fact(by_job(|job| text!("wedge.pick.every-patch", job, pitch, finding))))
        }
    }
}

/// Findings in a row, as they are called.
fn named(all: &[Judged]) -> String {
    let names: Vec<&str> = all.iter().map(|judged| judged.name()).collect();
    match names.split_last() {
        Some((last, [])) => (*last).to_string(),
        Some((last, before)) => text!("wedge.pick.others.and", list = before.join(", "), last),
        None => String::new(),
    }
}

/// What to say of a pick at whose speed the controller sees too little of single dots.
fn short_sighted(wedge: &Wedge, pick: &TestPatch) -> Option<Said> {
    let carries =
        wedge.carries.filter(|c| pick.dial.speed.0 > c.seen.0 && pick.dial.speed.0 <= c.switched.0)?;
    Some(by_job(|job| text!("wedge.pick.short-sighted", most = short(carries.seen.0, 1), job)))
}

/// A range of speeds to draw another wedge with, none of them faster than the machine switches.
fn range(wedge: &Wedge, (from, to): (f64, f64)) -> Said {
    let most = wedge.carries.map_or(f64::INFINITY, |c| c.switched.0);
    let down = |v: f64| short((v * 10.0).floor() / 10.0, 1);
    speeds(&short(from.min(0.5 * most), 1), &if to > most { down(most) } else { short(to, 1) })
}

/// A range of powers to draw another wedge with, percent.
fn powers(from: f64, to: f64) -> Said {
    let (from, to) = (short(from, 0), short(to, 0));
    Said::two(format!("--power {from}..{to}%"), text!("wedge.range.power", from, to))
}

/// Both ranges of another wedge.
fn both(first: Said, second: Said) -> Said {
    let page = text!("wedge.range.both", first = first.on_page(), second = second.on_page());
    Said::two(format!("{first} {second}"), page)
}

/// What to say of a pick at the edge of the range: the best may lie beyond it, and which range holds it.
fn edge(wedge: &Wedge, pick: &TestPatch, judged: Option<Judged>) -> Option<ReadingNote> {
    let all = || wedge.patches.iter().filter(|p| p.is_setting());
    let speed = |p: &TestPatch| p.dial.speed.0;
    let slowest = all().map(speed).fold(f64::INFINITY, f64::min);
    let fastest = all().map(speed).fold(0.0, f64::max);
    let strongest = all().map(|p| p.dial.power.0).fold(0.0, f64::max);
    let weakest = all().map(|p| p.dial.power.0).fold(f64::INFINITY, f64::min);
    let (v, power) = (pick.dial.speed.0, pick.dial.power.0);
    let range = |from: f64, to: f64| range(wedge, (from, to));
    if v >= fastest && power <= weakest {
        return Some(ReadingNote::range(
            NoteAbout::MayDo,
            text!("wedge.pick.edge.weakest"),
            both(powers(40.0 * power, 100.0 * power), range(0.8 * v, 2.0 * v)),
        ));
    }
    if v >= fastest {
        // Where the machine switches no faster, a faster column would tell of no setting to use.
        if wedge.carries.is_some_and(|c| v >= 0.9 * c.switched.0) {
            return None;
        }
        return Some(ReadingNote::range(
            NoteAbout::MayDo,
            text!("wedge.pick.edge.fastest"),
            range(0.6 * v, 2.0 * v),
        ));
    }
    if v <= slowest && power >= strongest {
        return Some(ReadingNote::range(
            NoteAbout::Strongest,
            text!("wedge.pick.edge.strongest"),
            range(0.5 * v, 1.5 * v),
        ));
    }
    (v <= slowest && judged.is_some_and(|j| j != Judged::Clear)).then(|| {
        ReadingNote::range(NoteAbout::Beyond, text!("wedge.pick.edge.slowest"), range(0.5 * v, 1.5 * v))
    })
}

/// What `prepare` will know of machine and coating once this reading's process file is given to it.
struct Bench {
    /// As measured here or before; else that of the curve, which the process file hands on with the response.
    beam: Beam,
    response: Response,
    /// Whether the beam was measured, here or before.
    beam_known: bool,
    /// Whether there is a response at all.
    fitted: bool,
    /// Whether the onset of char was measured, here or before.
    char: bool,
    /// The highest speed at which the machine switches single dots, where the wedge's file says it.
    switched: Option<f64>,
}

impl Bench {
    fn new(wedge: &Wedge, measured: &Measured, exposure: &ExposureFit, ask: &Ask) -> Bench {
        let fit = &exposure.response;
        let known = [fit.beam_along.get().or(ask.beam[0]), fit.beam_across.get().or(ask.beam[1])];
        let beam =
            Beam { along: Mm(known[0].unwrap_or(fit.beam[0])), across: Mm(known[1].unwrap_or(fit.beam[1])) };
        let beam_known = wedge.beam_measured || known.iter().all(Option::is_some);
        let e = &wedge.expected;
        // Looks are taken over only where a white reference made them absolute.
        let response = match measured.scale.absolute {
            true => fit.response,
            false => {
                Response { y_unmarked: e.y_unmarked, y_marked: e.y_marked, y_char: e.y_char, ..fit.response }
            }
        };
        let (response, char) = match &ask.held {
            Some(earlier) => laid_over(response, fit, earlier),
            None => (response, fit.x_char.get().is_some()),
        };
        let fitted = fit.x_half.get().is_some() && fit.rms < 1.5;
        let switched = wedge.carries.map(|c| c.switched.0);
        Bench { beam, response, beam_known, fitted, char, switched }
    }

    fn judged(&self, wedge: &Wedge, patch: &TestPatch) -> Option<Judged> {
        self.said(&self.burn(wedge, patch), patch)
    }

    fn burn(&self, wedge: &Wedge, patch: &TestPatch) -> Burn {
        Burn::new(self.beam, wedge.setting(&patch.dial), self.response)
    }

    /// How much of a full mark a patch reaches.
    fn reached(&self, wedge: &Wedge, patch: &TestPatch) -> f64 {
        self.response.rise_at(self.burn(wedge, patch).x_solid)
    }

    /// What `prepare` would say; where only the onset of char is known, whether it chars.
    fn said(&self, burn: &Burn, patch: &TestPatch) -> Option<Judged> {
        let judged = Judged::usual(burn).at(patch.dial.speed.0, self.switched);
        (self.fitted || (self.char && judged == Judged::OverBurnt)).then_some(judged)
    }

    /// The choices if the truth were another that is as likely.
    fn under(&self, likely: &LikelyTruth, choices: &[Option<Choice>], wedge: &Wedge) -> Vec<Option<Choice>> {
        let (beam, response) = (likely.beam(self.beam), likely.response(self.response));
        let judged = |p: &TestPatch| {
            let mut burn = Burn::new(beam, wedge.setting(&p.dial), response);
            burn.x_solid *= likely.exposure;
            self.said(&burn, p)
        };
        let one = |(c, p): (&Option<Choice>, &TestPatch)| {
            c.map(|c| Choice { judged: judged(p), grain: c.grain * likely.grain, ..c })
        };
        choices.iter().zip(&wedge.patches).map(one).collect()
    }
}

/// The response with what `earlier` holds of what this sheet does not tell, as the process file will have it, and whether the
/// onset of char is known.
fn laid_over(mut response: Response, fit: &ResponseFit, earlier: &ProcessFile) -> (Response, bool) {
    let keep = |slot: &mut f64, here: &Measurement, there: &Option<MeasuredValue<f64>>| {
        if let (None, Some(there)) = (here.get(), there) {
            *slot = there.value;
        }
    };
    keep(&mut response.rise, &fit.rise, &earlier.rise);
    keep(&mut response.schwarzschild, &fit.schwarzschild, &earlier.schwarzschild);
    let mut char = fit.x_char.get().is_some();
    if no_char(earlier, &fit.reading()).is_none() {
        keep(&mut response.char_rise, &fit.char_rise, &earlier.char_rise);
        if let (false, Some(ExposureAt::Dose(there))) = (char, earlier.x_char.as_ref().map(|v| v.value)) {
            (response.x_char, char) = (there.0, true);
        }
    }
    (response, char)
}

/// The pick as the reading states it; `value` is that of the patch, where it could be read.
fn reading(
    wedge: &Wedge,
    p: &TestPatch,
    choice: &Choice,
    value: Option<&PatchValue>,
    exposure: &ExposureFit,
    lighter: bool,
) -> PickReading {
    let fit = &exposure.response;
    let latitude = match fit.x_char.get() {
        Some(x_char) => {
            let r = &fit.response;
            // q = 5 % at X = x_char 19^(-1/m).
            let at_five = x_char * libm::pow(19.0, -1.0 / r.char_rise);
            let x = wedge.burn(&p.dial, *r).x_solid;
            let on = fit.ripple.iter().copied().fold(1.0, f64::max);
            Measurement::value(100.0 * (at_five / (x * on) - 1.0), 0.0)
        }
        None => Measurement::not(text!("wedge.pick.latitude.none")),
    };
    let fit_for = match (choice.judged, lighter) {
        (Some(Judged::Clear), _) if wedge.carries.is_some_and(|c| p.dial.speed.0 <= c.seen.0) => {
            by_job(|job| text!("wedge.pick.which.faultless", job))
        }
        (Some(Judged::Clear), _) => by_job(|job| text!("wedge.pick.which.faultless-burn", job)),
        (Some(Judged::LinesApart), true) => text!("wedge.pick.which.lightest.lines").into(),
        (Some(Judged::LinesApart), false) => text!("wedge.pick.which.darkest.lines").into(),
        (_, true) => text!("wedge.pick.which.lightest").into(),
        (_, false) => text!("wedge.pick.which.darkest").into(),
    };
    let lines = 85.0 / wedge.pitch_across.0;
    PickReading {
        patch: p.name.clone(),
        power_percent: 100.0 * p.dial.power.0,
        speed_mm_s: p.dial.speed.0,
        passes: p.dial.passes,
        lightness: value.map_or(choice.lightness, |v| v.l),
        grain: choice.grain,
        why: fit_for.each(|which| match value {
            Some(_) => text!("wedge.pick.why", which),
            None => text!("wedge.pick.why.unread", which),
        }),
        latitude_percent: latitude,
        seconds_for_85_mm: lines * 85.0 / p.dial.speed.0 * f64::from(p.dial.passes),
    }
}

/// What the choice sees of each patch; nothing of the charred patch beside the grid.
///
/// A patch's own lightness and the curve's are weighed by their uncertainties: one noisy patch then neither sets
/// the limit of what is light enough nor wins by chance. A patch that could not be read stands for its setting with
/// the curve's lightness and the grain of the patch that was read at the nearest exposure. What the fit knows of
/// the light beyond the gaps is taken out here and left in the reading's measured values.
fn choices(
    wedge: &Wedge,
    values: &[Result<PatchValue, Refusal>],
    exposure: &ExposureFit,
    bench: &Bench,
) -> Vec<Option<Choice>> {
    let (fit, light) = (&exposure.response, &exposure.light);
    let settled = fit.x_half.get().is_some() && fit.rms < 1.5;
    let known = light.iter().any(|l| *l != 0.0);
    let x_of = |p: &TestPatch| wedge.burn(&p.dial, fit.curve).x_solid;
    // How many times more than its grain and 0.05 L* the curve misses a patch, in the middle of them all.
    let misses = wedge
        .patches
        .iter()
        .zip(values)
        .zip(light)
        .filter(|((p, _), _)| p.pattern == Pattern::Solid)
        .filter_map(|((p, s), e)| s.as_ref().ok().map(|s| (s, fit.lightness(x_of(p)), e)))
        .map(|(s, l, e)| (s.under(*e) - l) / libm::hypot(s.l_grain(), REPEATS));
    let misfit = robust_size(misses).max(1.0);
    let grain_near = |x: f64| {
        wedge
            .patches
            .iter()
            .zip(values)
            .filter(|(p, _)| p.pattern == Pattern::Solid)
            .filter_map(|(p, s)| s.as_ref().ok().map(|s| (libm::log(x_of(p) / x).abs(), s.grain)))
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .map(|(_, grain)| grain)
    };
    wedge
        .patches
        .iter()
        .zip(values)
        .zip(light)
        .map(|((p, s), e)| {
            if !p.is_setting() {
                return None;
            }
            let x = x_of(p);
            let curve = settled.then(|| fit.lightness(x));
            let (value, grain) = match (s, curve) {
                (Ok(s), Some(l)) => {
                    // The curve misses a patch by its grain at least; 0.05 L* is set for what both miss.
                    let grain = s.l_grain();
                    let all = s.l_fit(!known);
                    let own = (square(all) - square(grain)).max(square(REPEATS)).recip();
                    let its = square(misfit * libm::hypot(grain, REPEATS)).recip();
                    ((own * s.under(*e) + its * l) / (own + its), s.grain)
                }
                (Ok(s), None) => (s.under(*e), s.grain),
                (Err(_), Some(l)) => (l, grain_near(x)?),
                (Err(_), None) => return None,
            };
            Some(Choice {
                lightness: value,
                grain,
                pace: p.dial.speed.0 / f64::from(p.dial.passes),
                power: p.dial.power.0,
                judged: bench.judged(wedge, p),
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::fitted::unknown;
    use super::*;
    use crate::units::JoulesPerMm2;
    use crate::wedge::grid;

    #[test]
    fn a_pick_is_judged_with_the_char_that_an_earlier_sheet_told_unless_this_one_refutes_it() {
        let plain = Burn::plain(1.0, 1.0).response;
        let wedge = grid::wedge(&grid::tests::grid_of(plain)).unwrap();
        let known = MeasuredValue { value: ExposureAt::Dose(JoulesPerMm2(5.28)), sigma: Some(0.065) };
        let earlier = ProcessFile { x_char: Some(known), ..ProcessFile::default() };
        let with = |char_above: Option<f64>| {
            let none = unknown(&[], 0.04, [0.15; 2], &wedge.expected, "it is not told");
            let fit = ResponseFit { char_above, ..none };
            let (response, char) = laid_over(fit.response, &fit, &earlier);
            (response.x_char, char)
        };
        assert_eq!([None, Some(4.0)].map(with), [(5.28, true); 2]);
        assert_eq!(with(Some(7.6)), (wedge.expected.response().x_char, false));
    }

    #[test]
    fn all_findings_of_a_pick_are_named() {
        assert_eq!(named(&[Judged::UnderBurnt]), "under-burn");
        let all = [Judged::UnderBurnt, Judged::TooFast, Judged::LinesApart];
        assert_eq!(named(&all), "under-burn, link-starved or slow-switch and lines-apart");
    }

    #[test]
    fn the_page_speaks_of_its_ticket_and_of_no_command() {
        let said = by_job(|job| format!("of which {job} has nothing to say"));
        assert_eq!(said, "of which 'prepare' has nothing to say");
        assert_eq!(said.on_page(), "of which the ticket has nothing to say");
    }
}
