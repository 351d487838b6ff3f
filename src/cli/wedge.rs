//! `dotwright wedge draw|read|compare`: measure the machine from a photo of a test piece.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};

use super::bar::Bar;
use super::failure::Failure;
use super::options::{BlankOptions, ProcessOptions, named};
use super::out::Out;
use super::source;
use super::target::OutOptions;
use crate::blank::Shape;
use crate::encode::BeamOn;
use crate::encode::png::{self, Samples};
use crate::encode::sink::{Files, Sink};
use crate::job::asked::{BlankJob, DotsJob};
use crate::job::named::read_process;
use crate::job::rotary::Turned;
use crate::job::{Brief, Job, Plan, Standing, file_name, plan};
use crate::placement::Along;
use crate::proof::canvas::Picture;
use crate::screen::threshold::THRESHOLD;
use crate::units::{Mm, MmPerS, Pitch, Share, duration, short};
use crate::wedge::ask::{Ask, ReadingError};
use crate::wedge::draw::program::{self, WedgeProgram};
use crate::wedge::draw::{self, DrawError, Drawing, Request, WedgeSize};
use crate::wedge::evidence::Evidence;
use crate::wedge::grid;
use crate::wedge::read;
use crate::wedge::reading::Reading;
use crate::wedge::show::summary::summary;
use crate::wedge::show::{compare, curves, picture, preview, process, ticket};
use crate::wedge::target::{Dial, Wedge, WedgeKind};

/// Arguments of `wedge`.
#[derive(Debug, Args)]
pub struct WedgeArgs {
    #[command(subcommand)]
    command: WedgeCommand,
}

#[derive(Debug, Subcommand)]
enum WedgeCommand {
    /// Draw a test piece: picture, scan program, ticket and wedge.toml
    Draw(Box<DrawArgs>),
    /// Read a photo of a burnt test piece: best setting, response, beam, dot gain or lag
    Read(Box<ReadArgs>),
    /// Set readings of several coatings or machines side by side
    Compare(CompareArgs),
}

/// Arguments of `wedge draw`.
#[derive(Debug, Args)]
pub(crate) struct DrawArgs {
    /// What it measures: exposure (best setting, response), tone (dot gain, beam), timing (lag) or combined (all of it) [default: combined where the blank has room for it, else exposure]
    #[arg(long, value_name = "KIND", value_parser = clap::builder::PossibleValuesParser::new(["exposure", "tone", "timing", "combined"]))]
    kind: Option<String>,
    #[command(flatten)]
    out: OutOptions,
    /// The blank: round:90mm, rect:100x60mm, rect:100x100mm:r8mm, cylinder:73x100mm, or a kit entry [default: glass-tile-100]
    #[arg(long, value_name = "SHAPE", value_parser = named())]
    blank: Option<String>,
    /// What is kept free at the blank's edge [default: the kit entry's, or 2.5mm]
    #[arg(long, value_name = "MM")]
    margin: Option<Mm>,
    /// Power: a range such as 45..100%, or one value for tone and timing [default: round the coating's expected half exposure, or the process's]
    #[arg(long, value_name = "RANGE")]
    power: Option<String>,
    /// Speed: a range such as 7..30mm/s, or one value for tone [default: round the coating's expected half exposure, or the process's; timing: 10..25mm/s]
    #[arg(long, value_name = "RANGE")]
    speed: Option<String>,
    /// Columns (speeds) by rows (powers), 2x2 to 20x20; for timing the number of speeds [default: 6x6, or as many as fit; combined: 6x5, timing: 3]
    #[arg(long, value_name = "NxM")]
    steps: Option<String>,
    /// Steps in equal differences instead of equal ratios
    #[arg(long)]
    linear: bool,
    /// Passes over each line, 1 to 20
    #[arg(long, value_name = "TIMES", default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=20))]
    passes: u32,
    /// Tone and combined: screens, separated by commas; 'dotwright screens' lists them [default: auto and floyd-steinberg]
    #[arg(long, value_name = "NAMES")]
    screens: Option<String>,
    /// Tone: how many steps of coverage up to 100%, 3 to 20
    #[arg(long, value_name = "COUNT", default_value_t = 10, value_parser = clap::value_parser!(u32).range(3..=20))]
    coverages: u32,
    /// Power of finder marks and labels [default: what surely marks under the expected response]
    #[arg(long, value_name = "SHARE")]
    marks_power: Option<Share>,
    /// Speed of finder marks and labels [default: what surely marks under the expected response]
    #[arg(long, value_name = "SPEED")]
    marks_speed: Option<MmPerS>,
    /// Density of dots, for example 290.3dpi [default: advised for the machine]
    #[arg(long, value_name = "DPI", conflicts_with = "pitch")]
    density: Option<Pitch>,
    /// Distance between dots, for example 0.0875mm [default: advised for the machine]
    #[arg(long, value_name = "MM")]
    pitch: Option<Pitch>,
    /// The machine: a kit entry or a file of your own [default: diode-5w]
    #[arg(long, value_name = "NAME|FILE", value_parser = named())]
    machine: Option<String>,
    /// The coating: a kit entry or a file of your own [default: the blank's usual one]
    #[arg(long, value_name = "NAME|FILE", value_parser = named())]
    coating: Option<String>,
    /// What an earlier wedge has measured: its process file [default: none]
    #[arg(long, value_name = "FILE", value_parser = named())]
    process: Option<String>,
}

