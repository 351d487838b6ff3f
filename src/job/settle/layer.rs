//! What lies on a piece, layer by layer.

use super::art::{self, SettledArt};
use super::tone::{self, SettledTone};
use crate::blank::Blank;
use crate::job::asked::{ArtJob, BlankJob, Job, LayerJob, ToneJob};
use crate::job::error::PlanError;
use crate::layer::Lettered;
use crate::placement::Place;
use crate::texts::text;
use crate::units::Mm;

/// A layer.
#[derive(Debug, Clone, PartialEq)]
pub struct SettledLayer {
    /// What of the job asks for it.
    pub of: Of,
    /// What it shows.
    pub shows: Shows,
    /// How it is read and laid.
    pub art: SettledArt,
    /// What is done to its tones.
    pub tone: SettledTone,
    /// Whether its ink is left bare rather than marked.
    pub bare: bool,
    /// How far from the edge it keeps where it is as large as fits: within the borders below it.
    pub free: Mm,
    /// How far around its ink what lies below is cleared; `None`: it is not.
    pub clear: Option<Mm>,
}

/// What of a job asks for a layer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Of {
    /// Its own art, which lies below all others.
    Art,
    /// The one of its layers with this number, from 0.
    Layer(usize),
}

impl Of {
    /// The key of the job that says of it what `key` says in the table of a layer.
    pub fn key(self, key: &str) -> String {
        match self {
            Of::Art if key == "place" => "blank.place".into(),
            Of::Art => format!("art.{key}"),
            Of::Layer(number) => format!("layer.{number}.{key}"),
        }
    }

    /// How that is typed on the command line.
    pub fn typed(self, key: &str, value: &str) -> String {
        match self {
            Of::Art => format!("--{} {value}", key.replace('_', "-")),
            Of::Layer(_) => text!("job.layer.typed", key, value),
        }
    }
}

/// What a layer shows.
#[derive(Debug, Clone, PartialEq)]
pub enum Shows {
    /// A file.
    File(String),
    /// A text.
    Text(Lettered),
    /// A line along the edge.
    Border {
        /// Its width.
        width: Mm,
        /// Its distance from the edge.
        inset: Mm,
    },
}

impl SettledLayer {
    /// Whether it is a border that keeps within a margin: whole dots along a curve may reach a little past it.
    pub fn is_border_within(&self, margin: Mm) -> bool {
        matches!(self.shows, Shows::Border { inset, .. } if inset.0 >= margin.0 - 1e-6)
    }
}

/// The layers of a job, bottom to top; none where the job is one piece of art and nothing else.
pub(super) fn settle(
    job: &Job,
    blank: &Blank,
    art: &SettledArt,
    tone: &SettledTone,
) -> Result<Vec<SettledLayer>, PlanError> {
    if job.layers.is_empty() {
        return Ok(Vec::new());
    }
    // The art lies below all borders, and keeps clear of none.
    let base = job.art.file.as_ref().map(|file| SettledLayer {
        of: Of::Art,
        shows: Shows::File(file.clone()),
        art: SettledArt { spot: Some(art.spot.unwrap_or_default()), ..*art },
        tone: tone.clone(),
        bare: false,
        free: Mm(0.0),
        clear: None,
    });
    let more = job.layers.iter().enumerate().map(|(i, layer)| one(layer, i, blank, tone));
    let mut all = base.map(Ok).into_iter().chain(more).collect::<Result<Vec<_>, PlanError>>()?;
    let mut free = 0.0f64;
    // The piece is mirrored as a whole, each layer where it lies; the art is by its own settings.
    for layer in all.iter_mut().filter(|layer| art.mirror && layer.of != Of::Art) {
        layer.art.mirror = !layer.art.mirror;
    }
    let mut border = None;
    for layer in &mut all {
        layer.free = Mm(free);
        if let Shows::Border { width, inset } = layer.shows {
            let within = inset.0 + width.0 + width.0.max(LEAST_GAP_MM);
            if within > free {
                (free, border) = (within, Some((width, inset)));
            }
        } else if layer.art.place == Place::Inside
            && let Some((width, inset)) = border
            && blank.shape.inset(free).is_none()
        {
            return Err(PlanError::absurd(text!(
                "job.layer.no-room",
                width,
                inset,
                blank = blank.shape,
                kept = Mm(free - inset.0 - width.0)
            )));
        }
    }
    Ok(all)
}

/// Between a border and what is as large as fits within it, at least; or the border's width, mm (own judgement).
const LEAST_GAP_MM: f64 = 1.5;

