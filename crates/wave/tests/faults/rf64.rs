//! RF64 and BW64: to the letter, with true sizes, wrong marks, and a ds64 chunk that is missing, late or lies.

use wave::OddityKind::*;

use crate::Expect::Reads;
use crate::common::{audio16, chunk, ds64, outer, unpadded};
use crate::{Case, data, data_saying, two};

/// 4 for the form, 36 for ds64, 24 for fmt, 8 + 400 for the audio.
const SIZE: u32 = 472;

#[rustfmt::skip]
pub fn cases() -> Vec<Case> {
    let all = u32::MAX;
    let right = || ds64(u64::from(SIZE), 400, 100, 0, &[]);
    let marked = || unpadded(b"data", all, &audio16(2, 100));
    let rf64 = |chunks: &[Vec<u8>]| outer(b"RF64", all, chunks);
    let table = [&b"xtra"[..], &10u64.to_le_bytes()].concat();
    let sized_there = unpadded(b"xtra", all, b"0123456789");
    vec![
        ("RF64 to the letter", rf64(&[right(), two(), marked()]), Reads(100, &[])),
        ("BW64 to the letter",
            outer(b"BW64", all, &[ds64(u64::from(SIZE), 400, 0, 0, &[]), two(), marked()]), Reads(100, &[])),
        ("RF64 with its true sizes outside", outer(b"RF64", SIZE, &[right(), two(), data(100)]),
            Reads(100, &[RealSizesInRf64])),
        ("RF64 with the mark 0x00FFFFFF",
            outer(b"RF64", 0x00FF_FFFF, &[right(), two(), data_saying(0x00FF_FFFF, 100)]),
            Reads(100, &[WrongSentinel])),
        ("RF64 whose sizes contradict, ds64 right", rf64(&[right(), two(), data_saying(80, 100)]),
            Reads(100, &[SizesDisagree])),
        ("RF64 whose sizes contradict, ds64 wrong",
            rf64(&[ds64(u64::from(SIZE), 80, 20, 0, &[]), two(), data(100)]), Reads(100, &[SizesDisagree])),
        ("RF64 with ds64 after fmt", rf64(&[two(), right(), marked()]), Reads(100, &[Ds64NotFirst])),
        ("RF64 with ds64 after the audio", rf64(&[two(), marked(), right()]),
            Reads(100, &[Unfinalised, Ds64NotFirst])),
        ("RF64 without ds64", rf64(&[two(), marked()]),
            Reads(100, &[Unfinalised, Ds64Missing, RiffSizeWrong])),
        ("RF64 without ds64 but with its true sizes", outer(b"RF64", SIZE - 36, &[two(), data(100)]),
            Reads(100, &[Ds64Missing])),
        ("RF64 never closed", rf64(&[ds64(0, 0, 0, 0, &[]), two(), marked()]),
            Reads(100, &[Unfinalised, RiffSizeWrong])),
        ("RF64 whose table count lies", rf64(&[ds64(u64::from(SIZE), 400, 100, all, &[]), two(), marked()]),
            Reads(100, &[Ds64Table])),
        ("RF64 with a chunk sized in the table",
            rf64(&[ds64(502, 400, 100, 1, &table), sized_there, two(), marked()]), Reads(100, &[])),
        ("RF64 whose ds64 is cut", rf64(&[chunk(b"ds64", &[0; 12]), two(), data(100)]),
            Reads(100, &[ChunkTooShort, Ds64Missing, RiffSizeWrong])),
        ("RIFF with ds64: a promotion that was cut off", outer(b"RIFF", SIZE, &[right(), two(), marked()]),
            Reads(100, &[Ds64InRiff])),
        ("RF64 with a data size beyond the file",
            rf64(&[ds64(1 << 40, 1 << 40, 1 << 38, 0, &[]), two(), marked()]),
            Reads(100, &[DataBeyondFile, RiffSizeWrong])),
        ("RF64 with sizes near 2^64", rf64(&[ds64(u64::MAX, u64::MAX - 5, 0, 0, &[]), two(), marked()]),
            Reads(100, &[DataBeyondFile, RiffSizeWrong])),
    ]
}
