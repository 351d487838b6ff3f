//! Art: what was dropped on the page, kept as it came, and opened once for all that is drawn of it.

use std::fs;
use std::path::Path;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use serde_json::{Value, json};

use super::home::{Home, Name};
use super::says::Says;
use super::texts::filled;
use crate::art::reading::{self, Decision};
use crate::art::{self, Art, Kind, Opening, Raster, View, Window};
use crate::cli::source::Source;
use crate::parallel;
use crate::proof::canvas::{Picture, blend};

/// Art that is kept open, at most.
const KEPT: usize = 4;
/// Picture elements that are kept open beside the art that was opened last, at most: each takes some eight bytes.
const MOST_PIXELS: f64 = 60e6;
/// Longest side of the small copy for quick looks, picture elements.
const SMALL: f64 = 1000.0;
/// Behind what is transparent in a small picture: a grey on which black and white ink are both seen.
const BEHIND: [u8; 3] = [190, 190, 188];

/// What tells art from other art: its file's checksum and length, its page, and the place of its fonts.
type Key = (u32, usize, u32, Option<String>);

/// Opened art, and what was found out of it.
pub(super) struct Held {
    /// The art.
    pub art: Art,
    small: OnceLock<Option<Art>>,
    read: Mutex<Vec<(Window, Decision)>>,
}

impl Held {
    /// Finds out at once what will be asked for next: how it is read, and its small copy.
    pub fn ready(&self) {
        parallel::both(
            || drop(self.decided(Window::WHOLE)),
            || {
                self.small.get_or_init(|| reduced(&self.art));
            },
        );
    }

    /// How the part `crop` of it is read where nobody says.
    pub fn decided(&self, crop: Window) -> Decision {
        let mut read = self.read.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, known)) = read.iter().find(|(window, _)| *window == crop) {
            return known.clone();
        }
        let decision = reading::decide(&self.art, crop);
        read.truncate(7);
        read.insert(0, (crop, decision.clone()));
        decision
    }

    /// A small copy that shows the same when it is read as `kind`; the art itself where it is small already or where
    /// its colours are needed.
    pub fn small(&self, kind: Kind) -> &Art {
        if kind == Kind::Drawing {
            return &self.art;
        }
        self.small.get_or_init(|| reduced(&self.art)).as_ref().unwrap_or(&self.art)
    }
}

fn reduced(art: &Art) -> Option<Art> {
    let Art::Raster(raster) = art else { return None };
    let (w, h) = art.size();
    let by = SMALL / w.max(h);
    if by >= 0.7 {
        return None;
    }
    let side = |v: f64| ((v * by).round() as usize).max(1);
    let drawn = art::render(art, &View::default(), side(w), side(h), Kind::Photo).ok()?;
    Some(Art::Raster(Raster {
        light: drawn.light,
        alpha: drawn.alpha,
        likeness: raster.likeness.clone(),
        colours: None,
        facts: raster.facts.clone(),
    }))
}

type Opened = Arc<OnceLock<Result<Arc<Held>, Says>>>;

/// The art that is open, that used last first.
#[derive(Default)]
pub(super) struct Arts(Mutex<Vec<(Key, Opened)>>);

impl Arts {
    /// Opens a file, or finds it open.
    ///
    /// # Errors
    /// As [`art::open_as`].
    pub fn open(&self, source: &Source, how: &Opening, fonts: Option<&str>) -> Result<Arc<Held>, Says> {
        let key = (source.crc32, source.bytes.len(), how.page, fonts.map(str::to_string));
        let slot = {
            let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
            let slot = match all.iter().position(|(k, _)| *k == key) {
                Some(at) => all.remove(at).1,
                None => Opened::default(),
            };
            all.insert(0, (key.clone(), Arc::clone(&slot)));
            all.truncate(KEPT);
            slot
        };
        let opened = slot.get_or_init(|| {
            let art = art::open_as(&source.bytes, &format!("'{}'", source.name), how)?;
            Ok(Arc::new(Held { art, small: OnceLock::new(), read: Mutex::default() }))
        });
        self.spare();
        if opened.is_err() {
            self.0.lock().unwrap_or_else(PoisonError::into_inner).retain(|(k, _)| *k != key);
        }
        opened.clone()
    }
}

impl Arts {
    /// Lets go of what is more than may be kept, that used longest ago first.
    fn spare(&self) {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let size = |slot: &Opened| match slot.get() {
            Some(Ok(held)) => held.art.pixels().map_or(0.0, |(w, h)| (w * h) as f64),
            _ => 0.0,
        };
        let mut sum = 0.0;
        let mut first = true;
        all.retain(|(_, slot)| {
            sum += size(slot);
            std::mem::take(&mut first) || sum <= MOST_PIXELS
        });
    }
}

/// Keeps what was dropped, under its own name or one like it, once it is sure that it is art.
///
/// # Errors
/// What is no art; a disk that is full.
pub(super) fn keep(home: &Home, arts: &Arts, name: &str, bytes: Vec<u8>) -> Result<(Value, Arc<Held>), Says> {
    let name = Name::near(name, "art");
    let mut crc = flate2::Crc::new();
    crc.update(&bytes);
    let source = Source::of(bytes, name.text().to_string(), crc.sum());
    let held = arts.open(&source, &Opening::default(), None)?;
    let _held = home.writing();
    let same = |name: &Name| -> Result<bool, Says> {
        let path = home.at(&["art", name.text()])?;
        Ok(fs::metadata(&path).is_ok_and(|m| m.len() == source.bytes.len() as u64)
            && fs::read(path).is_ok_and(|there| there == source.bytes))
    };
    let free = home.free("art", &name)?;
    let mut kept = None;
    for number in 1..100 {
        let one = name.numbered(number);
        if one == free {
            break;
        }
        if same(&one)? {
            kept = Some(one);
            break;
        }
    }
    let kept = match kept {
        Some(kept) => kept,
        None => {
            home.write(&home.at(&["art", free.text()])?, &source.bytes)?;
            free
        }
    };
    Ok((told(&kept, &held.art), held))
}

/// What the page is told of art.
fn told(name: &Name, art: &Art) -> Value {
    let (width, height) = art.size();
    json!({
        "art": name.text(),
        "file": format!("../../art/{name}"),
        "line": art.describe(),
        "width": width,
        "height": height,
        "picture": format!("/api/art/{}/picture", name.in_path()),
        "notes": art.notes().iter().map(|n| n.says.on_page()).collect::<Vec<_>>(),
    })
}

/// A small picture of kept art as PNG.
///
/// # Errors
/// Where there is no such art.
pub(super) fn picture(home: &Home, arts: &Arts, name: &Name) -> Result<Vec<u8>, Says> {
    let held = arts.open(&read(home, name)?, &Opening::default(), None)?;
    let l = art::likeness(&held.art)?;
    let mut picture = Picture::filled(l.width, l.height, BEHIND);
    for (pixel, from) in picture.rgb.chunks_exact_mut(3).zip(l.rgba.chunks_exact(4)) {
        blend(pixel, [from[0], from[1], from[2]], f32::from(from[3]) / 255.0);
    }
    Ok(picture.to_png(None)?)
}

fn read(home: &Home, name: &Name) -> Result<Source, Says> {
    let path = home.at(&["art", name.text()])?;
    if !path.is_file() {
        return Err(Says::missing(filled("says.art.missing", &[("name", &name)])));
    }
    source(&path)
}

/// A file of the home.
///
/// # Errors
/// Where it cannot be read.
pub(super) fn source(path: &Path) -> Result<Source, Says> {
    Ok(Source::read(path)?)
}
