//! The process: what was measured comes first, then what was asked, then what machine and coating say.

use super::pitch::Pitches;
use crate::job::error::PlanError;
use crate::job::process::{BeamSize, Best, ExposureAt, MeasuredValue};
use crate::job::words::FilledIn;
use crate::job::{Coating, Job, Known, Machine, Process, ProcessFile, Standing};
use crate::mark::{Beam, Setting, Unsure};
use crate::note::Note;
use crate::said::Said;
use crate::texts::{self, text};
use crate::units::{Mm, MmPerS, Share, Watts, short};

pub(super) fn settle(
    job: &Job,
    machine: &Machine,
    coating: &Coating,
    measured: Option<&ProcessFile>,
    pitch: &Pitches,
) -> Result<Process, PlanError> {
    let none = ProcessFile::default();
    let sources = Sources { machine, coating, file: measured.unwrap_or(&none), stated: measured.is_some() };
    let rated_power = sources.of_machine(machine.laser.power, "power");
    let passes = passes(job, &sources)?;
    let power = power(job, &sources)?;
    let reciprocity = sources.reciprocity();
    let speed = speed(job, &sources, power.value, passes.value, pitch, reciprocity.value)?;
    let setting = Setting {
        power: Watts(rated_power.value.0 * power.value.0),
        speed: speed.value,
        passes: passes.value,
        pitch_along: pitch.along,
        pitch_across: pitch.across,
        lines: pitch.lines,
    };
    let (s, v0) = reciprocity.value;
    let solid = setting.solid_dose().0 * libm::pow(speed.value.0 / v0.0, 1.0 - s);
    Ok(Process {
        beam: sources.beam(pitch.along, pitch.across),
        rated_power,
        power,
        speed,
        passes,
        pitch_along: Known::new(pitch.along, pitch.known.standing, pitch.known.source.clone()),
        pitch_across: Known::new(pitch.across, pitch.known.standing, pitch.known.source.clone()),
        lines: pitch.lines,
        looks: sources.looks()?,
        rise: sources.rise(solid),
        char: sources.char(solid),
        reciprocity,
    })
}

/// What is assumed of values that nobody has measured: a standard deviation of 10 %. Common practice: machines of one
/// make, and coats of one tin, differ by about that.
const ASSUMED: f64 = 0.1;

/// How far beam and exposure may be off: as asked; else as they were measured, where a value without a standard deviation
/// counts as known, and one of two widths takes nothing from what is said of the other; else what is assumed.
pub(super) fn unsure(job: &Job, measured: Option<&ProcessFile>, process: &Process) -> Unsure {
    if let Some(known) = job.dots.known {
        return Unsure { beam: known.0, exposure: known.0 };
    }
    let of = |standing: Standing, share: Option<f64>| match standing {
        Standing::Assumed => ASSUMED,
        _ => share.unwrap_or(0.0).clamp(0.0, Unsure::MOST),
    };
    let beam = |v: Option<&MeasuredValue<BeamSize>>| {
        let v = v?;
        let size = match v.value {
            BeamSize::Mm(mm) => mm.0,
            BeamSize::Pitches(n) => n,
        };
        Some(v.sigma? / size)
    };
    let exposure = |v: &MeasuredValue<ExposureAt>| match v.value {
        ExposureAt::Dose(dose) => Some(v.sigma? / dose.0),
        ExposureAt::OfSolid(share) => Some(v.sigma? / share),
        ExposureAt::Never => None,
    };
    let both = measured.and_then(|m| {
        let [along, across] = [m.beam_along.as_ref(), m.beam_across.as_ref()].map(beam);
        along.or(across)?;
        let (along, across) = (along.unwrap_or(0.0), across.unwrap_or(0.0));
        Some(((along * along + across * across) / 2.0).sqrt())
    });
    let half = measured.and_then(|m| m.x_half.as_ref()).and_then(exposure);
    Unsure { beam: of(process.beam.standing, both), exposure: of(process.rise.standing, half) }
}

/// Where values come from.
struct Sources<'a> {
    machine: &'a Machine,
    coating: &'a Coating,
    /// What was measured; empty where nothing was.
    file: &'a ProcessFile,
    /// Whether there is a process file at all.
    stated: bool,
}

