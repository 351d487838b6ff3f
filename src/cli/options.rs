//! The options of a job, shared by the commands that take one; each states its default, unit and range.

use std::path::Path;

use clap::Args;
use clap::builder::{OsStringValueParser, TypedValueParser};

use crate::art::{Fonts, FontsError, Opening, Patience};
use crate::blank::Surface;
use crate::job::acceptance::Acceptance;
use crate::job::asked::{ArtJob, BlankJob, BurnJob, DotsJob, LayerJob, Reference, ScanJob, ToneJob};
use crate::job::kit::{self, Sort};
use crate::job::words::{
    Along, Amount, Anchor, BeamOn, BurnTime, Crop, CurvePoints, DotGain, Levels, Nudge, Offset, Packing,
    ReadAs, Sharpen, ToneBy, Ways,
};
use crate::job::{Job, KitError, Plan, file_name};
use crate::placement::Place;
use crate::units::{Mm, MmPerS, Pitch, Share};

/// What is marked on.
#[derive(Debug, Clone, Default, Args)]
#[command(next_help_heading = "Blank and place")]
pub struct BlankOptions {
    /// The blank: round:90mm, rect:100x60mm, rect:100x100mm:r8mm, cylinder:73x100mm, cone:60x78x120mm, or a kit entry [default: glass-tile-100]
    ///
    /// A side is from 1mm to 2000mm; r is the corner radius. A kit entry such as slate-coaster-100 brings its margin, its
    /// surface and its usual coating.
    #[arg(long, value_name = "SHAPE", value_parser = named())]
    pub blank: Option<String>,
    /// What is kept free at the blank's edge [default: the kit entry's, or 2.5mm]
    ///
    /// From 0mm up. No dot is ever laid beyond it.
    #[arg(long, allow_hyphen_values = true, value_name = "MM")]
    pub margin: Option<Mm>,
    /// What the blank's surface is: glass, tile, slate or metal [default: the kit entry's, the coating's, or glass]
    #[arg(long, value_name = "SURFACE", value_parser = clap::value_parser!(Surface))]
    pub surface: Option<Surface>,
}

/// How the art lies on the blank.
#[derive(Debug, Clone, Default, Args)]
#[command(next_help_heading = "Blank and place")]
pub struct PlaceOptions {
    /// How large the art becomes: inside, cover, or a size such as 60x40mm [default: inside]
    ///
    /// inside: as large as fits inside the margin around the middle of the picture (a transparent edge may reach past
    /// it; --crop leaves one out). cover: as large as needed to fill it; the rest is cut off. A size: as large as
    /// fits into that box. Proportions are kept.
    #[arg(long, value_name = "HOW")]
    pub place: Option<Place>,
    /// The place of the blank less its margin that art of a stated size is set against: middle, top, bottom, left, right, top-left ... [default: middle]
    #[arg(long, value_name = "PLACE")]
    pub anchor: Option<Anchor>,
    /// Move the art from there, to the right and up: 10mm,-4mm [default: 0mm,0mm]
    #[arg(long, value_name = "RIGHT,UP", allow_hyphen_values = true)]
    pub at: Option<Offset>,
    /// Turn the art clockwise: 0, 90, 180 or 270 degrees [default: 0]
    #[arg(long, value_name = "DEGREES", value_parser = clap::builder::PossibleValuesParser::new(["0", "90", "180", "270"]))]
    pub turn: Option<String>,
    /// Mirror left to right, for marking the back of glass
    #[arg(long)]
    pub mirror: bool,
    /// The page of a PDF or TIFF, counted from 1 [default: 1]
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(u32).range(1..))]
    pub page: Option<u32>,
    /// More fonts for an SVG's lettering: a font file, a folder of fonts, or system [default: DejaVu, which ships]
    #[arg(long, value_name = "FILE|FOLDER|system", value_parser = named())]
    pub fonts: Option<String>,
    /// Use a part of the art: left,top,width,height in percent, for example 10%,0%,80%,100% [default: off]
    #[arg(long, value_name = "PART")]
    pub crop: Option<Crop>,
}

