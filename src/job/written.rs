//! Written back: the job that gives a plan again, every default written out.

use super::Machine;
use super::acceptance::Acceptance;
use super::asked::{ArtJob, BlankJob, BurnJob, DotsJob, Job, Reference, ScanJob, ToneJob};
use super::plan::Settled;
use super::unsaid::Unsaid;
use super::words::{Amount, Levels, Sharpen};
use crate::units::{Pitch, Share};

/// The job that gives this plan again; `settled.job` is the job as it was asked.
pub(super) fn out(settled: &Settled) -> Job {
    Job {
        unsaid: Unsaid::of(&settled.job),
        art: art(settled),
        layers: settled.job.layers.clone(),
        blank: BlankJob {
            shape: Some(settled.blank.shape),
            margin: Some(settled.blank.margin),
            surface: Some(settled.surface),
            coatings: some(settled.coatings.clone()),
            place: Some(settled.art.place),
        },
        tone: tone(settled),
        dots: dots(settled),
        burn: BurnJob {
            power: Some(settled.process.power.value),
            speed: Some(settled.process.speed.value),
            passes: Some(settled.process.passes.value),
            time: Some(settled.dots.time),
        },
        scan: ScanJob {
            tone_by: Some(settled.scan.tone_by),
            direction: Some(settled.scan.ways),
            axis: Some(settled.scan.lines),
            run_up: settled.scan.run_up,
            trim: Some(settled.scan.trim),
            accept: some(settled.scan.accept.clone()),
        },
        machine: Some(Reference::Whole(Box::new(machine(settled)))),
        coating: Some(Reference::Whole(Box::new(settled.coating.clone()))),
        process: settled.measured.clone().map(|m| Reference::Whole(Box::new(m))),
    }
}

/// The machine as it was stated: a lag that was measured stands in the process, and must not outlast it.
fn machine(settled: &Settled) -> Machine {
    let mut machine = settled.machine.clone();
    machine.motion.lag_ms = settled.own_lag_ms;
    machine
}

/// The job with these acceptances in place of its own.
pub(super) fn accepting(job: &Job, accept: impl Iterator<Item = Acceptance>) -> Job {
    let scan = ScanJob { accept: some(accept.collect()), ..job.scan.clone() };
    Job { scan, ..job.clone() }
}

fn some<T>(list: Vec<T>) -> Option<Vec<T>> {
    (!list.is_empty()).then_some(list)
}

fn art(settled: &Settled) -> ArtJob {
    let (asked, file) = (&settled.job.art, settled.art_file.as_ref());
    ArtJob {
        file: file.map(|f| f.path.clone()).or_else(|| asked.file.clone()),
        crc32: file.map(|f| f.crc32).or(asked.crc32),
        // Nearly all art has one page, and says nothing of it.
        page: Some(settled.art.page).filter(|&p| p != 1),
        fonts: asked.fonts.clone(),
        read_as: Some(settled.art.read_as),
        crop: Some(settled.art.crop),
        turn: Some(settled.art.turn.degrees()),
        mirror: Some(settled.art.mirror),
        anchor: asked.anchor,
        at: asked.at,
    }
}

fn tone(settled: &Settled) -> ToneJob {
    let asked = &settled.job.tone;
    ToneJob {
        levels: Some(asked.levels.unwrap_or(Levels::Fitting)),
        brighten: Some(asked.brighten.unwrap_or_default()),
        contrast: Some(asked.contrast.unwrap_or_default()),
        invert: Some(asked.invert.unwrap_or(false)),
        local_contrast: Some(asked.local_contrast.unwrap_or(Amount(Share(0.0)))),
        sharpen: Some(asked.sharpen.unwrap_or(Sharpen::Off)),
        curve: Some(asked.curve.clone().unwrap_or_default()),
        dot_gain: Some(settled.tone.dot_gain.clone()),
        ceiling: Some(settled.tone.ceiling),
    }
}

fn dots(settled: &Settled) -> DotsJob {
    let (dots, options) = (&settled.dots, &settled.dots.options);
    DotsJob {
        pitch: Pitch::from_mm(settled.process.pitch_along.value.0),
        pitch_across: Pitch::from_mm(settled.process.pitch_across.value.0),
        known: settled.job.dots.known,
        screen: Some(dots.screen.name.to_string()),
        level: Some(options.level),
        matrix: Some(options.matrix),
        serpentine: Some(options.serpentine),
        as_published: Some(options.as_published),
        ruling_per_mm: Some(options.ruling_per_mm),
        angle_deg: Some(options.angle_deg),
        effort: Some(options.effort),
        beam_on: Some(dots.beam_on),
        tiff: dots.tiff,
        bmp: Some(dots.bmp),
    }
}