impl Sources<'_> {
    fn of_machine<T>(&self, value: T, what: &str) -> Known<T> {
        Known::new(value, self.machine.standing, source_of(what, self.machine.called()))
    }

    fn of_coating<T>(&self, value: T, what: &str) -> Known<T> {
        Known::new(value, self.coating.standing, source_of(what, self.coating.called()))
    }

    /// A value from the process file. Without a wedge it was stated by hand: it is given, not measured.
    fn of_file<T>(&self, value: T) -> Known<T> {
        match (self.stated, self.file.wedge.is_empty()) {
            (true, true) => Known::new(value, Standing::Given, text!("job.process-file")),
            (true, false) => Known::new(value, Standing::Measured, self.file.source()),
            (false, _) => Known::new(value, Standing::Assumed, ""),
        }
    }

    fn beam(&self, along: Mm, across: Mm) -> Known<Beam> {
        let (file, laser) = (self.file, &self.machine.laser);
        let fitted = file.beam_fitted.as_ref();
        let usual = fitted.map_or((laser.beam_along, laser.beam_across), |b| (b.along, b.across));
        let beam = Beam {
            along: file.beam_along.as_ref().map_or(usual.0, |b| b.value.mm(along.0)),
            across: file.beam_across.as_ref().map_or(usual.1, |b| b.value.mm(across.0)),
        };
        match file.beam_along.is_some() && file.beam_across.is_some() {
            true => self.of_file(beam),
            false if fitted.is_some() => {
                let source = text!("job.source.beam-fitted", machine = self.machine.called());
                Known::new(beam, Standing::Assumed, source)
            }
            false => self.of_machine(beam, "beam"),
        }
    }

    /// Luminances unmarked, marked and charred.
    fn looks(&self) -> Result<Known<[f64; 3]>, PlanError> {
        let (file, response) = (self.file, self.coating.response());
        let looks = [
            file.unmarked.as_ref().map_or(response.y_unmarked, |v| v.value),
            file.marked.as_ref().map_or(response.y_marked, |v| v.value),
            file.charred.as_ref().map_or(response.y_char, |v| v.value),
        ];
        if (looks[0] - looks[1]).abs() < 0.02 {
            return Err(PlanError::absurd(text!("job.wrong.looks-alike")));
        }
        Ok(match file.unmarked.is_some() && file.marked.is_some() {
            true => self.of_file(looks),
            false => self.of_coating(looks, "looks"),
        })
    }

    /// Half exposure and steepness of the rise; `solid` is the effective exposure of a solid, J/mm².
    fn rise(&self, solid: f64) -> Known<(f64, f64)> {
        let (file, response) = (self.file, self.coating.response());
        let rise = (
            file.x_half.as_ref().map_or(response.x_half, |v| v.value.dose(solid)),
            file.rise.as_ref().map_or(response.rise, |v| v.value),
        );
        match file.x_half.is_some() && file.rise.is_some() {
            true => self.of_file(rise),
            false => self.of_coating(rise, "response"),
        }
    }

    /// Half exposure and steepness of the char; `solid` as for [`Sources::rise`].
    fn char(&self, solid: f64) -> Known<(f64, f64)> {
        let (file, response) = (self.file, self.coating.response());
        // A coating that needs more exposure for a mark takes more before it chars: the ratio is what is usual.
        let usual = match file.x_half.as_ref().map(|v| v.value) {
            Some(ExposureAt::Dose(half)) => response.x_char * half.0 / response.x_half,
            _ => response.x_char,
        };
        let char = (
            file.x_char.as_ref().map_or(usual, |v| v.value.dose(solid)),
            file.char_rise.as_ref().map_or(response.char_rise, |v| v.value),
        );
        match file.x_char.is_some() {
            true => self.of_file(char),
            false => self.of_coating(char, "char"),
        }
    }

    /// Schwarzschild exponent and reference speed.
    fn reciprocity(&self) -> Known<(f64, MmPerS)> {
        let (file, response) = (self.file, self.coating.response());
        let s = file.schwarzschild.as_ref().map_or(response.schwarzschild, |s| s.value);
        let both = (s, file.v0.unwrap_or(response.v0));
        match file.schwarzschild.is_some() {
            true => self.of_file(both),
            false => self.of_coating(both, "reciprocity"),
        }
    }

    /// A setting: as asked; else that of the wedge's best patch; else the usual one. A value that an earlier run
    /// filled in is taken over, but is not called given.
    fn setting<T>(
        &self,
        asked: Option<T>,
        is_asked: bool,
        best: Option<T>,
        usual: impl FnOnce() -> (T, String),
    ) -> Known<T> {
        match (asked, best) {
            (Some(value), _) if is_asked => Known::new(value, Standing::Given, text!("job.as-asked")),
            (kept, Some(best)) => self.of_file(kept.unwrap_or(best)),
            (kept, None) => {
                let (usual, source) = usual();
                Known::new(kept.unwrap_or(usual), self.coating.standing, source)
            }
        }
    }
}

/// Where a value comes from: `what` of a machine or coating.
fn source_of(what: &str, name: &str) -> String {
    texts::filled(&format!("job.source.of.{what}"), &[("name", &name)])
}

fn passes(job: &Job, sources: &Sources<'_>) -> Result<Known<u32>, PlanError> {
    let best = sources.file.best.as_ref().map(|b| b.passes);
    // One pass is no number of the coating's, whatever its file says: nobody gave it.
    let passes = match (job.burn.passes, best) {
        (Some(asked), _) if job.asks_for(FilledIn::Passes) => {
            Known::new(asked, Standing::Given, text!("job.as-asked"))
        }
        (kept, Some(best)) => sources.of_file(kept.unwrap_or(best)),
        (kept, None) => Known::new(kept.unwrap_or(1), Standing::Assumed, text!("job.source.usual")),
    };
    if !(1..=20).contains(&passes.value) {
        return Err(PlanError::absurd(text!("job.wrong.passes", passes = passes.value)));
    }
    Ok(passes)
}

