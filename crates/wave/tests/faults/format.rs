//! Formats that are doubled, misplaced, inconsistent, cut, or legal but not supported.

use wave::OddityKind::*;

use crate::Expect::{Malformed, Reads, Unsupported};
use crate::common::{Fmt, chunk, riff};
use crate::{Case, data, two};

/// Ten samples under a format.
fn under(fmt: Vec<u8>) -> Vec<u8> {
    riff(&[fmt, data(10)])
}

#[rustfmt::skip]
pub fn cases() -> Vec<Case> {
    let base = Fmt::new(1, 2, 16);
    let of = |payload: Vec<u8>| under(chunk(b"fmt ", &payload));
    let longer = |fmt: Fmt, more: usize| [fmt.payload(), vec![0; more]].concat();
    vec![
        ("two equal fmt", riff(&[two(), two(), data(10)]), Reads(10, &[TwoFmt])),
        ("two different fmt", riff(&[two(), Fmt::new(1, 1, 24).chunk(), data(10)]),
            Malformed("second, different fmt")),
        ("fmt after the audio", riff(&[data(10), two()]), Reads(10, &[FmtAfterData])),
        ("no fmt", riff(&[data(10)]), Malformed("no fmt chunk")),
        ("fmt of 14 bytes", of(base.payload()[..14].to_vec()), Malformed("14 bytes")),
        ("fmt of 18 bytes", of(longer(base, 2)), Reads(10, &[])),
        ("fmt of 20 bytes", of(longer(base, 4)), Reads(10, &[FmtSize])),
        ("extensible cut at 18 bytes", of(longer(Fmt { tag: 0xFFFE, ..base }, 2)),
            Malformed("under tag 0xFFFE")),
        ("0 channels", under(Fmt { channels: 0, ..base }.chunk()), Malformed("0 channels")),
        ("0 samples a second", under(Fmt { rate: 0, ..base }.chunk()), Malformed("0 samples a second")),
        ("0 bits", under(Fmt { bits: 0, ..base }.chunk()), Malformed("0 bits")),
        ("65535 bits", under(Fmt { bits: 65_535, ..base }.chunk()), Unsupported("integer of 65535 bits")),
        ("8 bits", under(Fmt::new(1, 2, 8).chunk()), Unsupported("integer of 8 bits")),
        ("64-bit integer", under(Fmt::new(1, 2, 64).chunk()), Unsupported("integer of 64 bits")),
        ("16-bit floating point", under(Fmt::new(3, 2, 16).chunk()), Unsupported("floating point of 16 bits")),
        ("MPEG layer 3 inside", under(Fmt::new(0x55, 2, 0).chunk()), Unsupported("tag 0x0055 (MPEG layer 3)")),
        ("extensible with an unknown sub-format", under(base.extensible(16, 0, 9)), Unsupported("sub-format")),
        ("extensible with 0 valid bits", under(base.extensible(0, 0, 1)), Reads(10, &[ValidBits])),
        ("extensible with more valid bits than stored", under(base.extensible(24, 0, 1)),
            Reads(10, &[ValidBits])),
        ("extensible with every loudspeaker there is", under(base.extensible(16, u32::MAX, 1)),
            Reads(10, &[])),
        ("block size inconsistent", under(Fmt { block: 2, ..base }.chunk()),
            Reads(10, &[BlockAlign, ByteRate])),
        ("block size 0", under(Fmt { block: 0, ..base }.chunk()), Reads(10, &[BlockAlign, ByteRate])),
    ]
}
