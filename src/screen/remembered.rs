//! Tiles that were searched before.
//!
//! What a search makes of a tile follows from what it sees: wanted tones and dots in and around the tile, and the burn. The
//! pieces of a tray often differ in a name alone, and on the page a text is moved, or a change taken back: most tiles then
//! come again. What was found is kept by a hash of 128 bits over all that was seen, so that the dots are those of a search.
//!
//! Only who makes many pieces asks for it, see [`Remembering`]: elsewhere a tile hardly ever comes again.

use std::collections::HashMap;
use std::fmt::Debug;
use std::hash::Hasher;
use std::ops::Range;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, LazyLock, Mutex, PoisonError};

use bytemuck::NoUninit;
use siphasher::sip128::{Hasher128, SipHasher13};

use crate::plane::{Dots, Tone};

/// Tiles kept: up to twice as many, of 1.2 KB each.
const MOST: usize = 8192;

/// While one of these lives, tiles are remembered; with the last all are forgotten.
pub struct Remembering(());

static LIVE: AtomicUsize = AtomicUsize::new(0);

impl Remembering {
    /// Begins to remember.
    pub fn begin() -> Self {
        LIVE.fetch_add(1, Ordering::Relaxed);
        Remembering(())
    }
}

impl Drop for Remembering {
    fn drop(&mut self) {
        if LIVE.fetch_sub(1, Ordering::Relaxed) == 1 {
            *KEPT.lock().unwrap_or_else(PoisonError::into_inner) = Kept::default();
        }
    }
}

/// All that a search of a tile hangs on, as it is put together; nothing where nobody remembers.
#[derive(Clone)]
pub struct SeenTile(Option<SipHasher13>);

impl SeenTile {
    /// Begins with what is the same for all tiles of a search; `all` must show every value in full, as derived `Debug` does.
    pub fn of(all: &dyn Debug) -> Self {
        SeenTile((LIVE.load(Ordering::Relaxed) > 0).then(|| {
            let mut seen = SipHasher13::new();
            seen.write(format!("{all:?}").as_bytes());
            seen
        }))
    }

    /// Adds values.
    pub fn add<T: NoUninit>(&mut self, values: &[T]) {
        if let Some(seen) = &mut self.0 {
            seen.write(bytemuck::cast_slice(values));
        }
    }

    /// Adds what lies in a tile and so many columns and rows around it; its first dot is at `first`.
    pub fn add_tile(
        &mut self,
        tone: &Tone,
        dots: &[&Dots],
        first: (usize, usize),
        side: usize,
        around: (usize, usize),
    ) {
        let range = |first: usize, around: usize| {
            let first = first as isize;
            first - around as isize..first + (side + around) as isize
        };
        self.add_window(tone, dots, range(first.0, around.0), range(first.1, around.1));
    }

    /// Adds what lies in a window of tones and dots, given by its first and last places, which may lie beyond the plane; and
    /// where in the window the plane begins and ends.
    fn add_window(&mut self, tone: &Tone, dots: &[&Dots], columns: Range<isize>, rows: Range<isize>) {
        if self.0.is_none() {
            return;
        }
        let inside = |range: &Range<isize>, size: usize| {
            let last = range.end.clamp(0, size as isize);
            range.start.clamp(0, last) as usize..last as usize
        };
        let (x, y) = (inside(&columns, tone.width()), inside(&rows, tone.height()));
        let from = |place: usize, start: isize| place as isize - start;
        let place = [from(x.start, columns.start), from(x.end, columns.start), from(y.start, rows.start)];
        self.add(&place.map(|p| p as i64));
        // Dots are taken by the byte: how far into the first the window begins is told, too.
        self.add(&[x.start as u64 % 8, x.len() as u64, y.len() as u64]);
        for y in y {
            self.add(&tone.row(y)[x.clone()]);
            for dots in dots {
                self.add(&dots.row(y)[x.start / 8..x.end.div_ceil(8)]);
            }
        }
    }

    /// What was found where the same was seen before, or else what `search` finds now.
    pub fn found(self, search: impl FnOnce() -> Dots) -> Arc<Dots> {
        let Some(seen) = self.0 else { return Arc::new(search()) };
        let key = seen.finish128().as_u128();
        let kept = || KEPT.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(dots) = kept().get(key) {
            return dots;
        }
        let dots = Arc::new(search());
        kept().put(key, Arc::clone(&dots));
        dots
    }
}

