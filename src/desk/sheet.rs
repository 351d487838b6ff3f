//! Sheet: the versions of a piece as they are made, the best first.

use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use serde_json::{Value, json};

use super::exact::Of;
use super::home::Name;
use super::piece::Piece;
use super::places::{Seen, scene};
use super::says::{Answer, Says, bytes};
use super::shelf::Kept;
use super::texts::say;
use super::versions::{self, Way};
use super::{Desk, Shared, written};
use crate::art::reading::Decision;
use crate::job::words::ReadAs;
use crate::job::{Brief, Job, Plan};
use crate::parallel;
use crate::pipeline::Drawable;
use crate::pipeline::compare::{self, QuickLook};
use crate::placement::{Place, Placement};
use crate::plane::{Dots, Tone};
use crate::progress::Progress;
use crate::proof::picture;
use crate::screen::model_diffusion::MODEL_DIFFUSION;
use crate::tone::automatic::Automatic;

/// Longest side of a version's picture, pixels.
const SIDE: usize = 420;
/// By so much a version must be more like than the piece as it is to come before it, dB.
const LIKE: f64 = 0.5;
/// Art that fills the blank is another picture where it is more than so many times as wide as one that fits.
const NO_LARGER: f64 = 1.01;
/// Sheets that are kept, at most.
const KEPT: usize = 12;

/// A version that was made.
struct Version {
    id: usize,
    way: Way,
    /// The job with it.
    asked: Value,
    /// Likeness to the picture of the piece as it is, where it is to be the same one; else to its own.
    likeness_db: f64,
    burnt_mm2: f64,
    seconds: f64,
    /// Whether its own screen searches, and its time is the quick one's.
    searched: bool,
    picture: Vec<u8>,
}

impl Version {
    /// Its likeness as its ticket tells it: to its own picture. That of another in its tones was held against the piece as it
    /// is, to be sorted, and is no such likeness.
    fn likeness(&self) -> Option<f64> {
        (!self.way.other_tones()).then_some(self.likeness_db)
    }
}

/// The versions of one state of a job.
struct Sheet {
    id: u64,
    job: Name,
    revision: String,
    ended: Arc<AtomicBool>,
    done: bool,
    /// Why there is no version, where there can be none.
    lacking: Option<String>,
    versions: Vec<Version>,
    /// The time by the searching screen as a share of that by the quick one, once it is known: that of the job as it is,
    /// which those of the other versions are near to.
    share: Option<f64>,
}

impl Sheet {
    /// Puts the best version first. What is another picture than the piece as it is has a likeness to something else, which
    /// tells nothing here: it comes behind that, however like it is.
    fn best_first(&mut self) {
        let first = self.versions.iter().find(|v| v.id == 0).map(|v| (v.likeness_db, v.burnt_mm2));
        // Quick looks tell no finer than half a decibel: so much another must be better than the piece as it is.
        let place = |v: &Version| match first.filter(|_| !v.way.same_picture) {
            Some((likeness, burnt)) => (v.burnt_mm2.max(burnt) > 0.0, v.way.doubtful, likeness + LIKE),
            None => (v.burnt_mm2 > 0.0, v.way.doubtful, v.likeness_db + if v.id == 0 { LIKE } else { 0.0 }),
        };
        self.versions.sort_by(|a, b| {
            let ((burns, doubtful, like), other) = (place(a), place(b));
            (burns, doubtful).cmp(&(other.0, other.1)).then(other.2.total_cmp(&like)).then(a.id.cmp(&b.id))
        });
    }
}

/// All sheets, that begun last first.
#[derive(Default)]
pub(super) struct Sheets {
    all: Mutex<Vec<Sheet>>,
    count: AtomicU64,
}

impl Sheets {
    fn with<T>(&self, change: impl FnOnce(&mut Vec<Sheet>) -> T) -> T {
        change(&mut self.all.lock().unwrap_or_else(PoisonError::into_inner))
    }

    /// Ends all that is under way.
    pub fn end(&self) {
        self.with(|all| all.iter().for_each(|s| s.ended.store(true, Ordering::Relaxed)));
    }

    /// Ends all that is under way, and forgets what was made.
    pub fn clear(&self) {
        self.end();
        self.with(Vec::clear);
    }