/// Arguments of `wedge read`.
#[derive(Debug, Args)]
struct ReadArgs {
    /// The photo: JPEG, PNG, TIFF or WebP
    #[arg(value_name = "PHOTO")]
    photo: PathBuf,
    /// The wedge.toml that 'wedge draw' wrote for this piece
    #[arg(long, value_name = "FILE", required_unless_present = "grid")]
    wedge: Option<PathBuf>,
    #[command(flatten)]
    out: OutOptions,
    /// The day of the reading, as it shall stand in the files: 2026-11-25 [default: today]
    #[arg(long, value_name = "DATE")]
    date: Option<jiff::civil::Date>,
    /// Four points in photo pixels, x,y each: the centres of the finder marks, the disc with the hole first, then
    /// clockwise; with --grid its outer corners, clockwise from the upper left [default: marks are searched]
    #[arg(long, value_name = "X,Y", num_args = 4, value_parser = parse_point)]
    corners: Vec<(f64, f64)>,
    /// A white reference in the photo, in pixels: makes lightness absolute
    #[arg(long, value_name = "X,Y,W,H", value_parser = parse_rect)]
    white: Option<[f64; 4]>,
    /// Luminance of the white reference, above 0% to 100%
    #[arg(long, value_name = "SHARE", default_value = "100%")]
    white_luminance: Share,
    /// Grain above which a patch is not picked, in L*
    #[arg(long, value_name = "L*", default_value_t = 3.0)]
    grain: f64,
    /// An earlier process file of the same machine and coating: its values are kept where this wedge has none
    #[arg(long, value_name = "FILE", value_parser = named())]
    process: Option<String>,
    /// A grid that was not drawn here: columns (speeds) by rows (powers), 7x7; needs --powers, --speeds, --size, --corners
    #[arg(long, value_name = "NxM", conflicts_with = "wedge", requires_all = ["powers", "speeds", "size", "corners"])]
    grid: Option<String>,
    /// Powers of the grid's rows from the top: 100..40% or a list 100,80,60%
    #[arg(long, value_name = "RANGE")]
    powers: Option<String>,
    /// Speeds of the grid's columns from the left: 6..30mm/s or a list 6,12,30mm/s
    #[arg(long, value_name = "RANGE")]
    speeds: Option<String>,
    /// Size of the grid between its outer corners
    #[arg(long, value_name = "WxHmm")]
    size: Option<String>,
    /// Share of a step between two patches that is left unmarked, 5% to 80%
    #[arg(long, value_name = "SHARE", default_value = "20%")]
    gap: Share,
    /// Passes over each line of the grid
    #[arg(long, value_name = "TIMES", default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=20))]
    passes: u32,
    /// Pitch of the grid's lines, for example 0.1mm or 254dpi [default: advised for the machine]
    #[arg(long, value_name = "PITCH")]
    pitch: Option<Pitch>,
    /// Machine of the grid [default: diode-5w]
    #[arg(long, value_name = "NAME|FILE", value_parser = named())]
    machine: Option<String>,
    /// Coating of the grid [default: poster-paint]
    #[arg(long, value_name = "NAME|FILE", value_parser = named())]
    coating: Option<String>,
    /// Print the reading as JSON instead of the summary
    #[arg(long)]
    json: bool,
    /// Print nothing but errors
    #[arg(long, short)]
    quiet: bool,
}

