//! `dotwright advise`: which pitches suit a machine and a coating, and why.

use std::io::Write;

use clap::Args;

use super::failure::Failure;
use super::options::ProcessOptions;
use super::out::Out;
use crate::blank::parse_size;
use crate::findings::{Finding, machine as of_machine};
use crate::job::{Plan, plan};
use crate::mark::advise::{self, Advice, Question};
use crate::mark::settings::{self, Quickest};
use crate::mark::{Burn, Response, Setting};
use crate::pipeline;
use crate::scan::motion;
use crate::units::{MM_PER_INCH, Mm, Pitch, UnitError, duration, short};

/// Arguments of `advise`.
#[derive(Debug, Args)]
pub struct AdviseArgs {
    /// Size of the piece for the time, each side from 1mm to 2000mm
    #[arg(long, value_name = "WxH", default_value = "85x85mm", value_parser = parse_piece)]
    pub size: (Mm, Mm),
    /// Finest pitch to list, 0.005mm to 5mm [default: a quarter of the beam across]
    #[arg(long, allow_hyphen_values = true, value_name = "MM", value_parser = parse_pitch)]
    pub from: Option<Mm>,
    /// Coarsest pitch to list, 0.005mm to 5mm [default: one and a half times the beam across]
    #[arg(long, allow_hyphen_values = true, value_name = "MM", value_parser = parse_pitch)]
    pub to: Option<Mm>,
    /// Print JSON instead of the table
    #[arg(long)]
    pub json: bool,
    #[allow(missing_docs)]
    #[command(flatten)]
    pub process: ProcessOptions,
}

/// A piece is as large as a blank may be.
fn parse_piece(text: &str) -> Result<(Mm, Mm), String> {
    let (width, height) = parse_size(text)?;
    let fits = |side: Mm| (1.0..=2000.0).contains(&side.0);
    if fits(width) && fits(height) { Ok((width, height)) } else { Err("a side is from 1mm to 2000mm".into()) }
}

/// A pitch that a job may have too, said as a distance or as a density.
fn parse_pitch(text: &str) -> Result<Mm, UnitError> {
    text.parse().map(|pitch: Pitch| Mm(pitch.mm()))
}

/// Runs `advise`.
pub fn run(args: &AdviseArgs, out: &mut Out) -> Result<u8, Failure> {
    let mut job = args.process.references();
    job.burn = args.process.burn();
    let plan = plan::resolve(&job)?;
    let question = plan.question((args.from, args.to), args.size);
    let list = advise::pitches(&question, &|pitch| plan.start_at(pitch));
    if list.is_empty() {
        return Err(Failure::input(format!(
            "no whole motor step lies between {} and {}; widen --from and --to",
            question.range.0, question.range.1
        )));
    }
    let assumed = plan.process.assumed();
    let of_process: Vec<Finding> = pipeline::of_the_process(&plan).collect();
    let quickest = quickest(&plan, &question);
    let best = settings::best(&quickest);
    if args.json {
        let rows: Vec<_> = list.iter().map(row_json).collect();
        let all = serde_json::json!({
            "machine": plan.machine.name,
            "coating": plan.coating.name,
            "assumed": assumed,
            "findings": of_process,
            "power_share": plan.process.power.value.0,
            "speed_mm_per_s": plan.process.speed.value.0,
            "pitches": rows,
            "settings": quickest.iter().enumerate().map(|(i, q)| quickest_json(q, best == Some(i))).collect::<Vec<_>>(),
        });
        writeln!(out, "{}", serde_json::to_string_pretty(&all)?)?;
        return Ok(0);
    }
    let p = &plan.process;
    writeln!(
        out,
        "{} on {}: beam {} along, {} across [{}]; power {} [{}], speed {} [{}]; {} x {}",
        plan.coating.name,
        plan.machine.name,
        question.beam.along,
        question.beam.across,
        p.beam.standing,
        p.power.value,
        p.power.standing,
        p.speed.value,
        p.speed.standing,
        args.size.0,
        args.size.1
    )?;
    for note in &plan.notes {
        writeln!(out, "{}.", note.says)?;
    }
    writeln!(
        out,
        "{:>2} {:>6} {:>9} {:>8} {:>9} {:>9} {:>10} {:>12} {:>11}",
        "", "steps", "pitch mm", "dpi", "overlap", "ripple", "speed mm/s", "dose J/mm²", "time"
    )?;
    for a in &list {
        writeln!(
            out,
            "{:>2} {:>6} {:>9} {:>8} {:>9} {:>9} {:>10} {:>12} {:>11}  {}",
            if a.recommended { "=>" } else { "" },
            a.steps,
            short(a.pitch.0, 4),
            short(MM_PER_INCH / a.pitch.0, 1),
            format!("{:.0}%", a.overlap * 100.0),
            format!("{:.1}%", (a.lines.ripple.ratio() - 1.0) * 100.0),
            short(a.speed.0, 2),
            format!("{:.2}", a.dose.0),
            duration(a.seconds),
            if a.recommended { "" } else { &a.words }
        )?;
    }
    match list.iter().find(|a| a.recommended) {
        Some(best) => writeln!(out, "{}", best.words)?,
        None => writeln!(out, "{}", none_advised(&list, &question.response))?,
    }
    times(out, &plan, &quickest, best)?;
    for finding in &of_process {
        writeln!(out, "CAUTION {}: {}", finding.name, finding.message)?;
    }
    if let Some(says) = of_machine::advised(&assumed) {
        writeln!(out, "{says}")?;
    }
    Ok(0)
}

