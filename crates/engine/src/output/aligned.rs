//! Memory that starts where the system's pages do, so that it can go to and come from a medium without passing the
//! system's cache.

/// What reading and writing past the cache asks of a place and a length, bytes. Most media ask for 512; none that is
/// known asks for more than a page (common practice, no source).
pub(crate) const ALIGNED: usize = 4096;

/// Bytes of a block: large enough that a medium is kept busy.
pub(crate) const BLOCK: usize = 4 << 20;

/// [`BLOCK`] bytes that start at a multiple of [`ALIGNED`].
#[derive(Debug, Default)]
pub(crate) struct Aligned {
    bytes: Vec<u8>,
    start: usize,
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
