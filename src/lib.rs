//! Dotwright makes pictures and logos ready to be marked on coated blanks by a small laser.
//!
//! ```text
//! art file --open--> Art --place--> Placement --render--> Tone --shape--> Tone --screen--> Dots --mask--> Dots
//!                                                                                           |
//!            Process (machine + coating + blank, measured or assumed) --------+-------------+
//!                                                                            v             v
//!                                         Forecast (dose, mark, over-burn)      ScanProgram (moves, time)
//!                                                                            |             |
//!                                                              Findings <----+-------------+
//!                                                                  |
//!                  proof.png, ticket.html, dots.png/.tiff/.bmp, program.nc, job.toml, report.json
//! ```
//!
//! A job from text to files, in memory:
//!
//! ```
//! use dotwright::sink::Memory;
//! use dotwright::{Job, Plan, Silent, open, run, write};
//!
//! let svg = br#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><circle cx="4" cy="4" r="4"/></svg>"#;
//! let job: Job = "blank.shape = 'round:20mm'".parse()?;
//! let plan = Plan::of(&job)?;
//! let art = open(svg, "'disc.svg'")?;
//! let outcome = run(&plan, &art, "disc.svg", &Silent)?;
//! let mut files = Memory::default();
//! write(&plan, &outcome, None, &mut files, &Silent)?;
//! assert!(files.get("program.nc").is_some() && files.get("ticket.html").is_some());
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! Without the default features `cli` and `desk` the library builds without the command line and what only it needs.
//!
//! Which room may use which is listed in `DEVELOPERS.md`, under "Layout", and held by a test.

// Measuring, replaying and comparing have no part in the library's face yet: only the command line and the desk call them.
#![cfg_attr(not(feature = "desk"), allow(dead_code, unused_imports))]

mod art;
mod blank;
mod cause;
#[cfg(feature = "cli")]
#[doc(hidden)]
pub mod cli;
mod colour;
#[cfg(feature = "desk")]
mod desk;
mod encode;
mod findings;
mod job;
mod lately;
mod layer;
mod mark;
mod note;
mod order;
mod outputs;
mod parallel;
mod pipeline;
mod placement;
mod plane;
mod progress;
mod proof;
mod said;
mod scan;
mod screen;
mod texts;
mod tone;
mod units;
mod vector;
mod visual_quality;
mod wedge;

/// For the tests and benchmarks of this package alone.
#[doc(hidden)]
pub mod kernels;

#[cfg(test)]
mod rooms;
#[cfg(test)]
mod same_bits;

/// What a job asks for, section by section, and the values in it.
///
/// ```
/// use dotwright::Job;
/// use dotwright::asked::{BlankJob, DotsJob, Pitch};
///
/// let job = Job {
///     blank: BlankJob { shape: Some("round:30mm".parse()?), ..BlankJob::default() },
///     dots: DotsJob { pitch: Pitch::from_dpi(290.0), ..DotsJob::default() },
///     ..Job::default()
/// };
/// assert!(job.to_toml()?.contains("shape = \"round:30mm\""));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub mod asked {
    pub use crate::blank::{Shape, Surface};
    pub use crate::findings::Harm;
    pub use crate::job::acceptance::{Acceptance, Given};
    pub use crate::job::asked::{ArtJob, BlankJob, BurnJob, DotsJob, LayerJob, Reference, ScanJob, ToneJob};
    pub use crate::job::unsaid::Unsaid;
    pub use crate::job::words::{
        Align, Along, Amount, Anchor, BeamOn, BurnTime, Crop, CurvePoints, DotGain, FilledIn, Levels, Nudge,
        Offset, Packing, ReadAs, Sharpen, ToneBy, Ways,
    };
    pub use crate::job::{Coating, Machine, ProcessFile};
    pub use crate::placement::Place;
    pub use crate::units::{Mm, MmPerS, Pitch, Share};
}

