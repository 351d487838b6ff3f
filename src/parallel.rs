//! Rows and bands over rayon: the only file that knows about threads.
//!
//! Kernels get plain slices and never mention rayon. A band is a fixed number of rows, whatever
//! the number of threads, so results are the same bytes on any machine.

use std::cell::Cell;
use std::io;
use std::sync::mpsc::{RecvTimeoutError, sync_channel};
use std::sync::{Mutex, PoisonError, mpsc};
use std::thread;
use std::time::Duration;

use rayon::prelude::*;

/// The least number of values worth handing to another thread. Measured on two cores: below about
/// 32 k simple operations the hand-over costs more than it saves.
pub const LEAST_WORK: usize = 32 * 1024;

/// Calls `work(i)` for `i` in `0..count`, several at once. Bands and maps come through here, and through a
/// reference: the library's machinery is compiled once rather than for each of some fifty kernels.
fn each(count: usize, work: &(dyn Fn(usize) + Sync)) {
    (0..count).into_par_iter().for_each(work);
}

/// Calls `work(first_row, band)` for consecutive bands of `rows` rows of `row_len` values each,
/// several at once when the plane is worth it. The last band may be shorter.
pub fn bands<T: Send>(
    data: &mut [T],
    row_len: usize,
    rows: usize,
    work: impl Fn(usize, &mut [T]) + Sync + Send,
) {
    let len = (row_len * rows).max(1);
    if data.len() < LEAST_WORK {
        data.chunks_mut(len).enumerate().for_each(|(i, band)| work(i * rows, band));
        return;
    }
    let bands: Vec<_> = data.chunks_mut(len).map(Mutex::new).collect();
    each(bands.len(), &|i| {
        // Each band has one taker, so the lock is free; it was poisoned only if this very work panicked before.
        let mut band = bands[i].lock().unwrap_or_else(PoisonError::into_inner);
        work(i * rows, &mut band);
    });
}

/// Computes `work(i)` for `i` in `0..count`, several at once, and returns the results in order.
pub fn map<R: Send>(count: usize, work: impl Fn(usize) -> R + Sync + Send) -> Vec<R> {
    let results: Vec<_> = (0..count).map(|_| Mutex::new(None)).collect();
    each(count, &|i| {
        let result = work(i);
        *results[i].lock().unwrap_or_else(PoisonError::into_inner) = Some(result);
    });
    results.into_iter().filter_map(|r| r.into_inner().unwrap_or_else(PoisonError::into_inner)).collect()
}

/// The same where the work needs room that is worth keeping: `ready()` makes it, once for several `i`, and
/// what it holds from one `i` to the next must not change an answer.
pub fn map_with<S, R: Send>(
    count: usize,
    ready: impl Fn() -> S + Sync + Send,
    work: impl Fn(&mut S, usize) -> R + Sync + Send,
) -> Vec<R> {
    (0..count).into_par_iter().map_init(ready, work).collect()
}

/// Does two works at once, where there is a thread for each.
pub fn both<A: Send, B: Send>(first: impl FnOnce() -> A + Send, second: impl FnOnce() -> B + Send) -> (A, B) {
    rayon::join(first, second)
}

/// Pieces on their way from one thread to another; more would only wait.
const ON_THE_WAY: usize = 4;

/// Runs `make` on this thread and `take` on another. What `make` gives to its function comes to `take`, piece
/// after piece in order; from the piece on that `take` refuses by `false`, giving returns `false`.
/// Returns what `make` returned and the state that `take` worked on.
pub fn pass_on<S: Send, R>(
    state: S,
    take: impl FnMut(&mut S, &[u8]) -> bool + Send,
    make: impl FnOnce(&mut dyn FnMut(&[u8]) -> bool) -> R,
) -> (R, S) {
    let (give, taken) = mpsc::sync_channel::<Vec<u8>>(ON_THE_WAY);
    let (back, empty) = mpsc::channel::<Vec<u8>>();
    let taker = Mutex::new((state, take));
    let lock = || taker.lock().unwrap_or_else(PoisonError::into_inner);
    let made = thread::scope(|scope| {
        let on_its_own = move || {
            let (state, take) = &mut *lock();
            while let Ok(mut piece) = taken.recv() {
                if !take(state, &piece) {
                    break;
                }
                piece.clear();
                // Nobody takes it back once all is made.
                let _ = back.send(piece);
            }
        };
        let Ok(thread) = thread::Builder::new().spawn_scoped(scope, on_its_own) else {
            // No further thread can be had: the work is done on this one, with the same result.
            let mut going = true;
            return make(&mut |bytes| {
                let (state, take) = &mut *lock();
                going = going && take(state, bytes);
                going
            });
        };
        let made = make(&mut |bytes| {
            let mut piece = empty.try_recv().unwrap_or_default();
            piece.extend_from_slice(bytes);
            give.send(piece).is_ok()
        });
        drop(give);
        match thread.join() {
            Ok(()) => made,
            Err(panic) => std::panic::resume_unwind(panic),
        }
    });
    (made, taker.into_inner().unwrap_or_else(PoisonError::into_inner).0)
}

