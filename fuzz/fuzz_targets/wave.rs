//! Any bytes as a wave file: no panic, and the same however the source splits what it hands over.

#![no_main]

use std::io;

use libfuzzer_sys::fuzz_target;
use wave::{ReadAt, WaveFile};

/// A source that hands over a few bytes at a time.
struct Drip<'a>(&'a [u8]);

impl ReadAt for Drip<'_> {
    fn read_at(&self, buf: &mut [u8], offset: u64) -> io::Result<usize> {
        let most = buf.len().min(1 + (offset % 7) as usize);
        self.0.read_at(&mut buf[..most], offset)
    }

    fn size(&self) -> io::Result<u64> {
        Ok(self.0.len() as u64)
    }
}

fn outcome(source: &impl ReadAt) -> String {
    let file = match WaveFile::open(source) {
        Ok(file) => file,
        Err(error) => return error.to_string(),
    };
    let header = file.header();
    let block = header.format.block_bytes() as u64;
    assert!(header.length.saturating_mul(block) <= header.file_bytes, "{header:?}");
    let channels: Vec<usize> = (0..usize::from(header.format.channels).min(4)).collect();
    let mut said = format!("{header:?}");
    for start in [0, header.length / 2, header.length.saturating_sub(3), u64::MAX - 9] {
        let mut planes = vec![vec![0.0; 40]; channels.len()];
        let mut out: Vec<&mut [f64]> = planes.iter_mut().map(Vec::as_mut_slice).collect();
        let read = file.read(&channels, start, &mut out).map_err(|error| error.to_string());
        let bits: Vec<u64> = planes.concat().iter().map(|value| value.to_bits()).collect();
        let mut bytes = vec![0; 64];
        let raw = file.read_bytes(start, &mut bytes).map_err(|error| error.to_string());
        said += &format!(" {read:?} {bits:?} {raw:?} {bytes:?}");
    }
    said
}

fuzz_target!(|data: &[u8]| {
    assert_eq!(outcome(&Drip(data)), outcome(&data.to_vec()));
});
