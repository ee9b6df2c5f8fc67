//! Memory for bytes on their way from a card to its copies: a fixed number of blocks that start where the system's pages
//! do, so that they can go to a medium without passing its cache, and that come back when nobody reads them any more.

use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender, channel};

/// What reading and writing past the cache asks of a place and a length, bytes. Most media ask for 512; none that is
/// known asks for more than a page (common practice, no source).
pub(super) const ALIGNED: usize = 4096;

/// Bytes of a block.
pub(super) const BLOCK: usize = 4 << 20;

/// Bytes that many readers share.
#[derive(Debug)]
pub(super) struct Block {
    memory: Aligned,
    length: usize,
    home: Sender<Aligned>,
}

/// [`BLOCK`] bytes that start at a multiple of [`ALIGNED`].
#[derive(Debug, Default)]
pub(super) struct Aligned {
    bytes: Vec<u8>,
    start: usize,
}

/// Where blocks come from and go back to.
#[derive(Debug)]
pub(super) struct Pool {
    home: Sender<Aligned>,
    free: Receiver<Aligned>,
}

impl Aligned {
    pub fn new() -> Self {
        let bytes = vec![0; BLOCK + ALIGNED];
        // 0 where the place cannot be told: then a system that asks for it refuses, and is asked without
        let start = match bytes.as_ptr().align_offset(ALIGNED) {
            offset if offset <= ALIGNED => offset,
            _ => 0,
        };
        Self { bytes, start }
    }

    pub fn bytes(&self) -> &[u8] {
        &self.bytes[self.start..self.start + BLOCK]
    }

    pub fn bytes_mut(&mut self) -> &mut [u8] {
        &mut self.bytes[self.start..self.start + BLOCK]
    }
}

impl Pool {
    /// One of so many blocks.
    pub fn new(blocks: usize) -> Self {
        let (home, free) = channel();
        for _ in 0..blocks {
            let _ = home.send(Aligned::new());
        }
        Self { home, free }
    }

    /// A block filled by `fill`, which says how many bytes it filled; waits until one is free.
    pub fn filled<E>(
        &self,
        fill: impl FnOnce(&mut [u8]) -> Result<usize, E>,
    ) -> Result<Arc<Block>, E> {
        // the pool itself holds a sender, so this waits and never fails
        let mut memory = self.free.recv().unwrap_or_else(|_| Aligned::new());
        match fill(memory.bytes_mut()) {
            Ok(length) => Ok(Arc::new(Block {
                memory,
                length,
                home: self.home.clone(),
            })),
            Err(error) => {
                let _ = self.home.send(memory);
                Err(error)
            }
        }
    }
}

impl Block {
    pub fn bytes(&self) -> &[u8] {
        &self.memory.bytes()[..self.length]
    }
}

impl Drop for Block {
    fn drop(&mut self) {
        // when the pool is gone, so is the need for the memory
        let _ = self.home.send(std::mem::take(&mut self.memory));
    }
}
