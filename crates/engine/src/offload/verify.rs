//! A folder with hash lists in, what became of its files since out: missing, extra, changed and renamed ones by name.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::{fs, io};

use ignore::gitignore::{Gitignore, GitignoreBuilder};
use rayon::prelude::*;
use serde::Serialize;

use super::back::read_back;
use super::contents::{CardFile, contents};
use super::hash::Hash;
use super::list::{FOLDER, History, KnownFile};
use super::record::{is_of_lists, listed_path};
use super::repair::BESIDE;
use super::verdict::{of_error, shortened};
use crate::error::{Error, Kind, Result};
use crate::finding::{Finding, Weight};
use crate::media::{self, Met};
use crate::output::{Aligned, ReadBack};
use crate::progress::Progress;

/// Files that are read at the same time: more only make a disk's head travel (common practice, no source).
const AT_ONCE: usize = 2;

/// What became of everything below a folder.
#[derive(Debug, Clone, Serialize)]
pub struct Verified {
    /// One entry a folder with hash lists, in the order of their paths.
    pub scopes: Vec<Scope>,
    /// What a person should know.
    pub findings: Vec<Finding>,
    /// The gravest class of failure there was.
    #[serde(skip)]
    pub failed: Option<Kind>,
}

/// What became of the files of one folder with hash lists; paths are relative to it.
#[derive(Debug, Clone, Default, Serialize)]
pub struct Scope {
    /// The folder.
    #[serde(serialize_with = "crate::media::as_text::path")]
    pub folder: PathBuf,
    /// Whether its lists are those their chain was made for.
    #[serde(skip)]
    pub sound_lists: bool,
    /// How many lists there are.
    pub generations: usize,
    /// Files the lists name.
    pub listed: usize,
    /// Files that are what the lists say.
    pub equal: usize,
    /// Their bytes.
    pub bytes: u64,
    /// Files that are not there.
    pub missing: Vec<String>,
    /// Files that hold something else.
    pub changed: Vec<String>,
    /// Files that are there under another name: before, now.
    pub renamed: Vec<(String, String)>,
    /// Files that no list names.
    pub extra: Vec<String>,
    /// Files that cannot be read.
    pub unreadable: Vec<String>,
    /// How far reading went, at the file where it went least far.
    pub read_back: Option<ReadBack>,
}

/// Verifies every folder with hash lists in `folder` and below.
///
/// # Errors
/// [`Kind::Usage`] when there is none; [`Kind::Io`] when `folder` cannot be listed; [`Kind::Format`] when a list breaks
/// its form.
pub fn verify(folder: &Path, progress: &dyn Progress) -> Result<Verified> {
    let mut findings = Vec::new();
    let roots = find_roots(folder, &mut findings).map_err(|error| {
        media::unreadable(folder, error)
            .then("check that the medium is there and the path is right")
    })?;
    if roots.is_empty() {
        return Err(
            Error::new(Kind::Usage, "there is no hash list here or below")
                .at(folder)
                .then("give the folder of a copy that `commontime offload` made, or one above it"),
        );
    }
    find_unlisted(folder, &roots, &mut findings);
    let mut scopes = Vec::new();
    let mut failures = Vec::new();
    for root in &roots {
        // one that cannot be verified does not keep the others from it
        match verify_scope(root, &roots, &mut findings, progress) {
            Ok(scope) => {
                failures.extend(scope.failed());
                scopes.push(scope);
            }
            Err(error) => {
                failures.push(error.kind());
                findings.push(of_error("not-verified", &error));
            }
        }
    }
    Ok(Verified {
        scopes,
        findings: shortened(findings),
        failed: failures.into_iter().reduce(Kind::graver),
    })
}

impl Scope {
    fn failed(&self) -> Option<Kind> {
        if !self.missing.is_empty() || !self.changed.is_empty() || !self.sound_lists {
            Some(Kind::Verification)
        } else if !self.unreadable.is_empty() {
            Some(Kind::Io)
        } else {
            None
        }
    }
}

/// Every folder with hash lists, `folder` included; what cannot be looked into is told.
fn find_roots(folder: &Path, findings: &mut Vec<Finding>) -> io::Result<Vec<PathBuf>> {
    let mut roots = Vec::new();
    media::walk(folder, &mut |path, met| {
        if let Met::Failed(why) = met {
            findings.push(not_looked_at(path, why.clone()));
        }
        let enter = *met == Met::Folder && path.file_name() != Some(FOLDER.as_ref());
        if enter && History::is_in(path) {
            roots.push(path.to_path_buf());
        }
        enter
    })?;
    if History::is_in(folder) {
        roots.push(folder.to_path_buf());
    }
    roots.sort();
    Ok(roots)
}

fn not_looked_at(path: &Path, why: String) -> Finding {
    Finding::new("not-looked-at", Weight::Ask, "this could not be looked at")
        .at(path.display().to_string())
        .measured(why, "a file or a folder")
}

