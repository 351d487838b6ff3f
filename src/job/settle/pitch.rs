//! How far apart the dots are.

use crate::blank::Shape;
use crate::job::process::BeamSize;
use crate::job::rotary::{Rotary, Turned};
use crate::job::words::{FilledIn, ToneBy};
use crate::job::{Job, Known, Machine, Process, ProcessFile, Standing};
use crate::mark::advise;
use crate::placement::{Along, Grid};
use crate::screen::Screen;
use crate::texts::text;
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
    /// With so many places to switch at in a line pitch.
    pub fn switched(self, times: u32) -> Pitches {
        Pitches { along: Mm(self.across.0 / f64::from(times)), ..self }
    }

    /// As they lie on the piece: along x and along y.
    pub fn grid(&self) -> Grid {
        let (along, across) = self.lines.swap((self.along, self.across));
        Grid { along, across }
    }
}

/// How often the beam may switch in a line pitch where no pitch was asked for: twice with screens that search for the
/// dots of a known beam, as far as laser, controller and link can follow. Others, to whom a dot is a dot, keep to whole
/// pitches. So do lines round a cylinder, whose dots may have to fill a turn.
pub(super) fn switches(job: &Job, machine: &Machine, process: &Process, screen: &Screen) -> u32 {
    const FINE: u32 = 2;
    let asked =
        job.asks_for(FilledIn::Pitch) || (job.dots.pitch_across.is_some() && job.filled_in_pitch().is_none());
    let by_dots = job.scan.tone_by.unwrap_or(ToneBy::Dots) == ToneBy::Dots;
    let free = machine.turned.is_none_or(|t| t.mantle.is_cone() || t.round != process.lines);
    let fits = screen.searches && by_dots && free && !asked;
    let switch = process.pitch_across.value.0 / f64::from(FINE);
    if fits && machine.switches_within(switch / process.speed.value.0) { FINE } else { 1 }
}

/// As asked; or that of a wedge's best patch; or as the beam and the motors advise.
pub(super) fn settle(job: &Job, machine: &Machine, on: &Shape, measured: Option<&ProcessFile>) -> Pitches {
    let pitches = wished(job, machine, measured);
    match (machine.turned, &machine.rotary) {
        (Some(turned), Some(rotary)) => round(pitches, turned, rotary, on.is_closed()),
        _ => pitches,
    }
}

/// The same with the pitch round the piece in whole steps of the rotary where it turns from line to line; and where lines
/// run round a piece whose seam is closed, so that whole dots fill a turn.
fn round(pitches: Pitches, turned: Turned, rotary: &Rotary, closed: bool) -> Pitches {
    let degrees = |pitch: Mm| short(360.0 * pitch.0 / turned.girth(), 3);
    if pitches.lines == turned.round {
        // Round a cone a turn is as many dots as its height gives.
        if !closed || turned.mantle.is_cone() {
            return pitches;
        }
        let count = (turned.girth() / pitches.along.0).round().max(1.0);
        let along = Mm(turned.girth() / count);
        let why = text!("job.pitch.dots-fill-turn", why = pitches.why, count);
        return Pitches { along, why, ..pitches };
    }
    let (across, steps) = rotary.whole_steps(turned, pitches.across, closed);
    let (why, apart, degrees) = (&pitches.why, short(across.0, 4), degrees(across));
    let mut why = if steps == 1.0 {
        text!("job.pitch.lines-apart.one", why, apart, degrees)
    } else {
        text!("job.pitch.lines-apart.many", why, apart, steps, degrees)
    };
    if closed {
        why += &text!("job.pitch.lines-fill-turn", lines = (turned.girth() / across.0).round());
    }
    Pitches { across, why, ..pitches }
}

fn wished(job: &Job, machine: &Machine, measured: Option<&ProcessFile>) -> Pitches {
    let lines = job.scan.axis.unwrap_or_default();
    // What an earlier run filled in was as much as this in whole pitches.
    let filled_in = job.filled_in_pitch();
    let kept = filled_in.or(job.dots.pitch);
    let pitches = |along: Mm, known: Known<()>, why: String| {
        let across = filled_in.or(job.dots.pitch_across).map_or(along, |p| Mm(p.mm()));
        Pitches { lines, along, across, known, why }
    };
    if let Some(p) = job.dots.pitch.filter(|_| job.asks_for(FilledIn::Pitch)) {
        let known = Known::new((), Standing::Given, text!("job.as-asked"));
        return pitches(Mm(p.mm()), known, text!("job.as-asked").into());
    }
    if let Some((m, best)) = measured.and_then(|m| m.best.as_ref().map(|b| (m, b))) {
        let known = Known::new((), Standing::Measured, m.source());
        let why = text!("job.pitch.best-patch", wedge = m.source());
        return pitches(kept.map_or(best.pitch, |p| Mm(p.mm())), known, why);
    }
    let beam = measured.and_then(|m| m.beam_across.as_ref()).map_or(machine.laser.beam_across, |b| {
        // A beam in pitches has no size before the pitch is known.
        if let BeamSize::Mm(mm) = b.value { mm } else { machine.laser.beam_across }
    });
    let steps_per_mm = machine.axes(lines).1.steps_per_mm;
    let advised = || advise::recommended_pitch(beam, steps_per_mm);
    let p = kept.map_or_else(advised, |p| Mm(p.mm()));
    let steps = (p.0 * steps_per_mm).round();
    let share = short(p.0 / beam.0, 2);
    let why = if steps == 1.0 {
        text!("job.pitch.advised.one", share, beam)
    } else {
        text!("job.pitch.advised.many", steps = steps as u64, share, beam)
    };
    let source = text!("job.pitch.advised-for", machine = machine.called());
    pitches(p, Known::new((), Standing::Assumed, source), why)
}
