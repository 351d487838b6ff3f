//! Settling: pitch, power, speed and process, from what was measured, asked, or is usual.

use super::plan::{PlanError, absurd};
use super::process::{BeamSize, ExposureAt};
use super::{Coating, Job, Known, Machine, Process, ProcessFile, Standing};
use crate::mark::{Beam, advise};
use crate::placement::Grid;
use crate::units::{Mm, MmPerS, Watts, short};

/// The pitches, how they are known, and why.
pub(super) fn pitch(
    job: &Job,
    machine: &Machine,
    measured: Option<&ProcessFile>,
) -> (Grid, Known<()>, String) {
    let across = |along: Mm| job.dots.pitch_across.map_or(along, |p| Mm(p.mm()));
    if let Some(p) = job.dots.pitch.filter(|_| !job.is_unsaid("pitch")) {
        let along = Mm(p.mm());
        let known = Known::new((), Standing::Given, "as asked");
        return (Grid { along, across: across(along) }, known, "as asked".into());
    }
    if let Some((m, best)) = measured.and_then(|m| m.best.as_ref().map(|b| (m, b))) {
        let known = Known::new((), Standing::Measured, m.source());
        let why = format!("the pitch of the best patch of {}", m.source());
        let p = job.dots.pitch.map_or(best.pitch, |p| Mm(p.mm()));
        return (Grid { along: p, across: across(p) }, known, why);
    }
    let beam = measured.and_then(|m| m.beam_across.as_ref()).map_or(machine.laser.beam_across, |b| {
        // A beam in pitches has no size before the pitch is known.
        if let BeamSize::Mm(mm) = b.value { mm } else { machine.laser.beam_across }
    });
    let advised = || advise::recommended_pitch(beam, machine.motion.steps_per_mm_y);
    let p = job.dots.pitch.map_or_else(advised, |p| Mm(p.mm()));
    let steps = (p.0 * machine.motion.steps_per_mm_y).round();
    let why = format!(
        "advised: {steps} motor steps a line, {} of the beam's {beam} across",
        short(p.0 / beam.0, 2)
    );
    let source = format!("advised for the beam of {}", machine.name);
    (Grid { along: p, across: across(p) }, Known::new((), Standing::Assumed, source), why)
}