/// Arguments of `wedge compare`.
#[derive(Debug, Args)]
struct CompareArgs {
    /// Readings: reading.json files, or the folders that hold them
    #[arg(value_name = "READING", required = true)]
    readings: Vec<PathBuf>,
    /// Print JSON
    #[arg(long)]
    json: bool,
}

/// What `wedge draw` writes.
pub(crate) const DRAWN: Files = Files {
    names: &["wedge.toml", "wedge.png", "dots.png", "wedge.nc", "ticket.html"],
    never_beside: &[("job.toml", "a job")],
};

/// What `wedge read` writes.
pub(crate) const READ: Files =
    Files { names: &["process.toml", "reading.json", "curves.svg", "reading.png"], never_beside: &[] };

/// Runs `wedge`.
pub fn run(args: &WedgeArgs, out: &mut Out) -> Result<u8, Failure> {
    match &args.command {
        WedgeCommand::Draw(a) => draw_wedge(a, out),
        WedgeCommand::Read(a) => read_wedge(a, out),
        WedgeCommand::Compare(a) => compare_readings(a, out),
    }
}

fn parse_numbers(text: &str) -> Result<Vec<f64>, String> {
    text.split(',').map(|t| t.trim().parse::<f64>().map_err(|_| format!("'{t}' is not a number"))).collect()
}

fn parse_point(text: &str) -> Result<(f64, f64), String> {
    match parse_numbers(text)?.as_slice() {
        [x, y] => Ok((*x, *y)),
        _ => Err("a point is x,y in photo pixels".into()),
    }
}

fn parse_rect(text: &str) -> Result<[f64; 4], String> {
    parse_numbers(text)?.try_into().map_err(|_| "a rectangle is x,y,width,height in photo pixels".to_string())
}

/// Values of `6..30mm/s` in `count` steps, of a list `6,12,30mm/s` or of a single value; the unit stands once.
fn values<T: std::str::FromStr>(
    text: &str,
    count: usize,
    log: bool,
    number: impl Fn(&T) -> f64,
    make: impl Fn(f64) -> T,
) -> Result<Vec<T>, Failure>
where
    T::Err: std::fmt::Display,
{
    let unit: String =
        text.trim_start_matches(|c: char| c.is_ascii_digit() || ".,-+ ".contains(c)).trim().to_string();
    let one = |t: &str| -> Result<T, Failure> {
        let t = t.trim();
        let whole =
            if t.ends_with(|c: char| c.is_ascii_digit()) { format!("{t}{unit}") } else { t.to_string() };
        whole.parse().map_err(|e: T::Err| Failure::input(e.to_string()))
    };
    if let Some((a, b)) = text.split_once("..") {
        let (a, b) = (number(&one(a)?), number(&one(b)?));
        return Ok(draw::steps(a, b, count, log).into_iter().map(make).collect());
    }
    text.split(',').map(one).collect()
}

fn counts(text: &str) -> Result<(usize, usize), Failure> {
    let wrong = || {
        Failure::input(format!(
            "'{text}' is no number of steps; write for example 7x7 (speeds x powers), 2x2 to 20x20"
        ))
    };
    let (a, b) = text.split_once(['x', '×']).unwrap_or((text, "1"));
    let n = |t: &str| t.trim().parse::<usize>().ok().filter(|n| (1..=20).contains(n)).ok_or_else(wrong);
    Ok((n(a)?, n(b)?))
}

