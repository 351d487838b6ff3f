//! `dotwright wedge draw`: a test piece as it is burnt.

mod slower;

use std::io::Write;

use clap::Args;

use super::super::failure::Failure;
use super::super::options::{BlankOptions, ProcessOptions, named};
use super::super::out::Out;
use super::super::target::OutOptions;
use super::values::{counts, resolve, values};
use crate::blank::{Mantle, Shape};
use crate::cli::terminal;
use crate::encode::BeamOn;
use crate::encode::png::{self, Samples};
use crate::encode::sink::{Files, Sink};
use crate::findings::{Finding, Severity};
use crate::job::asked::{BlankJob, DotsJob};
use crate::job::rotary::Turned;
use crate::job::{Brief, Job, Plan, Standing};
use crate::pipeline;
use crate::placement::Along;
use crate::proof::canvas::Picture;
use crate::said::Said;
use crate::texts::text;
use crate::units::{Mm, MmPerS, Pitch, Share, duration, short};
use crate::wedge::draw::program::{self, WedgeProgram};
use crate::wedge::draw::{self, DrawError, Drawing, LEAST_STRIP, LayoutError, Request, WedgeSize, strip};
use crate::wedge::show::{preview, ticket};
use crate::wedge::target::{Carries, Dial, Wedge, WedgeKind};

/// Arguments of `wedge draw`.
#[derive(Debug, Clone, Args)]
pub(crate) struct DrawArgs {
    /// What it measures: exposure (best setting, response), tone (dot gain, beam), timing (lag) or combined (all of it) [default: combined where the blank has room for it, else exposure]
    #[arg(long, value_name = "KIND", value_parser = clap::builder::PossibleValuesParser::new(["exposure", "tone", "timing", "combined"]))]
    kind: Option<String>,
    #[command(flatten)]
    out: OutOptions,
    /// The blank: round:90mm, rect:100x60mm, rect:100x100mm:r8mm, cylinder:73x100mm, or a kit entry [default: glass-tile-100]
    #[arg(long, value_name = "SHAPE", value_parser = named())]
    blank: Option<String>,
    /// What is kept free at the blank's edge, from 0mm up [default: the kit entry's, or 2.5mm]
    #[arg(long, value_name = "MM")]
    margin: Option<Mm>,
    /// Power: a range such as 45..100%, or one value for tone and timing [default: round the coating's expected half exposure, or the process's]
    ///
    /// From 1% to 100%.
    #[arg(long, value_name = "RANGE")]
    power: Option<String>,
    /// Speed: a range such as 7..30mm/s, or one value for tone [default: round the coating's expected half exposure, or the process's; timing: 10..25mm/s, or as fast as the machine is]
    ///
    /// From 0.5mm/s to the machine's top speed, at most 1000mm/s.
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
    /// Tone: how many steps of coverage up to 100%, 3 to 20 [default: 10, or as many as fit]
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u32).range(3..=20))]
    coverages: Option<u32>,
    /// Power of finder marks and labels, above 0% and at most 100% [default: what surely marks under the expected response]
    #[arg(long, value_name = "SHARE")]
    marks_power: Option<Share>,
    /// Speed of finder marks and labels, from 0.01mm/s to the machine's top speed [default: what surely marks under the expected response]
    #[arg(long, value_name = "SPEED")]
    marks_speed: Option<MmPerS>,
    /// Density of dots, for example 290.3dpi, 5.08dpi to 5080dpi [default: advised for the machine]
    #[arg(long, value_name = "DPI", conflicts_with = "pitch")]
    density: Option<Pitch>,
    /// Distance between dots, for example 0.0875mm, 0.005mm to 5mm [default: advised for the machine]
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

/// What `wedge draw` writes.
pub(crate) const DRAWN: Files = Files {
    names: &["wedge.toml", "wedge.png", "dots.png", "wedge.nc", "ticket.html"],
    never_beside: &[("job.toml", "a job")],
};

/// The patches of the least wedge, mm.
const LEAST_PATCH: f64 = 2.4;

