//! Settling: a brief becomes a plan, part by part. Values in, values out: no file is touched.

mod art;
mod blank;
mod dots;
mod layer;
mod pitch;
mod process;
mod scan;
mod tone;

pub use art::SettledArt;
pub use dots::{SettledDots, screen};
pub use layer::{Of, SettledLayer, Shows};
pub(super) use process::start_speed;
pub use scan::SettledScan;
pub use tone::SettledTone;

use super::asked::{Job, LayerJob};
use super::brief::{ArtFile, Brief};
use super::error::PlanError;
use super::plan::{Plan, Settled};
use super::rotary::Turned;
use super::words::FilledIn;
use super::{Coating, Machine, Named, Process, ProcessFile, Standing, written};
use crate::note::{About, Note};
use crate::placement::Along;
use crate::said::Said;
use crate::scan::raster::MOST_TRIM;
use crate::texts::text;
use crate::units::short;

pub(super) fn settle(brief: &Brief) -> Result<Plan, PlanError> {
    let Brief { mut job, named, art: art_file, layers: files, notes } = brief.clone();
    let Named { machine, coating, measured, tone_curve } = named;
    let held = measured.as_ref().map(|m| m.holding(&machine.name, machine.laser.power, &coating.name));
    if let Some(all) = measured.as_ref().filter(|all| held.as_ref() != Some(*all)) {
        job = job.without_filled_in(all.is_of_another_bench(&machine.name, machine.laser.power));
    }
    let own_lag_ms = machine.motion.lag_ms;
    let mut machine = measured_on(machine, held.as_ref())?;
    let said = job.asks_for(FilledIn::Coating);
    let blank = blank::settle(&job.blank, said.then_some(&coating))?;
    if let Some(mantle) = blank.blank.shape.turned() {
        let turned = Turned { mantle, round: Along::X };
        machine = machine.turning(turned).map_err(PlanError::absurd)?;
        // The head marks along the piece and the rotary turns from line to line: that is quickest and most exact. Along a
        // cone lines would draw together, and its narrow end would get more dose; round it each has the speed of its own
        // surface, and all lie equally far apart.
        let lines = if mantle.is_cone() { Along::X } else { Along::Y };
        if *job.scan.axis.get_or_insert(lines) == Along::Y && mantle.is_cone() {
            let cone = text!("job.cone-lines");
            return Err(PlanError::absurd(
                Said::from(cone).line(text!("job.cone-lines.line")).page(text!("job.cone-lines.page")),
            ));
        }
    }
    let across_those_measured = across_those_measured(&machine, job.scan.axis);
    let turned = held.as_ref().filter(|_| across_those_measured.is_some()).and_then(ProcessFile::along_y);
    let seen = turned.as_ref().or(held.as_ref());
    let pitch = pitch::settle(&job, &machine, &blank.blank.shape, seen);
    let mut process = process::settle(&job, &machine, &coating, seen, &pitch)?;
    let switches = pitch::switches(&job, &machine, &process, dots::asked(&job.dots)?);
    let pitch = if switches > 1 { pitch.switched(switches) } else { pitch };
    process.pitch_along.value = pitch.along;
    let burn = process.burn();
    let tone = tone::settle(&job.tone, tone_curve)?;
    let unsure = process::unsure(&job, seen, &process);
    let dots = dots::settle(&job.dots, job.burn.time, (burn, unsure), &pitch)?;
    let scan = scan::settle(&job.scan)?;
    let art = art::settle(&job.art, &job.blank)?;
    let of_art = art_file.as_ref().filter(|file| changed_since(&job, file)).map(|file| file.name.clone());
    let of_layers =
        files.iter().zip(&mut job.layers).filter_map(|(file, layer)| layer_file(file.as_ref()?, layer));
    let mut changed: Vec<String> = of_art.into_iter().chain(of_layers).collect();
    changed.dedup();
    let beam = across_those_measured.filter(|_| turned.is_some()).map(Note::fact);
    let trimmed = (scan.trim.0 > MOST_TRIM * pitch.along.0).then(|| {
        let (most, trim) = (short(MOST_TRIM * pitch.along.0, 3), scan.trim);
        Note::choice(Said::two(text!("job.trimmed.line", most, trim), text!("job.trimmed.page", most, trim)))
    });
    let scaled = process::scaled(&job, seen, &process);
    let notes = notes.into_iter().chain(beam).chain(scaled).chain(trimmed).collect::<Vec<_>>();
    let layers = layer::settle(&job, &blank.blank, &art, &tone)?;
    let assumptions = assumptions(&job, &machine, &coating, &blank, &process);
    let mut settled = Settled {
        job,
        art_file,
        art,
        layers,
        machine,
        own_lag_ms,
        coating,
        measured,
        held,
        process,
        burn,
        blank: blank.blank,
        surface: blank.surface,
        coatings: blank.coatings,
        grid: pitch.grid(),
        pitch_why: pitch.why,
        tone,
        dots,
        scan,
        assumptions,
        changed,
        notes,
    };
    settled.job = written::out(&settled);
    Ok(Plan::new(settled))
}

