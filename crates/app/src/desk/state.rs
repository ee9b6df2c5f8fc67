//! What one desk knows: cards, what was found on them, the alignment, the work that runs. Everything that must outlive it stands
//! in the alignment file of its folder.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, RwLock, RwLockReadGuard, RwLockWriteGuard};

use std::time::SystemTime;

use engine::alignment::Alignment;
use engine::deliver::ALIGNMENT;
use engine::finding::Finding;
use engine::first_roll::FirstRoll;
use engine::output::{Folder, Replace, write_text};
use engine::progress::Silent;
use engine::take::{SettingsRow, Survey, scan, settings_table};
use engine::{Error, Kind, media};

use super::Opened;
use super::guard::Keys;
use super::job::Job;
use super::look::Looks;
use crate::cli::day::text_of;

/// What is kept between two desks on one folder and may be thrown away.
const KEPT: &str = ".commontime-desk";

/// One desk.
pub struct Desk {
    /// What only its pages know.
    pub keys: Keys,
    /// Its folder.
    pub out: PathBuf,
    /// Where it keeps what may be thrown away; held against a second desk.
    kept: Folder,
    knows: RwLock<Known>,
    /// Changes whenever anything that a page shows does.
    revision: AtomicU64,
    job: Mutex<Option<Arc<Job>>>,
    /// What is being looked at.
    pub looks: Looks,
}

/// What it knows.
#[derive(Default)]
pub struct Known {
    /// The cards, in the order they were named.
    pub cards: Vec<PathBuf>,
    /// What is on them, once it was looked at.
    pub found: Option<Found>,
    /// What was measured.
    pub alignment: Option<Arc<Alignment>>,
    /// What measuring gave to say beside what stands in the alignment.
    pub findings: Vec<Finding>,
    /// What the first roll came to, if one was judged.
    pub roll: Option<FirstRoll>,
    /// What the last work came to.
    pub last: Option<Came>,
    /// When the alignment file was last written, as far as this desk knows.
    written: Option<SystemTime>,
}

/// What is on the cards.
#[derive(Clone)]
pub struct Found {
    /// Units and takes.
    pub survey: Arc<Survey>,
    /// Settings side by side.
    pub settings: Vec<SettingsRow>,
    /// Oddities.
    pub findings: Vec<Finding>,
}

/// What work came to.
#[derive(Clone)]
pub struct Came {
    /// What it was.
    pub what: String,
    /// In a sentence.
    pub words: String,
    /// Whether it did what it was to do.
    pub well: bool,
    /// What it gave to say.
    pub findings: Vec<Finding>,
}

impl Desk {
    /// Opens a desk on its folder; one that was measured before goes on from there.
    pub fn open(opened: &Opened, keys: Keys) -> engine::Result<Arc<Self>> {
        let absolute =
            |path: &Path| std::path::absolute(path).unwrap_or_else(|_| path.to_path_buf());
        let out = absolute(&opened.out);
        let cards: Vec<PathBuf> = opened.cards.iter().map(|card| absolute(card)).collect();
        refuse_card(&out, &cards)?;
        let kept = Folder::hold(&out.join(KEPT)).map_err(|error| match error.kind() {
            Kind::Refused => Error::new(Kind::Refused, "another desk has this folder")
                .at(&out)
                .then("go on in that one, or give another folder with --out"),
            _ => error,
        })?;
        let desk = Self {
            keys,
            out,
            kept,
            knows: RwLock::default(),
            revision: AtomicU64::new(1),
            job: Mutex::new(None),
            looks: Looks::default(),
        };
        desk.refresh()?;
        desk.set_cards(cards)?;
        Ok(Arc::new(desk))
    }

