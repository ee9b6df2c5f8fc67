//! Numbered pieces of work in, their results in order out: made by all cores, a few ahead of whoever takes them, so that
//! memory does not grow with their number.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc::channel;
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};

use crate::error::Result;

/// Threads beyond those that have a core: while some wait for a medium, the cores have work.
const WAITING: usize = 2;

/// Calls `make` for 0 .. `count` on a few more threads than the pool has, and `take` with each result, in order, on this one.
///
/// # Errors
/// The first that `make` or `take` gives, in the order of the numbers; the rest is not begun any more.
pub(super) fn in_order<T: Send>(
    count: usize,
    make: impl Fn(usize) -> Result<T> + Sync,
    mut take: impl FnMut(T) -> Result<()>,
) -> Result<()> {
    let threads = (rayon::current_num_threads() + WAITING).min(count).max(1);
    let gate = Gate {
        ahead: threads + 2,
        next: AtomicUsize::new(0),
        taken: Mutex::new(0),
        moved: Condvar::new(),
        closed: AtomicBool::new(false),
    };
    std::thread::scope(|scope| {
        let (sender, receiver) = channel();
        for _ in 0..threads {
            let (sender, gate, make) = (sender.clone(), &gate, &make);
            scope.spawn(move || {
                let _closing = CloseOnPanic(gate);
                while let Some(number) = gate.enter(count) {
                    let made = make(number);
                    let last = made.is_err();
                    if sender.send((number, made)).is_err() || last {
                        break;
                    }
                }
            });
        }
        drop(sender);
        let mut waiting = BTreeMap::new();
        let mut wanted = 0;
        for (number, made) in receiver {
            waiting.insert(number, made);
            while let Some(made) = waiting.remove(&wanted) {
                if let Err(error) = made.and_then(&mut take) {
                    gate.close();
                    return Err(error);
                }
                wanted += 1;
                gate.taken_up_to(wanted);
            }
        }
        Ok(())
    })
}

/// What was used before and may be used again, so that memory is asked for once and not for every piece of work.
pub(super) struct Spare<T>(Mutex<Vec<T>>);

impl<T: Default> Spare<T> {
    pub(super) fn new() -> Self {
        Self(Mutex::new(Vec::new()))
    }

    /// One that is there, with what it last held, or a new one.
    pub(super) fn take(&self) -> T {
        self.held().pop().unwrap_or_default()
    }

    /// Lays one aside.
    pub(super) fn give(&self, used: T) {
        self.held().push(used);
    }

    fn held(&self) -> MutexGuard<'_, Vec<T>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Lets numbers in that are not too far ahead.
struct Gate {
    ahead: usize,
    next: AtomicUsize,
    taken: Mutex<usize>,
    moved: Condvar,
    closed: AtomicBool,
}

impl Gate {
    /// The next number, once it may be begun; `None` when there is none or nobody waits for it any more.
    fn enter(&self, count: usize) -> Option<usize> {
        let number = self.next.fetch_add(1, Ordering::Relaxed);
        if number >= count {
            return None;
        }
        let mut taken = self.lock();
        while !self.closed.load(Ordering::Acquire) && number >= *taken + self.ahead {
            taken = self
                .moved
                .wait(taken)
                .unwrap_or_else(PoisonError::into_inner);
        }
        (!self.closed.load(Ordering::Acquire)).then_some(number)
    }

    fn taken_up_to(&self, number: usize) {
        *self.lock() = number;
        self.moved.notify_all();
    }

    fn close(&self) {
        let _held = self.lock();
        self.closed.store(true, Ordering::Release);
        self.moved.notify_all();
    }

    fn lock(&self) -> MutexGuard<'_, usize> {
        self.taken.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// A thread that panics lets the others end, so that the panic is seen instead of waited for.
struct CloseOnPanic<'a>(&'a Gate);

impl Drop for CloseOnPanic<'_> {
    fn drop(&mut self) {
        if std::thread::panicking() {
            self.0.close();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::error::{Error, Kind};

    #[test]
    fn results_come_in_order_and_not_far_ahead() {
        let begun = AtomicUsize::new(0);
        let mut taken = Vec::new();
        let made = |number: usize| {
            begun.fetch_add(1, Ordering::SeqCst);
            if number.is_multiple_of(3) {
                std::thread::sleep(std::time::Duration::from_micros(200));
            }
            Ok(number)
        };
        in_order(500, made, |number| {
            let ahead = begun.load(Ordering::SeqCst) - taken.len();
            assert!(
                ahead <= rayon::current_num_threads() + WAITING + 2,
                "{ahead}"
            );
            taken.push(number);
            Ok(())
        })
        .expect("no errors");
        assert_eq!(taken, (0..500).collect::<Vec<_>>());
        in_order(0, |_| Ok(()), |()| Ok(())).expect("nothing to do");
    }

    #[test]
    fn the_first_error_ends_it() {
        let failing = |at: usize| {
            let result = in_order(
                1000,
                move |number| match number {
                    number if number == at => Err(Error::new(Kind::Io, number.to_string())),
                    number => Ok(number),
                },
                |number| match number {
                    60 => Err(Error::new(Kind::Io, "taker")),
                    _ => Ok(()),
                },
            );
            result.expect_err("it fails").message().to_string()
        };
        assert_eq!(failing(20), "20");
        assert_eq!(failing(900), "taker");
    }
}
