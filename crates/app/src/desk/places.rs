//! A folder in, the folders in it out, for choosing cards; and the media that are mounted. Names of folders alone: no file is
//! opened.

use std::path::{Path, PathBuf};

/// Folders that are listed at most.
const MOST: usize = 500;

/// A folder that may be a card.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    /// Where it is.
    pub path: PathBuf,
    /// How it is shown.
    pub name: String,
}

/// Media that are mounted, by where systems mount them.
pub fn mounted() -> Vec<Place> {
    let user = std::env::var("USER").unwrap_or_default();
    let roots = [
        PathBuf::from("/media").join(&user),
        PathBuf::from("/run/media").join(&user),
        PathBuf::from("/media"),
        PathBuf::from("/mnt"),
        PathBuf::from("/Volumes"),
    ];
    let mut found: Vec<Place> = roots.iter().flat_map(|root| folders(root)).collect();
    found.retain(|place| place.name != user);
    found.sort_by(|a, b| a.path.cmp(&b.path));
    found.dedup();
    found
}

/// The folders in a folder, by name; none of the hidden ones.
pub fn folders(folder: &Path) -> Vec<Place> {
    let Ok(entries) = std::fs::read_dir(folder) else {
        return Vec::new();
    };
    let mut found: Vec<Place> = entries
        .flatten()
        .filter(|entry| entry.path().is_dir())
        .map(|entry| Place {
            path: entry.path(),
            name: entry.file_name().to_string_lossy().into_owned(),
        })
        .filter(|place| !place.name.starts_with('.'))
        .take(MOST)
        .collect();
    found.sort_by_key(|place| engine::media::natural_key(&place.name));
    found
}

/// Where browsing begins: the home folder, else the root.
pub fn home() -> PathBuf {
    std::env::home_dir().unwrap_or_else(|| PathBuf::from("/"))
}