/// A name of the kit or a file's, which may be any bytes.
pub fn named() -> impl TypedValueParser<Value = String> {
    OsStringValueParser::new().map(|name| file_name::text(Path::new(&name)))
}

/// The place of fonts as the job file keeps it: as seen from everywhere.
fn fonts(place: &str) -> String {
    let path = file_name::path(place);
    match std::path::absolute(&path) {
        Ok(whole) if place != "system" => file_name::text(&whole),
        _ => place.to_string(),
    }
}

/// How long art may take to be opened and drawn.
#[derive(Debug, Args)]
pub struct DrawingOptions {
    /// How long an SVG or PDF may take to be read, and again each time it is drawn, in seconds, above 0 and up to 3600 [default: 30s]
    #[arg(long, value_name = "SECONDS", value_parser = super::search_time::parse_seconds)]
    pub drawing_time: Option<f64>,
}

impl DrawingOptions {
    /// How the art of a plan is opened.
    pub fn opening(&self, plan: &Plan) -> Result<Opening, FontsError> {
        let place = plan.job.art.fonts.as_deref();
        let fonts = place.map(|p| Fonts::with(&file_name::path(p).to_string_lossy())).transpose()?;
        Ok(Opening { patience: self.patience(), page: plan.art.page, fonts: fonts.unwrap_or_default() })
    }

    /// The patience for opening.
    pub fn patience(&self) -> Patience {
        self.drawing_time.map_or_else(Patience::default, |drawing_s| Patience { drawing_s })
    }
}

/// Parses a place on the blank, `40,50` in mm from its lower left corner.
pub fn parse_place(text: &str) -> Result<(f64, f64), String> {
    let wrong = || {
        format!(
            "'{text}' is not a place on the blank; write mm from the blank's lower left corner, for example 40,50"
        )
    };
    let (x, y) = text.split_once(',').ok_or_else(wrong)?;
    let mm = |t: &str| t.trim().trim_end_matches("mm").parse::<f64>().ok().filter(|v| v.is_finite());
    Ok((mm(x).ok_or_else(wrong)?, mm(y).ok_or_else(wrong)?))
}

/// How the art is read and its tones are made.
#[derive(Debug, Clone, Default, Args)]
#[command(next_help_heading = "Tones")]
pub struct ToneOptions {
    /// How the art is read: auto, photo, drawing or paper [default: auto]
    ///
    /// photo keeps the look of the tones; drawing marks what is ink; paper is a drawing or print on paper, photographed
    /// or scanned: the paper's shadow and colour are taken away and its strokes are marked; auto decides from the file,
    /// says why, and says so where it is unsure.
    #[arg(long, value_name = "HOW")]
    pub read_as: Option<ReadAs>,
    /// Stretch the tones: auto, off, auto:0.5% (share clipped at either end, at most 20%) or 5%,95% [default: auto]
    ///
    /// auto gives a photo what it lacks, within bounds: a dark or dull one its range, a subject in shadow more light. A good
    /// photo, a night sky, a flat card and every drawing are left alone. What was done is said.
    #[arg(long, value_name = "LEVELS")]
    pub levels: Option<Levels>,
    /// Lighter or darker, after the levels: -100 to 100, for example 20 or -20 [default: off]
    ///
    /// Black stays black and white stays white. 20, 20% and +20% are the same.
    #[arg(long, value_name = "AMOUNT", allow_hyphen_values = true)]
    pub brighten: Option<Nudge>,
    /// Harder or flatter, after the levels: -100 to 100, for example 20 or -20 [default: off]
    #[arg(long, value_name = "AMOUNT", allow_hyphen_values = true)]
    pub contrast: Option<Nudge>,
    /// Exchange light and dark of a photo, ink and ground of a drawing; what is transparent stays bare
    #[arg(long)]
    pub invert: bool,
    /// Contrast of small places within their surroundings, off or 0% to 100% [default: off]
    #[arg(long, value_name = "AMOUNT")]
    pub local_contrast: Option<Amount>,
    /// Sharpen: off, a radius on the piece, or radius,amount: 0.2mm,80% [default: off]
    ///
    /// The radius is from 0.01mm to 5mm, the amount from 0% to 300% (100% where it is not given).
    #[arg(long, value_name = "RADIUS[,AMOUNT]")]
    pub sharpen: Option<Sharpen>,
    /// Tone curve over lightness: off or points such as 0%:0%,50%:60%,100%:100% [default: off]
    #[arg(long, value_name = "POINTS")]
    pub curve: Option<CurvePoints>,
    /// Make up for the growth of dots: off, forecast, or a file with a measured tone curve [default: forecast]
    #[arg(long, value_name = "HOW", value_parser = named().try_map(|how| how.parse::<DotGain>()))]
    pub dot_gain: Option<DotGain>,
    /// The most coverage anywhere, 1% to 100% [default: 100%]
    #[arg(long, value_name = "SHARE")]
    pub ceiling: Option<Share>,
}

