//! One mistake on a follower that explains why its takes found no partner.

use super::*;

#[test]
fn an_hour_too_early_is_named() {
    let shoot = two(
        vec![take("N1", 36_000.0, 300.0), take("N2", 37_000.0, 200.0)],
        vec![take("S1", 32_402.0, 295.0), take("S2", 33_401.0, 195.0)],
    );
    let found = joint_takes(&shoot, 0, &[]);
    assert!(found.value.is_empty(), "nothing is shifted");
    let shifted = finding(&found, "stamps-shifted");
    assert_eq!(shifted.weight, Weight::Ask);
    assert!(shifted.message.contains("1 h too early"), "{shifted:?}");
    assert!(shifted.value.starts_with("2 of 2"), "{shifted:?}");
}

#[test]
fn labels_counted_at_another_rate_are_named() {
    // fed with code through the day: 29.97 non-drop lasts 3.6 s longer for every hour of label time
    let hours = [10.0, 12.0, 14.0, 15.5];
    let north = hours.map(|h| {
        counted(
            take(&format!("N{h}"), h * HOUR, 20.0),
            FrameRate::F30,
            false,
        )
    });
    let south = hours.map(|h| {
        let late = take(&format!("S{h}"), (h * HOUR + 1.0) * 1.001, 18.0);
        counted(late, FrameRate::F29_97, false)
    });
    let shoot = two(north.to_vec(), south.to_vec());
    let found = joint_takes(&shoot, 0, &[]);
    assert!(found.value.is_empty());
    let shifted = finding(&found, "stamps-shifted");
    assert!(
        shifted
            .message
            .contains("30000/1001 NDF instead of 30/1 NDF"),
        "{shifted:?}"
    );
    assert!(shifted.value.starts_with("4 of 4"), "{shifted:?}");
}

#[test]
fn a_constant_difference_is_named() {
    // labels of 29.97 taken over once at 14:00:00:00: 50.4 s, the same for every later take
    let starts = [50_500.0, 51_200.0, 52_950.0, 54_010.0];
    let north = starts.map(|s| take(&format!("N{s}"), s, 30.0));
    let south = starts.map(|s| take(&format!("S{s}"), s + 50.4 + s % 3.0, 28.0));
    let shoot = two(north.to_vec(), south.to_vec());
    let found = joint_takes(&shoot, 0, &[]);
    assert!(found.value.is_empty());
    let shifted = finding(&found, "stamps-shifted");
    assert!(shifted.message.contains("s too late"), "{shifted:?}");
    assert!(shifted.value.starts_with("4 of 4"), "{shifted:?}");
    // two takes that have nothing to do with each other are explained by nothing
    let shoot = two(
        vec![take("N1", 1000.0, 30.0)],
        vec![take("S1", 7777.0, 30.0)],
    );
    assert!(!codes(&joint_takes(&shoot, 0, &[])).contains(&"stamps-shifted"));
}
