//! Piece: a job of one piece with all that it names read, settled and opened.

use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use serde_json::Value;

use super::art::Held;
use super::home::Name;
use super::says::Says;
use super::shelf::{self, Kept, Kind};
use super::texts::say;
use super::{Desk, art, ticket, written};
use crate::art::{self as opened_art, Art, Opening};
use crate::cli::options::DrawingOptions;
use crate::cli::source::Source;
use crate::job::asked::LayerJob;
use crate::job::settle::{Of, SettledArt, SettledLayer, Shows};
use crate::job::words::ReadAs;
use crate::job::{Brief, Job, Plan, file_name};
use crate::pipeline::{Drawable, Layer, Shown, layers, placed};
use crate::placement::{Place, Placement};

/// Pieces that are kept opened, at most.
const KEPT: usize = 4;

/// A piece, opened.
pub(super) struct Piece {
    /// Its job's name.
    pub name: Name,
    /// The state of its job.
    pub revision: String,
    /// Its plan.
    pub plan: Plan,
    /// What it is called: the name of its art, or of all its layers.
    pub called: String,
    lies: Lies,
}

/// What lies on it.
enum Lies {
    /// One picture.
    Art(Arc<Held>),
    /// Layers: those of the plan, and the same from small copies, for quick looks.
    Layers {
        whole: Vec<Arc<Layer>>,
        files: Vec<(String, Arc<Held>)>,
        small: OnceLock<Vec<Arc<Layer>>>,
        how: Opening,
    },
}

impl Piece {
    /// Opens the job as it is kept.
    ///
    /// # Errors
    /// A job that is no piece, cannot be settled, or whose files cannot be read or opened.
    pub fn open(desk: &Desk, kept: &Kept) -> Result<Piece, Says> {
        if kept.kind != Kind::Piece {
            return Err(Says::unusable(say("says.tray.open")));
        }
        let job = Job::read(&kept.path)?;
        Piece::of(desk, kept, job)
    }

    /// Opens `job`, whose files are as seen from here, in place of the one that is kept.
    ///
    /// # Errors
    /// As [`Piece::open`].
    pub fn of(desk: &Desk, kept: &Kept, job: Job) -> Result<Piece, Says> {
        written::inside(&desk.home, &job)?;
        if job.art.file.is_none() && job.layers.is_empty() {
            return Err(Says::unusable(say("says.piece.empty")));
        }
        let folder = desk.home.at(&["out", kept.name.text()])?;
        let mut brief = Brief::read(job)?;
        let read = |file: &String| art::source(&desk.home.within(&file_name::path(file))?);
        let of_layer = |l: &LayerJob| l.file.as_ref().map(read).transpose();
        let own = brief.job.art.file.as_ref().map(read).transpose()?;
        let more = brief.job.layers.iter().map(of_layer).collect::<Result<Vec<Option<Source>>, Says>>()?;
        brief.art = own.as_ref().map(|s| s.art_file(&folder));
        brief.layers = more.iter().map(|s| s.as_ref().map(|s| s.art_file(&folder))).collect();
        let plan = brief.settle()?;
        let how = DrawingOptions { drawing_time: None }.opening(&plan)?;
        let fonts = plan.job.art.fonts.as_deref();
        let open = |s: &Source, page| -> Result<(String, Arc<Held>), Says> {
            let how = Opening { page, ..how.clone() };
            Ok((s.name.clone(), desk.arts.open(s, &how, fonts)?))
        };
        let first = own.as_ref().map(|s| open(s, how.page)).transpose()?;
        let (called, lies) = match (first, plan.layers.is_empty()) {
            (Some((name, held)), true) => (name, Lies::Art(held)),
            (first, _) => {
                let more = more.iter().flatten().map(|s| open(s, 1));
                let files = first.map(Ok).into_iter().chain(more).collect::<Result<Vec<_>, Says>>()?;
                let own: Vec<(String, Art)> = files.iter().map(|(n, h)| (n.clone(), h.art.clone())).collect();
                let whole = layers(&plan, own, &how, None)?;
                let names: Vec<&str> = whole.iter().map(|l| l.art.name.as_str()).collect();
                (names.join(" + "), Lies::Layers { files, small: OnceLock::new(), how, whole })
            }
        };
        Ok(Piece { name: kept.name.clone(), revision: kept.revision.clone(), plan, called, lies })
    }