/// The dots, whichever screen makes them.
#[derive(Debug, Clone, Default, Args)]
#[command(next_help_heading = "Dots")]
pub struct DotOptions {
    /// Density of dots, for example 290.3dpi [default: advised for the machine's beam and motors]
    ///
    /// From 5.08dpi to 5080dpi. The same as --pitch, said the other way round.
    #[arg(long, allow_hyphen_values = true, value_name = "DPI", conflicts_with = "pitch")]
    pub density: Option<Pitch>,
    /// Distance between dots, for example 0.0875mm [default: advised for the machine's beam and motors]
    ///
    /// From 0.005mm to 5mm. The advised pitch is a whole number of motor steps near 0.7 of the beam across; where none is
    /// asked for, auto and fitted switch the beam at half of it along the lines.
    #[arg(long, allow_hyphen_values = true, value_name = "MM")]
    pub pitch: Option<Pitch>,
    /// Distance between lines where it differs from the pitch along them, 0.005mm to 5mm [default: the same]
    #[arg(long, allow_hyphen_values = true, value_name = "MM")]
    pub pitch_across: Option<Pitch>,
    /// How well beam and exposure are known, as a standard deviation, for example 2% [default: as measured, or 10%]
    ///
    /// The dots are those whose expected mark looks best over what may be: sharp ones where the machine was measured,
    /// tolerant ones where it was not. From 0% to 50%.
    #[arg(long, value_name = "SHARE")]
    pub known: Option<Share>,
    /// Threshold's level, 0% to 100% [default: 50%]
    #[arg(long, value_name = "SHARE")]
    pub level: Option<Share>,
    /// Bayer's screen: side of its matrix in dots, 2, 4, 8 or 16 [default: 8]
    ///
    /// It gives side x side steps of tone; the smaller, the finer its pattern.
    #[arg(long, value_name = "DOTS", value_parser = clap::builder::PossibleValuesParser::new(["2", "4", "8", "16"]))]
    pub matrix: Option<String>,
    /// Error diffusion in raster order instead of there and back
    #[arg(long)]
    pub raster_order: bool,
    /// Error diffusion begins with no error and drops what leaves at the sides, as the publications do
    ///
    /// Light tones then leave the first rows blank. Otherwise the start is settled and the sides give nothing away.
    #[arg(long)]
    pub as_published: bool,
    /// Clustered dots: clusters a millimetre, 0.2 to 20 [default: 2]
    #[arg(long, value_name = "PER_MM")]
    pub ruling: Option<f64>,
    /// Clustered dots: angle in degrees, -360 to 360 [default: 45]
    #[arg(long, value_name = "DEGREES", allow_negative_numbers = true)]
    pub angle: Option<f64>,
    /// Searching screens: passes over the dots, 1 to 64 [default: 4]
    #[arg(long, value_name = "PASSES", value_parser = clap::value_parser!(u32).range(1..=64))]
    pub effort: Option<u32>,
}

