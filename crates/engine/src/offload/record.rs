//! What was copied and verified in, one more generation of hash lists at the place out.

use std::collections::HashSet;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use jiff::Timestamp;

use super::contents::{CardFile, Contents};
use super::copy::{Copied, Job};
use super::hash::{Hash, HashKind};
use super::list::{
    Action, FOLDER, HashList, IGNORED, ListedFile, ListedFolder, ListedHash, Process, Tree,
    can_be_listed, folder_hashes,
};
use super::place::Place;
use crate::error::Result;

/// Whether a path is one of hash lists: no list names lists.
pub(super) fn is_of_lists(path: &Path) -> bool {
    path.iter().any(|name| name == FOLDER)
}

/// A path as a list writes it; `None` when no list can hold it, or it is one of hash lists.
pub(super) fn listed_path(path: &Path) -> Option<String> {
    if is_of_lists(path) {
        return None;
    }
    let names: Option<Vec<&str>> = path.iter().map(|name| name.to_str()).collect();
    Some(names?.join("/")).filter(|path| can_be_listed(path))
}

/// The kinds of hashes to take of a file: the one that is written, and what the lists at the places know it by.
pub(super) fn kinds(kind: HashKind, file: &CardFile, places: &[Place<'_>]) -> Vec<HashKind> {
    let mut kinds = vec![kind];
    let Some(path) = listed_path(&file.path) else {
        return kinds;
    };
    for place in places {
        let known = place.known.get(&path);
        if let Some(known) = known.filter(|known| known.of_kind(kind).is_none())
            && let Some(hash) = known.hash()
            && !kinds.contains(&hash.kind)
        {
            kinds.push(hash.kind);
        }
    }
    kinds
}

/// Writes the list of a complete copy; says where it is, and which files are not what an earlier list says.
pub(super) fn record(
    kind: HashKind,
    place: &Place<'_>,
    all: &Contents,
    jobs: &[Job<'_>],
    results: &[Copied],
    now: Timestamp,
) -> Result<(PathBuf, Vec<PathBuf>)> {
    place.synchronise(all)?;
    let mut files = Vec::new();
    let mut changed = Vec::new();
    let mut tree = tree_of_earlier(kind, place, jobs);
    for (job, copied) in jobs.iter().zip(results) {
        let (Some(path), Ok(Some(hashes))) = (listed_path(&job.file.path), &copied.read) else {
            // a folder is hashed as a whole or not at all
            tree = tree.filter(|_| is_of_lists(&job.file.path));
            continue;
        };
        let known = place.known.get(&path);
        let listed: Vec<ListedHash> = hashes
            .iter()
            .map(|hash| {
                let earlier = known.and_then(|known| known.of_kind(hash.kind));
                ListedHash {
                    hash: hash.clone(),
                    action: Some(match earlier {
                        None => Action::Original,
                        Some(earlier) if earlier == hash => Action::Verified,
                        Some(_) => Action::Failed,
                    }),
                    when: Some(date(now)),
                }
            })
            .filter(|listed| listed.hash.kind == kind || listed.action != Some(Action::Original))
            .collect();
        if listed.iter().any(|l| l.action == Some(Action::Failed)) {
            changed.push(place.root.join(&job.file.path));
        }
        if let (Some(tree), Some(hash)) = (&mut tree, of_kind(hashes, kind)) {
            tree.file(&path, hash.clone());
        }
        files.push(ListedFile {
            path,
            size: Some(job.file.size),
            modified: job.file.modified.and_then(date_of),
            hashes: in_order(listed),
            previous: None,
        });
    }
    let folders: Vec<String> = all
        .folders
        .iter()
        .filter_map(|folder| listed_path(folder))
        .collect();
    if let Some(tree) = &mut tree {
        folders.iter().for_each(|folder| tree.folder(folder));
    }
    let (root, hashed) = match &tree {
        Some(tree) => {
            let (root, hashed) = folder_hashes(tree, kind);
            (Some(root), hashed)
        }
        None => (None, Vec::new()),
    };
    let list = HashList {
        created: date(now),
        host: host(),
        tool: ("commontime".into(), env!("CARGO_PKG_VERSION").into()),
        process: Process::Transfer,
        root,
        ignored: IGNORED.map(String::from).to_vec(),
        files,
        folders: hashed
            .into_iter()
            .map(|(path, hashes)| ListedFolder {
                path,
                modified: None,
                hashes,
            })
            .collect(),
        references: Vec::new(),
    };
    let path = place.history.add(&place.root, &list, now)?;
    // the folder of the lists is new in its folder
    place.synchronise(all)?;
    Ok((path, changed))
}

/// The files that earlier lists name and that are still there, by their hashes; `None` when one of them has no hash of this
/// kind, so that no folder can be hashed.
fn tree_of_earlier(kind: HashKind, place: &Place<'_>, jobs: &[Job<'_>]) -> Option<Tree> {
    let now: HashSet<String> = jobs
        .iter()
        .filter_map(|job| listed_path(&job.file.path))
        .collect();
    let mut tree = Tree::default();
    for (path, known) in place.known.iter().filter(|(path, _)| !now.contains(*path)) {
        if !place.root.join(path).is_file() {
            return None;
        }
        tree.file(path, known.of_kind(kind)?.clone());
    }
    Some(tree)
}

fn of_kind(hashes: &[Hash], kind: HashKind) -> Option<&Hash> {
    hashes.iter().find(|hash| hash.kind == kind)
}

/// Hashes in the order in which a list names their kinds.
fn in_order(mut hashes: Vec<ListedHash>) -> Vec<ListedHash> {
    hashes.sort_by_key(|listed| listed.hash.kind);
    hashes
}

/// A date as XML writes it, to the second.
fn date(at: Timestamp) -> String {
    at.strftime("%Y-%m-%dT%H:%M:%SZ").to_string()
}

fn date_of(time: SystemTime) -> Option<String> {
    Timestamp::try_from(time).ok().map(date)
}

fn host() -> String {
    let name = rustix::system::uname();
    let name = name.nodename().to_string_lossy().into_owned();
    if can_be_listed(&name) {
        name
    } else {
        String::new()
    }
}
