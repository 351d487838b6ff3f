//! The recipe: a plan and art in, an outcome out, stage by stage. No file and no clock inside.

pub mod compare;
pub mod facts;
pub mod look;
mod shares;
pub mod words;

use std::cell::OnceCell;

use crate::art::{self, Art, Kind, View};
use crate::findings::burn::{self, Remade};
use crate::findings::detail;
use crate::findings::{Finding, Severity};
use crate::findings::{art as of_art, lines as of_lines, machine as of_machine, motion};
use crate::job::words::{DotGain, ReadAs, ToneBy};
use crate::job::{Plan, plan};
use crate::mark::{Forecast, Summary, summary};
use crate::placement::{self, Outline, Placement};
use crate::plane::{Dots, Tone};
use crate::progress::{Progress, Stopped, Within};
use crate::proof::layout::{Layout, MOST_PIXELS};
use crate::proof::report::{ArtFacts, Report};
use crate::scan::grey;
use crate::scan::limits::LimitsError;
use crate::scan::lines;
use crate::scan::program::{self, Cost, Notes};
use crate::scan::raster::{RasterPath, Scan};
use crate::screen::{Screen, Wants};
use crate::tone::{dot_gain, shape, tone_mapping};
use crate::units::{Mm, short};
use look::Reduced;
use shares::Shares;

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
    #[error(
        "the art is transparent everywhere, so there is nothing to mark; choose another file or another crop"
    )]
    Nothing,
    /// The tones cannot be shaped as asked.
    #[error(transparent)]
    Shape(#[from] shape::ShapeError),
    /// A measured tone curve cannot be used.
    #[error(transparent)]
    Gain(#[from] dot_gain::GainError),
    /// The machine cannot run the job.
    #[error(transparent)]
    Limits(#[from] LimitsError),
    /// The person asked to stop.
    #[error(transparent)]
    Stopped(#[from] Stopped),
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
    /// Mean of the wanted mark over the dot rectangle.
    pub mean_wanted: f64,
    /// The dot-gain curve: coverage and the mark it gives; empty where none was used.
    pub gain: Vec<(f64, f64)>,
    /// The dots, masked.
    pub dots: Dots,
    /// How the piece is drawn.
    pub layout: Layout,
    /// The forecast, reduced to the picture's blocks and to sums.
    pub reduced: Reduced,
    /// The forecast in figures; `None` where tones are made by power, which never passes the best mark.
    pub summary: Option<Summary>,
    /// The scan program; `None` where the machine cannot run one for this job, as a finding says.
    pub program: Option<ScanPlan>,
    /// Things a person should know.
    pub notes: Vec<String>,
}

/// The scan program, settled but not yet written.
#[derive(Debug, Clone)]
pub struct ScanPlan {
    /// Lines, run-up and speed.
    pub raster: RasterPath,
    /// What the program says of itself.
    pub notes: Notes,
    /// For tones by power: the wanted marks and the S word of each level.
    pub grey: Option<(Tone, Vec<u32>)>,
    /// Time, travel, size and load on the link.
    pub written: Cost,
}

impl ScanPlan {
    /// What is scanned.
    pub fn marking<'a>(&'a self, dots: &'a Dots) -> lines::Marking<'a> {
        match &self.grey {
            Some((tone, levels)) => lines::Marking::Grey { tone, levels },
            None => lines::Marking::Dots(dots),
        }
    }
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
        let unaccepted =
            |f: &&Finding| f.severity == Severity::Stop && !plan.accept.iter().any(|a| a == f.name);
        self.findings.iter().filter(unaccepted)
    }
}

/// Carries a plan through. `name` is the art's name for the report.
pub fn run(plan: &Plan, art: &Art, name: &str, progress: &dyn Progress) -> Result<Outcome, PipelineError> {
    let wanted = wanted(plan, art, progress)?;
    let plan = &plan.reading(wanted.kind);
    let mean_wanted = mean_within(plan, &wanted.tone, &wanted.placement);
    let placement = wanted.placement;
    let mut notes: Vec<String> = art.notes().to_vec();
    notes.extend(wanted.notes);
    let mut fine = Vec::new();
    let (mut stages, gain) = if plan.tone_by == ToneBy::Power {
        let stages = by_power(plan, placement, wanted.tone, name, progress)?;
        notes.push(
            "tones are made by power: the forecast shows each place's own exposure, without the beam's spread"
                .to_string(),
        );
        (stages, Vec::new())
    } else {
        // Only drawings have strokes that may be too thin; their wanted mark is kept to be held against.
        let kept = (wanted.kind == Kind::Drawing).then(|| wanted.tone.clone());
        let (dots, gain) = dots(plan, plan.screen, wanted.tone, &placement, progress)?;
        if let Some(tone) = &kept {
            let forecast = Forecast::new(&plan.burn);
            fine.extend(detail::detail_below_beam(tone, &dots, &forecast, &placement.rect, &plan.blank));
        }
        (foresee(plan, placement, dots, name, progress)?, gain)
    };
    (stages.mean_wanted, stages.gain, stages.notes) = (mean_wanted, gain, notes);
    progress.begin("findings", Shares::of(plan.screen).findings)?;
    let mut findings = art_findings(plan, art, &stages);
    findings.extend(fine);
    findings.extend(burn_findings(plan, &stages, &remake(plan, art, progress)));
    let findings = machine_findings(plan, &stages, findings);
    let facts = facts::art_facts(art, name, wanted.kind, &wanted.kind_why);
    let report = facts::report(plan, facts, &stages, &findings);
    Ok(Outcome { stages, findings, report })
}

/// Mean over the dot rectangle of what is wanted where dots may be.
fn mean_within(plan: &Plan, tone: &Tone, placement: &Placement) -> f64 {
    let sum: f64 = (0..tone.height())
        .map(|y| {
            tone.row(y)[placement.rect.allowed(&plan.blank, y)].iter().map(|&v| f64::from(v)).sum::<f64>()
        })
        .sum();
    sum / (tone.width() * tone.height()).max(1) as f64
}

/// Judges dots that something else made: they lie in the middle of the blank.
pub fn judge(plan: &Plan, dots: Dots, name: &str, progress: &dyn Progress) -> Result<Outcome, PipelineError> {
    let placement = placement::of_dots(&plan.blank, plan.grid, dots.width(), dots.height());
    let (width, height) = (dots.width() as u32, dots.height() as u32);
    let mut stages = foresee(plan, placement, dots, name, progress)?;
    stages.mean_wanted = stages.dots.coverage();
    progress.begin("findings", Shares::of(plan.screen).findings)?;
    // Another pitch or ceiling needs the art, which is not at hand.
    let remake = |change| {
        let kept = matches!(change, burn::Change::Power(_) | burn::Change::Speed(_));
        let burn = plan.changed(change).burn;
        kept.then(|| Remade { dots: stages.dots.clone(), grid: plan.grid, burn })
    };
    let burnt = burn_findings(plan, &stages, &remake);
    let findings = machine_findings(plan, &stages, burnt);
    let facts = ArtFacts {
        name: name.to_string(),
        format: "1-bit PNG".into(),
        read_as: "dots".into(),
        read_as_why: "they are judged as they are".into(),
        width_px: Some(width),
        height_px: Some(height),
    };
    let report = facts::report(plan, facts, &stages, &findings);
    Ok(Outcome { stages, findings, report })
}

/// Forecast and scan program of dots.
fn foresee(
    plan: &Plan,
    placement: Placement,
    dots: Dots,
    name: &str,
    progress: &dyn Progress,
) -> Result<Stages, PipelineError> {
    progress.begin("forecast", Shares::of(plan.screen).forecast)?;
    let forecast = Forecast::new(&plan.burn);
    let layout = Layout::new(&plan.blank, &placement.rect, MOST_PIXELS);
    let reduced = look::reduce(&forecast, &dots, &layout);
    let summary = Some(summary(&dots, &forecast));
    progress.begin("scan program", Shares::of(plan.screen).program)?;
    let program = Some(program(plan, &placement, &dots, None, name)?);
    Ok(Stages {
        placement,
        mean_wanted: 0.0,
        gain: Vec::new(),
        dots,
        layout,
        reduced,
        summary,
        program,
        notes: Vec::new(),
    })
}

/// Tones by power instead of dots: the beam is on wherever anything is wanted, at the power that gives it.
fn by_power(
    plan: &Plan,
    placement: Placement,
    mut tone: Tone,
    name: &str,
    progress: &dyn Progress,
) -> Result<Stages, PipelineError> {
    progress.begin("forecast", Shares::of(plan.screen).forecast)?;
    compare::mask_tone(&mut tone, plan, &placement);
    let full = (plan.process.power.value.0 * plan.machine.program.full_scale_s).round().max(1.0) as u32;
    let levels = grey::levels(&plan.burn, full);
    let mut dots = Dots::off(tone.width(), tone.height());
    for y in 0..tone.height() {
        for (x, &wanted) in tone.row(y).iter().enumerate() {
            if lines::level_of(&levels, wanted) > 0 {
                dots.set(x, y, true);
            }
        }
    }
    let layout = Layout::new(&plan.blank, &placement.rect, MOST_PIXELS);
    let reduced = look::of_tone(&plan.burn, &tone, &levels, full, &layout);
    progress.begin("scan program", Shares::of(plan.screen).program)?;
    let program = Some(program(plan, &placement, &dots, Some((tone, levels)), name)?);
    Ok(Stages {
        placement,
        mean_wanted: 0.0,
        gain: Vec::new(),
        dots,
        layout,
        reduced,
        summary: None,
        program,
        notes: Vec::new(),
    })
}

/// Art to wanted mark: place, render, shape, look of the piece.
pub fn wanted(plan: &Plan, art: &Art, progress: &dyn Progress) -> Result<Wanted, PipelineError> {
    progress.begin("placing", Shares::of(plan.screen).placing)?;
    let mut view = View { crop: plan.crop.window(), turn: plan.turn, mirror: plan.mirror, ..View::default() };
    let hull = art::extent::extent(art, &view)?;
    if hull.is_empty() {
        return Err(PipelineError::Nothing);
    }
    let (w, h) = view.size(art);
    let placement = placement::place(&Outline { aspect: w / h, hull }, &plan.blank, plan.place, plan.grid)?;
    view.window = placement.window;

    let (kind, kind_why) = match plan.read_as {
        ReadAs::Auto => art::kind::decide(art),
        ReadAs::Photo => (Kind::Photo, "as asked".to_string()),
        ReadAs::Drawing => (Kind::Drawing, "as asked".to_string()),
    };

    progress.begin("drawing at the dots' density", Shares::of(plan.screen).drawing)?;
    let rect = &placement.rect;
    let rendered = art::render(art, &view, rect.columns, rect.rows, kind)?;
    progress.begin("tones", Shares::of(plan.screen).tones)?;
    let pitch = (plan.grid.along.0, plan.grid.across.0);
    let mut notes = Vec::new();
    let (light, shaped) = shape::shape(rendered.light, rendered.alpha.as_ref(), &plan.shape, pitch)?;
    if let Some((black, white)) = shaped.levels {
        notes.push(format!("lightness L* {} became black and {} white", short(black, 1), short(white, 1)));
    }
    let looks =
        tone_mapping::Looks { unmarked: plan.burn.response.y_unmarked, marked: plan.burn.response.y_marked };
    let tone = match kind {
        Kind::Photo => tone_mapping::photo(light, rendered.alpha.as_ref(), looks),
        Kind::Drawing => {
            let (ink, note) = tone_mapping::ink(&light, rendered.alpha.as_ref());
            notes.extend(note);
            tone_mapping::drawing(light, rendered.alpha.as_ref(), ink)
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
        progress.begin("dot-gain curve", Shares::of(screen).gain)?;
        curve = gain_curve(plan, screen)?;
    }
    let mut tone = tone;
    if let Some(c) = &curve {
        tone = c.apply(tone);
    }
    if plan.ceiling.0 < 1.0 {
        tone = dot_gain::ceiling(tone, plan.ceiling.0);
    }
    progress.begin("dots", Shares::of(screen).dots)?;
    let mut dots = (screen.make)(&tone, &plan.options, progress);
    progress.go_on(0)?;
    mask(&mut dots, plan, placement);
    let points = curve
        .filter(|c| c.standing != dot_gain::Standing::None)
        .map(|c| c.coverage.iter().zip(&c.mark).map(|(&c, &m)| (f64::from(c), f64::from(m))).collect());
    Ok((dots, points.unwrap_or_default()))
}

/// The dot-gain curve that the plan asks for.
fn gain_curve(plan: &Plan, screen: &Screen) -> Result<Option<dot_gain::GainCurve>, PipelineError> {
    match &plan.dot_gain {
        DotGain::Off => Ok(None),
        DotGain::File(_) => Ok(plan.tone_curve.clone()),
        DotGain::Forecast => Ok(Some(match plan::measured_curve(plan, screen.name) {
            Some(c) => dot_gain::GainCurve::from_points(&c.coverage, &c.mark)?,
            None => dot_gain::forecast(screen, &plan.options),
        })),
    }
}

/// Removes every dot that is not wholly on the blank less its margin.
pub fn mask(dots: &mut Dots, plan: &Plan, placement: &Placement) {
    let width = dots.width();
    for y in 0..dots.height() {
        let keep = placement.rect.allowed(&plan.blank, y);
        if keep != (0..width) {
            dots.keep_only(y, keep);
        }
    }
}

/// Findings about the art.
fn art_findings(plan: &Plan, art: &Art, stages: &Stages) -> Vec<Finding> {
    let p = &stages.placement;
    let Some((w, h)) = art.pixels() else { return Vec::new() };
    let crop = plan.crop.window();
    let (mut w, mut h) = (w as f64 * crop.width(), h as f64 * crop.height());
    if plan.turn.swaps() {
        std::mem::swap(&mut w, &mut h);
    }
    let shown = (w * p.window.width(), h * p.window.height());
    let rect = &p.rect;
    of_art::coarse_art(shown, (rect.columns, rect.rows), Mm(rect.width())).into_iter().collect()
}

/// Findings about place, lines, motion and machine added to those at hand; the most serious first.
fn machine_findings(plan: &Plan, stages: &Stages, mut all: Vec<Finding>) -> Vec<Finding> {
    let p = &stages.placement;
    let process = &plan.process;
    let beam = process.beam.value;
    let radius = Mm(beam.along.0.max(beam.across.0) / 2.0);
    let fitting = Mm((p.wished_width.0 - 2.0 * p.past_margin.0).max(0.0));
    let motion_of = &plan.machine.motion;
    let tolerance = motion_of.placement_tolerance;
    all.extend(of_art::past_margin(p.past_margin, plan.blank.margin, tolerance, radius, fitting));
    let (setting, response) = (process.setting(), process.response());
    all.extend(of_lines::apart(beam, &setting, &response, motion_of.steps_per_mm_y));
    all.extend(of_lines::crowded(beam, plan.grid.across, motion_of.steps_per_mm_y));
    all.extend(of_machine::step_beat(plan.grid.across, motion_of.steps_per_mm_y, Mm(p.rect.height())));
    if let Some(p) = &stages.program {
        all.extend(motion::all(&p.raster, p.marking(&stages.dots), &p.written.estimate, &p.written.load));
    }
    let least = plan.coating.start.least_power;
    all.extend(of_machine::weak_laser(process.rated_power.value, least, &plan.coating.name));
    all.extend(of_machine::assumed(&process.assumed()));
    all.sort_by_key(|f| std::cmp::Reverse(f.severity));
    all
}

/// Carries the job through again up to its dots, with a change. The wanted mark is drawn again only once,
/// and only when there is anything to mend.
fn remake<'a>(
    plan: &'a Plan,
    art: &'a Art,
    progress: &'a dyn Progress,
) -> impl Fn(burn::Change) -> Option<Remade> + 'a {
    let drawn: OnceCell<Option<Wanted>> = OnceCell::new();
    move |change| {
        let progress = &Within(progress);
        let changed = plan.changed(change);
        let wanted = match change {
            burn::Change::Pitch(_) => wanted(&changed, art, progress).ok()?,
            _ => drawn.get_or_init(|| wanted(plan, art, progress).ok()).clone()?,
        };
        let placement = wanted.placement;
        let (dots, _) = dots(&changed, changed.screen, wanted.tone, &placement, progress).ok()?;
        Some(Remade { dots, grid: changed.grid, burn: changed.burn })
    }
}

/// Findings from the forecast; a remedy is tried through `remake`.
fn burn_findings(plan: &Plan, stages: &Stages, remake: &burn::Remake<'_>) -> Vec<Finding> {
    let Some(summary) = &stages.summary else { return Vec::new() };
    let process = &plan.process;
    let scene = burn::Scene {
        dots: &stages.dots,
        rect: &stages.placement.rect,
        blank: &plan.blank,
        beam: process.beam.value,
        setting: process.setting(),
        response: process.response(),
        rated_power: process.rated_power.value,
        top_speed: plan.machine.motion.top_speed,
        steps_per_mm: plan.machine.motion.steps_per_mm_y,
        remake,
    };
    [burn::over_burn(&scene, summary), burn::under_burn(&scene, summary)].into_iter().flatten().collect()
}

/// The scan program of a job: its path, what it says of itself, and how long and large it will be.
pub fn program(
    plan: &Plan,
    placement: &Placement,
    dots: &Dots,
    grey: Option<(Tone, Vec<u32>)>,
    name: &str,
) -> Result<ScanPlan, PipelineError> {
    let p = &plan.process;
    let mut scan = Scan::new(p.speed.value.0, p.power.value.0);
    scan.ways = plan.ways;
    scan.passes = p.passes.value;
    scan.run_up = plan.run_up.map(|r| r.0);
    scan.trim = plan.trim.0;
    let raster = RasterPath::new(&plan.machine.limits(), scan, placement.rect, plan.blank)?;
    let settings = vec![
        format!("{} on {}", plan.coating.name, plan.machine.name),
        format!("power {} of {}, {}", p.power.value, p.rated_power.value, p.power.standing),
        format!("speed {}, {}", p.speed.value, p.speed.standing),
    ];
    let cautions = words::cautions(&plan.machine, &plan.coating, plan.surface);
    let notes = Notes { job: name.to_string(), settings, cautions };
    let art = match &grey {
        Some((tone, levels)) => lines::Marking::Grey { tone, levels },
        None => lines::Marking::Dots(dots),
    };
    // Nothing is stored, so nothing can fail but a request to stop.
    let written = program::measure(&raster, art, &notes).map_err(|_| Stopped)?;
    Ok(ScanPlan { raster, notes, grey, written })
}