/// Powers that are tried, as shares of the laser's, beside that of the plan.
const POWERS: [f64; 6] = [1.0, 0.9, 0.8, 0.7, 0.6, 0.5];

/// The quickest way to mark the size at each power, with the exposure of the plan.
fn quickest(plan: &Plan, question: &Question) -> Vec<Quickest> {
    let own = plan.process.power.value.0;
    let mut shares = POWERS.to_vec();
    if shares.iter().all(|s| (s - own).abs() > 1e-6) {
        shares.push(own);
        shares.sort_by(|a, b| b.total_cmp(a));
    }
    let exposure = plan.burn.x_solid;
    let objects = |setting: &Setting| {
        let burn = Burn::new(question.beam, *setting, question.response);
        let given = burn.x_solid;
        if given > 1.05 * exposure {
            let speed = setting.speed;
            return Some(format!(
                "the axis goes no faster than {speed}: solids get {} J/mm²",
                short(given, 1)
            ));
        }
        // Dots one beside the other are the shortest moves that it has to brake in.
        let stops = motion::ramp_mm(setting.speed.0, plan.machine.axes(setting.lines).0.acceleration);
        let ahead = plan.machine.limits().plans_ahead.map(f64::from);
        if ahead.is_some_and(|moves| stops > moves * setting.pitch_along.0) {
            return Some("the controller plans too few moves ahead for this speed at this pitch".to_string());
        }
        let dot = setting.pitch_along.0 / setting.speed.0;
        let link = "the beam cannot be switched so often: dots of one pitch come faster than laser, controller or link carry them";
        (!plan.machine.switches_within(dot)).then(|| link.to_string())
    };
    let rated = plan.process.rated_power.value;
    settings::quickest(question, rated, &shares, &|power, pitch| plan.as_exposed_at(power, pitch), &objects)
}

/// The table of powers.
fn times(out: &mut Out, plan: &Plan, all: &[Quickest], best: Option<usize>) -> Result<(), Failure> {
    writeln!(
        out,
        "The least time for a solid at each power, exposed as now ({} J/mm² at {}); no program is quicker than area x dose / power, and tones take longer on closer lines:",
        short(plan.burn.x_solid, 2),
        plan.process.reciprocity.value.1
    )?;
    writeln!(
        out,
        "{:>2} {:>6} {:>10} {:>9} {:>11} {:>11} {:>8}",
        "", "power", "speed mm/s", "pitch mm", "time", "bound", "above it"
    )?;
    for (i, q) in all.iter().enumerate() {
        writeln!(
            out,
            "{:>2} {:>6} {:>10} {:>9} {:>11} {:>11} {:>8}  {}",
            if best == Some(i) { "=>" } else { "" },
            format!("{}%", short(100.0 * q.share, 0)),
            short(q.advice.speed.0, 2),
            short(q.advice.pitch.0, 4),
            duration(q.advice.seconds),
            duration(q.bound_s),
            format!("{}%", short(100.0 * (q.advice.seconds / q.bound_s - 1.0), 0)),
            q.against.as_deref().unwrap_or("")
        )?;
    }
    if best.is_none() && !all.is_empty() {
        let hot = all.iter().all(|q| q.advice.over_burnt);
        let pale = all.iter().all(|q| q.advice.reached.is_some());
        let why = if plan.process.response().chars_before_full() {
            "No power is marked: this coating chars before it is fully marked, at any power and speed."
        } else if pale {
            "No power is marked: exposed as now, solids stay pale at each. Say a lower --speed or more --passes, and all \
             of them are exposed more."
        } else if hot {
            "No power is marked: exposed as now, solids over-burn at each. Say a higher --speed or fewer --passes, and \
             all of them are exposed less."
        } else {
            "No power is marked: at each something speaks against every pitch. Say another --speed, or list other \
             pitches with --from and --to."
        };
        writeln!(out, "{why}")?;
    }
    Ok(())
}

