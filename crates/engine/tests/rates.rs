//! Units that were set to different nominal rates: measured at the lead's, written down in their own samples, and brought to
//! the lead's rate once, from the takes themselves.

mod aligned;

use aligned::Aligned;
use engine::alignment::{Basis, Placement, Status};
use engine::build::{BuildOptions, build};
use engine::check::residuals;
use engine::progress::Silent;
use rehearsal::Crystal;
use rehearsal::scenes::{CommonSignal, common_signal};

fn units_at(follower_hz: u32) {
    let mut shoot = common_signal(&CommonSignal {
        seed: 5,
        seconds: 60.0,
        mics: 1,
        ..CommonSignal::default()
    });
    shoot.units[1].rate_hz = follower_hz;
    shoot.units[1].crystal = Crystal::steady(23.0);
    let aligned = Aligned::of(&shoot);
    let (alignment, truth) = (&aligned.alignment, &aligned.truth);
    // what stands in the file is what was meant
    let text = alignment.to_json().expect("text");
    assert_eq!(
        engine::alignment::Alignment::from_json(&text).expect("read"),
        *alignment
    );
    let take = &alignment.joint_takes[0];
    let south = &take.members[1];
    assert_eq!(south.status, Status::Established, "{:?}", south.findings);
    assert_eq!(south.basis, Basis::CommonSignal);
    assert_eq!(south.placement, Placement::Resampled);
    assert_eq!(south.sample_rate, Some(follower_hz));
    assert!(
        (south.rate_ppm - truth.units[1].rate_ppm).abs() < 0.01,
        "{}",
        south.rate_ppm
    );
    // the contract: first and last sample included, in the unit's own samples
    assert_eq!(south.knots[0][0], 0.0);
    let last = south.knots[south.knots.len() - 1][0];
    assert_eq!(last, south.length_samples as f64 - 1.0);
    assert!(aligned.error("SOUTH") < 0.01, "{}", aligned.error("SOUTH"));

    let report = build(
        alignment,
        &BuildOptions::new(aligned.root.path().join("out")),
        &Silent,
    )
    .expect("the folder can be used");
    assert!(report.unbuilt.is_empty(), "{:?}", report.unbuilt);
    let outputs: Vec<_> = report.outputs.iter().collect();
    assert_eq!(outputs[0].sample_rate, 48_000);
    let found = residuals(&outputs, take).expect("measured");
    assert_eq!(found.len(), 3);
    for residual in found {
        let allowed = 0.005 + 3.0 * residual.sigma_samples;
        assert!(residual.lag_samples.abs() < allowed, "{residual:?}");
        assert!(residual.correlation > 0.9, "{residual:?}");
    }
}

#[test]
fn a_follower_at_44_1_khz_is_brought_to_48() {
    units_at(44_100);
}

#[test]
fn a_follower_at_96_khz_is_brought_to_48() {
    units_at(96_000);
}
