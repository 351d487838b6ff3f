//! What was made lately, kept for whoever asks for the same again: a job makes its dots in several goes, a tray piece after
//! piece, and a table takes as long as a hundred thousand dots.

use std::convert::Infallible;
use std::sync::{Arc, Mutex, PoisonError};

/// The last few values made, each with what it was made of.
#[derive(Debug)]
pub struct Lately<K, V> {
    kept: Mutex<Vec<(K, Arc<V>)>>,
    most: usize,
}

impl<K: PartialEq, V> Lately<K, V> {
    /// Keeps so many values; when there are more, the one not asked for the longest goes.
    pub const fn new(most: usize) -> Self {
        Lately { kept: Mutex::new(Vec::new()), most }
    }

    /// The value made of `of`: the one that is kept, or else what `make` makes now. Two who ask at the same time may both
    /// make it.
    pub fn get(&self, of: K, make: impl FnOnce() -> V) -> Arc<V> {
        match self.try_get(of, || Ok::<V, Infallible>(make())) {
            Ok(value) => value,
            Err(never) => match never {},
        }
    }

    /// The same where making it can fail; a failure is not kept.
    ///
    /// # Errors
    /// That of `make`.
    pub fn try_get<E>(&self, of: K, make: impl FnOnce() -> Result<V, E>) -> Result<Arc<V>, E> {
        let kept = || self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        let find = |kept: &mut Vec<(K, Arc<V>)>| {
            let found = kept.iter().position(|(key, _)| *key == of)?;
            kept[found..].rotate_left(1);
            kept.last().map(|(_, value)| Arc::clone(value))
        };
        if let Some(value) = find(&mut kept()) {
            return Ok(value);
        }
        let made = Arc::new(make()?);
        let mut kept = kept();
        if let Some(value) = find(&mut kept) {
            return Ok(value);
        }
        if kept.len() >= self.most {
            kept.remove(0);
        }
        kept.push((of, Arc::clone(&made)));
        Ok(made)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_is_made_once_until_others_took_its_place() {
        let kept: Lately<u32, u32> = Lately::new(2);
        let made = |of: u32| {
            let mut made = false;
            let value = kept.get(of, || {
                made = true;
                10 * of
            });
            assert_eq!(*value, 10 * of);
            made
        };
        assert!(made(1) && made(2) && !made(1), "both are kept");
        assert!(made(3) && !made(1) && made(2), "the one not asked for the longest went");
    }
}
