//! Job: what was asked, as in `job.toml`. Every field may be absent; the plan fills in the defaults.

use std::path::Path;

use serde::{Deserialize, Serialize};

use super::acceptance::{self, Acceptance};
use super::error::FileError;
use super::unsaid::Unsaid;
use super::words::{
    Align, Along, Amount, Anchor, BeamOn, BurnTime, Crop, CurvePoints, DotGain, FilledIn, Levels, Nudge,
    Offset, Packing, ReadAs, Sharpen, ToneBy, Ways,
};
use super::{Coating, Machine, ProcessFile};
use super::{file, file_name, kit};
use crate::blank::{Shape, Surface};
use crate::placement::Place;
use crate::units::{Mm, MmPerS, Pitch, Share};

/// A named entry or file, or all of it written out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Reference<T> {
    /// A kit entry's name or a file's.
    Name(String),
    /// The thing itself.
    Whole(Box<T>),
}

/// Defines a section of the job file: optional fields, and `over` that takes the other's where set.
macro_rules! section {
    ($(#[$doc:meta])* $name:ident { $($(#[$fdoc:meta])* $field:ident: $type:ty),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
        #[serde(deny_unknown_fields, default)]
        pub struct $name {
            $($(#[$fdoc])* #[serde(skip_serializing_if = "Option::is_none")] pub $field: Option<$type>,)+
        }

        impl $name {
            /// These values, and where one is absent that of `base`.
            pub fn over(self, base: Self) -> Self {
                $name { $($field: self.$field.or(base.$field),)+ }
            }
        }
    };
}

section! {
    /// The art and how it is read.
    ArtJob {
        /// The art's file, as seen from the folder of the job file; a name that is no text stands there
        /// percent-encoded after `file:`.
        file: String,
        /// The file's CRC-32 when the job was prepared, so that a changed file is noticed.
        crc32: u32,
        /// The page of a PDF or TIFF, counted from 1. Default 1.
        page: u32,
        /// More fonts for its lettering: a file, a folder, or `system`. Default: those that ship.
        fonts: String,
        /// How it is read. Default auto.
        read_as: ReadAs,
        /// The part that is used. Default all.
        crop: Crop,
        /// Turn in degrees, clockwise: 0, 90, 180 or 270. Default 0.
        turn: u16,
        /// Mirrored left to right, for marking the back of glass. Default false.
        mirror: bool,
        /// The place of the blank less its margin that it is set against. Default middle.
        anchor: Anchor,
        /// How far it is moved from there, to the right and up. Default 0mm,0mm.
        at: Offset,
    }
}

section! {
    /// A layer: one thing more on the piece, above the art and the layers before it. It is a picture's file, a text or a
    /// border; exactly one of `file`, `text` and `border` is there.
    LayerJob {
        /// A picture's or drawing's file, as seen from the folder of the job file.
        file: String,
        /// That file's CRC-32 when the job was prepared.
        crc32: u32,
        /// A text; lines end with a line feed.
        text: String,
        /// A border of this width.
        border: Mm,
        /// How large it becomes: of a text that runs along an arc, the greatest length and the height of its line.
        /// Default inside.
        place: Place,
        /// The place of the blank less its margin that it is set against. Default middle.
        anchor: Anchor,
        /// How far it is moved from there, to the right and up. Default 0mm,0mm.
        at: Offset,
        /// A quarter turn or more, clockwise: 0, 90, 180 or 270. Default 0.
        turn: u16,
        /// Left bare where it is ink, whatever lies below; else it is marked. Default false.
        bare: bool,
        /// What lies below is cleared for so far around its ink. Default: nothing is cleared.
        clear: Mm,
        /// A text's font, by its family. Default DejaVu Sans.
        font: String,
        /// Whether a text is bold. Default false.
        bold: bool,
        /// Into how many lines a text of one may be broken at its spaces, where its letters become larger so. Default 1.
        lines: u32,
        /// Where a text's lines begin or end, and where it stands in a box that is wider. Default as the anchor says.
        align: Align,
        /// A text runs along a circle of this radius, over its top; below zero along its bottom. Default: straight.
        arc_mm: f64,
        /// A border's distance from the edge of the blank. Default the margin.
        inset: Mm,
        /// How a file is read. Default auto.
        read_as: ReadAs,
        /// The part of a file's picture that is used. Default all.
        crop: Crop,
        /// A file or a text mirrored left to right; once more where the piece is. Default false.
        mirror: bool,
        /// A file's light and dark exchanged. Default false.
        invert: bool,
        /// A file's picture lighter or darker. Default off.
        brighten: Nudge,
        /// A file's picture harder or flatter. Default off.
        contrast: Nudge,
    }
}

section! {
    /// The blank and where the art goes.
    BlankJob {
        /// The outline.
        shape: Shape,
        /// What is kept free at the edge.
        margin: Mm,
        /// What the surface looks like.
        surface: Surface,
        /// The coatings that it takes, as `--coating` names them, the usual one first. Default: the kit's for its
        /// surface.
        coatings: Vec<String>,
        /// How large the art becomes. Default inside.
        place: Place,
    }
}

section! {
    /// The tones.
    ToneJob {
        /// Levels. Default auto.
        levels: Levels,
        /// Lighter or darker, after the levels. Default off.
        brighten: Nudge,
        /// Harder or flatter, after the levels. Default off.
        contrast: Nudge,
        /// Light and dark exchanged; of a drawing, ink and ground. Default false.
        invert: bool,
        /// Local contrast. Default off.
        local_contrast: Amount,
        /// Sharpening. Default off.
        sharpen: Sharpen,
        /// Tone curve. Default off.
        curve: CurvePoints,
        /// The dot-gain curve. Default forecast.
        dot_gain: DotGain,
        /// The most coverage anywhere. Default 100 %.
        ceiling: Share,
    }
}

section! {
    /// The dots.
    DotsJob {
        /// Pitch along the lines. Default: the advised one; half of it with the screens that know the beam.
        pitch: Pitch,
        /// Pitch across the lines. Default: as along the lines.
        pitch_across: Pitch,
        /// How well beam and exposure are known, as a standard deviation, 0 % to 50 %. Default: as the process was
        /// measured, or 10 % where it is assumed.
        known: Share,
        /// The screen.
        screen: String,
        /// Threshold's level. Default 50 %.
        level: Share,
        /// Bayer's screen: side of its matrix, 2, 4, 8 or 16. Default 8.
        matrix: u32,
        /// Error diffusion: every second row from right to left. Default true.
        serpentine: bool,
        /// Error diffusion: no settled start, and errors dropped at the sides. Default false.
        as_published: bool,
        /// Clustered dots: ruling in clusters a millimetre. Default 2.
        ruling_per_mm: f64,
        /// Clustered dots: angle in degrees. Default 45.
        angle_deg: f64,
        /// Passes of a searching screen. Default 4.
        effort: u32,
        /// The colour for 'beam on' in the files. Default black.
        beam_on: BeamOn,
        /// Also a TIFF, packed so. Default none.
        tiff: Packing,
        /// Also a BMP. Default false.
        bmp: bool,
    }
}

section! {
    /// What the machine is set to.
    BurnJob {
        /// Power setting.
        power: Share,
        /// Speed while marking.
        speed: MmPerS,
        /// Passes over each line. Default 1.
        passes: u32,
        /// The time that the burn may take, as a share of that with dots on all lines. Default auto: as short as looks as
        /// good.
        time: BurnTime,
    }
}

section! {
    /// The scan program.
    ScanJob {
        /// Tones by dots or by power. Default dots.
        tone_by: ToneBy,
        /// Lines there and back, or all one way. Default both.
        direction: Ways,
        /// The axis that lines run along. Default x.
        axis: Along,
        /// Run-up at each end of a line. Default: v²/(2a) and the settle length.
        run_up: Mm,
        /// What each run is shortened by at either end. Default 0 mm.
        trim: Mm,
        /// Findings of severity stop that may pass, each for its art and no worse than it was. Default none.
        accept: Vec<Acceptance>,
    }
}

/// A file's name as seen from `folder`, as seen from here.
fn beside(folder: &Path, name: &mut String) {
    let path = file_name::path(name);
    if path.is_relative() {
        *name = file_name::text(&folder.join(path));
    }
}

/// The name in a reference, where it is one.
fn named<T>(reference: &mut Option<Reference<T>>) -> Option<&mut String> {
    match reference {
        Some(Reference::Name(name)) => Some(name),
        Some(Reference::Whole(_)) | None => None,
    }
}

/// Whether a pitch across is one that goes with the pitch along where none was asked for: as large, or a few times.
pub(super) fn follows(along: Option<Pitch>, across: Pitch) -> bool {
    along.is_some_and(|along| {
        (1..=MOST_SWITCHES).any(|n| (across.mm() / along.mm() / f64::from(n) - 1.0).abs() < 0.01)
    })
}

/// The most places in a line pitch at which the beam is switched.
pub(super) const MOST_SWITCHES: u32 = 3;

/// A job as it was asked.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Job {
    /// What nobody asked for but was filled in when the job was first prepared, so that a job that is run again says the
    /// same of its values; what was changed in its file since counts as asked for.
    #[serde(skip_serializing_if = "Unsaid::is_empty")]
    pub unsaid: Unsaid,
    /// The art.
    pub art: ArtJob,
    /// What lies above the art, bottom to top.
    #[serde(rename = "layer", skip_serializing_if = "Vec::is_empty")]
    pub layers: Vec<LayerJob>,
    /// The blank.
    pub blank: BlankJob,
    /// The tones.
    pub tone: ToneJob,
    /// The dots.
    pub dots: DotsJob,
    /// The settings.
    pub burn: BurnJob,
    /// The scan program.
    pub scan: ScanJob,
    /// The machine.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub machine: Option<Reference<Machine>>,
    /// The coating.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub coating: Option<Reference<Coating>>,
    /// What was measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub process: Option<Reference<ProcessFile>>,
}

impl Job {
    /// This job's values, and where one is absent that of `base`. What either accepts is accepted, but `base`'s
    /// checksum of the art belongs to `base`'s art. What was only filled in for `base` and follows from something
    /// that is named anew is filled in anew: the coating of another blank, the setting of another coating, the speed
    /// of another number of passes.
    pub fn over(self, base: Job) -> Job {
        let base = self.without_what_follows(base);
        let crc32 = self.art.crc32.or(base.art.crc32.filter(|_| self.art.file.is_none()));
        let accept = acceptance::merged(self.scan.accept.clone(), base.scan.accept.clone());
        Job {
            unsaid: base.unsaid.less(&self),
            art: ArtJob { crc32, ..self.art.over(base.art) },
            layers: if self.layers.is_empty() { base.layers } else { self.layers },
            blank: self.blank.over(base.blank),
            tone: self.tone.over(base.tone),
            dots: self.dots.over(base.dots),
            burn: self.burn.over(base.burn),
            scan: ScanJob { accept, ..self.scan.over(base.scan) },
            machine: self.machine.or(base.machine),
            coating: self.coating.or(base.coating),
            process: self.process.or(base.process),
        }
    }

    /// `base` less what was filled in there and follows from what is named here.
    fn without_what_follows(&self, mut base: Job) -> Job {
        let blank = &self.blank;
        if blank.shape.is_some() || blank.surface.is_some() || blank.coatings.is_some() {
            base.blank.coatings = None;
            if !base.asks_for(FilledIn::Coating) {
                base.coating = None;
            }
        }
        // What a blank is made of was told by the coating, where nobody said it, and by the surface what else it takes.
        let of_kit = |surface| kit::coatings_on(surface).ok() == base.blank.coatings;
        if self.coating.is_some()
            && blank.surface.is_none()
            && !base.asks_for(FilledIn::Surface)
            && base.blank.surface.is_some_and(of_kit)
        {
            (base.blank.surface, base.blank.coatings) = (None, None);
        }
        let other_machine = self.machine.is_some() || self.process.is_some();
        let other_pitch = other_machine && !base.asks_for(FilledIn::Pitch);
        if other_pitch || self.dots.pitch.is_some() {
            base.dots.pitch_across = base.pitch_across_apart();
        }
        if other_pitch {
            base.dots.pitch = None;
        }
        let other_start = other_machine || self.coating.is_some() || base.coating.is_none();
        if other_start && !base.asks_for(FilledIn::Power) {
            base.burn.power = None;
        }
        // Each pass gives its share of the exposure.
        let other_passes = self.burn.passes.is_some_and(|p| p != base.burn.passes.unwrap_or(1));
        if (other_start || other_passes) && !base.asks_for(FilledIn::Speed) {
            base.burn.speed = None;
        }
        if other_start && !base.asks_for(FilledIn::Passes) {
            base.burn.passes = None;
        }
        base
    }

    /// The pitch across where it does not follow from that along: written out, it is there even where it does.
    fn pitch_across_apart(&self) -> Option<Pitch> {
        self.dots.pitch_across.filter(|p| !follows(self.dots.pitch, *p))
    }

    /// The job less the setting that an earlier run filled in, and less its pitch where that is `forgotten` too: both were
    /// found with a process that does not hold any more.
    pub(super) fn without_filled_in(mut self, forgotten: bool) -> Job {
        if !self.asks_for(FilledIn::Power) {
            self.burn.power = None;
        }
        if !self.asks_for(FilledIn::Speed) {
            self.burn.speed = None;
        }
        if !self.asks_for(FilledIn::Passes) {
            self.burn.passes = None;
        }
        if forgotten && !self.asks_for(FilledIn::Pitch) {
            (self.dots.pitch, self.dots.pitch_across) = (None, self.pitch_across_apart());
        }
        self
    }

    /// The line pitch of a job whose pitch was filled in, with which the beam switches once or more often.
    pub(super) fn filled_in_pitch(&self) -> Option<Pitch> {
        let across = self.dots.pitch_across.filter(|p| follows(self.dots.pitch, *p));
        if self.asks_for(FilledIn::Pitch) { None } else { across }
    }

    /// Reads a job file. The art's file name is made relative to the current folder.
    ///
    /// # Errors
    /// Where it cannot be read or is no job file; the sentence names the line.
    pub fn read(path: &Path) -> Result<Job, FileError> {
        let text = file::read_text("job", path)?;
        let job: Job = file::parse("job", path, &text)?;
        let mut job = job.with_edits(&file::parse("job", path, &text)?);
        if let Some(folder) = path.parent() {
            job.seen_beside(folder);
        }
        Ok(job)
    }

    /// The files that the job names as seen from `folder`, as seen from here.
    pub(crate) fn seen_beside(&mut self, folder: &Path) {
        let files = self.layers.iter_mut().filter_map(|l| l.file.as_mut()).chain(&mut self.art.file);
        files.chain(self.art.fonts.as_mut().filter(|f| *f != "system")).for_each(|f| beside(folder, f));
        self.names_beside(folder);
    }

    /// The same of machine, coating and process alone, where they are files (`.toml`) and no names of the kit.
    pub(crate) fn names_beside(&mut self, folder: &Path) {
        let names = [named(&mut self.machine), named(&mut self.coating), named(&mut self.process)];
        names.into_iter().flatten().filter(|n| n.ends_with(".toml")).for_each(|n| beside(folder, n));
    }

    /// The text of the job file.
    ///
    /// # Errors
    /// Where a value cannot be put into TOML, which no value of a job should be.
    pub fn to_toml(&self) -> Result<String, toml::ser::Error> {
        let head = "# A job of Dotwright: what was asked, with every default written out.\n\
                    # Run it again with: dotwright prepare --job job.toml --out FOLDER\n";
        let more = match self.unsaid.is_empty() {
            true => "",
            false => {
                "# What [unsaid] names was filled in; a value that you change below counts as asked for.\n"
            }
        };
        let unsaid = self.unsaid.summed(&toml::Table::try_from(self)?);
        let text = toml::to_string_pretty(&Job { unsaid, ..self.clone() })?;
        Ok(format!("{head}{more}\n{text}"))
    }
}
