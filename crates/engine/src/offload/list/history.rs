//! A folder with a history in, all its generations out, and one more written: the chain is held against the lists it names.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{ErrorKind, Read};
use std::path::{Path, PathBuf};

use jiff::Timestamp;
use serde::Serialize;

use super::chain::{self, ChainLink};
use super::{Action, FOLDER, HashList};
use crate::error::Result;
use crate::finding::{Finding, Weight};
use crate::media::unreadable;
use crate::offload::hash::{Hash, HashKind};
use crate::output::{Replace, write_text};

/// The ending of lists.
const ENDING: &str = "mhl";

/// The longest list that is read: some millions of files.
const LONGEST: u64 = 1 << 30;

/// All generations of a folder, oldest first, and what is wrong with them.
#[derive(Debug, Clone, Default)]
pub struct History {
    /// The lists that could be read.
    pub generations: Vec<HashList>,
    /// What is wrong with the chain.
    pub findings: Vec<Finding>,
    links: Vec<ChainLink>,
}

/// What all generations together know of a file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct KnownFile {
    /// Bytes, where a list says.
    pub size: Option<u64>,
    /// The first hash of every kind.
    pub hashes: Vec<Hash>,
}

impl KnownFile {
    /// The hash that is checked: the quickest to take.
    #[must_use]
    pub fn hash(&self) -> Option<&Hash> {
        self.hashes.iter().min_by_key(|hash| hash.kind.cost())
    }

    /// The hash of a kind.
    #[must_use]
    pub fn of_kind(&self, kind: HashKind) -> Option<&Hash> {
        self.hashes.iter().find(|hash| hash.kind == kind)
    }
}