/// What lies beside the folders with lists, and on no list: copies that are not complete among them.
fn find_unlisted(folder: &Path, roots: &[PathBuf], findings: &mut Vec<Finding>) {
    if roots.iter().any(|root| root == folder) {
        return;
    }
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let path = entry.path();
        let name = entry.file_name().to_string_lossy().into_owned();
        let is_folder = path.is_dir();
        let known = roots.iter().any(|root| root.starts_with(&path)) || name.ends_with(BESIDE);
        if known || media::is_rubbish(&name, is_folder) {
            continue;
        }
        let empty = is_folder && contents(&path, true).is_ok_and(|all| all.files.is_empty());
        if !empty {
            findings.push(
                Finding::new(
                    "unlisted",
                    Weight::Ask,
                    "no hash list says anything of this",
                )
                .at(path.display().to_string())
                .because("a copy that is not complete, or something else beside the copies")
                .then("run the `commontime offload` that made it again, or move it elsewhere"),
            );
        }
    }
}

/// What is there of a scope, as the lists see it.
struct Present {
    /// By the paths of lists.
    files: BTreeMap<String, CardFile>,
    /// Files whose names no list can hold.
    unlistable: Vec<PathBuf>,
}

fn verify_scope(
    root: &Path,
    roots: &[PathBuf],
    findings: &mut Vec<Finding>,
    progress: &dyn Progress,
) -> Result<Scope> {
    let history = History::load(root)?;
    findings.extend(history.findings.iter().cloned());
    let known = history.files();
    let present = present(root, roots, &history, &known, findings)?;
    let total = present
        .files
        .iter()
        .filter(|(path, _)| known.contains_key(*path))
        .map(|(_, file)| file.size)
        .sum();
    progress.stage(&format!("verifying {}", root.display()), total);
    let mut scope = Scope {
        folder: root.to_path_buf(),
        sound_lists: history.is_sound(),
        generations: history.generations.len(),
        listed: known.len(),
        ..Scope::default()
    };
    let told = |bytes| progress.advance(bytes);
    for (path, found) in check_all(root, &known, &present, &told)? {
        scope.take(path, found, findings);
    }
    scope
        .missing
        .extend(missing_folders(root, &history, &scope.missing));
    let strangers: Vec<(&String, &CardFile)> = present
        .files
        .iter()
        .filter(|(path, _)| !known.contains_key(*path))
        .collect();
    let mut memory = Aligned::new();
    for (path, file) in strangers {
        match scope.was_called(root, file, &known, &mut memory) {
            Some(before) => {
                scope.missing.retain(|missing| *missing != before);
                scope.renamed.push((before, path.clone()));
            }
            None => scope.extra.push(path.clone()),
        }
    }
    let unlistable = present
        .unlistable
        .iter()
        .map(|path| path.to_string_lossy().into_owned());
    scope.extra.extend(unlistable);
    scope.tell(findings);
    Ok(scope)
}

fn present(
    root: &Path,
    roots: &[PathBuf],
    history: &History,
    known: &BTreeMap<String, KnownFile>,
    findings: &mut Vec<Finding>,
) -> Result<Present> {
    let all = contents(root, true)?;
    for (path, why) in &all.missed {
        findings.push(not_looked_at(&root.join(path), why.clone()));
    }
    let ignored = patterns(root, history.ignored());
    let nested: BTreeSet<&Path> = roots
        .iter()
        .filter(|other| *other != root)
        .filter_map(|other| other.strip_prefix(root).ok())
        .collect();
    let mut present = Present {
        files: BTreeMap::new(),
        unlistable: Vec::new(),
    };
    for file in all.files {
        let elsewhere = nested.iter().any(|inner| file.path.starts_with(inner));
        match listed_path(&file.path) {
            Some(path) if known.contains_key(&path) => {
                present.files.insert(path, file);
            }
            _ if elsewhere || is_of_lists(&file.path) => {}
            _ if ignored
                .matched_path_or_any_parents(&file.path, false)
                .is_ignore() => {}
            Some(path) => {
                present.files.insert(path, file);
            }
            None => present.unlistable.push(file.path),
        }
    }
    Ok(present)
}

/// The patterns of a list as a rule; one that cannot be read matches nothing.
fn patterns(root: &Path, lines: &[String]) -> Gitignore {
    let mut builder = GitignoreBuilder::new(root);
    for line in lines {
        let _ = builder.add_line(None, line);
    }
    builder.build().unwrap_or_else(|_| Gitignore::empty())
}

/// What a listed file turned out to be.
enum Found {
    Equal(u64, ReadBack),
    Missing,
    Changed { found: String, expected: String },
    Unreadable(Error),
}