/// The screen.
#[derive(Debug, Clone, Default, Args)]
#[command(next_help_heading = "Dots")]
pub struct ScreenOptions {
    /// The screen that turns tones into dots; 'dotwright screens' lists them [default: auto]
    #[arg(long, value_name = "NAME")]
    pub screen: Option<String>,
}

/// The files of dots.
#[derive(Debug, Clone, Default, Args)]
#[command(next_help_heading = "Dots")]
pub struct DotFileOptions {
    /// The colour that means beam on in the dot files: black or white [default: black]
    #[arg(long, value_name = "COLOUR")]
    pub beam_on: Option<BeamOn>,
    /// Also write dots.tiff, packed as group4 or packbits
    #[arg(long, value_name = "PACKING", num_args = 0..=1, default_missing_value = "group4")]
    pub tiff: Option<Packing>,
    /// Also write dots.bmp
    #[arg(long)]
    pub bmp: bool,
}

/// Machine, coating and settings.
#[derive(Debug, Clone, Default, Args)]
#[command(next_help_heading = "Machine, coating and settings")]
pub struct ProcessOptions {
    /// The machine: a kit entry or a file of your own [default: diode-5w]
    #[arg(long, value_name = "NAME|FILE", value_parser = named())]
    pub machine: Option<String>,
    /// The coating: a kit entry or a file of your own [default: the blank's usual one]
    #[arg(long, value_name = "NAME|FILE", value_parser = named())]
    pub coating: Option<String>,
    /// What a wedge has measured: a process file [default: none, values are assumed]
    #[arg(long, value_name = "FILE", value_parser = named())]
    pub process: Option<String>,
    /// Power setting, above 0% and at most 100% [default: the coating's start]
    #[arg(long, allow_hyphen_values = true, value_name = "SHARE")]
    pub power: Option<Share>,
    /// Speed while marking, for example 12.5mm/s or 750mm/min [default: for the coating's start exposure]
    ///
    /// From 0.01mm/s to the machine's top speed.
    #[arg(long, allow_hyphen_values = true, value_name = "SPEED")]
    pub speed: Option<MmPerS>,
    /// Passes over each line, 1 to 20 [default: 1]
    #[arg(long, value_name = "TIMES", value_parser = clap::value_parser!(u32).range(1..=20))]
    pub passes: Option<u32>,
}

/// How the head scans.
#[derive(Debug, Clone, Default, Args)]
#[command(next_help_heading = "Scan program")]
pub struct ScanOptions {
    /// Searching screens: the time that the burn may take, as a share of that with dots on all lines: 100%, 70%, or auto [default: auto]
    ///
    /// Where little is marked, dots on every second line look almost as good, and the head hurries over the others. auto takes
    /// the least time that looks as good (within 0.3 dB, or 42 dB); 100% has dots on all lines. A share is met by making the
    /// dots several times.
    #[arg(long, value_name = "SHARE")]
    pub time: Option<BurnTime>,
    /// Lines there and back, or all one way: both or one [default: both]
    #[arg(long, value_name = "WAY")]
    pub direction: Option<Ways>,
    /// The axis that lines run along: x or y [default: x]
    ///
    /// Along y the lines are columns: for a blank that must not be shaken sideways, a machine that is faster along y,
    /// or a bed with no room for run-ups along x. The pitch across the lines suits the motor steps of the other axis.
    #[arg(long, value_name = "AXIS")]
    pub axis: Option<Along>,
    /// Run-up at each end of a line, 0mm to 200mm [default: v²/(2a) and the machine's settle length; behind a line no more than it takes to stop, where the machine file says that the controller plans ahead]
    #[arg(long, allow_hyphen_values = true, value_name = "MM")]
    pub run_up: Option<Mm>,
    /// Shorten each run at either end, so that a swept dot marks its own area, 0mm to 1mm [default: 0mm]
    #[arg(long, allow_hyphen_values = true, value_name = "MM")]
    pub trim: Option<Mm>,
}