/// Machine, coating, process, blank and pitch, resolved as for any job.
fn resolve(
    blank: Option<&String>,
    margin: Option<Mm>,
    pitch: Option<Pitch>,
    names: &ProcessOptions,
) -> Result<Plan, Failure> {
    let blank = BlankOptions { blank: blank.cloned(), margin, surface: None };
    // A sheet is in whole pitches: a screen to which a dot is a dot stands for all of them.
    let dots = DotsJob { pitch, screen: Some(THRESHOLD.name.into()), ..DotsJob::default() };
    let job = Job { blank: blank.asked()?, dots, ..names.references() };
    Ok(plan::resolve(&job)?)
}

/// The most of a cylinder's girth that a wedge takes, in turns: within 20° either way of its middle a photo shows the mantle
/// nearly flat (0.8 % of half the strip's width off at most, by `sin φ / sin 20° − φ / 20°`).
const STRIP: f64 = 1.0 / 9.0;
/// Below this no strip has room for finder marks and patches, mm.
const LEAST_STRIP: f64 = 12.0;

/// The plan of a wedge; on a cylinder that of a strip along its height, as wide as a photo can show it, with its width.
/// The strip's x runs along the piece and its y round it, so that the head marks the lines as it marks those of a job.
fn plan_to_draw(a: &DrawArgs, names: &ProcessOptions) -> Result<(Plan, Option<f64>), Failure> {
    let pitch = a.density.or(a.pitch);
    let asked = BlankOptions { blank: a.blank.clone(), margin: a.margin, surface: None }.asked()?;
    let Some(Shape::Cylinder { diameter, height, .. }) = asked.shape else {
        return Ok((resolve(a.blank.as_ref(), a.margin, pitch, names)?, None));
    };
    let turned = Turned { diameter, round: Along::Y };
    let width = (turned.girth() * STRIP * 10.0).floor() / 10.0;
    if width < LEAST_STRIP {
        return Err(Failure::input(format!(
            "a piece {diameter} across is too small for a wedge: a photo shows {} mm of its girth, and it takes {LEAST_STRIP} mm; burn it on a larger piece or a flat one",
            short(width, 1)
        )));
    }
    let shape = Shape::Rect { width: height, height: Mm(width), radius: Mm(0.0) };
    let blank = BlankJob { shape: Some(shape), ..asked };
    let job = Job { blank, dots: DotsJob { pitch, ..DotsJob::default() }, ..names.references() };
    let mut brief = Brief::read(job)?;
    brief.named.machine = brief.named.machine.turning(turned).map_err(Failure::input)?;
    Ok((brief.settle()?, Some(width)))
}

/// What a wedge is drawn for, and the wedge.
pub(crate) struct Planned {
    plan: Plan,
    /// On a cylinder, the width of its strip, mm.
    strip: Option<f64>,
    drawn: Drawn,
}

/// Plans and draws a wedge; nothing is written.
pub(crate) fn planned(a: &DrawArgs) -> Result<Planned, Failure> {
    let names = ProcessOptions {
        machine: a.machine.clone(),
        coating: a.coating.clone(),
        process: a.process.clone(),
        ..ProcessOptions::default()
    };
    let (plan, strip) = plan_to_draw(a, &names)?;
    let drawn = drawn(a, &plan)?;
    Ok(Planned { plan, strip, drawn })
}

impl Planned {
    /// Its geometry and exposures.
    pub(crate) fn wedge(&self) -> &Wedge {
        &self.drawn.drawing.wedge
    }

    /// How long it burns, s.
    pub(crate) fn seconds(&self) -> f64 {
        self.drawn.program.seconds
    }

    /// What it leaves out to be burnt in time, where it does.
    pub(crate) fn left_out(&self) -> Option<&str> {
        self.drawn.left_out.as_deref()
    }

