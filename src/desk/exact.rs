//! Exact: the whole run of a piece, as `prepare` does it, one for each job; a newer one ends the one before.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use serde_json::{Value, json};
use tokio::sync::watch;

use super::home::Name;
use super::piece::Piece;
use super::says::Says;
use super::shelf::Kind;
use super::texts::say;
use super::{Desk, Shared, shelf, tray};
use crate::job::Job;
use crate::pipeline::{self, Outcome};
use crate::plane::Tone;
use crate::progress::{Meter, Progress, Silent};

/// Runs that are kept, at most: their pictures take tens of megabytes each.
const KEPT: usize = 4;

/// A piece carried through.
pub(super) struct Exact {
    /// The piece.
    pub piece: Arc<Piece>,
    /// What came out.
    pub outcome: Outcome,
    wanted: OnceLock<Option<Tone>>,
    coverage: OnceLock<Vec<f32>>,
}

impl Exact {
    /// Carries a piece through.
    ///
    /// # Errors
    /// As [`pipeline::run_shown`].
    pub fn of(piece: Arc<Piece>, progress: &dyn Progress) -> Result<Exact, Says> {
        let outcome = pipeline::run_shown(&piece.plan, piece.shown(), &piece.called, progress)?;
        Ok(Exact { piece, outcome, wanted: OnceLock::new(), coverage: OnceLock::new() })
    }

    /// The wanted mark of each dot, drawn when it is first looked at.
    pub fn wanted(&self) -> Option<&Tone> {
        let draw = || {
            let mut wanted = pipeline::wanted(&self.piece.plan, self.piece.shown(), &Silent).ok()?;
            wanted.mask(&self.piece.plan);
            Some(wanted.tone)
        };
        let found = self.wanted.get_or_init(draw).as_ref();
        let dots = &self.outcome.stages.dots;
        found.filter(|t| (t.width(), t.height()) == (dots.width(), dots.height()))
    }

    /// How densely the dots lie, in the samples of the outcome's layout.
    pub fn coverage(&self) -> &[f32] {
        let stages = &self.outcome.stages;
        let grid = stages.placement.rect.grid;
        self.coverage.get_or_init(|| {
            crate::proof::density::coverage(&stages.dots, &stages.layout, (grid.along.0, grid.across.0))
        })
    }
}

/// What was carried through.
#[derive(Clone)]
pub(super) enum Done {
    /// One piece.
    Piece(Arc<Exact>),
    /// Many on trays.
    Tray(Arc<tray::Run>),
}

/// What has become of a run: `None` as long as it is under way.
type Ready = Option<Result<Done, Says>>;

struct Slot {
    of: Of,
    ended: Arc<AtomicBool>,
    ready: watch::Receiver<Ready>,
}

/// What a run is of: a state of a job, or a version of its sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Of {
    /// The job.
    pub name: Name,
    /// Its state.
    pub revision: String,
    /// The sheet, and the version on it.
    pub version: Option<(u64, usize)>,
}

impl Of {
    /// Whether it takes the place of `other`.
    fn follows(&self, other: &Of) -> bool {
        self.name == other.name && self.version.is_some() == other.version.is_some()
    }

    /// As events name it.
    fn told(&self) -> Value {
        let mut data = json!({ "job": self.name.text(), "revision": self.revision });
        if let Some((_, version)) = self.version {
            data["version"] = version.into();
        }
        data
    }
}

/// The runs, that begun last first.
#[derive(Default)]
pub(super) struct Exacts(Mutex<Vec<Slot>>);

