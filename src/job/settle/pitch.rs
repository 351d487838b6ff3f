//! How far apart the dots are.

use crate::job::process::BeamSize;
use crate::job::{Job, Known, Machine, ProcessFile, Standing};
use crate::mark::advise;
use crate::placement::{Along, Grid};
use crate::units::{Mm, short};

/// The pitches, how they are known, and why they are so.
pub(super) struct Pitches {
    /// The axis that lines run along.
    pub lines: Along,
    /// Between dots of a line.
    pub along: Mm,
    /// Between lines.
    pub across: Mm,
    /// How they are known.
    pub known: Known<()>,
    /// Why, in words.
    pub why: String,
}

impl Pitches {
    /// As they lie on the piece: along x and along y.
    pub fn grid(&self) -> Grid {
        let (along, across) = self.lines.swap((self.along, self.across));
        Grid { along, across }
    }
}

/// As asked; or that of a wedge's best patch; or as the beam and the motors advise.
pub(super) fn settle(job: &Job, machine: &Machine, measured: Option<&ProcessFile>) -> Pitches {
    let lines = job.scan.axis.unwrap_or_default();
    let pitches = |along: Mm, known: Known<()>, why: String| {
        let across = job.dots.pitch_across.map_or(along, |p| Mm(p.mm()));
        Pitches { lines, along, across, known, why }
    };
    if let Some(p) = job.dots.pitch.filter(|_| !job.is_unsaid("pitch")) {
        let known = Known::new((), Standing::Given, "as asked");
        return pitches(Mm(p.mm()), known, "as asked".into());
    }
    if let Some((m, best)) = measured.and_then(|m| m.best.as_ref().map(|b| (m, b))) {
        let known = Known::new((), Standing::Measured, m.source());
        let why = format!("the pitch of the best patch of {}", m.source());
        return pitches(job.dots.pitch.map_or(best.pitch, |p| Mm(p.mm())), known, why);
    }
    let beam = measured.and_then(|m| m.beam_across.as_ref()).map_or(machine.laser.beam_across, |b| {
        // A beam in pitches has no size before the pitch is known.
        if let BeamSize::Mm(mm) = b.value { mm } else { machine.laser.beam_across }
    });
    let steps_per_mm = machine.axes(lines).1.steps_per_mm;
    let advised = || advise::recommended_pitch(beam, steps_per_mm);
    let p = job.dots.pitch.map_or_else(advised, |p| Mm(p.mm()));
    let steps = (p.0 * steps_per_mm).round();
    let why = format!(
        "advised: {steps} motor steps a line, {} of the beam's {beam} across",
        short(p.0 / beam.0, 2)
    );
    let source = format!("advised for the beam of {}", machine.name);
    pitches(p, Known::new((), Standing::Assumed, source), why)
}