/// The process: measured values first, then what was asked, then machine and coating.
pub(super) fn process(
    job: &Job,
    machine: &Machine,
    coating: &Coating,
    measured: Option<&ProcessFile>,
    grid: Grid,
    pitch: Known<()>,
) -> Result<Process, PlanError> {
    let of_machine = |s: &str| (machine.standing, format!("{s} of {}", machine.name));
    let of_coating = |s: &str| (coating.standing, format!("{s} of {}", coating.name));
    // A process file without a wedge was stated by hand: it is given, not measured.
    let (wedge_standing, wedge_source) = match measured {
        Some(m) if m.wedge.is_empty() => (Standing::Given, "process file".to_string()),
        Some(m) => (Standing::Measured, m.source()),
        None => (Standing::Assumed, String::new()),
    };
    let known = |by_wedge: bool, (standing, source): (Standing, String)| {
        if by_wedge { (wedge_standing, wedge_source.clone()) } else { (standing, source) }
    };
    let none = ProcessFile::default();
    let m = measured.unwrap_or(&none);

    let beam = Beam {
        along: m.beam_along.as_ref().map_or(machine.laser.beam_along, |b| b.value.mm(grid.along.0)),
        across: m.beam_across.as_ref().map_or(machine.laser.beam_across, |b| b.value.mm(grid.across.0)),
    };
    let (standing, source) = known(m.beam_along.is_some() && m.beam_across.is_some(), of_machine("beam"));
    let beam = Known::new(beam, standing, source);

    let (standing, source) = of_machine("power");
    let rated_power = Known::new(machine.laser.power, standing, source);
    let passes_given = job.burn.passes.or(m.best.as_ref().map(|b| b.passes));
    let passes = passes_given.unwrap_or(1);
    if !(1..=20).contains(&passes) {
        return Err(absurd(format!("{passes} passes are out of range; choose 1 to 20")));
    }
    let passes = Known::new(passes, Standing::Given, "as asked, or 1");

    // Values that an earlier run filled in are taken over, but not called given.
    let power_unsaid = job.burn.power.filter(|_| job.is_unsaid("power"));
    let (power, power_standing, power_source) = match (job.burn.power, &m.best) {
        (Some(p), _) if power_unsaid.is_none() => (p, Standing::Given, "as asked".to_string()),
        (_, Some(b)) => (power_unsaid.unwrap_or(b.power), wedge_standing, wedge_source.clone()),
        (_, None) => (
            power_unsaid.unwrap_or(coating.start.power),
            coating.standing,
            format!("start for {}", coating.name),
        ),
    };
    if power.0 <= 0.0 || power.0 > 1.0 {
        return Err(absurd(format!("a power of {power} is out of range; it is above 0% and at most 100%")));
    }
    let response = coating.response();
    let schwarzschild = m.schwarzschild.as_ref().map_or(response.schwarzschild, |s| s.value);
    let v0 = m.v0.unwrap_or(response.v0);
    let speed_unsaid = job.burn.speed.filter(|_| job.is_unsaid("speed"));
    let (speed, speed_standing, speed_source) = match (job.burn.speed, &m.best) {
        (Some(v), _) if speed_unsaid.is_none() => (v, Standing::Given, "as asked".to_string()),
        (_, Some(b)) => (speed_unsaid.unwrap_or(b.speed), wedge_standing, wedge_source.clone()),
        (_, None) => {
            let watts = Watts(machine.laser.power.0 * power.0);
            let start = coating.start.exposure.0 / f64::from(passes.value);
            let top = machine.motion.top_speed;
            let v = speed_unsaid
                .unwrap_or_else(|| start_speed(watts, grid.across, start, schwarzschild, v0, top));
            (v, coating.standing, format!("start exposure of {} for {watts}", coating.name))
        }
    };
    if speed.0 <= 0.0 || speed.0 > machine.motion.top_speed.0 {
        return Err(absurd(format!(
            "a speed of {speed} is out of range; {} marks at up to {}",
            machine.name, machine.motion.top_speed
        )));
    }
    let setting = crate::mark::Setting {
        power: Watts(machine.laser.power.0 * power.0),
        speed,
        passes: passes.value,
        pitch_along: grid.along,
        pitch_across: grid.across,
    };
    let solid = setting.solid_dose().0 * (speed.0 / v0.0).powf(1.0 - schwarzschild);
    let at = |e: &ExposureAt| e.dose(solid);

    let looks = [
        m.unmarked.as_ref().map_or(response.y_unmarked, |v| v.value),
        m.marked.as_ref().map_or(response.y_marked, |v| v.value),
        m.charred.as_ref().map_or(response.y_char, |v| v.value),
    ];
    if (looks[0] - looks[1]).abs() < 0.02 {
        return Err(absurd(
            "the marked and the unmarked look of this process are the same; read the wedge again",
        ));
    }
    let (standing, source) = known(m.unmarked.is_some() && m.marked.is_some(), of_coating("looks"));
    let looks = Known::new(looks, standing, source);
    let rise = (
        m.x_half.as_ref().map_or(response.x_half, |v| at(&v.value)),
        m.rise.as_ref().map_or(response.rise, |v| v.value),
    );
    let (standing, source) = known(m.x_half.is_some() && m.rise.is_some(), of_coating("response"));
    let rise = Known::new(rise, standing, source);
    let char = (
        m.x_char.as_ref().map_or(response.x_char, |v| at(&v.value)),
        m.char_rise.as_ref().map_or(response.char_rise, |v| v.value),
    );
    let (standing, source) = known(m.x_char.is_some(), of_coating("char"));
    let char = Known::new(char, standing, source);
    let (standing, source) = known(m.schwarzschild.is_some(), of_coating("reciprocity"));
    let reciprocity = Known::new((schwarzschild, v0), standing, source);

    Ok(Process {
        beam,
        rated_power,
        power: Known::new(power, power_standing, power_source),
        speed: Known::new(speed, speed_standing, speed_source),
        passes,
        pitch_along: Known::new(grid.along, pitch.standing, pitch.source.clone()),
        pitch_across: Known::new(grid.across, pitch.standing, pitch.source),
        looks,
        rise,
        char,
        reciprocity,
        tone_curve: None,
    })
}

/// The speed at which a solid gets the effective exposure `exposure` (J/mm²) in one pass:
/// `X = P/(v p) · (v/v₀)^(1−s)`, so `v = (P / (X p v₀^(1−s)))^(1/s)`; rounded to a number that is easily set.
pub fn start_speed(power: Watts, pitch: Mm, exposure: f64, s: f64, v0: MmPerS, top: MmPerS) -> MmPerS {
    let v = (power.0 / (exposure * pitch.0 * v0.0.powf(1.0 - s))).powf(1.0 / s);
    let step = match v {
        v if v < 2.0 => 0.05,
        v if v < 5.0 => 0.1,
        v if v < 40.0 => 0.5,
        _ => 1.0,
    };
    MmPerS(((v / step).round() * step).max(step).min(top.0))
}