    /// Writes its files.
    pub(crate) fn write(&self, output: &mut dyn Sink) -> Result<(), Failure> {
        let Drawn { request, drawing, program, .. } = &self.drawn;
        let scale = if drawing.dots.width() > 1400 { 1 } else { 2 };
        let (w, h, grey) = preview::preview(drawing, scale);
        let shown = Picture { width: w, height: h, rgb: grey.iter().flat_map(|&v| [v; 3]).collect() };
        output.put("wedge.toml", drawing.wedge.to_toml()?.as_bytes())?;
        output.put("wedge.png", &png::picture(w, h, Samples::Grey, &grey, None)?)?;
        output.put("dots.png", &png::dots(&drawing.dots, request.grid, BeamOn::Black)?)?;
        output.put("wedge.nc", &program.bytes)?;
        output
            .put("ticket.html", ticket::ticket(drawing, program.seconds, &self.plan, &shown)?.as_bytes())?;
        Ok(())
    }
}

/// The arguments of `wedge draw` from its options, name by name.
#[cfg(feature = "desk")]
pub(crate) fn draw_args(options: &[(String, String)]) -> Result<DrawArgs, Failure> {
    /// A line of nothing but them.
    #[derive(clap::Parser)]
    struct Options {
        #[command(flatten)]
        draw: DrawArgs,
    }
    let options = options.iter().map(|(name, value)| format!("--{name}={value}"));
    let line = ["wedge".to_string(), "--out=wedge".to_string()].into_iter().chain(options);
    <Options as clap::Parser>::try_parse_from(line).map(|o| o.draw).map_err(|e| {
        let said = e.to_string();
        let first = said.lines().next().unwrap_or_default().trim_start_matches("error: ");
        Failure::input(format!("{first}."))
    })
}

fn draw_wedge(a: &DrawArgs, out: &mut Out) -> Result<u8, Failure> {
    let planned = planned(a)?;
    let mut output = a.out.begin(&DRAWN, &[])?;
    planned.write(&mut output)?;
    output.commit()?;
    let Planned { strip, drawn, .. } = planned;
    let Drawn { drawing, program, left_out, .. } = drawn;
    let wedge = &drawing.wedge;
    writeln!(
        out,
        "{} wedge {} on {}: {} parts, about {}; finder marks and labels at {} and {} ({})",
        wedge.kind.name(),
        wedge.id,
        wedge.blank,
        drawing.parts.len(),
        duration(program.seconds),
        wedge.fiducials.power,
        wedge.fiducials.speed,
        if a.marks_power.and(a.marks_speed).is_some() {
            "as asked"
        } else {
            "surely marks under the expected response"
        }
    )?;
    if let Some(left_out) = left_out {
        writeln!(out, "{left_out}")?;
    }
    if let Some(width) = strip {
        writeln!(
            out,
            "it lies on a strip along the piece, {} mm wide round it, of which a photo straight from above shows all",
            short(width, 1)
        )?;
    }
    writeln!(out, "written to {}; open ticket.html first", a.out)?;
    Ok(0)
}

/// A wedge as it is burnt.
struct Drawn {
    request: Request,
    drawing: Drawing,
    program: WedgeProgram,
    /// What it leaves out to be burnt in time.
    left_out: Option<String>,
}

