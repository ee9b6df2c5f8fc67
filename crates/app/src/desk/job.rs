//! Long work of which one runs at a time: how far it is in, words for pages out.

use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::Instant;

use engine::progress::Progress;

/// What is being done.
#[derive(Debug)]
pub struct Job {
    /// In a few words: `measuring the day`.
    pub what: String,
    stage: Mutex<Stage>,
    done: AtomicU64,
    stopped: AtomicBool,
}

#[derive(Debug)]
struct Stage {
    name: String,
    total: u64,
    began: Instant,
}

/// How far it is.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct HowFar {
    /// What is being done.
    pub what: String,
    /// The present stage.
    pub stage: String,
    /// Of 100; absent when the stage does not count.
    pub percent: Option<u64>,
    /// Seconds left of the stage, once that can be told.
    pub left_s: Option<u64>,
    /// Whether it was asked to stop.
    pub stopping: bool,
}

impl Job {
    /// Work that begins.
    pub fn new(what: impl Into<String>) -> Self {
        Self {
            what: what.into(),
            stage: Mutex::new(Stage {
                name: String::new(),
                total: 0,
                began: Instant::now(),
            }),
            done: AtomicU64::new(0),
            stopped: AtomicBool::new(false),
        }
    }

    /// Asks it to stop.
    pub fn stop(&self) {
        self.stopped.store(true, Ordering::Relaxed);
    }

    /// How far it is.
    pub fn how_far(&self) -> HowFar {
        let stage = self.stage.lock().unwrap_or_else(PoisonError::into_inner);
        let done = self.done.load(Ordering::Relaxed).min(stage.total);
        let gone = stage.began.elapsed().as_secs_f64();
        let left = gone * (stage.total - done) as f64 / done.max(1) as f64;
        HowFar {
            what: self.what.clone(),
            stage: stage.name.clone(),
            percent: (stage.total > 0).then(|| 100 * done / stage.total),
            left_s: (done > 0 && gone > 1.0).then_some(left.ceil() as u64),
            stopping: self.stopped.load(Ordering::Relaxed),
        }
    }
}

impl HowFar {
    /// In words: `measuring the day: looking for a common signal, 40 %, about 12 s left`.
    pub fn words(&self) -> String {
        let mut words = self.what.clone();
        if !self.stage.is_empty() {
            words.push_str(&format!(": {}", self.stage));
        }
        if let Some(percent) = self.percent {
            words.push_str(&format!(", {percent} %"));
        }
        match (self.stopping, self.left_s) {
            (true, _) => words.push_str(", stopping"),
            (false, Some(left)) if left >= 90 => {
                words.push_str(&format!(", about {} min left", left.div_ceil(60)));
            }
            (false, Some(left)) => words.push_str(&format!(", about {left} s left")),
            (false, None) => {}
        }
        words
    }
}

impl Progress for Job {
    fn stage(&self, name: &str, total: u64) {
        let mut stage = self.stage.lock().unwrap_or_else(PoisonError::into_inner);
        *stage = Stage {
            name: name.to_string(),
            total,
            began: Instant::now(),
        };
        self.done.store(0, Ordering::Relaxed);
    }

    fn advance(&self, steps: u64) {
        self.done.fetch_add(steps, Ordering::Relaxed);
    }

    fn is_stopped(&self) -> bool {
        self.stopped.load(Ordering::Relaxed)
    }
}