    /// Begins the sheet of a job as it is kept, or finds it begun.
    pub fn begin(&self, desk: &Shared, kept: Kept) -> u64 {
        let known = |all: &mut Vec<Sheet>| {
            all.iter().find(|s| s.job == kept.name && s.revision == kept.revision).map(|s| s.id)
        };
        if let Some(id) = self.with(known) {
            return id;
        }
        let id = self.count.fetch_add(1, Ordering::Relaxed) + 1;
        let ended = Arc::new(AtomicBool::new(false));
        self.with(|all| {
            // A sheet of an earlier state is of no use to anyone.
            all.iter().filter(|s| s.job == kept.name).for_each(|s| s.ended.store(true, Ordering::Relaxed));
            all.retain(|s| s.job != kept.name);
            let (job, revision) = (kept.name.clone(), kept.revision.clone());
            all.insert(
                0,
                Sheet {
                    id,
                    job,
                    revision,
                    ended: Arc::clone(&ended),
                    done: false,
                    lacking: None,
                    versions: Vec::new(),
                    share: None,
                },
            );
            all.truncate(KEPT);
        });
        let desk = Arc::clone(desk);
        tokio::spawn(async move {
            let (own, job) = (Arc::clone(&desk), kept.name.clone());
            let of = Of { name: job.clone(), revision: kept.revision.clone(), version: None };
            let made = desk.work.run(move || make(&own, id, &kept, &ended)).await;
            let lacking = made.err().map(|says| says.sentence().to_string());
            desk.sheets.with(|all| {
                for sheet in all.iter_mut().filter(|s| s.id == id) {
                    (sheet.done, sheet.lacking) = (true, lacking.clone());
                }
            });
            let data = json!({ "job": job.text(), "sheet": id, "says": lacking });
            desk.events.tell("sheet-done", &data);
            // What is looked at next is the job itself, where it is still as it was.
            if desk.sheets.with(|all| all.iter().any(|s| s.id == id && !s.ended.load(Ordering::Relaxed))) {
                desk.exacts.begin(&desk, &of);
            }
        });
        id
    }

    /// A job's sheet as the page has it, the best version first; `now` is what the job asks for now.
    pub fn told(&self, job: &Name, revision: &str, now: &Value) -> Value {
        let none = || json!({ "sheet": null, "versions": [], "done": false });
        self.with(|all| {
            let Some(sheet) = all.iter_mut().find(|s| s.job == *job) else { return none() };
            let chosen = sheet.versions.iter().find(|v| v.asked == *now).map(|v| v.id);
            // One that is of another state is shown as long as the job is one of its versions.
            if sheet.revision != revision && chosen.is_none() {
                return none();
            }
            sheet.best_first();
            let share = sheet.share;
            let told = sheet.versions.iter().map(|v| {
                json!({
                    "id": v.id,
                    "line": v.way.line,
                    "why": v.way.why,
                    "asked": v.asked,
                    "likeness_db": v.likeness(),
                    "over_burn_mm2": v.burnt_mm2,
                    "seconds": if v.searched { share.map(|s| s * v.seconds) } else { Some(v.seconds) },
                    "picture": format!("/api/jobs/{}/sheet/{}?sheet={}", job.in_path(), v.id, sheet.id),
                    "chosen": Some(v.id) == chosen,
                })
            });
            let versions = told.collect::<Vec<_>>();
            json!({ "sheet": sheet.id, "done": sheet.done, "says": sheet.lacking, "versions": versions })
        })
    }

    /// A version's picture.
    ///
    /// # Errors
    /// Where there is none.
    pub fn picture(&self, job: &Name, version: usize) -> Answer {
        let found = self.with(|all| {
            let sheet = all.iter().find(|s| s.job == *job)?;
            Some(sheet.versions.iter().find(|v| v.id == version)?.picture.clone())
        });
        bytes("image/png", found.ok_or_else(gone)?)
    }

    /// The sheet that a job has now.
    ///
    /// # Errors
    /// Where there is none.
    pub fn now(&self, job: &Name) -> Result<u64, Says> {
        self.with(|all| all.iter().find(|s| s.job == *job).map(|s| s.id)).ok_or_else(gone)
    }

    /// What a version of a sheet asks for as a whole.
    ///
    /// # Errors
    /// Where there is none.
    pub fn asked(&self, (sheet, version): (u64, usize)) -> Result<Value, Says> {
        let found = self.with(|all| {
            let sheet = all.iter().find(|s| s.id == sheet)?;
            Some(sheet.versions.iter().find(|v| v.id == version)?.asked.clone())
        });
        found.ok_or_else(gone)
    }
}

fn gone() -> Says {
    Says::missing(say("says.version.gone"))
}

/// Ends with its sheet.
struct Ends<'a>(&'a AtomicBool);

impl Progress for Ends<'_> {
    fn stage(&self, _name: &str, _share: f64) {}
    fn expect(&self, _steps: u64) {}
    fn step(&self, _done: u64) -> bool {
        !self.0.load(Ordering::Relaxed)
    }
}

