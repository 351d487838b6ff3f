//! Work that is asked to stop: at any stage nothing is left, and stages tell how long they are.

use std::sync::Mutex;

use dotwright::sink::Folder;
use dotwright::{Job, PipelineError, Plan, Progress, WriteError, open, run, write};

/// Keeps what it hears, and asks to stop once `stage` has counted so many steps.
#[derive(Default)]
struct Watch {
    stop_at: Option<(&'static str, u64)>,
    heard: Mutex<Heard>,
}

#[derive(Default, Clone)]
struct Heard {
    stages: Vec<(String, f64)>,
    expected: u64,
    done: u64,
    stopped: bool,
}

impl Progress for Watch {
    fn stage(&self, name: &str, share: f64) {
        let mut heard = self.heard.lock().unwrap();
        heard.stages.push((name.to_string(), share));
        (heard.expected, heard.done) = (0, 0);
    }
    fn expect(&self, steps: u64) {
        self.heard.lock().unwrap().expected += steps;
    }
    fn step(&self, done: u64) -> bool {
        let mut heard = self.heard.lock().unwrap();
        heard.done += done;
        let here = heard.stages.last().map_or("", |s| s.0.as_str());
        heard.stopped |= self.stop_at.is_some_and(|(stage, steps)| here == stage && heard.done >= steps);
        !heard.stopped
    }
}

const FORECAST: &str = "forecast and scan program";

/// A ramp with a disc as a greyscale picture of 400 x 300 pixels, as a PNG.
fn ramp() -> Vec<u8> {
    let pixels = (0..400 * 300).map(|i| {
        let (x, y) = (i % 400, i / 400);
        if (x - 200i32).pow(2) + (y - 150i32).pow(2) < 2500 { 0 } else { (x * 255 / 399) as u8 }
    });
    let picture = image::GrayImage::from_raw(400, 300, pixels.collect()).unwrap();
    let mut bytes = std::io::Cursor::new(Vec::new());
    picture.write_to(&mut bytes, image::ImageFormat::Png).unwrap();
    bytes.into_inner()
}

fn plan(more: &str) -> Plan {
    let job: Job = format!("blank.shape = 'rect:60x45mm'\n{more}").parse().unwrap();
    Plan::of(&job).unwrap()
}

#[test]
fn a_forecast_stopped_in_the_middle_leaves_nothing() {
    let art = open(&ramp(), "'ramp.png'").unwrap();
    let plan = plan("");
    for steps in [1, 200] {
        let parent = tempfile::tempdir().unwrap();
        let folder = Folder::begin(&parent.path().join("out"), &dotwright::JOB_FILES, false, &[]).unwrap();
        let watch = Watch { stop_at: Some((FORECAST, steps)), ..Watch::default() };
        let ended = run(&plan, &art, "ramp.png", &watch);
        assert!(matches!(ended, Err(PipelineError::Stopped(_))), "{:?}", ended.map(|o| o.findings));
        let heard = watch.heard.into_inner().unwrap();
        assert_eq!(heard.stages.last().unwrap().0, FORECAST, "nothing further is begun");
        // 400 rows of the forecast, and lines of the program where it has begun; those under way are finished.
        assert!(
            heard.expected >= 400 && heard.done >= steps && heard.done < heard.expected,
            "{} of {}",
            heard.done,
            heard.expected
        );
        drop(folder);
        assert_eq!(std::fs::read_dir(parent.path()).unwrap().count(), 0, "nothing is left");
    }
}

#[test]
fn writing_stopped_in_the_middle_leaves_nothing() {
    let art = open(&ramp(), "'ramp.png'").unwrap();
    let plan = plan("");
    let outcome = run(&plan, &art, "ramp.png", &Watch::default()).unwrap();
    for stage in ["pictures and pages", "scan program"] {
        let parent = tempfile::tempdir().unwrap();
        let mut folder =
            Folder::begin(&parent.path().join("out"), &dotwright::JOB_FILES, false, &[]).unwrap();
        let watch = Watch { stop_at: Some((stage, 0)), ..Watch::default() };
        let ended = write(&plan, &outcome, None, &mut folder, &watch);
        assert!(matches!(ended, Err(WriteError::Stopped(_))), "{stage}: {:?}", ended.map(|r| r.files));
        drop(folder);
        assert_eq!(std::fs::read_dir(parent.path()).unwrap().count(), 0, "{stage}: nothing is left");
    }
}

#[test]
fn the_shares_of_a_jobs_stages_are_those_of_a_whole() {
    let art = open(&ramp(), "'ramp.png'").unwrap();
    for (more, least) in [
        ("", 1.0),
        ("dots.screen = 'model-diffusion'", 0.97),
        ("dots.screen = 'fitted'\ndots.effort = 1", 0.999),
        // Tones by power have no dots to make.
        ("scan.tone_by = 'power'", 0.9),
    ] {
        let watch = Watch::default();
        run(&plan(more), &art, "ramp.png", &watch).unwrap();
        let heard = watch.heard.into_inner().unwrap();
        let all: f64 = heard.stages.iter().map(|s| s.1).sum();
        assert!(all <= 1.0 + 1e-9 && all >= least - 1e-9, "{more}: {all} {:?}", heard.stages);
    }
}