/// What to say of the measured beam where it passes over the work along the bed's y, across the lines that it was measured
/// on. A rotary's own axis stands for the one that its head does not follow.
fn across_those_measured(machine: &Machine, lines: Option<Along>) -> Option<&'static str> {
    let (along, across) = machine.axes(lines.unwrap_or_default());
    match along.turns {
        Some(_) => (across.letter == b'X').then(|| text!("job.beam-turned.round")),
        None => (along.letter == b'Y').then(|| text!("job.beam-turned.flat")),
    }
}

/// The machine with what was measured of it: a timing wedge measures the same delay that a machine file states.
fn measured_on(mut machine: Machine, measured: Option<&ProcessFile>) -> Result<Machine, PlanError> {
    if let Some(lag) = measured.and_then(|p| p.lag_ms.as_ref()) {
        machine.motion.lag_ms = lag.value;
        machine.check().map_err(|w| PlanError::absurd(text!("job.wrong.lag", key = w.key, why = w.why)))?;
    }
    Ok(machine)
}

/// What is assumed because nobody said otherwise, one sentence each.
fn assumptions(
    job: &Job,
    machine: &Machine,
    coating: &Coating,
    blank: &blank::Stock,
    process: &Process,
) -> Vec<Note> {
    let mut all = Vec::new();
    if !job.asks_for(FilledIn::Machine) {
        all.push(Note::new(About::Assumed, text!("job.assumed.machine", machine = machine.called())));
    }
    let no_coating = !job.asks_for(FilledIn::Coating);
    let no_surface = !job.asks_for(FilledIn::Surface);
    let on = blank.surface;
    if !job.asks_for(FilledIn::Blank) {
        let is_usual = no_surface && no_coating;
        let says = if is_usual {
            text!("job.assumed.blank.kit", blank = blank.usual)
        } else {
            text!("job.assumed.blank.own", surface = on, shape = blank.blank.shape)
        };
        all.push(Note::new(About::Blank, says));
    } else if no_surface {
        let says =
            Said::from(text!("job.assumed.surface", surface = on)).line(text!("job.assumed.surface.line"));
        all.push(Note::new(About::Surface, says));
    }
    if no_coating {
        let says = text!("job.assumed.coating", coating = coating.called(), surface = on);
        all.push(Note::new(About::Assumed, says));
    }
    let (power, speed) = (&process.power, &process.speed);
    if power.standing == Standing::Assumed && speed.standing == Standing::Assumed {
        let says = text!("job.assumed.power-speed", power = power.value, speed = speed.value);
        all.push(Note::new(About::Assumed, says));
    }
    all
}

/// Names the file that a layer was read from; its name where its bytes have changed.
fn layer_file(file: &ArtFile, layer: &mut LayerJob) -> Option<String> {
    let before = layer.crc32.replace(file.crc32);
    layer.file = Some(file.path.clone());
    let changed = before.is_some_and(|b| b != file.crc32);
    changed.then(|| file.name.clone())
}

/// Whether the job was prepared from other bytes under the same name.
fn changed_since(job: &Job, file: &ArtFile) -> bool {
    job.art.crc32.is_some_and(|before| before != file.crc32)
}