/// The wedge that was asked for; where no kind was, the combined one if it fits, and where no steps were, as much as fits the
/// blank and burns in time.
fn drawn(a: &DrawArgs, plan: &Plan) -> Result<Drawn, Failure> {
    let limits = plan.machine.limits();
    let of = |kind: WedgeKind, size: WedgeSize| -> Result<(Request, Drawing), Failure> {
        let request = request(a, plan, kind, size)?;
        let drawing = draw::draw(&request)?;
        Ok((request, drawing))
    };
    let burnt = |(request, drawing): (Request, Drawing)| -> Result<Drawn, Failure> {
        let program = program::program(&drawing, &limits, plan.blank)?;
        Ok(Drawn { request, drawing, program, left_out: None })
    };
    let best = |kind: WedgeKind| -> Result<Drawn, Failure> {
        let all = draw::sizes(kind);
        if let Some(steps) = &a.steps {
            return burnt(of(kind, WedgeSize { steps, ..all[0] })?);
        }
        let mut whole: Option<Drawn> = None;
        let mut last: Option<Drawn> = None;
        for size in all {
            // What does not fit is made smaller; what the machine cannot do is said at once.
            let Ok(d) = of(kind, *size) else { continue };
            let d = burnt(d)?;
            let seconds = d.program.seconds;
            if seconds <= draw::MOST_SECONDS {
                let left_out = whole.map(|w| left_out(&w, &d));
                return Ok(Drawn { left_out, ..d });
            }
            let shortest = last.as_ref().is_none_or(|l| l.program.seconds > seconds);
            match (&whole, shortest) {
                (None, _) => whole = Some(d),
                (_, true) => last = Some(d),
                _ => {}
            }
        }
        match (whole, last) {
            (Some(w), Some(d)) => Ok(Drawn { left_out: Some(left_out(&w, &d)), ..d }),
            (Some(w), None) => Ok(w),
            _ => burnt(of(kind, all[0])?),
        }
    };
    let in_time = |d: &Drawn| d.program.seconds <= draw::MOST_SECONDS;
    match a.kind.as_deref() {
        Some("exposure") => best(WedgeKind::Exposure),
        Some("tone") => best(WedgeKind::Tone),
        Some("timing") => best(WedgeKind::Timing),
        Some(_) => best(WedgeKind::Combined),
        None => match best(WedgeKind::Combined) {
            Ok(d) if in_time(&d) || a.steps.is_some() => Ok(d),
            // The response alone is told sooner; tones and beam are for a machine that is fit for the coating.
            Ok(_) => best(WedgeKind::Exposure).map(|d| {
                let own = d.left_out.map_or(String::new(), |t| format!("; {t}"));
                let left_out = format!(
                    "a wedge of everything would burn for longer than {}, so this one tells the response alone; '--kind tone' and '--kind timing' tell tones, beam and lag{own}",
                    most_minutes()
                );
                Drawn { left_out: Some(left_out), ..d }
            }),
            Err(_) => best(WedgeKind::Exposure),
        },
    }
}

/// The time that a wedge may take, in words.
fn most_minutes() -> String {
    format!("{} min", crate::units::short(draw::MOST_SECONDS / 60.0, 0))
}

/// What a wedge leaves out of the whole one to be burnt in time, and what that costs.
fn left_out(whole: &Drawn, d: &Drawn) -> String {
    let settings = |d: &Drawn| d.drawing.wedge.patches.iter().filter(|p| p.is_setting()).count();
    let screens =
        |d: &Drawn| if d.drawing.wedge.kind == WedgeKind::Exposure { 0 } else { d.request.screens.len() };
    let mut less = Vec::new();
    if settings(d) < settings(whole) {
        less.push(format!("{} settings instead of {}", settings(d), settings(whole)));
    }
    if d.request.patch.0 < whole.request.patch.0 {
        less.push(format!("patches of {} instead of {}", d.request.patch, whole.request.patch));
    }
    if screens(d) < screens(whole) {
        less.push(format!("the screen {} alone", d.request.screens.join(" and ")));
    }
    let less = format!("it has {}, so that what it tells is known less exactly", less.join(", "));
    let whole = duration(whole.program.seconds);
    if d.program.seconds <= draw::MOST_SECONDS {
        format!("in full it would burn for {whole}; to burn in {} {less}", most_minutes())
    } else {
        format!(
            "this laser is weak for the coating: in full the wedge would burn for {whole}, and even the least for {}; {less}; a stronger laser or a thinner coat makes it short",
            duration(d.program.seconds)
        )
    }
}

