//! The hashes of files in, those of every folder above them out (ASC MHL v1.0, 6.5.2 and Appendix G).

use std::collections::BTreeMap;

use super::FolderHashes;
use crate::offload::hash::{Hash, HashKind};

/// Files and folders by their names, from a root down.
#[derive(Debug, Default)]
pub struct Tree {
    files: BTreeMap<String, Hash>,
    folders: BTreeMap<String, Tree>,
}

impl Tree {
    /// Puts a file in its place; `path` has `/` between names.
    pub fn file(&mut self, path: &str, hash: Hash) {
        match path.split_once('/') {
            Some((folder, rest)) => self.inside(folder).file(rest, hash),
            None => {
                self.files.insert(path.to_string(), hash);
            }
        }
    }

    /// Makes a folder that may stay empty.
    pub fn folder(&mut self, path: &str) {
        match path.split_once('/') {
            Some((folder, rest)) => self.inside(folder).folder(rest),
            None => {
                self.inside(path);
            }
        }
    }

    fn inside(&mut self, folder: &str) -> &mut Tree {
        self.folders.entry(folder.to_string()).or_default()
    }
}

/// The hashes of the root, and those of every folder by its path.
#[must_use]
pub fn folder_hashes(tree: &Tree, kind: HashKind) -> (FolderHashes, Vec<(String, FolderHashes)>) {
    let mut below = Vec::new();
    let (content, structure) = walk(tree, "", kind, &mut below);
    (FolderHashes::one(content, structure), below)
}

impl FolderHashes {
    fn one(content: Hash, structure: Hash) -> Self {
        Self {
            content: vec![content],
            structure: vec![structure],
        }
    }
}

/// A folder's content and structure; those of the folders in it go to `below`, each before the folder that holds it.
fn walk(
    tree: &Tree,
    path: &str,
    kind: HashKind,
    below: &mut Vec<(String, FolderHashes)>,
) -> (Hash, Hash) {
    let mut contents: Vec<Hash> = tree.files.values().cloned().collect();
    let named = |(name, hash): (&String, &Hash)| Hash::of_named(name, hash);
    let mut structures: Vec<Hash> = tree.files.iter().map(named).collect();
    for (name, folder) in &tree.folders {
        let inner = match path {
            "" => name.clone(),
            path => format!("{path}/{name}"),
        };
        let (content, structure) = walk(folder, &inner, kind, below);
        structures.push(Hash::of_named(name, &structure));
        contents.push(content.clone());
        below.push((inner, FolderHashes::one(content, structure)));
    }
    (
        Hash::of_hashes(kind, &contents),
        Hash::of_hashes(kind, &structures),
    )
}