/// Why no pitch of the table is advised, and what to do.
fn none_advised(list: &[Advice], response: &Response) -> String {
    if response.chars_before_full() {
        return chars_first(list);
    }
    let pale = |a: &Advice| a.reached.is_some();
    let words = if list.iter().all(pale) {
        "No pitch is advised: solids under-burn at each. Say a lower --speed, a higher --power or more --passes."
    } else if list.iter().all(|a| a.over_burnt) {
        "No pitch is advised: solids over-burn at each. Say a higher --speed, a lower --power or fewer --passes."
    } else if list.iter().any(|a| a.over_burnt) && list.iter().any(pale) {
        "No pitch is advised: at the close ones solids over-burn, at the wide ones they under-burn, and lines show or \
         crowd between. Say another --speed, or list other pitches with --from and --to."
    } else if list.iter().any(pale) {
        "No pitch is advised: where solids do not under-burn, lines show or crowd. Say a lower --speed or a higher \
         --power, or list other pitches with --from and --to."
    } else if list.iter().any(|a| a.over_burnt) {
        "No pitch is advised: where solids do not over-burn, lines show. Say a higher --speed or a lower --power, or \
         list other pitches with --from and --to."
    } else {
        "No pitch is advised: at each of them lines show or crowd. List other pitches with --from and --to, or say \
         another --speed."
    };
    words.to_string()
}

/// What to say of a coating of which every setting is pale or charred, and which pitch is the best of both.
fn chars_first(list: &[Advice]) -> String {
    let why = "No pitch is advised: this coating chars before it is fully marked, at any power and speed.";
    let calm = list.iter().filter(|a| !(a.over_burnt || a.lines_apart || a.lines_crowded));
    let best = calm.filter_map(|a| Some((a, a.reached?))).max_by(|a, b| a.1.total_cmp(&b.1));
    match best {
        Some((a, reached)) => format!(
            "{why} The best of both is {} mm: solids reach {}% of a full mark without char. A thinner or another coat may \
             give more; a wedge tells.",
            short(a.pitch.0, 4),
            short(reached * 100.0, 0)
        ),
        None => format!("{why} At each of these solids char, or lines show or crowd: say a higher --speed."),
    }
}

fn quickest_json(q: &Quickest, best: bool) -> serde_json::Value {
    serde_json::json!({
        "power_share": q.share,
        "speed_mm_per_s": q.advice.speed.0,
        "pitch_mm": q.advice.pitch.0,
        "time_s": q.advice.seconds,
        "bound_s": q.bound_s,
        "against": q.against,
        "quickest": best,
    })
}

fn row_json(a: &Advice) -> serde_json::Value {
    serde_json::json!({
        "pitch_mm": a.pitch.0,
        "density_dpi": MM_PER_INCH / a.pitch.0,
        "steps": a.steps,
        "speed_mm_per_s": a.speed.0,
        "overlap_share": a.overlap,
        "ripple_share": a.lines.ripple.ratio() - 1.0,
        "mark_on_lines": a.lines.mark_on,
        "mark_between_lines": a.lines.mark_between,
        "dose_j_per_mm2": a.dose.0,
        "effective_exposure_j_per_mm2": a.exposure,
        "over_burnt": a.over_burnt,
        "under_burnt": a.reached.is_some(),
        "lines_apart": a.lines_apart,
        "lines_crowded": a.lines_crowded,
        "time_s": a.seconds,
        "recommended": a.recommended,
        "words": a.words,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::Job;
    use crate::job::asked::BurnJob;
    use crate::units::MmPerS;

    /// The advice for a speed in so many passes.
    fn list(speed: f64, passes: u32) -> Vec<Advice> {
        let burn = BurnJob { speed: Some(MmPerS(speed)), passes: Some(passes), ..BurnJob::default() };
        let plan = plan::resolve(&Job { burn, ..Job::default() }).unwrap();
        let question = plan.question((None, None), (Mm(85.0), Mm(85.0)));
        advise::pitches(&question, &|pitch| plan.start_at(pitch))
    }

    #[test]
    fn a_table_without_a_pitch_that_passes_says_what_to_do() {
        assert!(list(12.5, 1).iter().any(|a| a.recommended));
        let hot = list(12.5, 20);
        assert!(!hot.iter().any(|a| a.recommended));
        let usual = plan::resolve(&Job::default()).unwrap().process.response();
        assert!(none_advised(&hot, &usual).contains("solids over-burn at each. Say a higher --speed"));
        let pale = list(90.0, 1);
        assert!(!pale.iter().any(|a| a.recommended));
        assert!(none_advised(&pale, &usual).contains("solids under-burn at each. Say a lower --speed"));
        let brittle = Response { x_char: 1.1 * usual.x_half, ..usual };
        let said = none_advised(&pale, &brittle);
        assert!(
            said.contains("chars before it is fully marked") && !said.contains("lower --speed"),
            "{said}"
        );
    }
}
