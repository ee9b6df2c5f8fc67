//! A measured clock in, a finding out when one straight line (one offset, one rate) would not have held, or when its rate is
//! no crystal's.

use crate::clock::{Clock, Measured};
use crate::finding::{Finding, Weight};
use crate::units::{Ppm, Samples};

/// What a straight line may leave, samples: the residual that needs 8 allows everywhere. A place known no better than this
/// is no evidence of a bend.
const TOLERANCE: f64 = 0.25;

/// A departure counts from so many sigma of the knots on.
const CLEAR: f64 = 3.0;

/// Beyond this no pair of working crystals differs (plausible clocks stay within about 200 ppm;
/// common practice, no source).
pub(super) const PLAUSIBLE_PPM: f64 = 200.0;

/// Says that the clock is no straight line when its best line leaves more than the tolerance. Silent where slips part the
/// clock: what they do is told of themselves.
pub fn no_line(measured: &Measured) -> Option<Finding> {
    if measured.slips.iter().any(|slip| slip.certain) {
        return None;
    }
    let left = left_by_a_line(&measured.clock)?;
    let sigmas = measured.clock.knots().iter().map(|knot| knot.sigma.0);
    let clear = CLEAR * sigmas.fold(0.0, f64::max);
    (left.0 > TOLERANCE.max(clear)).then(|| {
        Finding::new(
            "clock-no-straight-line",
            Weight::Note,
            "this clock wandered: one offset and one rate would not have held; the curve was followed",
        )
        .measured(
            format!(
                "a straight line leaves up to {:.2} samples, the curve {:.4} rms",
                left.0, measured.residual_rms.0
            ),
            format!("{TOLERANCE} samples"),
        )
        .because("a crystal warming up, or a change of temperature during the take")
        .then("nothing: build as measured; let the units warm up before the next take")
    })
}

/// A rate that no crystal has, and what it looks like. The signatures are exact fractions (design section 5).
pub(super) fn implausible_rate(rate: Ppm) -> Finding {
    let near = |centre: f64| (rate.0.abs() - centre).abs() < 60.0;
    let cause = if near(1000.0) || near(999.001) {
        "pull-up or pull-down (1000/1001) on one unit, or 29.97 against 30 in the labels"
    } else if (rate.0.abs() - 88_435.0).abs() < 300.0 || (rate.0.abs() - 81_250.0).abs() < 300.0 {
        "a file recorded at 44.1 kHz and declared as 48 kHz, or the other way round"
    } else {
        "a fault: lost samples, or a wrong sampling rate in the file"
    };
    Finding::new(
        "rate-implausible",
        Weight::Ask,
        "this rate is no crystal's; nothing was resampled",
    )
    .measured(
        format!("{:+.1} ppm", rate.0),
        format!("within ±{PLAUSIBLE_PPM} ppm"),
    )
    .because(cause)
    .then("find the cause on the unit before building")
}

/// The largest distance of a knot from the least-squares line through the knots, each counted by the stretch it stands for.
fn left_by_a_line(clock: &Clock) -> Option<Samples> {
    let knots = clock.knots();
    let (first, last) = (knots.first()?, knots.last()?);
    let middle = 0.5 * (first.follower.0 + last.follower.0);
    // the large common part is taken off first, so that no digit is lost
    let point = |i: usize| {
        let knot = &knots[i];
        let apart = (knot.lead.0 - first.lead.0) - (knot.follower.0 - first.follower.0);
        (knot.follower.0 - middle, apart)
    };
    let stretch = |i: usize| {
        let before = knots[i.saturating_sub(1)].follower.0;
        knots[(i + 1).min(knots.len() - 1)].follower.0 - before
    };
    let (mut w, mut x, mut y, mut xx, mut xy) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for i in 0..knots.len() {
        let ((at, apart), weight) = (point(i), stretch(i));
        w += weight;
        x += weight * at;
        y += weight * apart;
        xx += weight * at * at;
        xy += weight * at * apart;
    }
    let slope = (w * xy - x * y) / (w * xx - x * x);
    let height = (y - slope * x) / w;
    let most = (0..knots.len())
        .map(point)
        .map(|(at, apart)| (apart - height - slope * at).abs())
        .fold(0.0, f64::max);
    most.is_finite().then_some(Samples(most))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::Knot;
    use crate::units::{LeadPos, Ppm, UnitPos};

    fn measured(clock: Clock) -> Measured {
        Measured {
            offset: clock.knots()[0].lead,
            clock,
            offset_sigma: Samples(0.001),
            rate: Ppm(10.0),
            rate_sigma: Ppm(0.001),
            ties: Vec::new(),
            residual_rms: Samples(0.002),
            signs: Vec::new(),
            slips: Vec::new(),
        }
    }

    /// `curve(k)` beside a clock of no rate, a knot every second of 90 minutes.
    fn curved(curve: impl Fn(f64) -> f64, sigma: f64) -> Measured {
        let knots = (0..=5400).map(|second| {
            let follower = 48_000.0 * f64::from(second);
            Knot {
                follower: UnitPos(follower),
                lead: LeadPos(1000.0 + follower + curve(f64::from(second))),
                sigma: Samples(sigma),
            }
        });
        measured(Clock::new(knots.collect()).expect("rising"))
    }

    #[test]
    fn a_straight_clock_says_nothing() {
        let clock = Clock::straight(LeadPos(49_440.0), Ppm(27.0), 172_800_000, 48_000.0);
        assert!(no_line(&measured(clock)).is_none());
        assert!(no_line(&curved(|s| -2e-5 * s, 0.001)).is_none());
    }

    #[test]
    fn a_parabola_leaves_what_arithmetic_says() {
        // b (u^2 - 1/3), u from -1 to 1, is what a line leaves of b u^2: at most 2/3 b, at the ends.
        let bend = |b: f64| move |s: f64| b * (s / 2700.0 - 1.0).powi(2);
        let finding = no_line(&curved(bend(3.0), 0.001)).expect("2 samples off a line");
        assert!(
            finding.value.contains("up to 2.00 samples"),
            "{}",
            finding.value
        );
        assert!(
            no_line(&curved(bend(0.36), 0.001)).is_none(),
            "0.24 samples"
        );
        assert!(
            no_line(&curved(bend(3.0), 1.0)).is_none(),
            "within three sigma"
        );
    }
}