fn power(job: &Job, sources: &Sources<'_>) -> Result<Known<Share>, PlanError> {
    let coating = sources.coating;
    let best = sources.file.best.as_ref().map(|b| b.power);
    let usual = || (coating.start.power, text!("job.source.start", coating = coating.called()));
    let power = sources.setting(job.burn.power, job.asks_for(FilledIn::Power), best, usual);
    let p = power.value;
    if p.0 <= 0.0 || p.0 > 1.0 {
        return Err(PlanError::absurd(text!("job.wrong.power", power = p)));
    }
    Ok(power)
}

fn speed(
    job: &Job,
    sources: &Sources<'_>,
    power: Share,
    passes: u32,
    pitch: &Pitches,
    (s, v0): (f64, MmPerS),
) -> Result<Known<MmPerS>, PlanError> {
    let (machine, coating) = (sources.machine, sources.coating);
    let top = MmPerS(machine.axes(pitch.lines).0.top_speed);
    let best = sources.file.best.as_ref();
    let asked = job.asks_for(FilledIn::Speed);
    let usual = || {
        let watts = Watts(machine.laser.power.0 * power.0);
        let exposure = coating.start.exposure.0 / f64::from(passes);
        let start = start_speed(watts, pitch.across, exposure, s, v0, top);
        // Another power or pitch that was asked for since leaves the speed of the earlier run as it was.
        let source = match job.burn.speed.filter(|kept| *kept != start) {
            Some(_) => text!("job.source.kept").into(),
            None => {
                text!("job.source.start-exposure", coating = coating.called(), power = short(watts.0, 2))
            }
        };
        (start, source)
    };
    let speed = match best.filter(|best| is_scaled(job, best, passes)) {
        Some(best) => {
            // Each pass gives its share of the exposure that was measured.
            let share = f64::from(best.passes.max(1)) / f64::from(passes);
            let v = best.speed.0;
            let exposure = share * libm::pow(v / v0.0, 1.0 - s) / (v * pitch.across.0);
            let scaled = start_speed(Watts(1.0), pitch.across, exposure, s, v0, top);
            let source = text!(
                "job.source.scaled",
                wedge = sources.file.source(),
                found = found(sources.file, best),
                passes
            );
            Known::new(job.burn.speed.unwrap_or(scaled), Standing::Assumed, source)
        }
        None => sources.setting(job.burn.speed, asked, best.map(|b| b.speed), usual),
    };
    let v = speed.value;
    if v.0 > top.0 && best.is_some() && !asked {
        let machine = machine.called();
        return Err(PlanError::absurd(Said::two(
            text!("job.wrong.too-fast.line", speed = v, machine, top),
            text!("job.wrong.too-fast.page", speed = v, machine, top),
        )));
    }
    if v.0 <= 0.0 || v.0 > top.0 {
        return Err(PlanError::absurd(text!("job.wrong.speed", speed = v, machine = machine.called(), top)));
    }
    Ok(speed)
}

/// Whether the speed follows from that of a wedge's best patch, which had another number of passes.
fn is_scaled(job: &Job, best: &Best, passes: u32) -> bool {
    best.passes != passes && !job.asks_for(FilledIn::Speed)
}

/// How a setting was found, and for how many passes.
fn found(file: &ProcessFile, best: &Best) -> String {
    let passes = best.passes;
    match (file.wedge.is_empty(), passes) {
        (true, 1) => text!("job.scaled-speed.found.stated.one").to_string(),
        (true, _) => text!("job.scaled-speed.found.stated.many", passes),
        (false, 1) => text!("job.scaled-speed.found.measured.one").to_string(),
        (false, _) => text!("job.scaled-speed.found.measured.many", passes),
    }
}

/// What is to be said of a speed that follows from one of another number of passes.
pub(super) fn scaled(job: &Job, measured: Option<&ProcessFile>, process: &Process) -> Option<Note> {
    let file = measured?;
    let passes = process.passes.value;
    let best = file.best.as_ref().filter(|best| is_scaled(job, best, passes))?;
    let scaled =
        Said::from(text!("job.scaled-speed", found = found(file, best), passes, speed = process.speed.value));
    Some(Note::choice(scaled.line(text!("job.scaled-speed.line"))))
}

/// The speed at which a solid gets the effective exposure `exposure` (J/mm²) in one pass:
/// `X = P/(v p) · (v/v₀)^(1−s)`, so `v = (P / (X p v₀^(1−s)))^(1/s)`; rounded to a number that is easily set.
pub(in crate::job) fn start_speed(
    power: Watts,
    pitch: Mm,
    exposure: f64,
    s: f64,
    v0: MmPerS,
    top: MmPerS,
) -> MmPerS {
    let v = libm::pow(power.0 / (exposure * pitch.0 * libm::pow(v0.0, 1.0 - s)), 1.0 / s);
    let step = match v {
        v if v < 2.0 => 0.05,
        v if v < 5.0 => 0.1,
        v if v < 40.0 => 0.5,
        _ => 1.0,
    };
    MmPerS(((v / step).round() * step).max(step).min(top.0))
}
