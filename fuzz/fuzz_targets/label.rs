//! Any text as a label, a rate or a counting: no panic, and what was understood is said as it was understood.

#![no_main]

use libfuzzer_sys::fuzz_target;
use timecode::{Counting, FrameRate, Label};

fuzz_target!(|data: &[u8]| {
    let Ok(text) = std::str::from_utf8(data) else { return };
    let (rate, label) = text.split_once('\n').unwrap_or(("30", text));
    if let Ok(rate) = FrameRate::parse(rate) {
        assert!(rate.per_second() > 0.0);
    }
    let Ok(counting) = Counting::parse(rate) else { return };
    assert_eq!(Counting::parse(&counting.to_string()), Ok(counting));
    let Ok(label) = Label::parse(label, counting) else { return };
    assert_eq!(Label::parse(&label.to_string(), counting), Ok(label));
    assert_eq!(Label::of_count(label.count(), counting), label);
    assert_eq!(Label::of_samples(label.to_samples(48_000), 48_000, counting), label);
    assert_eq!(label.next().count(), (label.count() + 1) % counting.day());
});