fn check_all(
    root: &Path,
    known: &BTreeMap<String, KnownFile>,
    present: &Present,
    told: &(dyn Fn(u64) + Sync),
) -> Result<Vec<(String, Found)>> {
    let threads = rayon::ThreadPoolBuilder::new()
        .num_threads(AT_ONCE)
        .build()
        .map_err(|error| Error::new(Kind::Io, "no threads can be started").from_source(error))?;
    let files: Vec<(&String, &KnownFile)> = known.iter().collect();
    Ok(threads.install(|| {
        files
            .into_par_iter()
            .map_init(Aligned::new, |memory, (path, known)| {
                let found = match present.files.get(path) {
                    None => Found::Missing,
                    Some(file) => check(&root.join(&file.path), file, known, memory, told),
                };
                (path.clone(), found)
            })
            .collect()
    }))
}

fn check(
    path: &Path,
    file: &CardFile,
    known: &KnownFile,
    memory: &mut Aligned,
    told: &dyn Fn(u64),
) -> Found {
    if let Some(size) = known.size.filter(|size| *size != file.size) {
        told(file.size);
        return Found::Changed {
            found: format!("{} bytes", file.size),
            expected: format!("{size} bytes"),
        };
    }
    let Some(expected) = known.hash() else {
        return Found::Unreadable(
            Error::new(Kind::Unsupported, "is on a list without any hash").at(path),
        );
    };
    match read_back(path, &[expected.kind], memory, told) {
        Ok((hashes, size, how)) if hashes.first() == Some(expected) && size == file.size => {
            Found::Equal(size, how)
        }
        Ok((hashes, ..)) => Found::Changed {
            found: hashes.first().map_or(String::new(), words),
            expected: words(expected),
        },
        Err(error) => Found::Unreadable(
            Error::new(Kind::Io, "cannot be read")
                .at(path)
                .then("the medium may be failing: take the file from another copy")
                .from_source(error),
        ),
    }
}

fn words(hash: &Hash) -> String {
    format!("{} {}", hash.kind.name(), hash.text)
}

/// Folders of the last list that are not there, those of missing files left out.
fn missing_folders(root: &Path, history: &History, missing: &[String]) -> Vec<String> {
    history
        .folders()
        .filter(|folder| !root.join(folder).is_dir())
        .map(|folder| format!("{folder}/"))
        .filter(|folder| missing.iter().all(|file| !file.starts_with(folder)))
        .collect()
}

impl Scope {
    fn take(&mut self, path: String, found: Found, findings: &mut Vec<Finding>) {
        let place = || self.folder.join(&path).display().to_string();
        match found {
            Found::Equal(size, how) => {
                self.equal += 1;
                self.bytes += size;
                self.read_back = self.read_back.max(Some(how));
            }
            Found::Missing => self.missing.push(path),
            Found::Changed { found, expected } => {
                findings.push(
                    Finding::new(
                        "file-changed",
                        Weight::Stop,
                        "is not what its hash list says",
                    )
                    .at(place())
                    .measured(found, expected)
                    .then("take the file from another copy; keep this one until that is verified"),
                );
                self.changed.push(path);
            }
            Found::Unreadable(error) => {
                findings.push(of_error("file-unreadable", &error));
                self.unreadable.push(path);
            }
        }
    }

    /// What a file that no list names was called, when it is one that is missing.
    fn was_called(
        &self,
        root: &Path,
        file: &CardFile,
        known: &BTreeMap<String, KnownFile>,
        memory: &mut Aligned,
    ) -> Option<String> {
        let candidates: Vec<(&String, &Hash)> = self
            .missing
            .iter()
            .filter_map(|missing| {
                let known = known.get(missing)?;
                let fits = known.size.is_none_or(|size| size == file.size);
                Some((missing, known.hash()?)).filter(|_| fits)
            })
            .collect();
        let mut kinds: Vec<_> = candidates.iter().map(|(_, hash)| hash.kind).collect();
        kinds.sort();
        kinds.dedup();
        if kinds.is_empty() {
            return None;
        }
        let (hashes, ..) = read_back(&root.join(&file.path), &kinds, memory, &|_| {}).ok()?;
        candidates
            .into_iter()
            .find(|(_, hash)| hashes.contains(hash))
            .map(|(path, _)| path.clone())
    }

    fn tell(&self, findings: &mut Vec<Finding>) {
        let place = |path: &String| self.folder.join(path).display().to_string();
        for path in &self.missing {
            findings.push(
                Finding::new(
                    "file-missing",
                    Weight::Stop,
                    "is on a hash list and not here",
                )
                .at(place(path))
                .then("copy it again from the card or from another copy"),
            );
        }
        for (before, now) in &self.renamed {
            findings.push(
                Finding::new(
                    "file-renamed",
                    Weight::Ask,
                    "has another name than its hash list says",
                )
                .at(place(now))
                .measured(now.clone(), before.clone())
                .then("give it its old name, so that its list holds again"),
            );
        }
        for path in &self.extra {
            findings.push(
                Finding::new("file-extra", Weight::Ask, "is here and on no hash list")
                    .at(place(path))
                    .then("move it elsewhere: only a file of its own card comes onto this list"),
            );
        }
    }
}