fn request(a: &DrawArgs, plan: &Plan, kind: WedgeKind, size: WedgeSize<'_>) -> Result<Request, Failure> {
    let p = &plan.process;
    let (columns, rows) = counts(size.steps)?;
    let top = plan.machine.axes(crate::placement::Along::X).0.top_speed;
    let usual = draw::usual_range(p.rated_power.value, p.pitch_across.value, &p.response(), MmPerS(top));
    let grid = matches!(kind, WedgeKind::Exposure | WedgeKind::Combined);
    let power = a.power.clone().unwrap_or_else(|| match grid {
        true => format!("{}..{}", usual.powers.0, usual.powers.1),
        false => p.power.value.to_string(),
    });
    let speed = a.speed.clone().unwrap_or_else(|| match kind {
        WedgeKind::Timing => "10..25mm/s".into(),
        WedgeKind::Tone => p.speed.value.to_string(),
        _ => format!("{}..{}mm/s", usual.speeds.0.0, usual.speeds.1.0),
    });
    let powers: Vec<Share> = values(&power, rows, !a.linear, |v: &Share| v.0, Share)?;
    let speeds: Vec<MmPerS> = values(&speed, columns, !a.linear, |v: &MmPerS| v.0, MmPerS)?;
    let (Some(&first_power), Some(&first_speed)) = (powers.first(), speeds.first()) else {
        return Err(DrawError::Asked("a wedge needs a power and a speed".into()).into());
    };
    // The tones of a combined wedge are burnt as the next job would be, those of a tone wedge as asked.
    let (power, speed) = match kind {
        WedgeKind::Combined => (p.power.value, p.speed.value),
        _ => (first_power, first_speed),
    };
    let screens = match &a.screens {
        Some(list) => list.split(',').map(|s| s.trim().to_string()).collect(),
        None => ["auto", "floyd-steinberg"].into_iter().take(size.screens.max(1)).map(String::from).collect(),
    };
    Ok(Request {
        kind,
        blank: plan.blank,
        machine: plan.machine.name.clone(),
        coating: plan.coating.name.clone(),
        rated_power: p.rated_power.value,
        beam: p.beam.value,
        beam_measured: p.beam.standing == Standing::Measured,
        grid: crate::placement::Grid { along: p.pitch_along.value, across: p.pitch_across.value },
        powers,
        speeds,
        chosen: Dial { power, speed, passes: a.passes },
        marks_power: a.marks_power,
        marks_speed: a.marks_speed,
        response: p.response(),
        response_measured: p.rise.standing == Standing::Measured,
        screens,
        coverages: draw::steps(1.0 / f64::from(a.coverages), 1.0, a.coverages as usize, false)
            .into_iter()
            .map(Share)
            .collect(),
        patch: Mm(size.patch),
    })
}

fn read_bytes(path: &Path) -> Result<Vec<u8>, Failure> {
    std::fs::read(path).map_err(|e| source::unreadable(path, &e))
}

fn read_text(path: &Path) -> Result<String, Failure> {
    String::from_utf8(read_bytes(path)?)
        .map_err(|_| Failure::input(format!("'{}' is not a text file; check its name", path.display())))
}

