//! Memory for bytes on their way from a card to its copies: a fixed number of blocks that come back when nobody reads
//! them any more.

use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender, channel};

use crate::output::Aligned;

/// Bytes that many readers share.
#[derive(Debug)]
pub(super) struct Block {
    memory: Aligned,
    length: usize,
    home: Sender<Aligned>,
}

/// Where blocks come from and go back to.
#[derive(Debug)]
pub(super) struct Pool {
    home: Sender<Aligned>,
    free: Receiver<Aligned>,
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
