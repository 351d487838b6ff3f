//! Plan: a job with every number settled. No later stage derives a unit or a default again.

mod wedge;

use std::ops::Deref;
use std::sync::Arc;

use super::acceptance::{self, Held};
use super::asked::Job;
use super::brief::{ArtFile, Brief};
use super::error::PlanError;
use super::named::Named;
use super::process::ToneCurve;
use super::settle::{SettledArt, SettledDots, SettledLayer, SettledScan, SettledTone, start_speed};
use super::words::{FilledIn, Levels};
use super::written;
use super::{Coating, Machine, Process, ProcessFile};
use crate::art::Kind;
use crate::blank::{Blank, Surface};
use crate::findings::Finding;
use crate::findings::change::Change;
use crate::mark::advise::Question;
use crate::mark::{Burn, Setting};
use crate::note::Note;
use crate::placement::Grid;
use crate::screen::Options;
use crate::units::{Mm, MmPerS, Pitch, Share, Watts};

/// All that is settled, part by part, for this program alone.
#[derive(Debug, Clone)]
pub struct Settled {
    /// The job that gives this plan again: every default written out.
    pub(crate) job: Job,
    /// The art's file; `None` where no art was read.
    pub(crate) art_file: Option<ArtFile>,
    /// How the art is read and laid.
    pub(crate) art: SettledArt,
    /// What lies on the piece, bottom to top, its art first; empty where it is its art and nothing else.
    pub(crate) layers: Vec<SettledLayer>,
    /// The machine.
    pub(crate) machine: Machine,
    /// The lag that the machine states of itself, ms: what is written of it, as a measured one stays with its process.
    pub(crate) own_lag_ms: f64,
    /// The coating.
    pub(crate) coating: Coating,
    /// What was measured, where anything was: as it was stated.
    pub(crate) measured: Option<ProcessFile>,
    /// As much of it as holds on this machine with this coating.
    pub(crate) held: Option<ProcessFile>,
    /// The process: each value and how it is known.
    pub(crate) process: Process,
    /// Beam, setting and response together.
    pub(crate) burn: Burn,
    /// The blank and its margin.
    pub(crate) blank: Blank,
    /// The blank's surface.
    pub(crate) surface: Surface,
    /// The coatings that the blank takes, as the kit or a file names them, the usual one first.
    pub(crate) coatings: Vec<String>,
    /// Distances between dots.
    pub(crate) grid: Grid,
    /// Why this pitch, in words.
    pub(crate) pitch_why: String,
    /// What is done to the tones.
    pub(crate) tone: SettledTone,
    /// How dots are made of them, and into which files.
    pub(crate) dots: SettledDots,
    /// The scan program.
    pub(crate) scan: SettledScan,
    /// What was assumed because nothing was said, one sentence each.
    pub(crate) assumptions: Vec<Note>,
    /// The files that are no longer what the job was first prepared with, by their names.
    pub(crate) changed: Vec<String>,
    /// Other things a person should know, one sentence each.
    pub(crate) notes: Vec<Note>,
}

/// A job with every number settled and checked. In this program it is read like the [`Settled`] that it holds. It never
/// changes: what is to be otherwise is settled anew, by [`Plan::with`] or from another [`Brief`].
#[derive(Debug, Clone)]
pub struct Plan(Arc<Settled>);

#[doc(hidden)]
impl Deref for Plan {
    type Target = Settled;

    fn deref(&self) -> &Settled {
        &self.0
    }
}

/// Resolves a job whose art is not read yet: machine, coating and process files are read, defaults filled in,
/// everything checked.
///
/// # Errors
/// See [`PlanError`]: each says what is wrong and what to do.
pub fn resolve(job: &Job) -> Result<Plan, PlanError> {
    Brief::read(job.clone())?.settle()
}

impl Plan {
    pub(super) fn new(settled: Settled) -> Plan {
        Plan(Arc::new(settled))
    }

    /// The plan with one change: what the same command with that value would settle on.
    ///
    /// # Errors
    /// Where the change asks for what the machine cannot do, as it would on the command line.
    pub(crate) fn with(&self, change: Change) -> Result<Plan, PlanError> {
        let mut job = self.job.clone();
        let share = |watts: Watts| Share((watts.0 / self.process.rated_power.value.0).clamp(0.0, 1.0));
        match change {
            Change::Power(watts) => {
                job.unsaid.ask(FilledIn::Power);
                job.burn.power = Some(share(watts));
            }
            Change::Speed(speed) => {
                job.unsaid.ask(FilledIn::Speed);
                job.burn.speed = Some(speed);
            }
            Change::Pitch(across) => {
                job.unsaid.ask(FilledIn::Pitch);
                let process = &self.process;
                let along = Mm(across.0 / (process.pitch_across.value.0 / process.pitch_along.value.0));
                job.dots.pitch = Pitch::from_mm(along.0);
                job.dots.pitch_across = Pitch::from_mm(across.0);
            }
            Change::WholePitch => {
                job.unsaid.ask(FilledIn::Pitch);
                let pitch = Pitch::from_mm(self.process.pitch_across.value.0);
                (job.dots.pitch, job.dots.pitch_across) = (pitch, pitch);
            }
            Change::Ceiling(share) => job.tone.ceiling = Some(share),
            Change::Levels(clip) => job.tone.levels = Some(Levels::Auto(clip)),
            Change::Alike { speed, power, pitch_kept } => {
                job.unsaid.ask(FilledIn::Power);
                job.unsaid.ask(FilledIn::Speed);
                (job.burn.speed, job.burn.power) = (Some(speed), Some(share(power)));
                if pitch_kept {
                    job.unsaid.ask(FilledIn::Pitch);
                }
            }
        }
        let named = Named {
            machine: self.machine.clone(),
            coating: self.coating.clone(),
            measured: self.measured.clone(),
            tone_curve: self.tone.curve.clone(),
        };
        let (art, notes) = (self.art_file.clone(), self.notes.clone());
        Brief { job, named, art, layers: Vec::new(), notes }.settle()
    }