fn read_wedge(a: &ReadArgs, out: &mut Out) -> Result<u8, Failure> {
    let wedge = match &a.wedge {
        Some(path) => Wedge::from_toml(&read_text(path)?)
            .map_err(|e| Failure::input(format!("'{}': {e}", path.display())))?,
        None => foreign(a)?,
    };
    let earlier = match &a.process {
        Some(path) => Some(read_process(&file_name::path(path))?),
        None => None,
    };
    let bytes = read_bytes(&a.photo)?;
    let ask = Ask {
        corners: a.corners.clone(),
        white: a.white,
        white_luminance: a.white_luminance.0,
        grain_limit: a.grain,
        date: a.date.unwrap_or_else(|| jiff::ZonedDateTime::now().date()).to_string(),
        earlier: earlier
            .as_ref()
            .filter(|p| p.machine == wedge.machine && p.coating == wedge.coating)
            .map_or(Vec::new(), |p| p.sheet.clone()),
    };
    let bar = Bar::new(a.quiet);
    let name = format!("'{}'", a.photo.display());
    let evidence = read::read(&bytes, &name, &wedge, &ask, &bar).map_err(|e| match e {
        ReadingError::Photo(e) => Failure::input(e.to_string()),
        e => Failure::input(format!("{name}: {e}")),
    })?;
    drop(bar);
    if let Some(why) = &evidence.missed {
        return Err(Failure::input(format!("{name}: {why}")));
    }
    let reading = &evidence.reading;
    let file = process::process(reading, &wedge, earlier);
    file.check()
        .map_err(|w| Failure::input(format!("the process file would not hold: {} {}", w.key, w.why)))?;
    let json = serde_json::to_string_pretty(reading)?;
    let process = a.process.as_deref().map(file_name::path);
    let read: Vec<&Path> =
        [Some(a.photo.as_path()), a.wedge.as_deref(), process.as_deref()].into_iter().flatten().collect();
    let mut output = a.out.begin(&READ, &read)?;
    output.put("process.toml", toml::to_string_pretty(&file)?.as_bytes())?;
    output.put("reading.json", json.as_bytes())?;
    output.put("curves.svg", curves::curves(&evidence, &wedge).as_bytes())?;
    output.put("reading.png", &picture::reading_picture(&evidence, &wedge)?.to_png(None)?)?;
    output.commit()?;
    if a.json {
        writeln!(out, "{json}")?;
    } else if !a.quiet {
        print_summary(out, &evidence)?;
        writeln!(out, "written to {}; use it with --process {}", a.out, a.out.find("process.toml"))?;
    }
    Ok(0)
}

fn foreign(a: &ReadArgs) -> Result<Wedge, Failure> {
    let names = ProcessOptions {
        machine: a.machine.clone(),
        coating: a.coating.clone(),
        ..ProcessOptions::default()
    };
    let plan = resolve(None, None, a.pitch, &names)?;
    let (columns, rows) = counts(a.grid.as_deref().unwrap_or(""))?;
    let powers: Vec<Share> = values(a.powers.as_deref().unwrap_or(""), rows, false, |v: &Share| v.0, Share)?;
    let speeds: Vec<MmPerS> =
        values(a.speeds.as_deref().unwrap_or(""), columns, false, |v: &MmPerS| v.0, MmPerS)?;
    if powers.len() != rows || speeds.len() != columns {
        return Err(Failure::input(format!(
            "the grid has {columns} columns and {rows} rows, but {} speeds and {} powers were given; give one for each",
            speeds.len(),
            powers.len()
        )));
    }
    let size = crate::blank::parse_size(a.size.as_deref().unwrap_or("")).map_err(Failure::input)?;
    let p = &plan.process;
    Ok(grid::wedge(&grid::ForeignGrid {
        powers,
        speeds,
        passes: a.passes,
        size,
        gap: a.gap,
        rated_power: p.rated_power.value,
        beam: p.beam.value,
        pitch: crate::placement::Grid { along: p.pitch_along.value, across: p.pitch_across.value },
        response: p.response(),
        machine: plan.machine.name.clone(),
        coating: plan.coating.name.clone(),
    })?)
}

fn print_summary(out: &mut Out, evidence: &Evidence) -> Result<(), Failure> {
    for line in summary(&evidence.reading, picture::LETTERS) {
        if line.strong || !line.text.is_empty() {
            writeln!(out, "{}{}", if line.strong { "" } else { "  " }, line.text)?;
        }
    }
    Ok(())
}

fn compare_readings(a: &CompareArgs, out: &mut Out) -> Result<u8, Failure> {
    let mut readings = Vec::new();
    for path in &a.readings {
        let file = if path.is_dir() { path.join("reading.json") } else { path.clone() };
        let reading: Reading = serde_json::from_str(&read_text(&file)?).map_err(|e| {
            Failure::input(format!(
                "'{}' is not a reading ({e}); give a reading.json that 'dotwright wedge read' wrote",
                file.display()
            ))
        })?;
        readings.push(reading);
    }
    let lines = compare::compare(&readings);
    if a.json {
        writeln!(out, "{}", serde_json::to_string_pretty(&lines)?)?;
    } else {
        write!(out, "{}", compare::table(&lines))?;
    }
    Ok(0)
}
