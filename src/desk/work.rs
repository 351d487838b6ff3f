//! Work: what computes runs beside the thread that answers, at most two at once of each kind.

use std::sync::Arc;

use tokio::sync::Semaphore;
use tokio::task::spawn_blocking;

use super::says::Says;
use super::texts::say;

/// Whole runs at once.
const RUNS: usize = 2;
/// Small pieces of work at once: tiles, coarse looks.
const LOOKS: usize = 2;

/// The places at which work is done.
pub(super) struct Work {
    runs: Arc<Semaphore>,
    looks: Arc<Semaphore>,
}

impl Default for Work {
    fn default() -> Self {
        Work { runs: Arc::new(Semaphore::new(RUNS)), looks: Arc::new(Semaphore::new(LOOKS)) }
    }
}

impl Work {
    /// A whole run; it waits for a place.
    ///
    /// # Errors
    /// As `work`; a fault of the program where it panics.
    pub async fn run<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> Result<T, Says> + Send + 'static,
    ) -> Result<T, Says> {
        at(&self.runs, work).await
    }

    /// A small piece of work, which waits for others of its kind but for no run.
    ///
    /// # Errors
    /// As [`Work::run`].
    pub async fn look<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> Result<T, Says> + Send + 'static,
    ) -> Result<T, Says> {
        at(&self.looks, work).await
    }

    /// Reading and writing of small files, which waits for nothing.
    ///
    /// # Errors
    /// As [`Work::run`].
    pub async fn files<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> Result<T, Says> + Send + 'static,
    ) -> Result<T, Says> {
        spawn_blocking(work).await.unwrap_or_else(|_| Err(Says::fault(&say("fault.files"))))
    }
}

async fn at<T: Send + 'static>(
    places: &Arc<Semaphore>,
    work: impl FnOnce() -> Result<T, Says> + Send + 'static,
) -> Result<T, Says> {
    let place = Arc::clone(places).acquire_owned().await;
    let done = spawn_blocking(move || {
        let _place = place;
        work()
    });
    done.await.unwrap_or_else(|_| Err(Says::fault(&say("fault.work"))))
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicUsize, Ordering};
    use std::time::Duration;

    use super::*;

    #[test]
    fn at_most_two_runs_at_once_and_looks_do_not_wait_for_them() {
        let rt = tokio::runtime::Builder::new_current_thread().enable_time().build().unwrap();
        rt.block_on(async {
            let work = Arc::new(Work::default());
            let (now, most) = (Arc::new(AtomicUsize::new(0)), Arc::new(AtomicUsize::new(0)));
            let runs: Vec<_> = (0..6)
                .map(|_| {
                    let (work, now, most) = (work.clone(), now.clone(), most.clone());
                    tokio::spawn(async move {
                        let job = move || {
                            let n = now.fetch_add(1, Ordering::SeqCst) + 1;
                            most.fetch_max(n, Ordering::SeqCst);
                            std::thread::sleep(Duration::from_millis(30));
                            now.fetch_sub(1, Ordering::SeqCst);
                            Ok(())
                        };
                        work.run(job).await.unwrap();
                    })
                })
                .collect();
            tokio::time::sleep(Duration::from_millis(10)).await;
            let look = tokio::time::timeout(Duration::from_millis(20), work.look(|| Ok(7))).await;
            assert_eq!(look.unwrap().unwrap(), 7);
            for run in runs {
                run.await.unwrap();
            }
            assert_eq!(most.load(Ordering::SeqCst), 2);
        });
    }

    #[test]
    fn a_fault_is_answered_and_the_next_work_is_done() {
        let rt = tokio::runtime::Builder::new_current_thread().build().unwrap();
        rt.block_on(async {
            let work = Work::default();
            for _ in 0..5 {
                let done = work.run(|| -> Result<(), Says> { panic!("as a fault would") }).await;
                assert!(done.unwrap_err().sentence().contains("fault of the program"));
            }
            assert_eq!(work.run(|| Ok(1)).await.unwrap(), 1);
        });
    }
}