fn one(
    layer: &LayerJob,
    number: usize,
    blank: &Blank,
    of_piece: &SettledTone,
) -> Result<SettledLayer, PlanError> {
    let wrong = |what: String| Err(PlanError::absurd(text!("job.layer.nth", number = number + 1, what)));
    let of_text = [
        ("font", layer.font.is_some()),
        ("bold", layer.bold.is_some()),
        ("lines", layer.lines.is_some()),
        ("align", layer.align.is_some()),
        ("arc_mm", layer.arc_mm.is_some()),
    ];
    let of_border = [("inset", layer.inset.is_some())];
    let of_file = [
        ("read_as", layer.read_as.is_some()),
        ("crop", layer.crop.is_some()),
        ("invert", layer.invert.is_some()),
        ("brighten", layer.brighten.is_some()),
        ("contrast", layer.contrast.is_some()),
        ("crc32", layer.crc32.is_some()),
    ];
    let of_both = [
        ("place", layer.place.is_some()),
        ("anchor", layer.anchor.is_some()),
        ("at", layer.at.is_some()),
        ("turn", layer.turn.is_some()),
        ("mirror", layer.mirror.is_some()),
    ];
    let (shows, strange): (Shows, Vec<(&str, bool)>) = match (&layer.file, &layer.text, layer.border) {
        (Some(file), None, None) => (Shows::File(file.clone()), [&of_text[..], &of_border].concat()),
        (None, Some(text), None) => {
            if text.trim().is_empty() {
                return wrong(text!("job.layer.text-empty").into());
            }
            if text.chars().count() > 2000 {
                return wrong(text!("job.layer.text-long").into());
            }
            if let Some(r) = layer.arc_mm.filter(|r| !(1.0..=1000.0).contains(&r.abs())) {
                return wrong(text!("job.layer.arc", radius = r));
            }
            if layer.arc_mm.is_some() && !matches!(layer.place, Some(Place::Box { .. })) {
                return wrong(text!("job.layer.arc-size").into());
            }
            if !(1..=10).contains(&layer.lines.unwrap_or(1)) {
                return wrong(text!("job.layer.lines").into());
            }
            let lettered = Lettered {
                text: text.clone(),
                font: layer.font.clone(),
                bold: layer.bold.unwrap_or(false),
                lines: layer.lines.unwrap_or(1),
                align: layer.align,
                arc: layer.arc_mm.map(Mm),
            };
            (Shows::Text(lettered), [&of_border[..], &of_file].concat())
        }
        (None, None, Some(width)) => {
            let inset = layer.inset.unwrap_or(blank.margin);
            let inner = blank.shape.inset(inset.0).and_then(|s| s.inset(width.0));
            if !(0.01..=100.0).contains(&width.0) {
                return wrong(text!("job.layer.border", width));
            }
            if inset.0 < 0.0 || inner.is_none() {
                return wrong(text!("job.layer.border-fits", width, inset, blank = blank.shape));
            }
            (Shows::Border { width, inset }, [&of_text[..], &of_file, &of_both].concat())
        }
        _ => return wrong(text!("job.layer.shows-one").into()),
    };
    if let Some((key, _)) = strange.iter().find(|(_, there)| *there) {
        return wrong(match shows {
            Shows::File(_) => text!("job.layer.strange.file", key),
            Shows::Text(_) => text!("job.layer.strange.text", key),
            Shows::Border { .. } => text!("job.layer.strange.border", key),
        });
    }
    if let Some(halo) = layer.clear.filter(|c| !(0.0..=50.0).contains(&c.0)) {
        return wrong(text!("job.layer.clear", distance = halo));
    }
    let laid = ArtJob {
        read_as: layer.read_as,
        crop: layer.crop,
        turn: layer.turn,
        mirror: layer.mirror,
        anchor: Some(layer.anchor.unwrap_or_default()),
        at: layer.at,
        ..ArtJob::default()
    };
    let mut settled = art::settle(&laid, &BlankJob { place: layer.place, ..BlankJob::default() })?;
    settled.spot = art::spot(laid.anchor, laid.at, layer.align);
    let asked = ToneJob {
        invert: layer.invert,
        brighten: layer.brighten,
        contrast: layer.contrast,
        ..ToneJob::default()
    };
    let shaped = tone::settle(&asked, None)?;
    Ok(SettledLayer {
        of: Of::Layer(number),
        shows,
        art: settled,
        tone: SettledTone { shape: shaped.shape, ..of_piece.clone() },
        bare: layer.bare.unwrap_or(false),
        free: Mm(0.0),
        clear: layer.clear,
    })
}