impl Exacts {
    fn slots<T>(&self, change: impl FnOnce(&mut Vec<Slot>) -> T) -> T {
        change(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }

    /// Ends all that is under way.
    pub fn end(&self) {
        self.slots(|all| all.drain(..).for_each(|s| s.ended.store(true, Ordering::Relaxed)));
    }

    /// Begins a run, where it is not under way or done, and ends that which it follows.
    pub fn begin(&self, desk: &Shared, of: &Of) -> (watch::Receiver<Ready>, Arc<AtomicBool>) {
        let (tell, ready) = watch::channel(None);
        let ended = Arc::new(AtomicBool::new(false));
        let there = self.slots(|all| {
            if let Some(at) = all.iter().position(|s| of.follows(&s.of)) {
                let old = all.remove(at);
                if old.of == *of {
                    let there = (old.ready.clone(), Arc::clone(&old.ended));
                    all.insert(0, old);
                    return Some(there);
                }
                old.ended.store(true, Ordering::Relaxed);
            }
            all.insert(0, Slot { of: of.clone(), ended: Arc::clone(&ended), ready: ready.clone() });
            for old in all.drain(KEPT.min(all.len())..) {
                old.ended.store(true, Ordering::Relaxed);
            }
            None
        });
        if let Some(there) = there {
            return there;
        }
        let (desk, of, flag) = (Arc::clone(desk), of.clone(), Arc::clone(&ended));
        tokio::spawn(async move {
            let done = {
                let (desk2, of, ended) = (Arc::clone(&desk), of.clone(), Arc::clone(&flag));
                desk.work.run(move || run(&desk2, &of, &ended)).await
            };
            let mut data = of.told();
            match &done {
                // Nobody waits for what was overtaken.
                _ if flag.load(Ordering::Relaxed) => {}
                Ok(_) => desk.events.tell("exact", &data),
                Err(says) => {
                    data["says"] = says.sentence().into();
                    desk.events.tell("failed", &data);
                }
            }
            // Whoever waited may be gone.
            let _ = tell.send(Some(done));
        });
        (ready, ended)
    }

    /// A run, once it is done; `None` where it was overtaken.
    ///
    /// # Errors
    /// Why it could not be carried through.
    pub async fn wait(&self, desk: &Shared, of: &Of) -> Result<Option<Done>, Says> {
        let (mut ready, ended) = self.begin(desk, of);
        loop {
            if ended.load(Ordering::Relaxed) {
                return Ok(None);
            }
            if let Some(done) = ready.borrow_and_update().clone() {
                return done.map(Some);
            }
            if ready.changed().await.is_err() {
                return Ok(None);
            }
        }
    }
}

fn run(desk: &Desk, of: &Of, ended: &Arc<AtomicBool>) -> Result<Done, Says> {
    let overtaken = || Says::overtaken(say("says.job.overtaken"));
    if ended.load(Ordering::Relaxed) {
        return Err(overtaken());
    }
    let told = Told { desk, of, ended, meter: Meter::default(), last: Mutex::new((String::new(), -1.0)) };
    let kept = shelf::read(&desk.home, &of.name)?;
    if kept.kind == Kind::Tray {
        if kept.revision != of.revision {
            return Err(overtaken());
        }
        return Ok(Done::Tray(Arc::new(tray::Run::of(desk, &kept, &told)?)));
    }
    let piece = match of.version {
        None => desk.pieces.get(desk, &of.name, Some(&of.revision))?,
        Some(version) => version_of(desk, of, version)?,
    };
    let piece = piece.ok_or_else(overtaken)?;
    Ok(Done::Piece(Arc::new(Exact::of(piece, &told)?)))
}

/// The piece of a version as it stands on its sheet, whatever the job has become since.
fn version_of(desk: &Desk, of: &Of, version: (u64, usize)) -> Result<Option<Arc<Piece>>, Says> {
    let kept = shelf::read(&desk.home, &of.name)?;
    if kept.revision != of.revision {
        return Ok(None);
    }
    let mut job: Job = serde_json::from_value(desk.sheets.asked(version)?)?;
    job.seen_beside(kept.path.parent().unwrap_or(desk.home.root()));
    Ok(Some(Arc::new(Piece::of(desk, &kept, job)?)))
}

/// Tells the page how far a run is, and ends it when it is overtaken.
struct Told<'a> {
    desk: &'a Desk,
    of: &'a Of,
    ended: &'a AtomicBool,
    meter: Meter,
    last: Mutex<(String, f64)>,
}

impl Told<'_> {
    /// Each hundredth is told once.
    fn show(&self, stage: Option<&str>, part: f64) {
        let mut last = self.last.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(stage) = stage {
            last.0 = stage.to_string();
        }
        if part - last.1 >= 0.01 && !self.ended.load(Ordering::Relaxed) {
            last.1 = part;
            let mut data = self.of.told();
            (data["stage"], data["part"]) = (last.0.clone().into(), part.into());
            self.desk.events.tell("progress", &data);
        }
    }
}

impl Progress for Told<'_> {
    fn stage(&self, name: &str, share: f64) {
        self.show(Some(name), self.meter.stage(share));
    }
    fn expect(&self, steps: u64) {
        self.show(None, self.meter.expect(steps));
    }
    fn step(&self, done: u64) -> bool {
        self.show(None, self.meter.step(done));
        !self.ended.load(Ordering::Relaxed)
    }
}

/// Likeness of a run's forecast to what is wanted as the eye sees it, dB: as planned, and as is to be expected of machines
/// that are off by as much as is not known of this one.
pub(super) fn likeness(exact: &Exact) -> Option<(f64, f64)> {
    exact.outcome.stages.likely.map(|l| (l.planned_db, l.expected_db))
}
