//! Joint takes that are looked at: their open sources and their peaks in, answers for pages out. A few are kept; peaks are built
//! beside and kept in the desk's folder, never on a card.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use engine::alignment::{Alignment, Member};
use engine::output::{Replace, write_bytes};
use engine::progress::Progress;
use engine::view::{Peaks, View};

/// Joint takes whose sources stay open.
const MOST: usize = 3;

/// What is looked at, the last first.
#[derive(Default)]
pub struct Looks(Mutex<Vec<Arc<Look>>>);

/// A joint take that is looked at.
pub struct Look {
    /// Its sources.
    pub view: View,
    /// What it is a part of.
    of: Arc<Alignment>,
    /// The peaks of every member, in the order of the joint take.
    peaks: Vec<(String, Arc<Peaks>)>,
    /// Nobody looks any more.
    left: Arc<Left>,
}

#[derive(Default)]
struct Left(AtomicBool);

impl Progress for Left {
    fn stage(&self, _name: &str, _total: u64) {}
    fn advance(&self, _steps: u64) {}
    fn is_stopped(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}

impl Look {
    /// The peaks of a unit's take.
    pub fn peaks(&self, unit: &str) -> Option<&Peaks> {
        let mut all = self.peaks.iter();
        all.find(|(name, _)| name == unit)
            .map(|(_, peaks)| &**peaks)
    }
}

impl Drop for Look {
    fn drop(&mut self) {
        self.left.0.store(true, Ordering::Relaxed);
    }
}

impl Looks {
    /// Looks at a joint take of an alignment: opened and its peaks begun the first time. `kept` is where peaks are kept.
    pub fn at(&self, of: &Arc<Alignment>, take: &str, kept: &Path) -> engine::Result<Arc<Look>> {
        let mut looks = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let is = |look: &Arc<Look>| Arc::ptr_eq(&look.of, of) && look.view.take().name == take;
        if let Some(place) = looks.iter().position(is) {
            let look = looks.remove(place);
            looks.insert(0, Arc::clone(&look));
            return Ok(look);
        }
        let take = of.joint_take(take)?;
        let view = View::open(take);
        let mut peaks = Vec::new();
        for member in &take.members {
            // what cannot be read is told when it is asked for
            let Ok(sound) = view.sound(&member.unit) else {
                continue;
            };
            let file = kept.join(format!("{}.peaks", name_of(member)));
            let known = std::fs::read(&file).ok();
            let known = known.and_then(|bytes| Peaks::from_bytes(sound, &bytes));
            peaks.push((
                member.unit.clone(),
                file,
                known.unwrap_or_else(|| Peaks::of(sound)),
            ));
        }
        let files: Vec<PathBuf> = peaks.iter().map(|(_, file, _)| file.clone()).collect();
        let look = Arc::new(Look {
            view,
            of: Arc::clone(of),
            peaks: peaks
                .into_iter()
                .map(|(unit, _, peaks)| (unit, Arc::new(peaks)))
                .collect(),
            left: Arc::default(),
        });
        build(&look, files);
        looks.insert(0, Arc::clone(&look));
        looks.truncate(MOST);
        Ok(look)
    }

    /// Forgets all: the alignment changed.
    pub fn forget(&self) {
        let mut looks = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        looks.clear();
    }
}

/// Builds what peaks are not there yet, one take after the other, for as long as anybody looks.
fn build(look: &Arc<Look>, files: Vec<PathBuf>) {
    let waiting = look.peaks.iter().zip(files);
    let waiting: Vec<_> = waiting
        .filter(|((_, peaks), _)| !peaks.is_complete())
        .map(|((unit, peaks), file)| (unit.clone(), Arc::clone(peaks), file))
        .collect();
    let take = look.view.take().clone();
    let left = Arc::clone(&look.left);
    std::thread::spawn(move || {
        // its own open files: the look must be free to go meanwhile
        let view = View::open(&take);
        for (unit, peaks, file) in waiting {
            let built = view
                .sound(&unit)
                .and_then(|sound| peaks.build(sound, &*left));
            // what cannot be kept is built again the next time
            if built.is_ok() {
                let _ = write_bytes(&file, &peaks.to_bytes(), Replace::Yes);
            }
        }
    });
}

/// A file name for a take's peaks that changes with the files it is stored in.
fn name_of(member: &Member) -> String {
    let mut name = String::new();
    for part in &member.parts {
        let digest = part.digest.rsplit(':').next().unwrap_or_default();
        name.push_str(
            &digest
                .chars()
                .filter(char::is_ascii_hexdigit)
                .collect::<String>(),
        );
    }
    let unit: String = member
        .unit
        .chars()
        .filter(char::is_ascii_alphanumeric)
        .collect();
    // many parts: the first and the last digests tell enough with the number of them
    let (first, last) = (
        name.get(..16).unwrap_or(&name),
        name.get(name.len().saturating_sub(16)..),
    );
    format!(
        "{unit}-{first}-{}-{}",
        last.unwrap_or_default(),
        member.parts.len()
    )
}
