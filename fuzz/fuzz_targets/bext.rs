//! Any bytes as a broadcast extension: no panic, and what was understood of it comes back when it is written.

#![no_main]

use commontime_fuzz::{again, with_chunk};
use libfuzzer_sys::fuzz_target;
use wave::{Encoding, Format, Header, WriteSpec};

fuzz_target!(|data: &[u8]| {
    let header = Header::read(&with_chunk(b"bext", data)).expect("a broadcast extension never stops the reading");
    let Some(bext) = header.bext else { return };
    let _ = (bext.date_parts(), bext.time_parts());
    let mut spec = WriteSpec::new(Format::plain(1, 48_000, Encoding::Int16));
    spec.bext = Some(bext);
    let once = again(&spec).bext;
    assert!(once.is_some());
    spec.bext.clone_from(&once);
    assert_eq!(again(&spec).bext, once, "written a second time");
});
