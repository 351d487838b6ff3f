//! Facts: the report of a job, filled from its plan and what the stages found.

use super::report::{
    ArtFacts, BlankFacts, ConeFacts, DotFacts, ForecastFacts, GainPoint, PlacementFacts, ProcessFacts,
    ProgramFacts, Report, RoundFacts, SCHEMA_VERSION, TimeFacts,
};
use super::{round, steps, words};
use crate::art::Art;
use crate::art::reading::Decision;
use crate::blank::Blank;
use crate::findings::Finding;
use crate::job::words::ToneBy;
use crate::job::{Footing, Known, Plan, Standing};
use crate::mark::{Totals, Unsure};
use crate::note::Note;
use crate::placement::{Along, DotRect, Placement};
use crate::plane::Dots;
use crate::scan::program::Cost;
use crate::scan::raster::RasterPath;
use crate::texts::text;
use crate::units::MM_PER_INCH;

/// What the stages of a job found, as far as a report tells it.
#[derive(Debug, Clone, Copy)]
pub struct Found<'a> {
    /// Where the art lies.
    pub placement: &'a Placement,
    /// Mean of the wanted mark over the dot rectangle, 0 to 1.
    pub mean_wanted: f64,
    /// The dot-gain curve, coverage and mark; empty where none was used.
    pub gain: &'a [(f64, f64)],
    /// The dots.
    pub dots: &'a Dots,
    /// What the forecast comes to.
    pub totals: Totals,
    /// Likeness as planned and to expect, dB, where there is a wanted mark to hold dots against.
    pub likely: Option<(f64, f64)>,
    /// The scan program, and what it comes to.
    pub program: (&'a RasterPath, &'a Cost),
    /// Whether something else made the dots: nothing is known of their screen.
    pub ready_made: bool,
    /// What a person should know, one sentence each.
    pub notes: &'a [Note],
}

/// The report, without its files, which are known later.
pub fn report(plan: &Plan, art: ArtFacts, found: &Found, findings: &[Finding]) -> Report {
    let cell = plan.grid.cell_mm2();
    Report {
        schema_version: SCHEMA_VERSION,
        written_by: format!("Dotwright {}", env!("CARGO_PKG_VERSION")),
        notes: notes(plan, &art, found, findings),
        art,
        blank: BlankFacts {
            shape: plan.blank.shape.to_string(),
            width_mm: plan.blank.shape.width(),
            height_mm: plan.blank.shape.height(),
            margin_mm: plan.blank.margin.0,
            surface: words::surface(plan.surface).to_string(),
        },
        placement: placement_facts(plan, found.placement),
        dots: dot_facts(plan, found),
        process: process_facts(plan),
        forecast: Some(ForecastFacts {
            mean_mark_share: found.totals.mean_mark,
            mean_wanted_share: found.mean_wanted,
            marked_mm2: found.totals.marked as f64 * cell,
            over_burn_mm2: found.totals.charred * cell,
            likeness_planned_db: found.likely.and_then(|l| decibels(l.0)),
            likeness_expected_db: found.likely.and_then(|l| decibels(l.1)),
        }),
        round: round_facts(plan),
        times: Some(times(plan, found.program.1)),
        program: Some(program(found.program.0, found.program.1)),
        gain_curve: found.gain.iter().map(|&(c, m)| GainPoint { coverage_share: c, mark_share: m }).collect(),
        findings: findings.to_vec(),
        files: Vec::new(),
        cautions: words::cautions(&plan.machine, &plan.coating, plan.surface),
        steps: steps::of_job(plan),
    }
}

/// To a hundredth; none where nothing differs at all, as of an empty piece.
pub(crate) fn decibels(db: f64) -> Option<f64> {
    db.is_finite().then(|| (db * 100.0).round() / 100.0)
}

/// What is known of art that was drawn.
pub fn art_facts(art: &Art, name: &str, reading: &Decision) -> ArtFacts {
    let pixels = art.pixels();
    ArtFacts {
        name: name.to_string(),
        format: art.describe(),
        read_as: reading.kind.to_string(),
        // Two decimals: the model knows no more.
        read_as_sure_share: reading.other.map(|_| (reading.sure * 100.0).round() / 100.0),
        read_as_why: reading.why.clone(),
        width_px: pixels.map(|p| p.0 as u32),
        height_px: pixels.map(|p| p.1 as u32),
        layers: 1,
    }
}

/// What is known of art that is `count` layers.
pub fn art_facts_of_layers(count: usize, name: &str, reading: &Decision) -> ArtFacts {
    ArtFacts {
        name: name.to_string(),
        format: if count == 1 { text!("proof.layers.one").into() } else { text!("proof.layers.many", count) },
        read_as: reading.kind.to_string(),
        read_as_sure_share: None,
        read_as_why: reading.why.clone(),
        width_px: None,
        height_px: None,
        layers: count,
    }
}

