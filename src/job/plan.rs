//! Plan: a job resolved. All numbers are settled and checked against each other; no later stage derives
//! a unit or a default again.

use std::path::Path;

use super::asked::{ArtJob, BlankJob, BurnJob, DotsJob, Reference, ScanJob, ToneJob};
use super::file::{self, FileError};
use super::kit::{self, KitError, Surface};
use super::process::ToneCurve;
use super::settle;
use super::words::{Along, Amount, BeamOn, Crop, DotGain, Levels, Packing, ReadAs, Sharpen, ToneBy, Ways};
use super::{Coating, Job, Known, Machine, Process, ProcessFile, Standing};
use crate::art::Kind;
use crate::art::turn::{Turn, TurnError};
use crate::blank::Blank;
use crate::findings::burn::Change;
use crate::mark::Burn;
use crate::placement::{Grid, Place, PlaceError};
use crate::screen::{self, Options, Screen};
use crate::tone::dot_gain::GainCurve;
use crate::tone::shape::{self, Shape};
use crate::units::{Mm, Share};

/// Why a job cannot be carried out.
#[derive(Debug, thiserror::Error)]
pub enum PlanError {
    /// A machine, coating or blank cannot be had.
    #[error(transparent)]
    Kit(#[from] KitError),
    /// A file cannot be used.
    #[error(transparent)]
    File(#[from] FileError),
    /// The art cannot go on the blank.
    #[error(transparent)]
    Place(#[from] PlaceError),
    /// A number out of its range, or two that contradict each other.
    #[error("{0}")]
    Absurd(String),
}

/// A job with every number settled.
#[derive(Debug, Clone)]
pub struct Plan {
    /// The job that gives this plan again: every default written out.
    pub job: Job,
    /// The machine.
    pub machine: Machine,
    /// The coating.
    pub coating: Coating,
    /// What was measured, where anything was.
    pub measured: Option<ProcessFile>,
    /// The process: each value and how it is known.
    pub process: Process,
    /// Beam, setting and response together.
    pub burn: Burn,
    /// The blank and its margin.
    pub blank: Blank,
    /// The blank's surface.
    pub surface: Surface,
    /// How large the art becomes.
    pub place: Place,
    /// How it is turned, clockwise.
    pub turn: Turn,
    /// Whether it is mirrored left to right after turning.
    pub mirror: bool,
    /// Which part of it is used.
    pub crop: Crop,
    /// How it is read.
    pub read_as: ReadAs,
    /// Distances between dots.
    pub grid: Grid,
    /// Why this pitch, in words.
    pub pitch_why: String,
    /// What is done to the tones.
    pub shape: Shape,
    /// The dot-gain curve.
    pub dot_gain: DotGain,
    /// The measured tone curve of a file, where one was named.
    pub tone_curve: Option<GainCurve>,
    /// The most coverage anywhere.
    pub ceiling: Share,
    /// The screen.
    pub screen: &'static Screen,
    /// The screens' settings.
    pub options: Options,
    /// The colour for 'beam on'.
    pub beam_on: BeamOn,
    /// Whether a TIFF is written, and how it is packed.
    pub tiff: Option<Packing>,
    /// Whether a BMP is written.
    pub bmp: bool,
    /// Tones by dots or power.
    pub tone_by: ToneBy,
    /// Lines there and back or one way.
    pub ways: Ways,
    /// Run-up where it was given.
    pub run_up: Option<Mm>,
    /// What each run is shortened by at either end.
    pub trim: Mm,
    /// Accepted findings of severity stop.
    pub accept: Vec<String>,
    /// What was assumed because nothing was said, one sentence each.
    pub assumptions: Vec<String>,
    /// Other things a person should know, one sentence each.
    pub notes: Vec<String>,
}

impl Plan {
    /// The same plan for art that was read as `kind`: the screens that look at it are told.
    pub fn reading(&self, kind: Kind) -> Plan {
        let mut plan = self.clone();
        plan.options.drawing = kind == Kind::Drawing;
        plan
    }

    /// The same plan with one change, as if it had been asked for: what a remedy would do.
    pub fn changed(&self, change: Change) -> Plan {
        let mut plan = self.clone();
        let given = |source: &str| (Standing::Given, source.to_string());
        match change {
            Change::Power(watts) => {
                let share = Share((watts.0 / plan.process.rated_power.value.0).clamp(0.0, 1.0));
                let (standing, source) = given("a remedy");
                plan.process.power = Known::new(share, standing, source);
            }
            Change::Speed(speed) => {
                let (standing, source) = given("a remedy");
                plan.process.speed = Known::new(speed, standing, source);
            }
            Change::Pitch(across) => {
                let along = Mm(plan.grid.along.0 * across.0 / plan.grid.across.0);
                plan.grid = Grid { along, across };
                plan.process.pitch_along.value = along;
                plan.process.pitch_across.value = across;
                plan.options.pitch_along_mm = along.0;
                plan.options.pitch_across_mm = across.0;
            }
            Change::Ceiling(share) => plan.ceiling = share,
        }
        plan.burn = plan.process.burn();
        plan.options.burn = plan.burn;
        plan
    }
}

pub(super) fn absurd(what: impl Into<String>) -> PlanError {
    PlanError::Absurd(what.into())
}

/// The screen that is used when none is named.
pub const DEFAULT_SCREEN: &str = "floyd-steinberg";

/// Resolves a job: machine, coating and process files are read, defaults filled in, everything checked.
pub fn resolve(job: &Job) -> Result<Plan, PlanError> {
    let mut assumptions = Vec::new();
    let mut machine =
        referenced(&job.machine, kit::DEFAULT_MACHINE, "machine", kit::machine, Machine::check)?;
    let coating = referenced(&job.coating, kit::DEFAULT_COATING, "coating", kit::coating, Coating::check)?;
    if job.machine.is_none() || job.is_unsaid("machine") {
        assumptions.push(format!("the machine is the kit's {}", machine.name));
    }
    if job.coating.is_none() || job.is_unsaid("coating") {
        assumptions.push(format!("the coating is {}", coating.name));
    }
    let measured = match &job.process {
        None => None,
        Some(Reference::Whole(p)) => {
            p.check().map_err(|w| absurd(format!("process in the job file: {} {}", w.key, w.why)))?;
            Some((**p).clone())
        }
        Some(Reference::Name(path)) => Some(read_process(Path::new(path))?),
    };
    // A timing wedge measures the same delay that a machine file states.
    if let Some(lag) = measured.as_ref().and_then(|p| p.lag_ms.as_ref()) {
        machine.motion.lag_ms = lag.value;
        machine.check().map_err(|w| absurd(format!("the process's lag_ms: {} {}", w.key, w.why)))?;
    }
    let default_blank = kit::blank(kit::DEFAULT_BLANK)?;
    if job.blank.shape.is_none() || job.is_unsaid("blank") {
        assumptions.push(format!("the blank is a {}", default_blank.name));
    }
    let shape = job.blank.shape.unwrap_or(default_blank.shape);
    let margin = job.blank.margin.unwrap_or(default_blank.margin);
    if !(0.0..=1000.0).contains(&margin.0) {
        return Err(absurd(format!("a margin of {margin} makes no sense; it is from 0mm to 1000mm")));
    }
    let blank = Blank { shape, margin };
    if blank.printable().is_none() {
        return Err(PlaceError::NoRoom { shape: shape.to_string(), margin: margin.to_string() }.into());
    }
    let surface = job.blank.surface.unwrap_or(default_blank.surface);

    let (grid, pitch_standing, pitch_why) = settle::pitch(job, &machine, measured.as_ref());
    let process = settle::process(job, &machine, &coating, measured.as_ref(), grid, pitch_standing)?;
    if process.power.standing == Standing::Assumed && process.speed.standing == Standing::Assumed {
        assumptions.push(format!(
            "power {} and speed {} are a start from common practice",
            process.power.value, process.speed.value
        ));
    }
    let burn = process.burn();

    let dots = &job.dots;
    let name = dots.screen.as_deref().unwrap_or(DEFAULT_SCREEN);
    let screen = screen::find(name).ok_or_else(|| unknown_screen(name))?;
    let mut options = Options::new(burn, grid.along.0, grid.across.0);
    options.level = dots.level.unwrap_or(options.level);
    options.matrix = dots.matrix.unwrap_or(options.matrix);
    options.serpentine = dots.serpentine.unwrap_or(options.serpentine);
    options.as_published = dots.as_published.unwrap_or(options.as_published);
    options.ruling_per_mm = dots.ruling_per_mm.unwrap_or(options.ruling_per_mm);
    options.angle_deg = dots.angle_deg.unwrap_or(options.angle_deg);
    options.effort = dots.effort.unwrap_or(options.effort);
    if ![2, 4, 8, 16].contains(&options.matrix) {
        return Err(absurd(format!("a matrix of {} dots is not there; it is 2, 4, 8 or 16", options.matrix)));
    }
    if !(0.2..=20.0).contains(&options.ruling_per_mm) {
        let r = options.ruling_per_mm;
        return Err(absurd(format!("a ruling of {r} clusters a mm is out of range; it is from 0.2 to 20")));
    }
    if !(-360.0..=360.0).contains(&options.angle_deg) {
        return Err(absurd(format!(
            "an angle of {}° is out of range; it is from -360 to 360",
            options.angle_deg
        )));
    }
    if !(1..=64).contains(&options.effort) {
        return Err(absurd(format!("an effort of {} is out of range; it is from 1 to 64", options.effort)));
    }
    let turn = job.art.turn.unwrap_or(0);
    let turn: Turn = turn.to_string().parse().map_err(|e: TurnError| absurd(e.to_string()))?;
    let ceiling = job.tone.ceiling.unwrap_or(Share(1.0));
    if ceiling.0 < 0.01 {
        return Err(absurd(format!("a ceiling of {ceiling} leaves no dots; it is from 1% to 100%")));
    }
    let shaping = shaping(&job.tone);
    shaping.check().map_err(|e| absurd(e.to_string()))?;
    let dot_gain = job.tone.dot_gain.clone().unwrap_or(DotGain::Forecast);
    let tone_curve = match &dot_gain {
        DotGain::File(path) => Some(read_tone_curve(Path::new(path))?),
        _ => None,
    };
    let trim = job.scan.trim.unwrap_or(Mm(0.0));
    if !(0.0..=1.0).contains(&trim.0) {
        return Err(absurd(format!("a trim of {trim} is out of range; it is from 0mm to 1mm")));
    }
    if let Some(r) = job.scan.run_up
        && !(0.0..=200.0).contains(&r.0)
    {
        return Err(absurd(format!("a run-up of {r} is out of range; it is from 0mm to 200mm")));
    }
    let mut plan = Plan {
        job: job.clone(),
        burn,
        blank,
        surface,
        place: job.blank.place.unwrap_or(Place::Inside),
        turn,
        mirror: job.art.mirror.unwrap_or(false),
        crop: job.art.crop.unwrap_or(Crop::WHOLE),
        read_as: job.art.read_as.unwrap_or(ReadAs::Auto),
        grid,
        pitch_why,
        shape: shaping,
        dot_gain,
        tone_curve,
        ceiling,
        screen,
        options,
        beam_on: dots.beam_on.unwrap_or(BeamOn::Black),
        tiff: dots.tiff,
        bmp: dots.bmp.unwrap_or(false),
        tone_by: job.scan.tone_by.unwrap_or(ToneBy::Dots),
        ways: job.scan.direction.unwrap_or(Ways::Both),
        run_up: job.scan.run_up,
        trim,
        accept: job.scan.accept.clone().unwrap_or_default(),
        assumptions,
        notes: Vec::new(),
        machine,
        coating,
        measured,
        process,
    };
    plan.job = written_out(&plan);
    Ok(plan)
}

/// Reads and checks a process file.
pub fn read_process(path: &Path) -> Result<ProcessFile, FileError> {
    let text = file::read_text("process", path)?;
    let p: ProcessFile = file::parse("process", path, &text)?;
    p.check().map_err(|w| file::absurd("process", path, &text, w))?;
    Ok(p)
}

/// Radius of the local contrast on the piece, mm: larger than any texture, smaller than a face.
const CONTRAST_RADIUS_MM: f64 = 4.0;

/// What is done to the tones, in the units of that stage.
fn shaping(tone: &ToneJob) -> Shape {
    let amount = tone.contrast.map_or(0.0, |a| a.0.0);
    Shape {
        levels: match tone.levels.unwrap_or(Levels::Off) {
            Levels::Off => shape::Levels::Off,
            Levels::Auto(clip) => shape::Levels::Auto { clip: clip.0 },
            Levels::Given(black, white) => {
                shape::Levels::Given { black: black.0 * 100.0, white: white.0 * 100.0 }
            }
        },
        local: (amount > 0.0).then_some(shape::Local { radius_mm: CONTRAST_RADIUS_MM, amount }),
        sharpen: match tone.sharpen.unwrap_or(Sharpen::Off) {
            Sharpen::Off => None,
            Sharpen::Mask { radius, amount } => Some(shape::Sharpen { radius_mm: radius.0, amount }),
        },
        curve: tone.curve.iter().flat_map(|c| &c.0).map(|(a, b)| (a.0 * 100.0, b.0 * 100.0)).collect(),
    }
}

/// Reads a measured tone curve.
fn read_tone_curve(path: &Path) -> Result<GainCurve, PlanError> {
    let text = file::read_text("tone curve", path)?;
    GainCurve::from_toml(&text).map_err(|e| absurd(format!("{}: {e}", path.display())))
}

fn unknown_screen(name: &str) -> PlanError {
    let names: Vec<&'static str> = screen::SCREENS.iter().map(|s| s.name).collect();
    let near = kit::nearest(name, &names).map(|n| format!(" (did you mean {n}?)")).unwrap_or_default();
    absurd(format!("there is no screen '{name}'{near}; choose one of {}", names.join(", ")))
}

/// The named or embedded thing, checked either way.
fn referenced<T: Clone>(
    reference: &Option<Reference<T>>,
    default: &str,
    what: &'static str,
    load: impl Fn(&str) -> Result<T, KitError>,
    check: impl Fn(&T) -> Result<(), file::Absurd>,
) -> Result<T, PlanError> {
    match reference {
        None => Ok(load(default)?),
        Some(Reference::Name(name)) => Ok(load(name)?),
        Some(Reference::Whole(whole)) => {
            check(whole).map_err(|w| absurd(format!("{what} in the job file: {} {}", w.key, w.why)))?;
            Ok((**whole).clone())
        }
    }
}

/// The tone curve of the process for a screen, where one was measured.
pub fn measured_curve<'a>(plan: &'a Plan, screen: &str) -> Option<&'a ToneCurve> {
    plan.measured.as_ref()?.tone_curve.iter().find(|c| c.screen == screen)
}

/// The job that gives this plan again.
fn written_out(plan: &Plan) -> Job {
    let art = &plan.job.art;
    let asked = &plan.job;
    let filled = [
        ("machine", asked.machine.is_none()),
        ("coating", asked.coating.is_none()),
        ("blank", asked.blank.shape.is_none()),
        ("pitch", asked.dots.pitch.is_none()),
        ("power", asked.burn.power.is_none()),
        ("speed", asked.burn.speed.is_none()),
    ];
    let unsaid =
        filled.iter().filter(|(k, absent)| *absent || asked.is_unsaid(k)).map(|(k, _)| k.to_string());
    Job {
        unsaid: unsaid.collect(),
        art: ArtJob {
            file: art.file.clone(),
            crc32: art.crc32,
            read_as: Some(plan.read_as),
            crop: Some(plan.crop),
            turn: Some(plan.turn.degrees()),
            mirror: Some(plan.mirror),
        },
        blank: BlankJob {
            shape: Some(plan.blank.shape),
            margin: Some(plan.blank.margin),
            surface: Some(plan.surface),
            place: Some(plan.place),
        },
        tone: ToneJob {
            levels: Some(asked.tone.levels.unwrap_or(Levels::Off)),
            contrast: Some(asked.tone.contrast.unwrap_or(Amount(Share(0.0)))),
            sharpen: Some(asked.tone.sharpen.unwrap_or(Sharpen::Off)),
            curve: Some(asked.tone.curve.clone().unwrap_or_default()),
            dot_gain: Some(plan.dot_gain.clone()),
            ceiling: Some(plan.ceiling),
        },
        dots: DotsJob {
            pitch: crate::units::Pitch::from_mm(plan.grid.along.0),
            pitch_across: crate::units::Pitch::from_mm(plan.grid.across.0),
            screen: Some(plan.screen.name.to_string()),
            level: Some(plan.options.level),
            matrix: Some(plan.options.matrix),
            serpentine: Some(plan.options.serpentine),
            as_published: Some(plan.options.as_published),
            ruling_per_mm: Some(plan.options.ruling_per_mm),
            angle_deg: Some(plan.options.angle_deg),
            effort: Some(plan.options.effort),
            beam_on: Some(plan.beam_on),
            tiff: plan.tiff,
            bmp: Some(plan.bmp),
        },
        burn: BurnJob {
            power: Some(plan.process.power.value),
            speed: Some(plan.process.speed.value),
            passes: Some(plan.process.passes.value),
        },
        scan: ScanJob {
            tone_by: Some(plan.tone_by),
            direction: Some(plan.ways),
            axis: Some(Along::X),
            run_up: plan.run_up,
            trim: Some(plan.trim),
            accept: (!plan.accept.is_empty()).then(|| plan.accept.clone()),
        },
        machine: Some(Reference::Whole(Box::new(plan.machine.clone()))),
        coating: Some(Reference::Whole(Box::new(plan.coating.clone()))),
        process: plan.measured.clone().map(|m| Reference::Whole(Box::new(m))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::MmPerS;

    #[test]
    fn an_empty_job_becomes_a_plan_that_says_what_it_assumed() {
        let plan = resolve(&Job::default()).unwrap();
        assert_eq!(plan.blank.shape.to_string(), "rect:100x100mm");
        assert_eq!(plan.grid.along, Mm(0.0875));
        assert!(plan.pitch_why.contains("7 motor steps"), "{}", plan.pitch_why);
        assert_eq!(plan.process.speed.value, MmPerS(12.5));
        assert_eq!(plan.assumptions.len(), 4, "{:?}", plan.assumptions);
        assert_eq!(plan.process.assumed().len(), 5);
    }

    #[test]
    fn a_written_out_job_gives_the_same_plan() {
        let plan = resolve(&Job::default()).unwrap();
        let text = plan.job.to_toml().unwrap();
        let job: Job = toml::from_str(&text).unwrap();
        assert_eq!(job, plan.job);
        let again = resolve(&job).unwrap();
        assert_eq!(again.job, plan.job);
        assert_eq!(again.process, plan.process);
        assert_eq!(again.assumptions, plan.assumptions);
        assert_eq!(again.burn, plan.burn);
    }

    #[test]
    fn what_the_line_says_overrides_the_job_and_is_given() {
        let base = resolve(&Job::default()).unwrap().job;
        let burn = BurnJob { power: Some(Share(0.5)), ..BurnJob::default() };
        let plan = resolve(&Job { burn, ..Job::default() }.over(base)).unwrap();
        assert_eq!(plan.process.power.value, Share(0.5));
        assert_eq!(plan.process.power.standing, Standing::Given);
        assert_eq!(plan.process.speed.standing, Standing::Assumed);
    }

    #[test]
    fn impossible_jobs_say_what_is_wrong() {
        let blank = |shape: &str, margin: f64| Job {
            blank: BlankJob {
                shape: Some(shape.parse().unwrap()),
                margin: Some(Mm(margin)),
                ..BlankJob::default()
            },
            ..Job::default()
        };
        let screen = |name: &str| Job {
            dots: DotsJob { screen: Some(name.into()), ..DotsJob::default() },
            ..Job::default()
        };
        let speed =
            |v: f64| Job { burn: BurnJob { speed: Some(MmPerS(v)), ..BurnJob::default() }, ..Job::default() };
        for (job, part) in [
            (blank("round:4mm", 2.5), "smaller than its margins"),
            (screen("treshold"), "did you mean threshold?"),
            (speed(900.0), "marks at up to 100mm/s"),
            (
                Job { machine: Some(Reference::Name("diode-7w".into())), ..Job::default() },
                "there is no machine",
            ),
        ] {
            let e = resolve(&job).unwrap_err().to_string();
            assert!(e.contains(part), "{e}");
        }
    }

    #[test]
    fn a_process_file_can_state_the_plain_model() {
        let p: ProcessFile = toml::from_str(
            "beam_along = { value = '1.5pitch' }\nbeam_across = { value = '1.5pitch' }\nunmarked = { value = 0 }\n\
             marked = { value = 1 }\ncharred = { value = 0 }\nx_half = { value = '0.5solid' }\nrise = { value = 6.25 }\n\
             x_char = { value = 'never' }\n",
        )
        .unwrap();
        let plan = resolve(&Job { process: Some(Reference::Whole(Box::new(p))), ..Job::default() }).unwrap();
        let plain = Burn::plain(1.5, 1.5);
        for e in [0.1, 0.4, 0.5, 0.8, 1.3] {
            assert!((plan.burn.mark(e) - plain.mark(e)).abs() < 1e-12);
            assert_eq!(plan.burn.char(e), 0.0);
        }
        assert!((plan.burn.along - 1.5).abs() < 1e-12 && (plan.burn.across - 1.5).abs() < 1e-12);
        assert_eq!(plan.process.beam.standing, Standing::Given);
    }
}