    /// The same plan for a job that goes elsewhere together with its art: each of its files is named as `at` says.
    pub(crate) fn taken_along(&self, at: &dyn Fn(&str) -> String) -> Plan {
        let mut settled = Settled::clone(&self.0);
        let Job { art, layers, .. } = &mut settled.job;
        for file in layers.iter_mut().filter_map(|l| l.file.as_mut()).chain(&mut art.file) {
            *file = at(file);
        }
        Plan::new(settled)
    }

    /// How many dots make up a line pitch: of a row, and of a column.
    pub(crate) fn switched(&self) -> (usize, usize) {
        self.scan.lines.swap((self.dots.options.switches.max(1) as usize, 1))
    }

    /// Whether the speed is a start that nobody asked for or measured: at another power or pitch another one is filled in.
    pub(crate) fn speed_is_a_start(&self) -> bool {
        !self.job.asks_for(FilledIn::Speed) && self.held.as_ref().is_none_or(|m| m.best.is_none())
    }

    /// The setting that the same job starts from at another pitch: what was asked or measured stays.
    pub(crate) fn start_at(&self, pitch: Mm) -> Setting {
        let mut setting = self.process.setting();
        (setting.pitch_along, setting.pitch_across) = (pitch, pitch);
        if self.speed_is_a_start() {
            let (s, v0) = self.process.reciprocity.value;
            let top = MmPerS(self.machine.axes(self.process.lines).0.top_speed);
            let exposure = self.coating.start.exposure.0 / f64::from(setting.passes);
            setting.speed = start_speed(setting.power, pitch, exposure, s, v0, top);
        }
        setting
    }

    /// What advice on pitches rests on: those from a quarter of the beam across to one and a half times it, unless others are
    /// named, for a piece of `size`.
    pub(crate) fn question(&self, (from, to): (Option<Mm>, Option<Mm>), size: (Mm, Mm)) -> Question {
        let beam = self.process.beam.value;
        let lines = self.process.lines;
        Question {
            beam,
            response: self.process.response(),
            steps_per_mm: self.machine.axes(lines).1.steps_per_mm,
            range: (from.unwrap_or(Mm(beam.across.0 / 4.0)), to.unwrap_or(Mm(beam.across.0 * 1.5))),
            size,
            head: Some((self.machine.limits(), lines)),
        }
    }

    /// The setting that exposes a solid as this plan's does, at another power and pitch: more power is a higher speed, as far
    /// as the axis goes.
    pub(crate) fn as_exposed_at(&self, power: Watts, pitch: Mm) -> Setting {
        let mut setting = self.process.setting();
        (setting.power, setting.pitch_along, setting.pitch_across) = (power, pitch, pitch);
        let (s, v0) = self.process.reciprocity.value;
        let top = MmPerS(self.machine.axes(self.process.lines).0.top_speed);
        let exposure = self.burn.x_solid / f64::from(setting.passes);
        setting.speed = start_speed(power, pitch, exposure, s, v0, top);
        setting
    }

    /// The screens' settings for art that was read as `kind`: some look at it.
    pub(crate) fn options(&self, kind: Kind) -> Options {
        Options { drawing: kind.is_drawn(), ..self.dots.options.clone() }
    }

    /// The tone curve of the process for a screen, where one was measured at this job's setting.
    pub(crate) fn measured_curve(&self, screen: &str) -> Option<&ToneCurve> {
        self.curve_of(screen).filter(|c| self.holds(c))
    }

    /// The tone curve of the process for a screen that was measured at another setting than this job's.
    pub(crate) fn curve_elsewhere(&self, screen: &str) -> Option<&ToneCurve> {
        self.curve_of(screen).filter(|c| !self.holds(c))
    }

    fn curve_of(&self, screen: &str) -> Option<&ToneCurve> {
        self.held.as_ref()?.tone_curve.iter().find(|c| c.screen == screen)
    }

    fn holds(&self, curve: &ToneCurve) -> bool {
        let p = &self.process;
        curve.holds_at(p.power.value, p.speed.value, p.pitch_across.value, p.passes.value)
    }

    /// Whether a finding may pass because the person accepted it, for this art and no worse than it is.
    pub(crate) fn accepts(&self, finding: &Finding) -> Held {
        acceptance::judge(&self.scan.accept, finding, self.art_file.as_ref().map(|a| a.crc32))
    }

    /// The job that gives this plan again once its findings are known: what of them was accepted is tied to
    /// this art and to how bad it is.
    pub fn written_back(&self, findings: &[Finding]) -> Job {
        written::accepting(&self.job, findings.iter().filter_map(|f| self.accepts(f).kept()))
    }
}

#[cfg(test)]
mod tests;