/// Opens the picture or drawing in some bytes.
///
/// ```
/// let svg = br#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><circle cx="4" cy="4" r="4"/></svg>"#;
/// let art = dotwright::open(svg, "'disc.svg'")?;
/// assert_eq!(art.size(), (9.0, 9.0));
/// assert!(dotwright::open(b"", "'empty.jpg'").unwrap_err().to_string().starts_with("'empty.jpg' is empty"));
/// # Ok::<(), dotwright::OpenError>(())
/// ```
pub use art::open;
/// Opens a page of a document, with everything said that can be said of opening a file.
///
/// ```
/// use dotwright::{Opening, open_as};
///
/// let svg = br#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><circle cx="4" cy="4" r="4"/></svg>"#;
/// let second = Opening { page: 2, ..Opening::default() };
/// let said = open_as(svg, "'disc.svg'", &second).unwrap_err().to_string();
/// assert!(said.starts_with("'disc.svg' has one page only"));
/// ```
pub use art::open_as;
/// Opens a picture or drawing by its file's name.
///
/// ```
/// # let file = concat!(env!("CARGO_MANIFEST_DIR"), "/samples/harbour.jpg");
/// let art = dotwright::open_path(file.as_ref())?;
/// assert!(art.describe().starts_with("JPEG"));
/// # Ok::<(), dotwright::OpenError>(())
/// ```
pub use art::open_path;
/// Opens the picture or drawing in some bytes, with another patience than the usual one for drawings.
///
/// ```
/// use dotwright::{Patience, open_within};
///
/// let svg = br#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><circle cx="4" cy="4" r="4"/></svg>"#;
/// let art = open_within(svg, "'disc.svg'", Patience { drawing_s: 300.0 })?;
/// assert_eq!(art.size(), (9.0, 9.0));
/// # Ok::<(), dotwright::OpenError>(())
/// ```
pub use art::open_within;
pub use art::{Art, Fonts, FontsError, OpenError, Opening, Patience};

pub use encode::sink;

/// One thing worth saying before burning.
///
/// ```
/// use dotwright::{Job, Plan, Severity, Silent, open, run};
///
/// let svg = br#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><circle cx="4" cy="4" r="4"/></svg>"#;
/// let job: Job = "blank.shape = 'round:20mm'".parse()?;
/// let outcome = run(&Plan::of(&job)?, &open(svg, "'disc.svg'")?, "disc.svg", &Silent)?;
/// // Nothing was measured yet, and the forecast says so.
/// let assumed = outcome.findings.iter().find(|f| f.name == "assumed").ok_or("not found")?;
/// assert_eq!(assumed.severity, Severity::Note);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub use findings::Finding;
pub use findings::{Remedy, Severity};

/// A job, what it names and what is known of its art's file: for a job file that is kept beside its art, so that what
/// is accepted belongs to this art alone.
///
/// ```
/// use dotwright::{ArtFile, Brief, Job};
///
/// let mut brief = Brief::read("scan.accept = ['over-burn']".parse()?)?;
/// brief.art = Some(ArtFile { name: "ship.png".into(), path: "../ship.png".into(), crc32: 0x1234_5678 });
/// let plan = brief.settle()?;
/// assert_eq!(plan.job().art.crc32, Some(0x1234_5678));
/// let wrong: Job = "scan.accept = ['overburn']".parse()?;
/// assert!(Brief::read(wrong)?.settle().unwrap_err().to_string().contains("did you mean over-burn?"));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub use job::Brief;
/// A job as it is asked; what is absent is settled by the plan.
///
/// ```
/// use dotwright::Job;
///
/// let usual: Job = "blank.shape = 'round:90mm'\nburn.power = '80%'".parse()?;
/// let today: Job = "burn.power = '70%'".parse()?;
/// let job = today.over(usual);
/// assert_eq!(job.burn.power.map(|p| p.0), Some(0.7));
/// assert!(job.blank.shape.is_some());
/// # Ok::<(), dotwright::FileError>(())
/// ```
pub use job::Job;
/// A job with every number settled.
///
/// ```
/// use dotwright::{Job, Plan};
///
/// let plan = Plan::of(&Job::default())?;
/// assert!(plan.job().to_toml()?.contains("glass"));
/// let wrong: Job = "blank = { shape = 'round:4mm', margin = '3mm' }".parse()?;
/// assert!(Plan::of(&wrong).unwrap_err().to_string().contains("smaller than its margins"));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub use job::Plan;
pub use job::{ArtFile, FileError, PlanError};