    /// What it knows.
    pub fn known(&self) -> RwLockReadGuard<'_, Known> {
        self.knows.read().unwrap_or_else(PoisonError::into_inner)
    }

    /// What was measured.
    pub fn alignment(&self) -> engine::Result<Arc<Alignment>> {
        measured(&self.known())
    }

    /// What it knows, to be changed; all pages are told.
    pub fn change(&self) -> RwLockWriteGuard<'_, Known> {
        self.changed();
        self.knows.write().unwrap_or_else(PoisonError::into_inner)
    }

    /// Tells all pages that something changed.
    fn changed(&self) {
        self.revision.fetch_add(1, Ordering::Relaxed);
    }

    /// A number that changes with what pages show.
    pub fn revision(&self) -> u64 {
        self.revision.load(Ordering::Relaxed)
    }

    /// Reads the alignment file again when somebody else wrote it: the command line, a person with an editor.
    pub fn refresh(&self) -> engine::Result<()> {
        let file = self.out.join(ALIGNMENT);
        let written = std::fs::metadata(&file)
            .and_then(|data| data.modified())
            .ok();
        if written == self.known().written {
            return Ok(());
        }
        let alignment = match written {
            Some(_) => {
                Some(Alignment::from_json(&text_of(&file)?).map_err(|error| error.at(&file))?)
            }
            None => None,
        };
        let mut known = self.change();
        known.alignment = alignment.map(Arc::new);
        known.findings.clear();
        known.written = written;
        drop(known);
        self.looks.forget();
        Ok(())
    }

    /// The folder for what may be thrown away.
    pub fn kept(&self) -> &Path {
        self.kept.path()
    }

    /// Takes these cards and looks what is on them.
    pub fn set_cards(&self, cards: Vec<PathBuf>) -> engine::Result<()> {
        refuse_card(&self.out, &cards)?;
        let found = match cards.is_empty() {
            true => None,
            false => {
                let mut findings = Vec::new();
                let survey = scan(&cards, &Silent)?.drain_into(&mut findings);
                let settings = settings_table(&survey).drain_into(&mut findings);
                Some(Found {
                    survey: Arc::new(survey),
                    settings,
                    findings,
                })
            }
        };
        let mut known = self.change();
        known.cards = cards;
        known.found = found;
        known.roll = None;
        Ok(())
    }

    /// Changes the alignment and writes it to its file.
    pub fn edit(
        &self,
        change: impl FnOnce(&mut Alignment) -> engine::Result<()>,
    ) -> engine::Result<()> {
        self.refresh()?;
        let mut known = self.change();
        let mut edited = Alignment::clone(&*measured(&known)?);
        change(&mut edited)?;
        known.written = self.write(&edited)?;
        known.alignment = Some(Arc::new(edited));
        drop(known);
        self.looks.forget();
        Ok(())
    }

    /// Takes a new alignment in the place of the old one.
    pub fn replace(&self, alignment: Alignment, findings: Vec<Finding>) -> engine::Result<()> {
        let mut known = self.change();
        known.written = self.write(&alignment)?;
        known.alignment = Some(Arc::new(alignment));
        known.findings = findings;
        drop(known);
        self.looks.forget();
        Ok(())
    }

    fn write(&self, alignment: &Alignment) -> engine::Result<Option<SystemTime>> {
        let file = self.out.join(ALIGNMENT);
        write_text(&file, &alignment.to_json()?, Replace::Yes)?;
        Ok(std::fs::metadata(&file)
            .and_then(|data| data.modified())
            .ok())
    }

    /// The work that runs.
    pub fn job(&self) -> Option<Arc<Job>> {
        self.job_slot().clone()
    }

    /// Runs work on a thread of its own; refused while other work runs.
    pub fn start(
        self: &Arc<Self>,
        what: &str,
        work: impl FnOnce(&Self, &Job) -> Came + Send + 'static,
    ) -> engine::Result<()> {
        let job = Arc::new(Job::new(what));
        {
            let mut slot = self.job_slot();
            if let Some(running) = slot.as_ref() {
                return Err(Error::new(
                    Kind::Refused,
                    format!("{} is still going on", running.what),
                )
                .then("wait for it, or stop it"));
            }
            *slot = Some(Arc::clone(&job));
        }
        self.change().last = None;
        let desk = Arc::clone(self);
        std::thread::spawn(move || {
            let done = std::panic::AssertUnwindSafe(|| work(&desk, &job));
            let came = std::panic::catch_unwind(done).unwrap_or_else(|_| Came {
                what: job.what.clone(),
                words: "it broke off; this is a fault of the program".into(),
                well: false,
                findings: Vec::new(),
            });
            *desk.job_slot() = None;
            desk.change().last = Some(came);
        });
        Ok(())
    }

    fn job_slot(&self) -> MutexGuard<'_, Option<Arc<Job>>> {
        self.job.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Came {
    /// Work that failed.
    pub fn failed(what: &str, error: &Error) -> Self {
        Self {
            what: what.into(),
            words: error.to_string(),
            well: false,
            findings: Vec::new(),
        }
    }
}

/// What was measured, or that nothing was.
fn measured(known: &Known) -> engine::Result<Arc<Alignment>> {
    let alignment = known.alignment.clone();
    alignment.ok_or_else(|| Error::new(Kind::Usage, "nothing was measured yet"))
}

fn refuse_card(out: &Path, cards: &[PathBuf]) -> engine::Result<()> {
    match cards.iter().find(|card| media::is_inside(card, out)) {
        Some(card) => Err(Error::new(
            Kind::Refused,
            format!("the desk's folder lies on the card {}", card.display()),
        )
        .at(out)
        .then("give a folder outside the cards with --out")),
        None => Ok(()),
    }
}
