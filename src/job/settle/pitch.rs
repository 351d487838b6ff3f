//! How far apart the dots are.

use crate::job::process::BeamSize;
use crate::job::{Job, Known, Machine, ProcessFile, Standing};
use crate::mark::advise;
use crate::placement::Grid;
use crate::units::{Mm, short};

/// The pitches, how they are known, and why they are so.
pub(super) struct Pitches {
    /// Along the lines and across them.
    pub grid: Grid,
    /// How they are known.
    pub known: Known<()>,
    /// Why, in words.
    pub why: String,
}

/// As asked; or that of a wedge's best patch; or as the beam and the motors advise.
pub(super) fn settle(job: &Job, machine: &Machine, measured: Option<&ProcessFile>) -> Pitches {
    let grid = |along: Mm| Grid { along, across: job.dots.pitch_across.map_or(along, |p| Mm(p.mm())) };
    if let Some(p) = job.dots.pitch.filter(|_| !job.is_unsaid("pitch")) {
        let known = Known::new((), Standing::Given, "as asked");
        return Pitches { grid: grid(Mm(p.mm())), known, why: "as asked".into() };
    }
    if let Some((m, best)) = measured.and_then(|m| m.best.as_ref().map(|b| (m, b))) {
        let known = Known::new((), Standing::Measured, m.source());
        let why = format!("the pitch of the best patch of {}", m.source());
        return Pitches { grid: grid(job.dots.pitch.map_or(best.pitch, |p| Mm(p.mm()))), known, why };
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
    Pitches { grid: grid(p), known: Known::new((), Standing::Assumed, source), why }
}
