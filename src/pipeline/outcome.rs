//! Outcome: what the stages of a job found, and what is worth saying of it.

use super::foresee::Foreseen;
use super::laid::{Laid, Powers};
use super::left_out::LeftOut;
use super::likely::Likely;
use super::pace::Pace;
use crate::art::{Kind, Likeness};
use crate::findings::{Finding, Severity};
use crate::job::Plan;
use crate::mark::{Sums, Totals};
use crate::note::Note;
use crate::placement::Placement;
use crate::plane::Dots;
use crate::proof::facts::Found;
use crate::proof::layout::{Layout, Look};
use crate::proof::readings::Readings;
use crate::proof::report::Report;
use crate::scan::program::{Cost, Notes, Program};
use crate::scan::raster::RasterPath;
use crate::scan::{lines, outline};

/// What the stages found.
#[derive(Debug, Clone)]
pub struct Stages {
    /// Where the art lies.
    pub placement: Placement,
    /// Mean of the wanted mark over the dot rectangle, 0 to 1; the coverage of dots that are only judged.
    pub mean_wanted: f64,
    /// The same of as much of it as a solid reaches; `None` where no dots were made for tones.
    pub mean_reachable: Option<f64>,
    /// The dot-gain curve: coverage and the mark it gives; empty where none was used.
    pub gain: Vec<(f64, f64)>,
    /// The dots, masked.
    pub dots: Dots,
    /// How the piece is drawn.
    pub layout: Layout,
    /// The forecast look of the piece, in the samples of `layout`.
    pub look: Look,
    /// Greatest exposure of each sample, relative to the one at which over-burn begins; empty where the
    /// coating never chars.
    pub dose: Vec<f32>,
    /// What the forecast comes to.
    pub totals: Totals,
    /// How like the wanted mark it will look; `None` for dots that are only judged and for tones by power.
    pub likely: Option<Likely>,
    /// The sums by which over-burn and under-burn are judged; `None` where tones are made by power, which
    /// never passes the best mark.
    pub sums: Option<Sums>,
    /// The scan program.
    pub program: ScanPlan,
    /// How the art was read; `None` for dots that something else made.
    pub kind: Option<Kind>,
    /// What lies where no dot may be.
    pub left_out: LeftOut,
    /// What was settled for the sake of time.
    pub pace: Pace,
    /// Things a person should know.
    pub notes: Vec<Note>,
}

impl Stages {
    /// What was laid down, and what is foreseen of it.
    pub(super) fn new(
        placement: Placement,
        (mean_wanted, mean_reachable): (f64, Option<f64>),
        laid: Laid,
        seen: Foreseen,
        read: Option<Kind>,
        left_out: LeftOut,
        notes: Vec<Note>,
    ) -> Self {
        let Laid { dots, gain, powers, pace, .. } = laid;
        let program = ScanPlan { raster: seen.raster, notes: seen.notes, powers, written: seen.written };
        Stages {
            placement,
            mean_wanted,
            mean_reachable,
            gain,
            dots,
            layout: seen.layout,
            look: seen.look,
            dose: seen.dose,
            totals: seen.totals,
            likely: None,
            sums: seen.sums,
            program,
            kind: read,
            left_out,
            pace,
            notes,
        }
    }

    /// As far as a report tells it.
    pub(super) fn found(&self) -> Found<'_> {
        Found {
            placement: &self.placement,
            mean_wanted: self.mean_wanted,
            gain: &self.gain,
            dots: &self.dots,
            totals: self.totals,
            likely: self.likely.map(|l| (l.planned_db, l.expected_db)),
            program: (&self.program.raster, &self.program.written),
            ready_made: self.kind.is_none(),
            notes: &self.notes,
        }
    }
}

/// The scan program, settled but not yet written.
#[derive(Debug, Clone)]
pub struct ScanPlan {
    /// Lines, run-up and speed.
    pub raster: RasterPath,
    /// What the program says of itself.
    pub notes: Notes,
    /// The powers, where tones are made by them.
    pub powers: Option<Powers>,
    /// Time, travel, size and load on the link.
    pub written: Cost,
}

impl ScanPlan {
    /// What is scanned.
    pub fn marking<'a>(&'a self, dots: &'a Dots) -> lines::Marking<'a> {
        Powers::marking(self.powers.as_ref(), dots)
    }

    /// The program that marks it.
    pub fn program<'a>(&'a self, dots: &'a Dots) -> Program<'a> {
        let comments = self.notes.of_raster(&self.raster);
        Program::of_raster(self.raster.clone(), self.marking(dots), comments)
    }

    /// The program that walks its outline.
    pub fn outline(&self) -> Program<'static> {
        let path = &self.raster;
        outline::program(&path.limits, &path.rect, &path.blank, &self.notes.job)
    }
}

/// A job carried through.
#[derive(Debug, Clone)]
pub struct Outcome {
    /// What the stages found.
    pub(crate) stages: Stages,
    /// What is worth saying, the most serious first.
    pub findings: Vec<Finding>,
    /// Every figure, still without files.
    pub report: Report,
    /// What the art looks like, where there is art and not only dots.
    pub(crate) original: Option<Likeness>,
    /// Both readings of art that could be either.
    pub(crate) readings: Option<Readings>,
}

impl Outcome {
    /// Whether there are any [`Outcome::stops`]: then no scan program is written.
    pub fn is_stopped(&self, plan: &Plan) -> bool {
        self.stops(plan).next().is_some()
    }

    /// Findings of severity stop that the plan does not accept.
    pub fn stops<'a>(&'a self, plan: &'a Plan) -> impl Iterator<Item = &'a Finding> {
        self.findings.iter().filter(|f| f.severity == Severity::Stop && !plan.accepts(f).passes())
    }
}