impl History {
    /// Whether nothing is wrong with it that would make it worthless.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        self.findings
            .iter()
            .all(|finding| finding.weight < Weight::Stop)
    }

    /// Whether there is a chain that names lists of `root`.
    pub(in crate::offload) fn has_chain(root: &Path) -> bool {
        root.join(FOLDER).join(chain::FILE).is_file()
    }

    /// Whether every list of another history is among this one's.
    pub(in crate::offload) fn holds(&self, other: &Self) -> bool {
        other
            .links
            .iter()
            .all(|link| self.links.iter().any(|own| own.c4 == link.c4))
    }

    /// Whether `root` has one.
    #[must_use]
    pub fn is_in(root: &Path) -> bool {
        root.join(FOLDER).is_dir()
    }

    /// Reads the history of `root`; an empty one when there is none.
    ///
    /// # Errors
    /// [`Io`](crate::Kind::Io) when a list cannot be read, [`Format`](crate::Kind::Format) when it breaks its form.
    pub fn load(root: &Path) -> Result<Self> {
        let mut history = Self::default();
        if !Self::is_in(root) {
            return Ok(history);
        }
        let folder = root.join(FOLDER);
        let chain_path = folder.join(chain::FILE);
        let links = match read_limited(&chain_path) {
            Ok(xml) => chain::from_xml(&xml).map_err(|error| error.at(&chain_path))?,
            Err(error) if error.kind() == ErrorKind::NotFound => Vec::new(),
            Err(error) => return Err(unreadable(&chain_path, error)),
        };
        for link in &links {
            history.take_link(&folder, link)?;
        }
        history.links = links;
        let mut unchained = lists_in(&folder)?;
        unchained.retain(|file| history.links.iter().all(|link| link.file != *file));
        // a run that was stopped before it wrote the chain leaves one list: the first of all, or the one after the chain
        let next = format!("{:04}_", history.links.len() + 1);
        let stopped = unchained.len() == 1 && unchained[0].starts_with(&next);
        for file in unchained {
            history.take_unchained(&folder, &file, stopped)?;
        }
        Ok(history)
    }

    fn take_link(&mut self, folder: &Path, link: &ChainLink) -> Result<()> {
        let path = folder.join(&link.file);
        let xml = match read_limited(&path) {
            Ok(xml) => xml,
            Err(error) if error.kind() == ErrorKind::NotFound => {
                self.findings.push(
                    Finding::new(
                        "list-missing",
                        Weight::Stop,
                        "a hash list of the chain is missing",
                    )
                    .at(path.display().to_string())
                    .measured("no file", format!("generation {}", link.number))
                    .then("copy the whole folder again, with its ascmhl folder"),
                );
                return Ok(());
            }
            Err(error) => return Err(unreadable(&path, error)),
        };
        let c4 = Hash::of(HashKind::C4, &xml).text;
        if c4 != link.c4 {
            self.findings.push(
                Finding::new(
                    "list-changed",
                    Weight::Stop,
                    "a hash list is not the one its chain was made for",
                )
                .at(path.display().to_string())
                .measured(c4, link.c4.clone())
                .because("the list was edited or damaged")
                .then("take the list from another copy"),
            );
        }
        self.take_list(&path, &xml)
    }

    fn take_unchained(&mut self, folder: &Path, file: &str, stopped: bool) -> Result<()> {
        let path = folder.join(file);
        let xml = read_limited(&path).map_err(|error| unreadable(&path, error))?;
        let finding = match stopped {
            true => Finding::new(
                "list-unchained",
                Weight::Warn,
                "a hash list is not in its chain",
            )
            .because("the run that made it was stopped before it wrote the chain")
            .then("the next run that writes a list here takes it into the chain"),
            false => Finding::new(
                "chain-broken",
                Weight::Stop,
                "a hash list is in no chain, so nothing tells whether it was changed",
            )
            .because("the chain was lost, or a list was put here by hand")
            .then("take the folder ascmhl from another copy"),
        };
        self.findings.push(finding.at(path.display().to_string()));
        self.take_list(&path, &xml)?;
        if stopped {
            self.links.push(ChainLink {
                number: self.links.len() as u32 + 1,
                file: file.to_string(),
                c4: Hash::of(HashKind::C4, &xml).text,
            });
        }
        Ok(())
    }

    fn take_list(&mut self, path: &Path, xml: &[u8]) -> Result<()> {
        let list = HashList::from_xml(xml).map_err(|error| error.at(path))?;
        self.generations.push(list);
        Ok(())
    }

    /// All files that were ever named, by the paths they have now.
    #[must_use]
    pub fn files(&self) -> BTreeMap<String, KnownFile> {
        let mut known: BTreeMap<String, KnownFile> = BTreeMap::new();
        for generation in &self.generations {
            for file in &generation.files {
                let moved = file.previous.as_ref().and_then(|old| known.remove(old));
                let entry = known.entry(file.path.clone()).or_insert_with(|| {
                    moved.unwrap_or(KnownFile {
                        size: file.size,
                        hashes: Vec::new(),
                    })
                });
                // what was found changed says nothing of what the file was, in no kind of hash
                if file.hashes.iter().any(|l| l.action == Some(Action::Failed)) {
                    continue;
                }
                for listed in &file.hashes {
                    if entry.of_kind(listed.hash.kind).is_none() {
                        entry.hashes.push(listed.hash.clone());
                    }
                }
            }
        }
        known
    }

    /// The folders the last generation names.
    pub fn folders(&self) -> impl Iterator<Item = &str> {
        let last = self.generations.last();
        last.into_iter()
            .flat_map(|list| &list.folders)
            .map(|folder| folder.path.as_str())
    }

    /// The patterns of the last generation.
    #[must_use]
    pub fn ignored(&self) -> &[String] {
        self.generations.last().map_or(&[], |list| &list.ignored)
    }

    /// Writes one more generation to `root` and the chain that names it; says which file it is.
    pub(in crate::offload) fn add(
        &self,
        root: &Path,
        list: &HashList,
        at: Timestamp,
    ) -> Result<PathBuf> {
        let folder = root.join(FOLDER);
        let number = self.links.len() as u32 + 1;
        let name = root.canonicalize().ok();
        let name = name
            .as_deref()
            .and_then(Path::file_name)
            .unwrap_or_default();
        let name = file_name_part(&name.to_string_lossy());
        let file = format!(
            "{number:04}_{name}_{}.{ENDING}",
            at.strftime("%Y-%m-%d_%H%M%SZ")
        );
        let xml = list.to_xml()?;
        let path = folder.join(&file);
        write_text(&path, &xml, Replace::No)?;
        let mut links = self.links.clone();
        links.push(ChainLink {
            number,
            file,
            c4: Hash::of(HashKind::C4, xml.as_bytes()).text,
        });
        write_text(
            &folder.join(chain::FILE),
            &chain::to_xml(&links)?,
            Replace::Yes,
        )?;
        Ok(path)
    }
}

/// What of a folder's name goes into the name of a list: no more than leaves room for the rest in the 255 bytes of common
/// file systems.
fn file_name_part(name: &str) -> String {
    let mut part = String::new();
    for c in name.chars() {
        let c = if c.is_control() || c == '\u{fffd}' {
            '_'
        } else {
            c
        };
        if part.len() + c.len_utf8() > 150 {
            break;
        }
        part.push(c);
    }
    part
}

/// The names of the lists in a folder, in their order.
fn lists_in(folder: &Path) -> Result<Vec<String>> {
    let entries = fs::read_dir(folder).map_err(|error| unreadable(folder, error))?;
    let mut names: Vec<String> = entries
        .flatten()
        .filter_map(|entry| entry.file_name().into_string().ok())
        .filter(|name| {
            let ending = Path::new(name).extension();
            !name.starts_with('.') && ending.is_some_and(|e| e.eq_ignore_ascii_case(ENDING))
        })
        .collect();
    names.sort();
    Ok(names)
}

fn read_limited(path: &Path) -> std::io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    File::open(path)?.take(LONGEST).read_to_end(&mut bytes)?;
    Ok(bytes)
}
