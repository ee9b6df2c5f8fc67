//! What targets share: a chunk in, a wave file around it out; a header in, what is written of it and read again out.

use std::io::Cursor;

use wave::{Header, WaveWriter, WriteSpec};

/// A wave file with one chunk more.
pub fn with_chunk(id: &[u8; 4], payload: &[u8]) -> Vec<u8> {
    let mut chunks = Vec::new();
    let mut add = |id: &[u8; 4], payload: &[u8]| {
        chunks.extend_from_slice(id);
        chunks.extend_from_slice(&(payload.len() as u32).to_le_bytes());
        chunks.extend_from_slice(payload);
        if payload.len() % 2 == 1 {
            chunks.push(0);
        }
    };
    add(b"fmt ", &[1, 0, 1, 0, 0x80, 0xbb, 0, 0, 0, 0x77, 1, 0, 2, 0, 16, 0]);
    add(id, payload);
    add(b"data", &[0; 8]);
    let size = (4 + chunks.len() as u32).to_le_bytes();
    [b"RIFF", &size[..], b"WAVE", &chunks].concat()
}

/// What is written of it and read again.
pub fn again(spec: &WriteSpec) -> Header {
    let mut writer = WaveWriter::new(Cursor::new(Vec::new()), spec).expect("a header");
    writer.write_planar(&[&[0.0; 4]]).expect("samples");
    let (_, file) = writer.finish().expect("the end");
    Header::read(&file.into_inner()).expect("what was written")
}