    /// As the stages take it.
    pub fn shown(&self) -> Shown<'_> {
        match &self.lies {
            Lies::Art(held) => Shown::Art(&held.art),
            Lies::Layers { whole, .. } => Shown::Layers(whole),
        }
    }

    /// Its art, where it is one picture and nothing else.
    pub fn art(&self) -> Option<&Held> {
        match &self.lies {
            Lies::Art(held) => Some(held),
            Lies::Layers { .. } => None,
        }
    }

    /// Where its art lies under or among layers; `None` where it has none, or is nothing else.
    pub fn art_among_layers(&self) -> Option<Placement> {
        match (&self.lies, self.plan.layers.first()) {
            (Lies::Layers { whole, .. }, Some(settled)) if settled.of == Of::Art => {
                whole.first()?.placed(&self.plan, settled).ok()
            }
            _ => None,
        }
    }

    /// How wide its art is where it is made as large as `place` says, mm; `None` where it has none, or cannot be so large.
    pub fn art_width(&self, place: Place) -> Option<f64> {
        let mut piece = Drawable::of(&self.plan);
        piece.art.place = place;
        let (piece, art) = match (&self.lies, self.plan.layers.first()) {
            (Lies::Art(held), _) => (piece, &held.art),
            (Lies::Layers { whole, .. }, Some(settled)) if settled.of == Of::Art => {
                (piece.of_layer(settled, place), &whole.first()?.art.art)
            }
            (Lies::Layers { .. }, _) => return None,
        };
        Some(placed(&piece, art).ok()?.0.wished_width.0)
    }

    /// Where each layer above the art lies; null for a border, which lies where the blank's edge is.
    pub fn layer_boxes(&self) -> Vec<Value> {
        let Lies::Layers { whole, .. } = &self.lies else { return Vec::new() };
        let above = whole.iter().zip(&self.plan.layers).filter(|(_, settled)| settled.of != Of::Art);
        above.map(|(l, s)| self.layer_box(l, s)).collect()
    }

    fn layer_box(&self, layer: &Layer, settled: &SettledLayer) -> Value {
        if matches!(settled.shows, Shows::Border { .. }) {
            return Value::Null;
        }
        layer.placed(&self.plan, settled).map_or(Value::Null, |p| ticket::boxed(&p))
    }

    /// How it is read: of layers, as a photo where one of them is.
    pub fn kind(&self) -> opened_art::Kind {
        match &self.lies {
            Lies::Art(held) => read(held, &self.plan.art),
            Lies::Layers { files, .. } => {
                let mut kinds = files.iter().map(|(_, held)| held.decided(opened_art::Window::WHOLE).kind);
                let photo = kinds.any(|kind| kind == opened_art::Kind::Photo);
                if photo { opened_art::Kind::Photo } else { opened_art::Kind::Drawing }
            }
        }
    }

    /// The same from small copies, and the readings that are known, for a quick look under `plan`: see
    /// [`Drawable::read_as`](crate::pipeline::Drawable::read_as).
    pub fn quick(&self, plan: &Plan) -> (Shown<'_>, Vec<Option<ReadAs>>) {
        match &self.lies {
            Lies::Art(held) => {
                let kind = read(held, &plan.art);
                (Shown::Art(held.small(kind)), vec![Some(kind.into())])
            }
            Lies::Layers { files, small, how, whole } => {
                let small = small.get_or_init(|| {
                    let of = |(name, held): &(String, Arc<Held>)| {
                        let kind = held.decided(opened_art::Window::WHOLE).kind;
                        (name.clone(), held.small(kind).clone())
                    };
                    layers(&self.plan, files.iter().map(of).collect(), how, None)
                        .unwrap_or_else(|_| whole.clone())
                });
                let mut files = files.iter();
                let known = plan.layers.iter().map(|settled| match settled.shows {
                    Shows::File(_) => files.next().map(|(_, held)| read(held, &settled.art).into()),
                    _ => None,
                });
                (Shown::Layers(small), known.collect())
            }
        }
    }
}

/// How art is read, as it is settled.
fn read(held: &Held, settled: &SettledArt) -> opened_art::Kind {
    match settled.read_as {
        ReadAs::Auto => held.decided(settled.crop.window()).kind,
        ReadAs::Photo => opened_art::Kind::Photo,
        ReadAs::Drawing => opened_art::Kind::Drawing,
        ReadAs::Paper => opened_art::Kind::Paper,
    }
}

/// The pieces that are open, that used last first.
#[derive(Default)]
pub(super) struct Pieces(Mutex<Vec<Arc<Piece>>>);

impl Pieces {
    /// Forgets all.
    pub fn clear(&self) {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).clear();
    }

    /// The piece of a job, as it is kept; `None` where it is at another revision than was asked for.
    ///
    /// # Errors
    /// As [`Piece::open`].
    pub fn get(&self, desk: &Desk, name: &Name, revision: Option<&str>) -> Result<Option<Arc<Piece>>, Says> {
        let kept = shelf::read(&desk.home, name)?;
        if revision.is_some_and(|r| r != kept.revision) {
            return Ok(None);
        }
        let known = {
            let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
            let at = all.iter().position(|p| p.name == kept.name && p.revision == kept.revision);
            at.map(|at| {
                let piece = all.remove(at);
                all.insert(0, Arc::clone(&piece));
                piece
            })
        };
        if known.is_some() {
            return Ok(known);
        }
        let piece = Arc::new(Piece::open(desk, &kept)?);
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        all.retain(|p| p.name != piece.name);
        all.insert(0, Arc::clone(&piece));
        all.truncate(KEPT);
        Ok(Some(piece))
    }
}