/// The plan of a wedge; on a cylinder that of a strip along its height, as wide as a photo can show it, with its width.
/// The strip's x runs along the piece and its y round it, so that the head marks the lines as it marks those of a job.
fn plan_to_draw(a: &DrawArgs, names: &ProcessOptions) -> Result<(Plan, Option<f64>), Failure> {
    let pitch = a.density.or(a.pitch);
    let asked = BlankOptions { blank: a.blank.clone(), margin: a.margin, surface: None }.asked()?;
    let Some(mantle) = asked.shape.and_then(|shape| shape.turned()) else {
        return Ok((resolve(a.blank.as_ref(), a.margin, pitch, names)?, None));
    };
    if mantle.is_cone() {
        return Err(Failure::input(text!("cli.wedge.cone")));
    }
    let Mantle { foot: diameter, height, .. } = mantle;
    let turned = Turned { mantle, round: Along::Y };
    let width = strip(turned.girth());
    if width < LEAST_STRIP {
        return Err(Failure::input(text!(
            "cli.wedge.thin",
            diameter,
            width = short(width, 1),
            least = LEAST_STRIP
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
    /// What link, controller and switch make of its program.
    findings: Vec<Finding>,
}

/// Plans and draws a wedge, whatever is found against it; nothing is written.
pub(crate) fn planned(a: &DrawArgs) -> Result<Planned, Failure> {
    let names = ProcessOptions {
        machine: a.machine.clone(),
        coating: a.coating.clone(),
        process: a.process.clone(),
        ..ProcessOptions::default()
    };
    let (plan, strip) = plan_to_draw(a, &names)?;
    let drawn = drawn(a, &plan)?;
    let findings = slower::said(a, &names, &plan, &drawn);
    Ok(Planned { plan, strip, drawn, findings })
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

    /// What to look at before it is burnt; a remedy sets options of `wedge draw`.
    #[cfg(feature = "desk")]
    pub(crate) fn findings(&self) -> &[Finding] {
        &self.findings
    }

    /// What it must not be burnt for.
    pub(crate) fn stop(&self) -> Option<&Finding> {
        self.findings.iter().find(|f| f.severity == Severity::Stop)
    }

    /// What it leaves out to be burnt in time or to have room, where it does.
    pub(crate) fn left_out(&self) -> Option<&Said> {
        self.drawn.left_out.as_ref()
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
        let said: Vec<String> = self.findings.iter().map(slower::in_full).collect();
        let ticket = ticket::ticket(drawing, program.seconds, &self.plan, &shown, said)?;
        output.put("ticket.html", ticket.as_bytes())?;
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

pub(super) fn draw_wedge(a: &DrawArgs, out: &mut Out) -> Result<u8, Failure> {
    let planned = planned(a)?;
    if let Some(stop) = planned.stop() {
        return Err(Failure::input(slower::refusal(stop)));
    }
    let mut output = a.out.begin(&DRAWN, &[])?;
    planned.write(&mut output)?;
    output.commit()?;
    let Planned { strip, drawn, plan, findings } = planned;
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
    for finding in pipeline::of_the_process(&plan) {
        writeln!(out, "CAUTION {}: {}", finding.name, finding.message)?;
    }
    terminal::findings(out, &findings, |_| false, false)?;
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
    /// What it leaves out to be burnt in time, or to have room.
    left_out: Option<Said>,
}

impl Drawn {
    /// How many settings it tries.
    fn settings(&self) -> usize {
        self.drawing.wedge.patches.iter().filter(|p| p.is_setting()).count()
    }
}

/// The wedge that was asked for; where no kind was, the combined one if it fits, and where no steps were, as much as fits the
/// blank and burns in time.
fn drawn(a: &DrawArgs, plan: &Plan) -> Result<Drawn, Failure> {
    let limits = plan.machine.limits();
    let of = |kind: WedgeKind, size: WedgeSize| -> Result<(Request, Drawing), Failure> {
        let request = request(a, plan, kind, size)?;
        let mut drawing = draw::draw(&request)?;
        drawing.wedge.carries = Some(carries(plan));
        Ok((request, drawing))
    };
    let burnt = |(request, drawing): (Request, Drawing)| -> Result<Drawn, Failure> {
        let program = program::program(&drawing, &limits, plan.blank)?;
        Ok(Drawn { request, drawing, program, left_out: None })
    };
    // The first that fits the blank and burns in time, or the shortest of those that fit.
    let fitting = |kind: WedgeKind, sizes: &[WedgeSize]| -> Result<Option<Drawn>, Failure> {
        let mut whole: Option<Drawn> = None;
        let mut last: Option<Drawn> = None;
        for size in sizes {
            // What does not fit is made smaller; what the machine cannot do is said at once.
            let Ok(d) = of(kind, *size) else { continue };
            let d = burnt(d)?;
            let seconds = d.program.seconds;
            if seconds <= draw::MOST_SECONDS {
                let left_out = whole.map(|w| left_out(&w, &d).into());
                return Ok(Some(Drawn { left_out, ..d }));
            }
            let shortest = last.as_ref().is_none_or(|l| l.program.seconds > seconds);
            match (&whole, shortest) {
                (None, _) => whole = Some(d),
                (_, true) => last = Some(d),
                _ => {}
            }
        }
        Ok(match (whole, last) {
            (Some(w), Some(d)) => Some(Drawn { left_out: Some(left_out(&w, &d).into()), ..d }),
            (whole, _) => whole,
        })
    };
    let best = |kind: WedgeKind| -> Result<Drawn, Failure> {
        let all = draw::sizes(kind);
        if let Some(steps) = &a.steps {
            return burnt(of(kind, WedgeSize { steps, ..all[0] })?);
        }
        if let Some(d) = fitting(kind, all)? {
            return Ok(d);
        }
        // Where not even the least has room, fewer steps are no help.
        if kind == WedgeKind::Exposure {
            of(kind, WedgeSize { steps: "2x2", patch: LEAST_PATCH, ..all[0] })?;
        }
        burnt(of(kind, all[0])?)
    };
    // A kind that was asked for is drawn with less in it where its blank has no room for the usual sizes.
    let asked = |kind: WedgeKind| -> Result<Drawn, Failure> {
        if a.steps.is_some() {
            return best(kind);
        }
        if let Some(d) = fitting(kind, draw::sizes(kind))? {
            return Ok(d);
        }
        let small = draw::small_sizes(kind);
        if let Some(d) = fitting(kind, small)? {
            let said = no_room(&request(a, plan, kind, draw::sizes(kind)[0])?, &d);
            let said = Said::from(d.left_out.iter().fold(said, |said, own| format!("{said}; {own}")));
            return Ok(Drawn { left_out: Some(said), ..d });
        }
        let least = small.last().map(|least| request(a, plan, kind, *least)).transpose()?;
        match least.map(|least| draw::draw(&least)) {
            Some(Err(DrawError::Layout(LayoutError::TooSmall { blank, .. }))) => {
                Err(Failure::input(text!("cli.wedge.no-room", kind = kind.word(), blank)))
            }
            _ => best(kind),
        }
    };
    let in_time = |d: &Drawn| d.program.seconds <= draw::MOST_SECONDS;
    match a.kind.as_deref() {
        Some("exposure") => asked(WedgeKind::Exposure),
        Some("tone") => asked(WedgeKind::Tone),
        Some("timing") => asked(WedgeKind::Timing),
        Some(_) => asked(WedgeKind::Combined),
        None => match best(WedgeKind::Combined) {
            Ok(d) if in_time(&d) || a.steps.is_some() => Ok(d),
            // The response alone is told sooner; tones and beam are for a machine that is fit for the coating.
            Ok(_) => best(WedgeKind::Exposure).map(|d| {
                let left_out = Said::two(
                    text!("cli.wedge.response-alone.line", time = most_minutes()),
                    text!("cli.wedge.response-alone.page", time = most_minutes()),
                )
                .and(d.left_out.map_or(Said::default(), |own| Said::from("; ").and(own)));
                Drawn { left_out: Some(left_out), ..d }
            }),
            Err(_) => best(WedgeKind::Exposure),
        },
    }
}

/// How fast the machine of a plan marks dots of its pitch.
pub(super) fn carries(plan: &Plan) -> Carries {
    let (switched, seen) = plan.machine.dots_up_to(plan.process.pitch_along.value);
    // No finer than a maker sets a speed, and no faster than it is.
    let told = |speed: MmPerS| MmPerS((speed.0 * 100.0 + 1e-6).floor() / 100.0);
    Carries { switched: told(switched), seen: told(seen) }
}

/// The time that a wedge may take, in words.
fn most_minutes() -> String {
    text!("cli.wedge.minutes", minutes = short(draw::MOST_SECONDS / 60.0, 0))
}

/// What a wedge has less of than the whole one, which has so many settings, and what that costs.
fn less(whole: &Request, settings: usize, d: &Drawn) -> String {
    let screens = |r: &Request| if r.kind == WedgeKind::Exposure { 0 } else { r.screens.len() };
    let fewer = |kind: WedgeKind, part: fn(&Request) -> usize| {
        let (own, all) = (part(&d.request), part(whole));
        (kind == whole.kind && own < all).then_some((own, all))
    };
    let mut less = Vec::new();
    if d.settings() < settings {
        less.push(text!("cli.wedge.less.settings", own = d.settings(), all = settings));
    }
    if let Some((own, all)) = fewer(WedgeKind::Tone, |r| r.coverages.len()) {
        less.push(text!("cli.wedge.less.coverages", own, all));
    }
    if d.request.patch.0 < whole.patch.0 {
        less.push(text!("cli.wedge.less.patch", own = d.request.patch, all = whole.patch));
    }
    if screens(&d.request) < screens(whole) {
        let screens = d.request.screens.join(text!("cli.wedge.and"));
        less.push(text!("cli.wedge.less.screen", screens));
    }
    if let Some((own, all)) = fewer(WedgeKind::Combined, |r| r.combs) {
        less.push(text!("cli.wedge.less.combs", own, all));
    }
    text!("cli.wedge.less", less = less.join(", "))
}

/// What a wedge leaves out of the whole one, for which its blank has no room.
fn no_room(whole: &Request, d: &Drawn) -> String {
    let settings =
        if whole.kind == WedgeKind::Combined { whole.powers.len() * whole.speeds.len() } else { 0 };
    text!("cli.wedge.no-room-for-all", blank = d.request.blank.shape, less = less(whole, settings, d))
}

/// What a wedge leaves out of the whole one to be burnt in time, and what that costs.
fn left_out(whole: &Drawn, d: &Drawn) -> String {
    let less = less(&whole.request, whole.settings(), d);
    let whole = duration(whole.program.seconds);
    if d.program.seconds <= draw::MOST_SECONDS {
        text!("cli.wedge.in-time", whole, time = most_minutes(), less)
    } else {
        text!("cli.wedge.weak", whole, time = duration(d.program.seconds), less)
    }
}

/// Refuses a range where a wedge is burnt at one setting.
fn one_value_for(kind: WedgeKind, a: &DrawArgs) -> Result<(), Failure> {
    let is_range = |typed: &&String| typed.contains("..");
    let power = a.power.as_ref().filter(is_range);
    let speed = a.speed.as_ref().filter(is_range);
    let kind_name = kind.word();
    match (kind, power, speed) {
        (WedgeKind::Tone | WedgeKind::Timing, Some(range), _) => {
            Err(Failure::input(text!("cli.wedge.one-power", range, kind = kind_name)))
        }
        (WedgeKind::Tone, None, Some(range)) => {
            Err(Failure::input(text!("cli.wedge.one-speed", range, kind = kind_name)))
        }
        _ => Ok(()),
    }
}

fn request(a: &DrawArgs, plan: &Plan, kind: WedgeKind, size: WedgeSize<'_>) -> Result<Request, Failure> {
    let p = &plan.process;
    let (columns, rows) = counts(size.steps)?;
    let grid = matches!(kind, WedgeKind::Exposure | WedgeKind::Combined);
    if grid && columns.min(rows) < 2 {
        return Err(Failure::input(text!("cli.wedge.few-steps", columns, rows)));
    }
    let top = plan.machine.axes(crate::placement::Along::X).0.top_speed;
    let usual = draw::usual_range(p.rated_power.value, p.pitch_across.value, &p.response(), MmPerS(top));
    let (timing, share) = draw::timing_range(&p.response(), MmPerS(top));
    // A power that nobody set goes with speeds that nobody set.
    let goes_with = kind == WedgeKind::Timing && a.speed.is_none() && p.power.standing == Standing::Assumed;
    let power = a.power.clone().unwrap_or_else(|| match grid {
        true => format!("{}..{}", usual.powers.0, usual.powers.1),
        false if goes_with && share < 1.0 => {
            Share((p.power.value.0 * share * 100.0).ceil() / 100.0).to_string()
        }
        false => p.power.value.to_string(),
    });
    let speed = a.speed.clone().unwrap_or_else(|| match kind {
        WedgeKind::Timing => format!("{}..{}mm/s", timing.0.0, timing.1.0),
        WedgeKind::Tone => p.speed.value.to_string(),
        _ => format!("{}..{}mm/s", usual.speeds.0.0, usual.speeds.1.0),
    });
    one_value_for(kind, a)?;
    let powers: Vec<Share> = values(&power, "47.5..100%", (rows, !a.linear), |v: &Share| v.0, Share)?;
    let speeds: Vec<MmPerS> = values(&speed, "7.5..30mm/s", (columns, !a.linear), |v: &MmPerS| v.0, MmPerS)?;
    let (Some(&first_power), Some(&first_speed)) = (powers.first(), speeds.first()) else {
        return Err(DrawError::Asked(text!("cli.wedge.needs").into()).into());
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
    let coverages = a.coverages.map_or(size.coverages, |n| n as usize);
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
        coverages: draw::steps(1.0 / coverages as f64, 1.0, coverages, false)
            .into_iter()
            .map(Share)
            .collect(),
        combs: size.combs,
        patch: Mm(size.patch),
    })
}

#[cfg(all(test, feature = "desk"))]
mod tests {
    use super::*;

    fn of(options: &[(&str, &str)]) -> Result<Planned, Failure> {
        let options: Vec<(String, String)> =
            options.iter().map(|(name, value)| (name.to_string(), value.to_string())).collect();
        planned(&draw_args(&options)?)
    }

    #[test]
    fn a_kind_that_was_asked_for_has_less_in_it_on_a_small_blank() {
        for (kind, less) in
            [("tone", "8 steps of coverage instead of 10"), ("combined", "settings instead of 30")]
        {
            let planned = of(&[("kind", kind), ("blank", "round:44mm")]).unwrap();
            let said = planned.left_out().unwrap();
            assert!(said.starts_with("round:44mm has no room for the whole wedge: it has "), "{said}");
            assert!(said.contains(less), "{said}");
            let wedge = planned.wedge();
            assert_eq!(wedge.kind.name(), kind);
            assert!(
                wedge.patches.iter().all(|p| p.size[0].min(p.size[1]) > 1.8),
                "{:?}",
                wedge.patches[0].size
            );
            assert_eq!(wedge.combs.len(), if kind == "combined" { 2 } else { 0 });
        }
        // Where nobody asks for a kind, the blank gets what it has room for in full.
        let unasked = of(&[("blank", "round:44mm")]).unwrap();
        assert_eq!((unasked.wedge().kind, unasked.left_out()), (WedgeKind::Exposure, None));
    }

    #[test]
    fn where_not_even_the_fewest_patches_fit_no_fewer_steps_are_advised() {
        for kind in ["tone", "combined"] {
            let why = of(&[("kind", kind), ("blank", "round:30mm")]).err().unwrap().sentence;
            assert!(why.contains("even with the fewest patches") && !why.contains("steps"), "{why}");
        }
    }
}
