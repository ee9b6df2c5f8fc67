//! Pad bytes, order, filler, doubled and unknown chunks, and files that are no wave file.

use wave::OddityKind::*;

use crate::Expect::{Malformed, Reads, Unsupported};
use crate::common::{Fmt, IXML, bext, chunk, riff, unpadded};
use crate::{Case, data, two};

/// Three channels of 24 bits, 33 samples: 297 bytes, then a chunk.
fn odd_audio(pad: bool) -> Vec<u8> {
    let audio = vec![7; 297];
    let data = if pad {
        chunk(b"data", &audio)
    } else {
        unpadded(b"data", 297, &audio)
    };
    riff(&[Fmt::new(1, 3, 24).chunk(), data, chunk(b"iXML", IXML)])
}

#[rustfmt::skip]
pub fn cases() -> Vec<Case> {
    let three = || Fmt::new(1, 3, 24).chunk();
    let not_zero = [unpadded(b"xtra", 3, b"abc"), b"Z".to_vec()].concat();
    let odd_ixml = [IXML, b"\n"].concat();
    let plain = || riff(&[two(), data(10)]);
    vec![
        ("plain", riff(&[two(), data(100)]), Reads(100, &[])),
        ("odd audio with its pad byte", odd_audio(true), Reads(33, &[])),
        ("odd audio without its pad byte", odd_audio(false), Reads(33, &[MissingPad])),
        ("odd audio at the end of the file without its pad byte",
            riff(&[three(), unpadded(b"data", 297, &[7; 297])]), Reads(33, &[MissingPad])),
        ("pad byte that is not zero", riff(&[not_zero, two(), data(10)]), Reads(10, &[PadNotZero])),
        ("odd iXML without its pad byte",
            riff(&[unpadded(b"iXML", odd_ixml.len() as u32, &odd_ixml), two(), data(10)]),
            Reads(10, &[MissingPad])),
        ("bext after the audio",
            riff(&[two(), data(10), chunk(b"bext", &bext(1, 5, b""))]), Reads(10, &[])),
        ("bext longer than usual",
            riff(&[chunk(b"bext", &bext(1, 5, &[b'x'; 9001])), two(), data(10)]), Reads(10, &[])),
        ("bext cut short",
            riff(&[chunk(b"bext", &bext(1, 5, b"")[..400]), two(), data(10)]), Reads(10, &[ChunkTooShort])),
        ("bext of ten bytes",
            riff(&[chunk(b"bext", &[0; 10]), two(), data(10)]), Reads(10, &[ChunkTooShort])),
        ("filler before, between and after", riff(&[
            chunk(b"JUNK", &[0; 4000]), two(), chunk(b"FLLR", &[0; 501]), data(10), chunk(b"PAD ", &[0; 99]),
        ]), Reads(10, &[])),
        ("list of no bytes", riff(&[chunk(b"LIST", b""), two(), data(10)]), Reads(10, &[])),
        ("cue that counts more points than it has",
            riff(&[two(), data(10), chunk(b"cue ", &[0xFF, 0xFF, 0xFF, 0xFF, 1, 2, 3, 4])]), Reads(10, &[])),
        ("unknown chunk of 3 GB at the end, cut",
            riff(&[two(), data(10), unpadded(b"xtra", 3_000_000_000, &[1; 9000])]),
            Reads(10, &[ChunkBeyondFile])),
        ("something small appended", [plain(), vec![0x80; 30]].concat(),
            Reads(10, &[NotAChunk, RiffSizeWrong])),
        ("zero bytes appended", [plain(), vec![0; 5000]].concat(), Reads(10, &[NotAChunk, RiffSizeWrong])),
        ("fact that counts something else",
            riff(&[two(), chunk(b"fact", &77u32.to_le_bytes()), data(10)]), Reads(10, &[FactDisagrees])),
        ("two data", riff(&[two(), data(10), data(20)]), Reads(10, &[TwoData])),
        ("two data, the first empty", riff(&[two(), data(0), data(20)]), Reads(20, &[TwoData])),
        ("no audio chunk", riff(&[two()]), Malformed("no data chunk")),
        ("empty data before a true iXML",
            riff(&[two(), chunk(b"data", b""), chunk(b"iXML", IXML)]), Reads(0, &[NoAudio])),
        ("header only", riff(&[two(), chunk(b"data", b"")]), Reads(0, &[NoAudio])),

        ("0 bytes", Vec::new(), Malformed("a file of 0 bytes")),
        ("11 bytes", b"RIFF\0\0\0\0WAV".to_vec(), Malformed("a file of 11 bytes")),
        ("12 bytes", b"RIFF\x04\0\0\0WAVE".to_vec(), Malformed("no fmt chunk")),
        ("text named .wav", b"Sound report, day three: nothing to hear here".to_vec(),
            Malformed("expected RIFF, RF64 or BW64")),
        ("moving pictures in RIFF", b"RIFF\x10\0\0\0AVI LIST\0\0\0\0".to_vec(), Malformed("form \"AVI \"")),
        ("big-endian RIFX", b"RIFX\0\0\0\x10WAVEfmt ".to_vec(), Unsupported("RIFX")),
        ("another chunk file", b"FORM\0\0\0\x10AIFFCOMM".to_vec(), Malformed("\"FORM\"")),
        ("44 zero bytes", vec![0; 44], Malformed("0x00000000")),
    ]
}