/// Runs `work` on a pool of exactly `threads` threads (tests use it to prove that the thread count
/// does not change a byte).
pub fn with_threads<R: Send>(threads: usize, work: impl FnOnce() -> R + Send) -> R {
    match rayon::ThreadPoolBuilder::new().num_threads(threads).build() {
        Ok(pool) => pool.install(work),
        // No further thread can be had: the work is done on this one, with the same result.
        Err(_) => work(),
    }
}

/// How many threads work at once.
pub fn threads() -> usize {
    rayon::current_num_threads()
}

/// What became of work done aside.
#[derive(Debug, Clone, PartialEq)]
pub enum Aside<R> {
    /// It is done.
    Done(R),
    /// It takes longer than allowed. Its thread goes on until it ends or the program does.
    Late,
    /// No thread can be had for it, and why; or it panicked.
    NoThread(String),
}

/// A thread that works aside for another one, again and again: a drawing has some twenty parts, and a thread with a deep
/// stack takes a while to make. It ends once nobody can give it more.
struct Helper {
    stack: usize,
    give: mpsc::Sender<Box<dyn FnOnce() + Send>>,
}

thread_local! {
    static HELPER: Cell<Option<Helper>> = const { Cell::new(None) };
}

impl Helper {
    fn new(stack: usize) -> io::Result<Helper> {
        let (give, taken) = mpsc::channel::<Box<dyn FnOnce() + Send>>();
        let work = move || taken.into_iter().for_each(|work| work());
        thread::Builder::new().stack_size(stack).spawn(work)?;
        Ok(Helper { stack, give })
    }
}

/// Runs `work` on another thread with a stack of `stack` bytes, and waits at most so many seconds for it.
pub fn aside<R: Send + 'static>(
    stack: usize,
    seconds: f64,
    work: impl FnOnce() -> R + Send + 'static,
) -> Aside<R> {
    let helper = HELPER.take().filter(|helper| helper.stack == stack).map_or_else(|| Helper::new(stack), Ok);
    let helper = match helper {
        Ok(helper) => helper,
        Err(e) => return Aside::NoThread(format!("no thread can be had for it: {e}")),
    };
    let (tell, told) = sync_channel(1);
    // Nobody listens any more when the work comes late.
    let given = helper.give.send(Box::new(move || drop(tell.send(work()))));
    let patience = Duration::try_from_secs_f64(seconds.max(0.0)).unwrap_or(Duration::MAX);
    match given.map_or(Err(RecvTimeoutError::Disconnected), |()| told.recv_timeout(patience)) {
        Ok(result) => {
            HELPER.set(Some(helper));
            Aside::Done(result)
        }
        Err(RecvTimeoutError::Timeout) => Aside::Late,
        Err(RecvTimeoutError::Disconnected) => Aside::NoThread("its thread ended before it did".into()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn work_aside_is_waited_for_and_given_up() {
        assert_eq!(aside(1 << 20, 60.0, || 6 * 7), Aside::Done(42));
        let (go, wait) = sync_channel::<()>(1);
        let here = thread::current().id();
        let one = aside(1 << 20, 60.0, || thread::current().id());
        // The same thread works again, as long as it came to an end in time and did not panic.
        assert!(one == aside(1 << 20, 60.0, || thread::current().id()) && one != Aside::Done(here));
        assert!(one != aside(1 << 21, 60.0, || thread::current().id()));
        assert_eq!(aside(1 << 20, 0.01, move || wait.recv().is_ok()), Aside::Late);
        drop(go);
        assert_eq!(aside(1 << 20, f64::INFINITY, || 1), Aside::Done(1));
    }

    #[test]
    fn pieces_come_in_order_and_a_refusal_is_told() {
        let give_all = |give: &mut dyn FnMut(&[u8]) -> bool| {
            (0..1000u32).take_while(|i| give(&vec![*i as u8; *i as usize % 50])).count()
        };
        let (given, seen) = pass_on(
            Vec::new(),
            |seen: &mut Vec<u8>, piece| {
                seen.extend_from_slice(piece);
                true
            },
            give_all,
        );
        let want: Vec<u8> = (0..1000u32).flat_map(|i| vec![i as u8; i as usize % 50]).collect();
        assert!(given == 1000 && seen == want);
        let (given, pieces) = pass_on(
            0,
            |pieces, _| {
                *pieces += 1;
                *pieces < 10
            },
            give_all,
        );
        assert!((10..=10 + ON_THE_WAY + 1).contains(&given) && pieces == 10, "{given}");
    }

    #[test]
    fn bands_cover_every_row_once_for_any_thread_count() {
        for threads in [1, 2, 3, 7] {
            let mut data = vec![0u32; 1000 * 77];
            with_threads(threads, || {
                bands(&mut data, 77, 16, |first, band| {
                    for (i, v) in band.iter_mut().enumerate() {
                        *v += (first * 77 + i) as u32 + 1;
                    }
                });
            });
            assert!(data.iter().enumerate().all(|(i, &v)| v == i as u32 + 1));
        }
    }
}