/// What is known of dots that something else made, `columns` by `rows`.
pub fn art_facts_of_dots(name: &str, columns: usize, rows: usize) -> ArtFacts {
    ArtFacts {
        name: name.to_string(),
        format: "1-bit PNG".into(),
        read_as: "dots".into(),
        read_as_sure_share: None,
        read_as_why: text!("proof.dots.judged").into(),
        width_px: Some(columns as u32),
        height_px: Some(rows as u32),
        layers: 1,
    }
}

fn placement_facts(plan: &Plan, p: &Placement) -> PlacementFacts {
    PlacementFacts {
        wished_width_mm: p.wished_width.0,
        wished_height_mm: p.wished_height.0,
        true_width_mm: p.rect.width(),
        true_height_mm: p.rect.height(),
        left_mm: p.rect.left.0,
        top_mm: p.rect.top.0,
        turn_deg: f64::from(plan.art.turn.degrees()),
        mirror: plan.art.mirror,
        shown: plan.art.mirror.then(|| words::mirrored(plan.surface)),
    }
}

/// What is said of dots that something else made.
fn ready_made() -> &'static str {
    text!("proof.dots.ready-made")
}

/// Places where a dot may be: those on the blank less its margin, and those where one is all the same.
fn places(blank: &Blank, rect: &DotRect, dots: &Dots) -> u64 {
    let allowed: u64 = (0..rect.rows).map(|y| rect.allowed(blank, y).len() as u64).sum();
    allowed.max(dots.count())
}

/// Share of the places where dots may be that have one.
pub(super) fn coverage(blank: &Blank, rect: &DotRect, dots: &Dots) -> f64 {
    dots.count() as f64 / places(blank, rect, dots).max(1) as f64
}

fn dot_facts(plan: &Plan, found: &Found) -> DotFacts {
    let rect = &found.placement.rect;
    let made = plan.scan.tone_by == ToneBy::Dots && !found.ready_made;
    let unsure = if made { plan.dots.options.unsure } else { Unsure::default() };
    DotFacts {
        columns: rect.columns as u64,
        rows: rect.rows as u64,
        pitch_along_mm: plan.process.pitch_along.value.0,
        pitch_across_mm: plan.process.pitch_across.value.0,
        density_dpi: MM_PER_INCH / plan.process.pitch_across.value.0,
        unsure_beam_share: unsure.beam,
        unsure_exposure_share: unsure.exposure,
        pitch_why: if found.ready_made { ready_made().into() } else { plan.pitch_why.clone() },
        on_count: found.dots.count(),
        coverage_share: coverage(&plan.blank, rect, found.dots),
        screen: match plan.scan.tone_by {
            _ if found.ready_made => ready_made().to_string(),
            ToneBy::Dots => plan.dots.screen.name.to_string(),
            ToneBy::Power => text!("proof.dots.by-power").to_string(),
        },
        dot_gain: if found.ready_made { "none".into() } else { plan.tone.dot_gain.to_string() },
        beam_on: plan.dots.beam_on.to_string(),
    }
}

fn process_facts(plan: &Plan) -> ProcessFacts {
    fn part<T, U>(known: &Known<T>, value: U) -> Known<U> {
        Known { value, standing: known.standing, source: known.source.clone() }
    }
    let p = &plan.process;
    let m = &plan.machine;
    let wavelength =
        Known::new(m.laser.wavelength_nm, m.standing, text!("proof.facts.wavelength", machine = m.called()));
    let [unmarked, marked, charred] = p.looks.value;
    ProcessFacts {
        machine: m.name.clone(),
        coating: plan.coating.name.clone(),
        marks: if marked > unmarked { "lighter" } else { "darker" }.to_string(),
        standing: if p.footing() == Footing::Measured { Standing::Measured } else { Standing::Assumed },
        wavelength_nm: Some(wavelength),
        rated_power_w: part(&p.rated_power, p.rated_power.value.0),
        beam_along_mm: part(&p.beam, p.beam.value.along.0),
        beam_across_mm: part(&p.beam, p.beam.value.across.0),
        power_share: part(&p.power, p.power.value.0),
        speed_mm_per_s: part(&p.speed, p.speed.value.0),
        passes: p.passes.clone(),
        dose_j_per_mm2: p.setting().solid_dose().0,
        effective_exposure_j_per_mm2: plan.burn.x_solid,
        y_unmarked: part(&p.looks, unmarked),
        y_marked: part(&p.looks, marked),
        y_char: part(&p.looks, charred),
        x_half_j_per_mm2: part(&p.rise, p.rise.value.0),
        rise: part(&p.rise, p.rise.value.1),
        x_char_j_per_mm2: p.char.value.0.is_finite().then(|| part(&p.char, p.char.value.0)),
        char_rise: part(&p.char, p.char.value.1),
        schwarzschild: part(&p.reciprocity, p.reciprocity.value.0),
        reference_speed_mm_per_s: part(&p.reciprocity, p.reciprocity.value.1.0),
    }
}

