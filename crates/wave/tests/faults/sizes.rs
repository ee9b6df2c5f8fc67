//! Sizes of RIFF files that were never written, are wrong, or were right before the file was cut.

use wave::OddityKind::*;

use crate::Expect::Reads;
use crate::common::{IXML, audio16, chunk, outer, riff, unpadded};
use crate::{Case, data, data_saying, two};

/// Audio that holds the bytes of a chunk head by chance.
fn audio_holding(letters: &[u8]) -> Vec<u8> {
    let mut audio = audio16(2, 400);
    audio[800..800 + letters.len()].copy_from_slice(letters);
    audio
}

/// Audio under a wrong size with a true iXML chunk behind it.
fn before_ixml(audio: &[u8], size: u32) -> Vec<u8> {
    riff(&[two(), unpadded(b"data", size, audio), chunk(b"iXML", IXML)])
}

#[rustfmt::skip]
pub fn cases() -> Vec<Case> {
    let all = u32::MAX;
    let by_chance = audio_holding(b"LIST\x10\0\0\0adtl");
    // 0x318 bytes from byte 808 of the audio on: exactly to its end
    let to_the_end = audio_holding(b"iXML\x18\x03\0\0");
    let list_to_the_end = audio_holding(b"LIST\x18\x03\0\0");
    let mut cut = riff(&[two(), data(400)]);
    cut.truncate(cut.len() - 3);
    vec![
        ("data size 0 after power loss", outer(b"RIFF", 0, &[two(), data_saying(0, 400)]),
            Reads(400, &[Unfinalised, RiffSizeWrong])),
        ("data size 0xFFFFFFFF", outer(b"RIFF", all, &[two(), data_saying(all, 400)]),
            Reads(400, &[Unfinalised, RiffSizeWrong])),
        ("data size 0x7FFFFFFF from a pipe",
            outer(b"RIFF", 0x7FFF_FFFF, &[two(), data_saying(0x7FFF_FFFF, 400)]),
            Reads(400, &[Unfinalised, RiffSizeWrong])),
        ("data size larger than the file", riff(&[two(), data_saying(9000, 400)]),
            Reads(400, &[DataBeyondFile])),
        ("data size smaller than the file", outer(b"RIFF", 436, &[two(), data_saying(400, 2000)]),
            Reads(2000, &[DataSizeTooSmall, RiffSizeWrong])),
        ("cut inside a sample", cut, Reads(399, &[DataBeyondFile, PartialSample, RiffSizeWrong])),
        ("RIFF size 0", outer(b"RIFF", 0, &[two(), data(10)]), Reads(10, &[RiffSizeWrong])),
        ("RIFF size 2", outer(b"RIFF", 2, &[two(), data(10)]), Reads(10, &[RiffSizeWrong])),
        ("RIFF size too large", outer(b"RIFF", 5_000_000, &[two(), data(10)]), Reads(10, &[RiffSizeWrong])),
        ("data size 0 with a true iXML behind it", before_ixml(&audio16(2, 400), 0),
            Reads(400, &[Unfinalised])),
        ("data size 0xFFFFFFFF with a true iXML behind it", before_ixml(&audio16(2, 400), all),
            Reads(400, &[Unfinalised])),
        ("data size 0 with LIST in the audio by chance",
            riff(&[two(), unpadded(b"data", 0, &by_chance)]), Reads(400, &[Unfinalised])),
        ("data size 0 with iXML in the audio whose size leads to the end, but no XML inside",
            riff(&[two(), unpadded(b"data", 0, &to_the_end)]), Reads(400, &[Unfinalised])),
        ("data size 0 with LIST in the audio whose size leads to the end, but no list inside",
            riff(&[two(), unpadded(b"data", 0, &list_to_the_end)]), Reads(400, &[Unfinalised])),
        ("data size 0 with LIST in the audio by chance and a true iXML behind it",
            before_ixml(&by_chance, 0), Reads(400, &[Unfinalised])),
    ]
}