/// What a person is told beside the findings: what was assumed, and what was decided and can be decided otherwise.
///
/// ```
/// use dotwright::{About, Job, Plan};
///
/// let plan = Plan::of(&Job::default())?;
/// let blank = plan.assumptions().iter().find(|note| note.about == About::Blank).ok_or("not assumed")?;
/// assert!(blank.says.starts_with("the blank is a "));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub use note::Note;

/// What a note is about.
pub use note::About;

/// The names of the files of a job: all that writing it again replaces.
///
/// ```
/// use dotwright::sink::{Folder, Sink};
///
/// # let folder = tempfile::tempdir()?;
/// # let place = folder.path().join("coaster");
/// let mut out = Folder::begin(&place, &dotwright::JOB_FILES, false, &[])?;
/// out.put("dots.png", b"...")?;
/// assert!(!place.exists());
/// out.commit()?;
/// assert!(place.join("dots.png").exists());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub use outputs::JOB as JOB_FILES;
pub use outputs::WriteError;
/// Writes the files of a job into a [`sink`].
///
/// ```
/// use dotwright::sink::{Sink, Zip};
/// use dotwright::{Job, Plan, Silent, open, run, write};
///
/// # let svg = br#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><circle cx="4" cy="4" r="4"/></svg>"#;
/// let job: Job = "blank.shape = 'round:20mm'".parse()?;
/// let plan = Plan::of(&job)?;
/// let outcome = run(&plan, &open(svg, "'disc.svg'")?, "disc.svg", &Silent)?;
/// let mut zip = Zip::new(Vec::new());
/// let report = write(&plan, &outcome, None, &mut zip, &Silent)?;
/// let bytes = zip.finish()?;
/// assert!(report.files.iter().any(|f| f.name == "program.nc") && bytes.starts_with(b"PK"));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub use outputs::write;

/// Carries a plan through: art to dots, forecast, findings and scan program.
///
/// ```
/// use dotwright::{Job, Plan, Silent, open, run};
///
/// # let svg = br#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><circle cx="4" cy="4" r="4"/></svg>"#;
/// let job: Job = "blank.shape = 'round:20mm'".parse()?;
/// let plan = Plan::of(&job)?;
/// let outcome = run(&plan, &open(svg, "'disc.svg'")?, "disc.svg", &Silent)?;
/// assert_eq!(outcome.stops(&plan).count(), 0);
/// assert!(outcome.report.times.is_some_and(|t| t.total_s > 60.0));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub use pipeline::run;
pub use pipeline::{Outcome, PipelineError};

/// A sentence for people: it names options on the command line, and none where fields and buttons stand in their place.
///
/// ```
/// use dotwright::Said;
///
/// let said = Said::from("lines along y").line(" (--axis y)").and(", less time");
/// assert_eq!(said.to_string(), "lines along y (--axis y), less time");
/// assert_eq!(said.on_page(), "lines along y, less time");
/// ```
pub use said::Said;

/// Hears how far the work is, and may end it.
///
/// ```
/// use std::sync::atomic::{AtomicU32, Ordering};
///
/// use dotwright::{Job, PipelineError, Plan, Progress, open, run};
///
/// /// Stops at the fourth stage.
/// #[derive(Default)]
/// struct Impatient(AtomicU32);
///
/// impl Progress for Impatient {
///     fn stage(&self, _name: &str, _share: f64) {
///         self.0.fetch_add(1, Ordering::Relaxed);
///     }
///     fn expect(&self, _steps: u64) {}
///     fn step(&self, _done: u64) -> bool {
///         self.0.load(Ordering::Relaxed) < 4
///     }
/// }
///
/// # let svg = br#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><circle cx="4" cy="4" r="4"/></svg>"#;
/// let plan = Plan::of(&Job::default())?;
/// let ended = run(&plan, &open(svg, "'disc.svg'")?, "disc.svg", &Impatient::default());
/// assert!(matches!(ended, Err(PipelineError::Stopped(_))));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub use progress::Progress;
pub use progress::{Silent, Stopped};

pub use proof::report::{FIELDS as REPORT_FIELDS, Report};
