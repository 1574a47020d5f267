//! Independent jobs shared out over the cores, answers in order.

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

/// `work` on each of `jobs`, on as many threads as there are cores; answers in the order of the jobs.
///
/// # Panics
/// Where `work` does.
pub fn on_all_cores<J: Sync, A: Send>(jobs: &[J], work: impl Fn(&J) -> A + Sync) -> Vec<A> {
    let cores = std::thread::available_parallelism()
        .map_or(1, usize::from)
        .min(jobs.len());
    if cores <= 1 {
        return jobs.iter().map(work).collect();
    }
    let next = AtomicUsize::new(0);
    let answers = Mutex::new(Vec::with_capacity(jobs.len()));
    std::thread::scope(|scope| {
        for _ in 0..cores {
            scope.spawn(|| {
                loop {
                    let index = next.fetch_add(1, Ordering::Relaxed);
                    let Some(job) = jobs.get(index) else { break };
                    let answer = work(job);
                    answers
                        .lock()
                        .expect("no thread panics while it holds the answers")
                        .push((index, answer));
                }
            });
        }
    });
    let mut answers = answers.into_inner().expect("all threads have ended");
    answers.sort_by_key(|(index, _)| *index);
    answers.into_iter().map(|(_, answer)| answer).collect()
}

/// Both answers, the first from a thread of its own.
///
/// # Panics
/// Where one of them does.
pub fn both<A: Send, B>(first: impl FnOnce() -> A + Send, second: impl FnOnce() -> B) -> (A, B) {
    std::thread::scope(|scope| {
        let first = scope.spawn(first);
        let second = second();
        let first = first.join();
        (
            first.unwrap_or_else(|panic| std::panic::resume_unwind(panic)),
            second,
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn answers_keep_the_order_of_the_jobs() {
        let jobs: Vec<usize> = (0..1000).collect();
        let doubled: Vec<usize> = jobs.iter().map(|n| 2 * n).collect();
        assert_eq!(on_all_cores(&jobs, |n| 2 * n), doubled);
    }
}