static KEPT: LazyLock<Mutex<Kept>> = LazyLock::new(Mutex::default);

/// What was found of late, and before that: when there is no more room, the older half goes.
#[derive(Default)]
struct Kept {
    late: HashMap<u128, Arc<Dots>>,
    before: HashMap<u128, Arc<Dots>>,
}

impl Kept {
    fn get(&mut self, key: u128) -> Option<Arc<Dots>> {
        if let Some(dots) = self.late.get(&key) {
            return Some(Arc::clone(dots));
        }
        let dots = self.before.remove(&key)?;
        self.put(key, Arc::clone(&dots));
        Some(dots)
    }

    fn put(&mut self, key: u128, dots: Arc<Dots>) {
        if self.late.len() >= MOST {
            self.before = std::mem::take(&mut self.late);
        }
        self.late.insert(key, dots);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn picture(side: usize) -> (Tone, Dots) {
        let mut dots = Dots::off(side, side);
        dots.set(12, 9, true);
        (Tone::from_vec(side, side, (0..side * side).map(|i| i as f32 / 1e4).collect()), dots)
    }

    /// The hash of a window of a picture.
    fn key(all: &str, (tone, dots): &(Tone, Dots), columns: Range<isize>, rows: Range<isize>) -> u128 {
        let mut seen = SeenTile::of(&all);
        seen.add_window(tone, &[dots], columns, rows);
        seen.0.expect("remembering").finish128().as_u128()
    }

    #[test]
    fn a_window_is_told_from_all_others_by_tones_dots_place_and_burn() {
        let _remembering = Remembering::begin();
        let mut picture = picture(40);
        let first = key("burn", &picture, -4..20, 2..30);
        assert_eq!(key("burn", &picture, -4..20, 2..30), first, "the same again");
        let others = [
            key("another burn", &picture, -4..20, 2..30),
            key("burn", &picture, -3..20, 2..30),
            key("burn", &picture, -4..21, 2..30),
            key("burn", &picture, -4..20, 1..30),
            key("burn", &picture, -4..20, 2..31),
        ];
        assert!(!others.contains(&first));
        picture.0.data_mut()[39 * 40 + 39] = 0.5;
        picture.1.set(39, 39, true);
        assert_eq!(key("burn", &picture, -4..20, 2..30), first, "what lies outside is of no matter");
        picture.0.data_mut()[29 * 40 + 19] += 1e-6;
        let tone = key("burn", &picture, -4..20, 2..30);
        picture.1.set(0, 2, true);
        let dot = key("burn", &picture, -4..20, 2..30);
        assert!(tone != first && dot != tone, "the last tone and the first dot");
    }

    #[test]
    fn beyond_the_plane_is_not_the_same_as_nothing_wanted() {
        let _remembering = Remembering::begin();
        let bare = |side: usize| (Tone::filled(side, side, 0.0), Dots::off(side, side));
        assert_ne!(key("", &bare(16), 0..20, 0..16), key("", &bare(20), 0..20, 0..16));
        assert_ne!(key("", &bare(16), 0..16, -4..16), key("", &bare(16), 0..16, 0..16));
        assert_ne!(key("", &bare(16), 0..16, 0..20), key("", &bare(20), 0..16, 0..20));
    }

    #[test]
    fn a_search_is_done_once_and_forgotten_when_much_else_was_found() {
        let one = |i: u64| {
            let mut seen = SeenTile::of(&"the test of what is kept");
            seen.add(&[i]);
            seen
        };
        let remembering = Remembering::begin();
        let mut searches = 0;
        for _ in 0..3 {
            let found = one(0).found(|| {
                searches += 1;
                picture(16).1
            });
            assert!(*found == picture(16).1);
        }
        assert_eq!(searches, 1);
        drop(remembering);
        let mut kept = Kept::default();
        let none = Arc::new(Dots::off(0, 0));
        (0..3 * MOST as u128).for_each(|key| kept.put(key, Arc::clone(&none)));
        assert!(kept.late.len() + kept.before.len() <= 2 * MOST);
        assert!(kept.get(0).is_none() && kept.get(3 * MOST as u128 - 1).is_some());
        let older = 2 * MOST as u128 - 1;
        assert!(kept.get(older).is_some());
        (0..MOST as u128).for_each(|key| kept.put(key, Arc::clone(&none)));
        assert!(kept.get(older).is_some(), "what is asked for again stays");
    }
}
