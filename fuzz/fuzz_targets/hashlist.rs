//! Any text as a hash list: no panic, no path that leads out of its folder, and what was read comes back when it is
//! written.
#![no_main]

use engine::offload::HashList;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let Ok(list) = HashList::from_xml(bytes) else {
        return;
    };
    for file in &list.files {
        assert!(!file.path.starts_with('/') && file.path.split('/').all(|name| name != ".."));
    }
    let text = list.to_xml().expect("what was read can be written");
    let again = HashList::from_xml(text.as_bytes()).expect("what was written can be read");
    assert_eq!(again, list);
});
