//! The recipe: a plan and art in, an outcome out, stage by stage. No file and no clock inside.

pub mod facts;
pub mod words;

use crate::art::{self, Art, Kind, View};
use crate::findings::{self, Finding, Severity};
use crate::job::words::{DotGain, Levels, ReadAs, Sharpen};
use crate::job::{Plan, plan};
use crate::mark::forecast;
use crate::parallel;
use crate::placement::{self, Outline, Placement};
use crate::plane::{Dots, Tone};
use crate::progress::Progress;
use crate::proof::report::Report;
use crate::screen::{Screen, Wants};
use crate::tone::{gain, piece, shape};
use crate::units::Mm;

/// Why a plan could not be carried through.
#[derive(Debug, thiserror::Error)]
pub enum PipelineError {
    /// The art cannot go on the blank.
    #[error(transparent)]
    Place(#[from] placement::PlaceError),
    /// The art cannot be drawn.
    #[error(transparent)]
    Render(#[from] art::render::RenderError),
    /// Nothing of the art can be seen.
    #[error("the art is transparent everywhere, so there is nothing to mark; choose another file or another crop")]
    Nothing,
    /// The dot-gain curve's file cannot be used.
    #[error(transparent)]
    Gain(#[from] gain::GainError),
    /// The person asked to stop.
    #[error("stopped as asked; nothing was written")]
    Stopped,
}

/// The wanted mark, and how it came about: everything before the screen.
#[derive(Debug, Clone)]
pub struct Wanted {
    /// Where the art lies.
    pub placement: Placement,
    /// The wanted mark fraction of each dot.
    pub tone: Tone,
    /// How the art was read.
    pub kind: Kind,
    /// Why it was read so.
    pub kind_why: String,
    /// Things a person should know.
    pub notes: Vec<String>,
}

/// What the stages found.
#[derive(Debug, Clone)]
pub struct Stages {
    /// Where the art lies.
    pub placement: Placement,
    /// How the art was read.
    pub kind: Kind,
    /// Why it was read so.
    pub kind_why: String,
    /// Mean of the wanted mark over the dot rectangle.
    pub mean_wanted: f64,
    /// The dot-gain curve: coverage and the mark it gives; empty where none was used.
    pub gain: Vec<(f64, f64)>,
    /// The dots, masked.
    pub dots: Dots,
    /// The forecast in figures.
    pub forecast: forecast::Summary,
    /// Things a person should know.
    pub notes: Vec<String>,
}

/// A job carried through.
#[derive(Debug, Clone)]
pub struct Outcome {
    /// What the stages found.
    pub stages: Stages,
    /// What is worth saying, the most serious first.
    pub findings: Vec<Finding>,
    /// Every figure, still without files.
    pub report: Report,
}

impl Outcome {
    /// Findings of severity stop that the plan does not accept.
    pub fn stops<'a>(&'a self, plan: &'a Plan) -> impl Iterator<Item = &'a Finding> {
        let unaccepted = |f: &&Finding| f.severity == Severity::Stop && !plan.accept.iter().any(|a| a == f.name);
        self.findings.iter().filter(unaccepted)
    }
}

/// Carries a plan through. `name` is the art's name for the report.
pub fn run(plan: &Plan, art: &Art, name: &str, progress: &dyn Progress) -> Result<Outcome, PipelineError> {
    let wanted = wanted(plan, art, progress)?;
    let mean_wanted = wanted.tone.mean();
    let (placement, kind) = (wanted.placement, wanted.kind);
    let (dots, gain) = dots(plan, plan.screen, wanted.tone, &placement, progress)?;
    go_on(progress, "forecast")?;
    let forecast = forecast::summary(&dots, &plan.burn, &placement.rect.grid);
    let stages = Stages {
        placement,
        kind,
        kind_why: wanted.kind_why,
        mean_wanted,
        gain,
        dots,
        forecast,
        notes: wanted.notes,
    };
    let findings = findings(plan, art, &stages);
    let report = facts::report(plan, art, name, &stages, &findings);
    Ok(Outcome { stages, findings, report })
}

fn go_on(progress: &dyn Progress, stage: &str) -> Result<(), PipelineError> {
    progress.stage(stage, 0);
    if progress.step(0) { Ok(()) } else { Err(PipelineError::Stopped) }
}

/// Art to wanted mark: place, render, shape, look of the piece.
pub fn wanted(plan: &Plan, art: &Art, progress: &dyn Progress) -> Result<Wanted, PipelineError> {
    go_on(progress, "placing")?;
    let mut view = View { crop: plan.crop.window(), turn: plan.turn, mirror: plan.mirror, ..View::default() };
    let hull = art::extent::extent(art, &view)?;
    if hull.is_empty() {
        return Err(PipelineError::Nothing);
    }
    let (w, h) = view.size(art);
    let placement = placement::place(&Outline { aspect: w / h, hull }, &plan.blank, plan.place, plan.grid)?;
    view.window = placement.window;

    let (kind, kind_why) = match plan.read_as {
        ReadAs::Auto => art::kind::kind(art),
        ReadAs::Photo => (Kind::Photo, "as asked".to_string()),
        ReadAs::Drawing => (Kind::Drawing, "as asked".to_string()),
    };

    go_on(progress, "drawing at the dots' density")?;
    let rect = &placement.rect;
    let rendered = art::render(art, &view, rect.columns, rect.rows, kind)?;
    let mut light = rendered.light;
    go_on(progress, "tones")?;
    shape::shape(&mut light, rendered.alpha.as_ref(), &shaping(plan));
    let looks = piece::Looks { unmarked: plan.burn.response.y_unmarked, marked: plan.burn.response.y_marked };
    let mut notes = Vec::new();
    let tone = match kind {
        Kind::Photo => piece::photo(light, rendered.alpha.as_ref(), looks),
        Kind::Drawing => {
            let (ink, note) = piece::ink(&light, rendered.alpha.as_ref());
            notes.extend(note);
            piece::drawing(light, rendered.alpha.as_ref(), ink)
        }
    };
    Ok(Wanted { placement, tone, kind, kind_why, notes })
}

/// Wanted mark to masked dots by a screen; also the dot-gain curve that was used.
pub fn dots(
    plan: &Plan,
    screen: &Screen,
    tone: Tone,
    placement: &Placement,
    progress: &dyn Progress,
) -> Result<(Dots, Vec<(f64, f64)>), PipelineError> {
    let mut curve = None;
    if screen.wants == Wants::Coverage {
        go_on(progress, "dot-gain curve")?;
        curve = gain_curve(plan, screen)?;
    }
    let mut tone = tone;
    if let Some(c) = &curve {
        c.apply(&mut tone);
    }
    if plan.ceiling.0 < 1.0 {
        gain::ceiling(&mut tone, plan.ceiling);
    }
    go_on(progress, "dots")?;
    let mut dots = (screen.make)(&tone, &plan.options, progress);
    if !progress.step(0) {
        return Err(PipelineError::Stopped);
    }
    mask(&mut dots, plan, placement);
    let points = curve.map(|c| c.points()).unwrap_or_default();
    Ok((dots, points))
}

/// The dot-gain curve that the plan asks for.
fn gain_curve(plan: &Plan, screen: &Screen) -> Result<Option<gain::GainCurve>, PipelineError> {
    match &plan.dot_gain {
        DotGain::Off => Ok(None),
        DotGain::File(path) => Ok(Some(gain::read(std::path::Path::new(path))?)),
        DotGain::Forecast => Ok(Some(match plan::measured_curve(plan, screen.name) {
            Some(c) => gain::GainCurve::from_points(&c.coverage, &c.mark)?,
            None => gain::forecast(screen, &plan.options),
        })),
    }
}

/// Removes every dot that is not wholly on the blank less its margin.
pub fn mask(dots: &mut Dots, plan: &Plan, placement: &Placement) {
    let stride = dots.stride();
    let width = dots.width();
    if stride == 0 {
        return;
    }
    for y in 0..dots.height() {
        let keep = placement.rect.allowed(&plan.blank, y);
        if keep != (0..width) {
            dots.keep_only(y, keep);
        }
    }
}