/// The program that is written.
#[derive(Debug, Clone, Default, Args)]
#[command(next_help_heading = "Scan program")]
pub struct ProgramOptions {
    /// Tones by dots, or by the power of the moment: dots or power [default: dots]
    #[arg(long, value_name = "HOW")]
    pub tone_by: Option<ToneBy>,
    /// Write the program in spite of this finding of severity stop: over-burn, under-burn, link-starved, edge-dwell, short-sighted, off-bed, coarse-power or faint; may be repeated
    ///
    /// The job file keeps it for this art and for a finding no worse than this one.
    #[arg(long, value_name = "FINDING")]
    pub accept: Vec<String>,
}

/// The options of a piece whose dots any screen may make: what `prepare` and `compare` have in common.
#[derive(Debug, Clone, Default, Args)]
pub struct PieceOptions {
    #[allow(missing_docs)]
    #[command(flatten)]
    pub blank: BlankOptions,
    #[allow(missing_docs)]
    #[command(flatten)]
    pub place: PlaceOptions,
    #[allow(missing_docs)]
    #[command(flatten)]
    pub tone: ToneOptions,
    #[allow(missing_docs)]
    #[command(flatten)]
    pub dots: DotOptions,
    #[allow(missing_docs)]
    #[command(flatten)]
    pub process: ProcessOptions,
    #[allow(missing_docs)]
    #[command(flatten)]
    pub scan: ScanOptions,
}

/// What lies on the piece besides its art.
#[derive(Debug, Clone, Default, Args)]
#[command(next_help_heading = "Layers")]
pub struct LayerOptions {
    /// A text laid over the art, as large as fits; \n begins a new line. Its size and place are said with --layer
    ///
    /// With --job it takes the place of the job's text, where that has one, and keeps its font, size and place; where it has
    /// several, as many are named, or it is one more.
    #[arg(long, value_name = "TEXT", allow_hyphen_values = true, value_parser = parse_text)]
    pub text: Vec<String>,
    /// A border of this width, at the margin, 0.01mm to 100mm; more of it is said with --layer [default: none]
    ///
    /// With --job it is the width of the job's border, where that has one, and else one more.
    #[arg(long, value_name = "WIDTH")]
    pub border: Option<Mm>,
    /// A layer with all that can be said of it, as in job.toml: "text = 'Anna', place = '60x8mm', anchor = 'bottom'"
    ///
    /// Layers lie above each other in their order, above the art. A layer has one of text, border (its width) and file, and
    /// may have: place, anchor, at ('10mm,-4mm'), turn, bare (true: left bare instead of marked), clear ('0.5mm': what lies
    /// below is cleared so far around it); a text also mirror, font, bold, lines (it may be broken into so many; \n in it begins a new line), align, arc_mm (the radius of its circle, below zero
    /// along the bottom); a border inset; a file read_as, crop, mirror, invert, brighten, contrast. With --job it lies above the
    /// job's layers, which stay; one with the words of a text of the job takes that one's place, and keeps what
    /// is not said anew.
    #[arg(long, value_name = "LAYER", value_parser = parse_layer)]
    pub layer: Vec<LayerJob>,
}

/// Parses a layer as an inline table of TOML.
fn parse_layer(text: &str) -> Result<LayerJob, String> {
    #[derive(serde::Deserialize)]
    struct One {
        layer: LayerJob,
    }
    let inner = text.trim().trim_start_matches('{').trim_end_matches('}');
    let said = |e: toml::de::Error| {
        let within = |w: &[char]| w[0].is_alphanumeric() && w[1] == '\'' && w[2].is_alphanumeric();
        if !inner.contains('"') && inner.chars().collect::<Vec<_>>().windows(3).any(within) {
            return "an apostrophe ends the text; put a text that has one between three: \"text = '''O'Brien'''\"".into();
        }
        format!("{}; write for example \"text = 'Anna', place = '60x8mm'\"", e.message().replace('\n', " "))
    };
    let mut layer = toml::from_str::<One>(&format!("layer = {{ {inner} }}")).map_err(said)?.layer;
    layer.text = layer.text.map(|text| lines(&text));
    Ok(layer)
}