/// How a round piece is turned; none for a flat one.
fn round_facts(plan: &Plan) -> Option<RoundFacts> {
    let mantle = plan.blank.shape.turned()?;
    let (x, p) = (plan.machine.limits().x, &plan.process);
    let turns = p.lines == Along::Y;
    let pitch = p.pitch_across.value.0;
    let girth = plan.blank.shape.width();
    let tolerance = plan.machine.motion.placement_tolerance.0;
    Some(RoundFacts {
        diameter_mm: mantle.widest(),
        cone: mantle.is_cone().then(|| ConeFacts {
            foot_mm: mantle.foot.0,
            top_mm: mantle.top.0,
            slant_mm: mantle.slant(),
            tilt_deg: mantle.tilt(),
        }),
        girth_mm: girth,
        seam: if plan.blank.shape.is_closed() { "closed" } else { "margin" }.into(),
        letter: char::from(x.letter).to_string(),
        units_per_mm: x.units_per_mm,
        steps_a_line: turns.then(|| (pitch * x.steps_per_mm).round()),
        degrees_a_line: turns.then_some(360.0 * pitch / girth),
        falls_mm: round::fall(mantle.narrowest(), tolerance),
        focus: round::focus(&mantle, p.beam.value.along.0.max(p.beam.value.across.0), tolerance),
    })
}

fn times(plan: &Plan, written: &Cost) -> TimeFacts {
    let t = &written.estimate.times;
    TimeFacts {
        total_s: t.total(),
        beam_on_s: t.burning_s,
        gaps_s: t.crossing_s + t.skip_s,
        run_up_s: t.run_up_s + t.turn_s,
        turn_s: t.turn_s,
        approach_s: t.approach_s,
        dwell_s: (t.dwell_s > 0.0).then_some(t.dwell_s),
        bound_s: written.estimate.burning_mm / plan.process.speed.value.0,
    }
}

fn program(raster: &RasterPath, written: &Cost) -> ProgramFacts {
    let (limits, load) = (&raster.limits, &written.load);
    let bytes =
        limits.link_bytes_per_s.map(|rate| text!("proof.facts.link", bytes = load.bytes.per_s.ceil(), rate));
    let moves =
        limits.moves_per_s.map(|rate| text!("proof.facts.moves", moves = load.moves.per_s.ceil(), rate));
    let link = match (bytes, moves) {
        (Some(bytes), Some(moves)) => Some(text!("proof.facts.needs.both", bytes, moves)),
        (bytes, moves) => bytes.or(moves).map(|needs| text!("proof.facts.needs", needs)),
    };
    ProgramFacts {
        lines: written.program_lines,
        bytes: written.bytes,
        travel_mm: written.estimate.travel_mm,
        run_up_mm: f64::from(raster.run_up) / 1000.0,
        link,
    }
}

/// What the program decided on its own, in sentences.
fn notes(plan: &Plan, art: &ArtFacts, found: &Found, findings: &[Finding]) -> Vec<Note> {
    let mut notes: Vec<Note> =
        plan.assumptions.iter().map(|note| note.each(|said| text!("proof.facts.assumed", said))).collect();
    notes.extend(plan.notes.iter().map(|note| note.each(|said| format!("{said}."))));
    let (along, across) = (plan.process.pitch_along.value.0, plan.process.pitch_across.value.0);
    let mm = |v: f64| crate::units::short(v, 4);
    let why = if found.ready_made { ready_made() } else { &plan.pitch_why };
    notes.push(Note::fact(match found.ready_made || along > 0.99 * across {
        true => text!("proof.facts.pitch", pitch = mm(along), why),
        false => text!("proof.facts.pitch.finer", pitch = mm(across), why, along = mm(along)),
    }));
    notes.extend(round_facts(plan).map(|r| Note::fact(format!("{}.", r.focus))));
    notes.push(Note::fact(text!(
        "proof.facts.read-as",
        kind = words::read_as(&art.read_as),
        why = art.read_as_why
    )));
    let lapsed = findings.iter().filter_map(|f| plan.accepts(f).lapsed());
    notes.extend(lapsed.map(|why| Note::fact(format!("{why}."))));
    notes.extend(found.notes.iter().map(|note| note.each(|said| format!("{}.", said.trim_end_matches('.')))));
    notes
}