/// Makes all versions: the job as it is first, which the others are held against, then two at once.
fn make(desk: &Desk, id: u64, kept: &Kept, ended: &AtomicBool) -> Result<(), Says> {
    let Some(piece) = desk.pieces.get(desk, &kept.name, Some(&kept.revision))? else { return Ok(()) };
    let asked = written::asked(&toml::from_str::<Job>(&kept.text)?)?;
    let reading = match piece.art() {
        Some(held) if piece.plan.art.read_as == ReadAs::Auto => held.decided(piece.plan.art.crop.window()),
        _ => Decision::asked(piece.kind(), ""),
    };
    let widths = [Place::Inside, Place::Cover].map(|place| piece.art_width(place));
    let fills = matches!(widths, [Some(inside), Some(cover)] if cover > inside * NO_LARGER);
    let ways = versions::ways(&piece.plan, &asked, &reading, fills);
    let tell = |number: usize| {
        let data = json!({ "job": kept.name.text(), "sheet": id, "version": number });
        desk.events.tell("version", &data);
    };
    let of = |number: usize, first: Option<&Tone>| -> Result<Option<First>, Says> {
        if ended.load(Ordering::Relaxed) {
            return Ok(None);
        }
        let way = &ways[number];
        let with = versions::changed(&asked, &way.change);
        let job: Job = serde_json::from_value(with.clone())?;
        let (plan, searching) = settled(desk, kept, job.clone())?;
        let Carried { made: look, tone, photo, automatic } =
            carried(&piece, &plan, first.filter(|_| way.same_picture), &Ends(ended))?;
        if number > 0 && look.dots.count() == 0 {
            // It marks nothing: no version of the piece.
            return Ok(None);
        }
        let seen = Seen::whole(&plan, SIDE);
        let shown = picture::piece(&scene(&plan, &look.placement.rect), &seen.layout(), &look.look)?;
        let why = match number {
            0 => versions::read_as(reading.kind, &asked, automatic.as_ref()),
            _ => way.why.clone(),
        };
        let version = Version {
            id: number,
            way: Way { why, ..way.clone() },
            asked: written::asked(&job)?,
            likeness_db: look.likeness_db,
            burnt_mm2: if look.verdict.clear() { 0.0 } else { look.verdict.charred_mm2 },
            seconds: look.seconds,
            searched: searching.is_some() && photo,
            picture: shown.to_png(None)?,
        };
        desk.sheets.with(|all| {
            if let Some(sheet) = all.iter_mut().find(|s| s.id == id) {
                sheet.versions.push(version);
            }
        });
        tell(number);
        Ok(Some(First { searching, tone, dots: look.dots, placement: look.placement }))
    };
    let Some(first) = of(0, None)? else { return Ok(()) };
    let share = || -> Result<(), Says> {
        let share = match &first.searching {
            Some(plan) => {
                compare::against_quick(plan, piece.kind(), &first.tone, &first.placement, &first.dots)?
            }
            None => 1.0,
        };
        desk.sheets.with(|all| all.iter_mut().filter(|s| s.id == id).for_each(|s| s.share = Some(share)));
        tell(0);
        Ok(())
    };
    // A version that cannot be made is left out: a finer pitch may be more than the machine can do.
    parallel::map(
        ways.len(),
        |i| if i == 0 { share().ok() } else { of(i, Some(&first.tone)).map(drop).ok() },
    );
    Ok(())
}

/// What the job as it is leaves for the other versions.
struct First {
    /// The plan of its own screen, where that searches.
    searching: Option<Plan>,
    /// What is wanted.
    tone: Tone,
    /// The quick look's dots.
    dots: Dots,
    placement: Placement,
}

/// A job in the place of the one that is kept, settled; and the plan of its own screen where that searches: it takes longer
/// than all versions may, and a quick one that knows the beam stands for it.
fn settled(desk: &Desk, kept: &Kept, mut job: Job) -> Result<(Plan, Option<Plan>), Says> {
    job.seen_beside(kept.path.parent().unwrap_or(desk.home.root()));
    written::inside(&desk.home, &job)?;
    let plan = Brief::read(job.clone())?.settle()?;
    if !plan.dots.screen.searches {
        return Ok((plan, None));
    }
    job.dots.screen = Some(MODEL_DIFFUSION.name.to_string());
    Ok((Brief::read(job)?.settle()?, Some(plan)))
}

/// A version carried through.
struct Carried {
    made: QuickLook,
    /// What is wanted.
    tone: Tone,
    /// Whether it is read as a photo.
    photo: bool,
    /// What its photo was given of what it lacked.
    automatic: Option<Automatic>,
}