/// A text may begin with a dash, as `-5 °C` does; what begins as an option does is one, whose text was left out.
fn parse_text(text: &str) -> Result<String, String> {
    match text.strip_prefix("--").is_some_and(|rest| rest.starts_with(|c: char| c.is_ascii_lowercase())) {
        true => Err(
            "it looks like an option; say the text, or \"text = '...'\" with --layer for one that begins so"
                .into(),
        ),
        false => Ok(text.into()),
    }
}

/// A text as it is typed on the command line: \n begins a new line. Single quotes, in which texts are shown, keep both
/// letters as they are.
fn lines(text: &str) -> String {
    text.replace("\\n", "\n")
}

impl LayerOptions {
    /// The layers, bottom to top: the border, those that are said in full, the texts.
    fn layers(&self) -> Vec<LayerJob> {
        let border = self.border.map(|width| LayerJob { border: Some(width), ..LayerJob::default() });
        let texts = self.text.iter().map(|text| LayerJob { text: Some(lines(text)), ..LayerJob::default() });
        border.into_iter().chain(self.layer.iter().cloned()).chain(texts).collect()
    }

    /// The layers of a job that is run again, `before` with what is said now. Texts change the words of the job's where it is
    /// clear which they mean, so that a name is changed without saying its place again; so does a border its border's width.
    /// A layer with the words of one of the job's texts says more of that, as remedies tell it to be typed: marked twice it
    /// would spoil the piece. All else is one more, and nothing of the job is lost.
    pub fn over(&self, before: &[LayerJob]) -> Vec<LayerJob> {
        let mut kept = before.to_vec();
        let mut more = self.clone();
        let mut texts: Vec<&mut LayerJob> = kept.iter_mut().filter(|l| l.text.is_some()).collect();
        if texts.len() == 1 || texts.len() == more.text.len() {
            let meant = texts.len().min(more.text.len());
            for (layer, said) in texts.iter_mut().zip(more.text.drain(..meant)) {
                layer.text = Some(lines(&said));
            }
        }
        for said in &mut more.layer {
            let mut meant = kept.iter().enumerate().filter(|(_, l)| l.text.is_some() && l.text == said.text);
            if let (Some((at, _)), None) = (meant.next(), meant.next()) {
                *said = std::mem::take(said).over(kept.remove(at));
            }
        }
        let mut borders: Vec<&mut LayerJob> = kept.iter_mut().filter(|l| l.border.is_some()).collect();
        if let [border] = borders.as_mut_slice() {
            border.border = more.border.take().or(border.border);
        }
        // A border lies below all else, which keeps within it.
        let below = LayerOptions { border: more.border.take(), ..LayerOptions::default() };
        [below.layers(), kept, more.layers()].concat()
    }
}

/// All options of a job.
#[derive(Debug, Clone, Default, Args)]
pub struct JobOptions {
    #[allow(missing_docs)]
    #[command(flatten)]
    pub layers: LayerOptions,
    #[allow(missing_docs)]
    #[command(flatten)]
    pub piece: PieceOptions,
    #[allow(missing_docs)]
    #[command(flatten)]
    pub screen: ScreenOptions,
    #[allow(missing_docs)]
    #[command(flatten)]
    pub files: DotFileOptions,
    #[allow(missing_docs)]
    #[command(flatten)]
    pub program: ProgramOptions,
}

/// Some only when the switch is set, so that an absent switch does not override a job file.
fn switched<T>(on: bool, value: T) -> Option<T> {
    on.then_some(value)
}

