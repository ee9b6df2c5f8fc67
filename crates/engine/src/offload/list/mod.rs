//! Hash lists: one list a generation, a chain of generations in a folder. The open form of the ASC Media Hash List v1.0
//! (2022), whose XML calls itself version 2.0.

mod wire;
mod chain;
mod history;
mod folders;

pub use chain::ChainLink;
pub(super) use folders::{Tree, folder_hashes};
pub use history::{History, KnownFile};

use serde::Serialize;

use super::hash::Hash;

/// The folder that holds a history, in the folder whose files it names.
pub const FOLDER: &str = "ascmhl";

/// What no list names, as patterns (ASC MHL v1.0, 5.6.1.2; the last two as the published examples have them).
pub(super) const IGNORED: [&str; 3] = [".DS_Store", "ascmhl", "ascmhl/"];

/// One generation: what was known of all files at one time.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct HashList {
    /// When it was made, as it is written.
    pub created: String,
    /// The computer it was made on.
    pub host: String,
    /// What made it, and which version of that.
    pub tool: (String, String),
    /// What was done to the files.
    pub process: Process,
    /// Content and structure of the whole folder.
    pub root: Option<FolderHashes>,
    /// Patterns of names that are not listed, written as in `.gitignore`.
    pub ignored: Vec<String>,
    /// The files.
    pub files: Vec<ListedFile>,
    /// The folders.
    pub folders: Vec<ListedFolder>,
    /// Lists of folders inside that have a history of their own.
    pub references: Vec<Reference>,
}

/// What was done to the files of a list.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Process {
    /// Hashed where they lay.
    InPlace,
    /// Copied to where the list is.
    Transfer,
    /// Put together from several lists.
    Flatten,
}

/// A file of a list.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ListedFile {
    /// Relative to the folder of the history, with `/` between names.
    pub path: String,
    /// Bytes.
    pub size: Option<u64>,
    /// When it was last changed, as it is written.
    pub modified: Option<String>,
    /// Its hashes.
    pub hashes: Vec<ListedHash>,
    /// What it was called before.
    pub previous: Option<String>,
}

/// A hash of a file, and what it tells.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ListedHash {
    /// The hash.
    pub hash: Hash,
    /// What it tells; lists of other makers may leave it out.
    pub action: Option<Action>,
    /// When it was taken, as it is written.
    pub when: Option<String>,
}

/// What a hash tells of a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Action {
    /// The first of its kind that was taken of it.
    Original,
    /// It is what an earlier list says.
    Verified,
    /// It is not what an earlier list says.
    Failed,
}

/// A folder of a list.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ListedFolder {
    /// As for a file.
    pub path: String,
    /// As for a file.
    pub modified: Option<String>,
    /// Its hashes, where the list has them.
    pub hashes: FolderHashes,
}

/// Hashes of a folder.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct FolderHashes {
    /// Over what its files hold, whatever they are called.
    pub content: Vec<Hash>,
    /// Over names and contents.
    pub structure: Vec<Hash>,
}

/// A list of a folder inside.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Reference {
    /// Where the list is.
    pub path: String,
    /// Its C4 identifier.
    pub c4: String,
}

/// Whether a list can name this path: UTF-8 is a matter of its type, and XML holds no control characters.
#[must_use]
pub(super) fn can_be_listed(path: &str) -> bool {
    path.chars().all(|c| {
        // XML 1.0, 2.2; a tab or a line's end in an element's text would not come back as it was
        !c.is_control() && !matches!(c, '\u{fffe}' | '\u{ffff}')
    }) && path.trim() == path
}

/// The longest path of a list, bytes, and its most names: more than any system opens.
const LONGEST_PATH: usize = 4096;
const MOST_NAMES: usize = 128;

/// Whether a path from a list stays inside the folder of its history, and is one that a system could open.
fn stays_inside(path: &str) -> bool {
    !path.is_empty()
        && path.len() <= LONGEST_PATH
        && path.split('/').count() <= MOST_NAMES
        && path
            .split('/')
            .all(|name| !name.is_empty() && name != "." && name != ".." && !name.contains('\0'))
}

#[cfg(test)]
mod tests;
