//! Any bytes as iXML: no panic, and what was understood of it comes back when it is written.

#![no_main]

use commontime_fuzz::{again, with_chunk};
use libfuzzer_sys::fuzz_target;
use wave::{Encoding, Format, Header, WriteSpec};

fuzz_target!(|data: &[u8]| {
    let header = Header::read(&with_chunk(b"iXML", data)).expect("iXML never stops the reading");
    let Some(ixml) = header.ixml else { return };
    for channel in 0..9 {
        let _ = ixml.channel_name(channel);
    }
    let mut spec = WriteSpec::new(Format::plain(1, 48_000, Encoding::Int16));
    spec.ixml = Some(ixml);
    let once = again(&spec).ixml;
    assert!(once.is_some());
    spec.ixml.clone_from(&once);
    assert_eq!(again(&spec).ixml, once, "written a second time");
});