impl PieceOptions {
    /// What was asked on the command line.
    pub fn job(&self, art: Option<String>) -> Result<Job, KitError> {
        let blank = self.blank.asked()?;
        Ok(Job {
            art: ArtJob {
                file: art,
                crc32: None,
                page: self.place.page,
                fonts: self.place.fonts.as_deref().map(fonts),
                read_as: self.tone.read_as,
                crop: self.place.crop,
                turn: self.place.turn.as_ref().and_then(|t| t.parse().ok()),
                mirror: switched(self.place.mirror, true),
                anchor: self.place.anchor,
                at: self.place.at,
            },
            blank: BlankJob { place: self.place.place, ..blank },
            tone: ToneJob {
                levels: self.tone.levels,
                brighten: self.tone.brighten,
                contrast: self.tone.contrast,
                invert: switched(self.tone.invert, true),
                local_contrast: self.tone.local_contrast,
                sharpen: self.tone.sharpen,
                curve: self.tone.curve.clone(),
                dot_gain: self.tone.dot_gain.clone(),
                ceiling: self.tone.ceiling,
            },
            dots: DotsJob {
                pitch: self.dots.density.or(self.dots.pitch),
                pitch_across: self.dots.pitch_across,
                known: self.dots.known,
                level: self.dots.level,
                matrix: self.dots.matrix.as_ref().and_then(|side| side.parse().ok()),
                serpentine: switched(self.dots.raster_order, false),
                as_published: switched(self.dots.as_published, true),
                ruling_per_mm: self.dots.ruling,
                angle_deg: self.dots.angle,
                effort: self.dots.effort,
                ..DotsJob::default()
            },
            burn: BurnJob { time: self.scan.time, ..self.process.burn() },
            scan: ScanJob {
                direction: self.scan.direction,
                axis: self.scan.axis,
                run_up: self.scan.run_up,
                trim: self.scan.trim,
                ..ScanJob::default()
            },
            ..self.process.references()
        })
    }
}

impl JobOptions {
    /// What was asked on the command line.
    pub fn job(&self, art: Option<String>) -> Result<Job, KitError> {
        let piece = self.piece.job(art)?;
        let accept = &self.program.accept;
        Ok(Job {
            layers: self.layers.layers(),
            dots: DotsJob {
                screen: self.screen.screen.clone(),
                beam_on: self.files.beam_on,
                tiff: self.files.tiff,
                bmp: switched(self.files.bmp, true),
                ..piece.dots
            },
            scan: ScanJob {
                tone_by: self.program.tone_by,
                accept: (!accept.is_empty()).then(|| accept.iter().map(Acceptance::now).collect()),
                ..piece.scan
            },
            ..piece
        })
    }
}

impl BlankOptions {
    /// What was asked of the blank: a shape, or all that a kit entry or a file says.
    pub fn asked(&self) -> Result<BlankJob, KitError> {
        let (margin, surface) = (self.margin, self.surface);
        let Some(name) = &self.blank else { return Ok(BlankJob { margin, surface, ..BlankJob::default() }) };
        let a_shape = name.contains(':') || name.starts_with(|c: char| c.is_ascii_digit());
        if a_shape && kit::entry(Sort::Blank, name).is_none() && !name.ends_with(".toml") {
            let (shape, margin) = (Some(name.parse()?), margin.or(Some(Mm(2.5))));
            return Ok(BlankJob { shape, margin, surface, ..BlankJob::default() });
        }
        let b = kit::blank(name)?;
        // Of another surface than the entry's it takes other coatings.
        let as_is = surface.is_none_or(|s| s == b.surface) && !b.coatings.is_empty();
        Ok(BlankJob {
            shape: Some(b.shape),
            margin: margin.or(Some(b.margin)),
            surface: surface.or(Some(b.surface)),
            coatings: as_is.then_some(b.coatings),
            place: None,
        })
    }
}

impl ProcessOptions {
    /// The settings.
    pub fn burn(&self) -> BurnJob {
        BurnJob { power: self.power, speed: self.speed, passes: self.passes, time: None }
    }

    /// A job that names only machine, coating and process file.
    pub fn references(&self) -> Job {
        Job {
            machine: self.machine.clone().map(Reference::Name),
            coating: self.coating.clone().map(Reference::Name),
            process: self.process.clone().map(Reference::Name),
            ..Job::default()
        }
    }
}

#[cfg(test)]
mod tests;