/// Carries a version through; it is held against `first` where that has the same dots.
fn carried(
    piece: &Piece,
    plan: &Plan,
    first: Option<&Tone>,
    progress: &dyn Progress,
) -> Result<Carried, Says> {
    let (shown, read_as) = piece.quick(plan);
    let photo = read_as.first() == Some(&Some(ReadAs::Photo));
    let drawn = Drawable::of(plan).read_as(&read_as).wanted(shown, progress)?;
    let automatic = drawn.automatic;
    let (made, tone) = compare::quick(plan, drawn, first, (2 * SIDE, &piece.called), progress)?;
    Ok(Carried { made, tone, photo, automatic })
}

#[cfg(test)]
mod tests {
    use serde_json::Map;

    use super::*;

    #[test]
    fn another_picture_never_stands_above_the_piece_as_it_is() {
        let order = |versions: Vec<Version>| {
            let mut sheet = sheet(1, versions);
            sheet.best_first();
            sheet.versions.iter().map(|v| v.id).collect::<Vec<_>>()
        };
        // 1 is better than the piece as it is, 2 is not by enough, 3 is read otherwise, and 4 is so and doubtful.
        let all = |burnt: f64| {
            vec![
                version(4, false, 60.0, 0.0, true),
                version(3, false, 50.0, 0.0, false),
                version(2, true, 30.4, 0.0, false),
                version(1, true, 31.0, 0.0, false),
                version(0, true, 30.0, burnt, false),
            ]
        };
        assert_eq!(order(all(0.0)), [1, 0, 3, 2, 4]);
        // Where the piece as it is would char, what is the same picture and does not goes before it, and nothing else.
        assert_eq!(order(all(2.0)), [1, 2, 0, 3, 4]);
    }

    fn version(id: usize, same_picture: bool, likeness_db: f64, burnt_mm2: f64, doubtful: bool) -> Version {
        Version {
            id,
            way: Way { line: String::new(), why: String::new(), change: Map::new(), same_picture, doubtful },
            asked: Value::Null,
            likeness_db,
            burnt_mm2,
            seconds: 1.0,
            searched: false,
            picture: Vec::new(),
        }
    }

    fn sheet(id: u64, versions: Vec<Version>) -> Sheet {
        Sheet {
            id,
            job: Name::near("a", "a"),
            revision: "r".into(),
            ended: Arc::default(),
            done: true,
            lacking: None,
            versions,
            share: None,
        }
    }

    #[test]
    fn a_version_is_what_its_sheet_says_whatever_is_asked_since() {
        let mut lighter = version(1, true, 25.9, 0.0, false);
        lighter.way.change = Map::from_iter([("tone.brighten".into(), json!("25%"))]);
        lighter.asked = json!({ "tone": { "brighten": "25%" } });
        let as_it_is = Version { asked: json!({}), ..version(0, true, 40.1, 0.0, false) };
        let (sheets, job) = (Sheets::default(), Name::near("a", "a"));
        sheets.with(|all| all.push(sheet(7, vec![as_it_is, lighter])));
        // Taken, it is still on the sheet whose first version is the job as it was.
        let told = sheets.told(&job, "later", &json!({ "tone": { "brighten": "25%" } }));
        let of = |id: usize| told["versions"].as_array().unwrap().iter().find(|v| v["id"] == id).unwrap();
        assert!(of(0)["asked"] == json!({}) && of(1)["chosen"] == true, "{told}");
        // Other tones are held against the piece as it is: no likeness that a ticket knows.
        assert!(of(0)["likeness_db"] == 40.1 && of(1)["likeness_db"].is_null(), "{told}");
        let now = sheets.now(&job).unwrap();
        assert_eq!(sheets.asked((now, 1)).unwrap(), json!({ "tone": { "brighten": "25%" } }));
        assert!(sheets.asked((now + 1, 1)).is_err());
        // Something else was asked by hand: it is of the past.
        assert!(sheets.told(&job, "later", &json!({ "title": "b" }))["sheet"].is_null());
    }

    #[test]
    fn what_is_forgotten_is_made_anew() {
        let (sheets, job, ended) = (Sheets::default(), Name::near("a", "a"), Arc::<AtomicBool>::default());
        let lacking = Some("the picture is empty".into());
        let sheet = Sheet { ended: Arc::clone(&ended), lacking, ..sheet(1, Vec::new()) };
        sheets.with(|all| all.push(sheet));
        let told = sheets.told(&job, "r", &Value::Null);
        assert!(told["sheet"] == 1 && told["says"] == "the picture is empty", "{told}");
        sheets.clear();
        assert!(ended.load(Ordering::Relaxed));
        assert_eq!(sheets.told(&job, "r", &Value::Null)["sheet"], Value::Null);
    }
}
