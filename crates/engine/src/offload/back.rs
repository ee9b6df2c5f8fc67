//! A file that was written in, the hashes of what its medium holds out.

use std::io;
use std::path::Path;

use super::hash::{Hash, HashKind, Hasher};
use crate::output::{Aligned, BLOCK, OnMedium, ReadBack};

/// Hashes a file as its medium holds it. `told` hears of the bytes as they are read.
pub(super) fn read_back(
    path: &Path,
    kinds: &[HashKind],
    memory: &mut Aligned,
    told: &dyn Fn(u64),
) -> io::Result<(Vec<Hash>, u64, ReadBack)> {
    let file = OnMedium::open(path)?;
    let mut hasher = Hasher::new(kinds);
    let mut at = 0;
    loop {
        let held = file.read(at..at + BLOCK as u64, memory)?;
        let bytes = &memory.bytes()[held];
        if bytes.is_empty() {
            return Ok((hasher.finish(), at, file.how()));
        }
        hasher.update(bytes);
        told(bytes.len() as u64);
        at += bytes.len() as u64;
        if at >= file.size() {
            return Ok((hasher.finish(), at, file.how()));
        }
    }
}
